"""The program as people install it: a wheel of this tree in an environment of its own, run from elsewhere."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).parents[1]
MARK = "/* the installed copy */"


@dataclass(frozen=True)
class Installed:
    """An environment that has the wheel.

    Attributes
    ----------
    programs : folder of what was installed to be run
    package : folder of the installed package
    """

    programs: Path
    package: Path

    @property
    def program(self) -> Path:
        return self.programs / "measured-hair"

    def run(self, *words: str | Path, cwd: Path, home: Path, given: str = "") -> subprocess.CompletedProcess[str]:
        """Run the program in a folder, with a data folder and what comes on standard input."""
        command = [self.program, *words]
        environment = surroundings(cwd, home)
        return subprocess.run(
            command, cwd=cwd, env=environment, input=given, capture_output=True, text=True, timeout=300, check=False
        )


def surroundings(cwd: Path, home: Path) -> dict[str, str]:
    """An environment that leads to no other copy of the program, no settings and no screen."""
    return {"PATH": os.environ["PATH"], "HOME": str(cwd), "TRACKER_HOME": str(home), "LC_ALL": "C.UTF-8"}


def build_wheel(folder: Path) -> Path:
    """The wheel of this tree; the tree itself is left as it is."""
    source = folder / "source"
    shutil.copytree(REPOSITORY / "tracker", source / "tracker", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(REPOSITORY / name, source)
    build = ["wheel", "--quiet", "--no-deps", "--no-index", "--no-build-isolation", "--wheel-dir", folder, source]
    subprocess.run([sys.executable, "-m", "pip", *build], check=True, capture_output=True, timeout=300)
    (wheel,) = folder.glob("*.whl")
    return wheel


def install(wheel: Path, folder: Path) -> Installed:
    """A fresh environment with the wheel; what it depends on is borrowed from the one that runs the tests."""
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", folder], check=True, timeout=300)
    python = folder / "bin" / "python"
    (own,) = (folder / "lib").glob("python*/site-packages")
    borrowed = [path for path in sys.path if path.endswith("site-packages")]
    (own / "borrowed.pth").write_text("\n".join(borrowed))
    into = ["--python", python, "install", "--quiet", "--no-deps", "--no-index", "--ignore-installed", wheel]
    subprocess.run([sys.executable, "-m", "pip", *into], check=True, capture_output=True, timeout=300)
    return Installed(folder / "bin", own / "tracker")


def find_installed(folder: Path) -> Installed:
    """The program that ``INSTALLED_PROGRAM`` names, which continuous integration installs; else one made here.

    Its style sheet is marked, so that a page tells from which copy it comes.
    """
    named = os.environ.get("INSTALLED_PROGRAM")
    if named:
        where = "import tracker; print(tracker.__path__[0])"
        python = Path(named).with_name("python")
        package = subprocess.run([python, "-I", "-c", where], cwd=folder, capture_output=True, text=True, check=True)
        found = Installed(Path(named).parent, Path(package.stdout.strip()))
    else:
        found = install(build_wheel(folder), folder / "environment")
    assert REPOSITORY not in found.package.resolve().parents
    style = found.package / "ui" / "look.css"
    if MARK not in style.read_text("utf-8"):
        style.write_text(style.read_text("utf-8") + MARK, "utf-8")
    return found


def free_port() -> int:
    """A port that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def fetch(port: int, path: str, accept: str = "*/*") -> tuple[int, bytes]:
    """Status and body of one request to this computer."""
    connection = HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        connection.request("GET", path, headers={"accept": accept})
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


@contextmanager
def started(command: list[str | Path], port: int, cwd: Path, home: Path) -> Iterator[subprocess.Popen[str]]:
    """Run a command that serves the app at a port, until the server answers; it is ended afterwards."""
    server = subprocess.Popen(
        command,
        cwd=cwd,
        env=surroundings(cwd, home),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        for _ in range(600):
            if server.poll() is not None:
                break
            try:
                if fetch(port, "/_stcore/health") == (200, b"ok"):
                    yield server
                    return
            except OSError:
                time.sleep(0.1)
        server.kill()
        pytest.fail(f"the server did not start:\n{server.communicate()[0]}")
    finally:
        if server.poll() is None:
            server.kill()
            server.wait()
        if server.stdout is not None:
            server.stdout.close()
