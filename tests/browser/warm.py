"""A process that has loaded what the app needs and forks a server off it for each test: loading is half of a start.

It reads a line of JSON from its standard input for each thing to do, and answers with one.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from importlib import import_module
from pathlib import Path
from typing import Any

REPOSITORY = Path(__file__).parents[2]
LIBRARIES = (
    "altair", "alembic.command", "cv2", "pandas", "pyarrow", "scipy.optimize", "sqlalchemy", "streamlit.web.cli",
)  # fmt: skip
_END_SECONDS = 10.0


class WarmStart:
    """The process, and the servers that it forked."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__], cwd=REPOSITORY, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def fork(self, arguments: list[str], log: Path, environment: dict[str, str]) -> Forked:
        """Start ``streamlit`` with these arguments."""
        asked = {"arguments": arguments, "log": str(log), "environment": environment}
        return Forked(self, int(self.ask("start", **asked)))

    def ask(self, what: str, **asked: Any) -> Any:
        """Have it do something; gives its answer."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps({"do": what, **asked}) + "\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def close(self) -> None:
        """End it; no server that it forked may run any more."""
        self._process.communicate()


class Forked:
    """A server that was forked, with as much of `subprocess.Popen` as a test needs."""

    def __init__(self, parent: WarmStart, pid: int) -> None:
        self._parent, self.pid = parent, pid

    def poll(self) -> int | None:
        """How it ended, or None while it runs."""
        ended: int | None = self._parent.ask("poll", pid=self.pid)
        return ended

    def end(self) -> None:
        """End it as a person would, and kill it where that takes too long."""
        for how in (signal.SIGTERM, signal.SIGKILL):
            until = time.monotonic() + _END_SECONDS
            if self.poll() is None:
                os.kill(self.pid, how)
            while self.poll() is None and time.monotonic() < until:
                time.sleep(0.05)


def load() -> None:
    """Import what the pages and the server use, which starts nothing."""
    sys.path.insert(0, str(REPOSITORY))
    for name in LIBRARIES:
        import_module(name)
    from tracker.ui.navigation import ENTRIES

    for entry in ENTRIES:
        import_module(f"tracker.ui.pages.{entry.name}")


def serve(asked: dict[str, Any]) -> None:
    """Become a server: what ``python -m streamlit`` does, in a process that has everything loaded."""
    os.environ.clear()
    os.environ.update(asked["environment"])
    for stream, path, flags in ((0, os.devnull, os.O_RDONLY), (1, asked["log"], os.O_WRONLY | os.O_CREAT)):
        os.dup2(os.open(path, flags), stream)
    os.dup2(1, 2)
    sys.argv = ["streamlit", *asked["arguments"]]
    from streamlit.web.cli import main

    main(prog_name="streamlit")


def wait_for_orders() -> None:
    ended: dict[int, int] = {}
    for line in sys.stdin:
        asked = json.loads(line)
        if asked["do"] == "start":
            answer: int | None = os.fork()
            if answer == 0:
                return serve(asked)
        else:
            pid = asked["pid"]
            if pid not in ended:
                found, status = os.waitpid(pid, os.WNOHANG)
                if found:
                    ended[pid] = os.waitstatus_to_exitcode(status)
            answer = ended.get(pid)
        print(json.dumps(answer), flush=True)
    return None


if __name__ == "__main__":
    load()
    wait_for_orders()
