"""A real browser, a real server, and pages that note what they should not do."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

REPOSITORY = Path(__file__).parents[2]
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-quic",
    "--disable-sync",
    "--no-first-run",
)


@dataclass
class Watched:
    """A page of the browser with what it asked outside and what it complained about."""

    page: Any
    outside: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def assert_clean(self) -> None:
        """Nothing was asked outside this computer and nothing went wrong in the console."""
        assert self.outside == []
        assert self.errors == []


def missing(reason: str) -> None:
    """Skip here, but fail where the tests are meant to be complete."""
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A headless browser; gone after each file, because its driver keeps an event loop that other tests would meet."""
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if found is None:
        missing("no Chromium on this computer: apt install chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed: pip install -e .[test]")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=list(FLAGS))
        yield browser
        browser.close()


def free_port() -> int:
    """A port that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def serving(script: Path, home: Path, log: Path, **environment: str) -> Iterator[str]:
    """Run ``streamlit run SCRIPT`` with the data folder `home`; yields the address."""
    port = free_port()
    command = [sys.executable, "-m", "streamlit", "run", str(script), "--server.port", str(port)]
    with running([*command, "--server.headless", "true"], REPOSITORY, port, home, log, **environment) as address:
        yield address


@contextmanager
def running(command: list[str], cwd: Path, port: int, home: Path, log: Path, **environment: str) -> Iterator[str]:
    """Run a command that serves the app at a port; yields the address."""
    with log.open("wb") as output:
        server = subprocess.Popen(
            command,
            cwd=cwd,
            env={**os.environ, "TRACKER_HOME": str(home), **environment},
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
        try:
            wait_for_health(f"http://127.0.0.1:{port}", server, log)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            try:
                server.wait(10)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()


def wait_for_health(address: str, server: subprocess.Popen[bytes], log: Path) -> None:
    """Return when the server answers; fail with its log when it does not."""
    for _ in range(300):
        if server.poll() is not None:
            break
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2) as answer:
                if answer.read() == b"ok":
                    return
        except OSError:
            time.sleep(0.1)
    pytest.fail(f"the server did not start:\n{log.read_text('utf-8', 'replace')}")


Serve = Callable[[Path, Path, Path], AbstractContextManager[str]]


@pytest.fixture(scope="session")
def serve() -> Serve:
    """How a test runs a server of its own: ``with serve(script, home, log) as address``."""
    return serving


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[str]:
    """The whole app with an empty studio; yields its address."""
    with serving(REPOSITORY / "app.py", tmp_path / "studio", tmp_path / "server.log") as address:
        yield address


@pytest.fixture
def opened(chromium: Any) -> Iterator[Callable[..., Watched]]:
    """Open pages with any of the browser's options; they are closed after the test."""
    with ExitStack() as stack:

        def open_page(**options: Any) -> Watched:
            context = chromium.new_context(**options)
            stack.callback(context.close)
            context.set_default_timeout(10_000)
            return watch(context.new_page())

        yield open_page


def watch(page: Any) -> Watched:
    """Note requests to other computers and errors in the console."""
    watched = Watched(page)
    inside = ("http://127.0.0.1:", "ws://127.0.0.1:", "data:", "blob:")

    def note(said: Any) -> None:
        # a page opened by its own address looks for the server under that address first: Streamlit's way, harmless
        probe = said.location.get("url", "").endswith(("/_stcore/health", "/_stcore/host-config"))
        if said.type == "error" and not probe:
            watched.errors.append(said.text)

    page.on("request", lambda asked: None if asked.url.startswith(inside) else watched.outside.append(asked.url))
    page.on("console", note)
    page.on("pageerror", lambda error: watched.errors.append(str(error)))
    return watched


DESKTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}}
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "has_touch": True,
    "is_mobile": True,
    "device_scale_factor": 2,
}


@pytest.fixture
def desktop(opened: Callable[..., Watched]) -> Watched:
    """A page 1280 pixels wide, with a mouse."""
    return opened(**DESKTOP)


@pytest.fixture
def phone(opened: Callable[..., Watched]) -> Watched:
    """A page 390 pixels wide, with a finger."""
    return opened(**PHONE)
