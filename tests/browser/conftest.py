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
from typing import TYPE_CHECKING, Any

import pytest
from stillness import NOTE_RUNS

if TYPE_CHECKING:
    from warm import Forked, WarmStart

REPOSITORY = Path(__file__).parents[2]
APP = REPOSITORY / "app.py"
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
    "--process-per-site",  # pages of one window share what was compiled of Streamlit's scripts
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


_running = ExitStack()  # what ends with the last test here
_browsers: list[Any] = []
_windows: list[tuple[dict[str, Any], Any]] = []  # free windows with the options they were made with
_warm: list[WarmStart] = []
_ports: list[int] = []  # where the app is served, one server after the other


@pytest.fixture
def chromium() -> Any:
    """A headless browser, started once for all tests that drive one."""
    if not _browsers:
        found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
        if found is None:
            missing("no Chromium on this computer: apt install chromium")
        try:
            from playwright.sync_api import sync_playwright
        except ImportError:
            missing("playwright is not installed: pip install -e .[test]")
        driver = _running.enter_context(sync_playwright())
        _browsers.append(driver.chromium.launch(executable_path=found, args=list(FLAGS)))
        _running.callback(end_browser)
    return _browsers[0]


def end_browser() -> None:
    """Close it with every window that waits for a test."""
    _windows.clear()
    _browsers.pop().close()


def take_window(browser: Any, options: dict[str, Any]) -> Any:
    """A window (a browser context) with these options, new or left clean by an earlier test.

    Loading and compiling Streamlit's scripts is most of the cost of a page. A window that goes on has them, as long as
    its process runs, so a page of the same site stays open in it, for which no server is asked.
    """
    for place, (made_with, _) in enumerate(_windows):
        if made_with == options:
            return _windows.pop(place)[1]
    window = browser.new_context(**options)
    window.add_init_script(NOTE_RUNS)
    stays = window.new_page()
    stays.route("**/*", lambda asked: asked.fulfill(body="stays open"))
    stays.goto("http://127.0.0.1/")
    return window


def give_back(window: Any, options: dict[str, Any]) -> None:
    """Leave nothing in a window of what a test opened or stored there, but scripts and pictures in the cache."""
    stays, *opened_here = window.pages
    for page in opened_here:
        page.close()
    window.clear_cookies()
    storage = stays.context.new_cdp_session(stays)
    storage.send("Storage.clearDataForOrigin", {"origin": "*", "storageTypes": "all"})
    storage.detach()
    _windows.append((options, window))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(nextitem: pytest.Item | None) -> Iterator[None]:
    """End the browser after the last test here: its driver keeps an event loop that other tests would meet."""
    try:
        return (yield)
    finally:
        if nextitem is None or Path(__file__).parent not in nextitem.path.parents:
            _running.close()


def free_port() -> int:
    """A port that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def port_of_the_app() -> int:
    """The port of the server before, where it is free again: browsers keep scripts by their whole address."""
    if _ports:
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as servers do
            try:
                probe.bind(("127.0.0.1", _ports[0]))
            except OSError:
                _ports.clear()
    if not _ports:
        _ports.append(free_port())
    return _ports[0]


def run_arguments(script: Path, port: int) -> list[str]:
    """What ``streamlit`` is told."""
    return ["run", str(script), "--server.port", str(port), "--server.headless", "true"]


@contextmanager
def serving(script: Path, home: Path, log: Path, **environment: str) -> Iterator[str]:
    """Run ``streamlit run SCRIPT`` with the data folder `home`; yields the address."""
    port = free_port()
    command = [sys.executable, "-m", "streamlit", *run_arguments(script, port)]
    with running(command, REPOSITORY, port, home, log, **environment) as address:
        yield address


@contextmanager
def serving_at_once(script: Path, home: Path, log: Path, **environment: str) -> Iterator[str]:
    """As `serving`, from a process that has loaded everything, where the system can fork one."""
    if not hasattr(os, "fork"):
        with serving(script, home, log, **environment) as address:
            yield address
        return
    port = port_of_the_app() if script == APP else free_port()
    surroundings = {**os.environ, "TRACKER_HOME": str(home), **environment}
    server = warm_start().fork(run_arguments(script, port), log, surroundings)
    try:
        yield wait_for_health(port, server, log)
    finally:
        server.end()


def warm_start() -> WarmStart:
    """The process that servers are forked off; it ends with the browser."""
    if not _warm:
        from warm import WarmStart

        _warm.append(WarmStart())
        _running.callback(lambda: _warm.pop().close())
    return _warm[0]


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
            yield wait_for_health(port, server, log)
        finally:
            server.terminate()
            try:
                server.wait(10)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()


def wait_for_health(port: int, server: subprocess.Popen[bytes] | Forked, log: Path) -> str:
    """The address of the server, once it answers; fails with its log when it does not."""
    for _ in range(600):
        if server.poll() is not None:
            break
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2) as answer:
                if answer.read() == b"ok":
                    return f"http://127.0.0.1:{port}"
        except OSError:
            time.sleep(0.05)
    pytest.fail(f"the server did not start:\n{log.read_text('utf-8', 'replace')}")


Serve = Callable[[Path, Path, Path], AbstractContextManager[str]]


@pytest.fixture(scope="session")
def serve() -> Serve:
    """How a test runs a server of its own: ``with serve(script, home, log) as address``."""
    return serving_at_once


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[str]:
    """The whole app with an empty studio; yields its address."""
    with serving_at_once(APP, tmp_path / "studio", tmp_path / "server.log") as address:
        yield address


@pytest.fixture
def opened(chromium: Any) -> Iterator[Callable[..., Watched]]:
    """Open pages with any of the browser's options; they are closed after the test."""
    with ExitStack() as stack:

        def open_page(**options: Any) -> Watched:
            window = take_window(chromium, options)
            stack.callback(give_back, window, options)
            window.set_default_timeout(30_000)  # two tests at once on a slow machine
            return watch(window.new_page())

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
