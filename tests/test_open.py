"""``open`` finds a port or the studio that is served already, and shows it where there is a screen."""

from __future__ import annotations

import socket
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from command_line import require_refusal

from tests.installed import free_port
from tests.test_server import ask, house
from tracker.__main__ import main
from tracker.errors import Conflict
from tracker.open import browser, port
from tracker.open.port import find_place
from tracker.store import Store
from tracker.workflow.which_studio import studio_sign

SIGN = "a" * 64


@contextmanager
def answering(text: str, status: int = 200) -> Iterator[int]:
    """A program that gives the same answer to everybody; yields its port."""

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(status)
            self.end_headers()
            self.wfile.write(text.encode())

        def log_message(self, *_: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Answer) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_port
        server.shutdown()


@contextmanager
def silent() -> Iterator[int]:
    """A program that listens and never answers; yields its port."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        yield listening.getsockname()[1]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRACKER_HOME", str(tmp_path / "studio"))
    return tmp_path / "studio"


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Addresses that the browser was told to open; there is a screen."""
    addresses: list[str] = []
    monkeypatch.setattr("webbrowser.open", lambda address: addresses.append(address) is None)
    monkeypatch.setenv("DISPLAY", ":0")
    return addresses


def test_a_free_port_is_taken() -> None:
    number = free_port()
    place = find_place(number, SIGN)
    assert (place.port, place.served, place.address) == (number, False, f"http://127.0.0.1:{number}")


@pytest.mark.parametrize(("answer", "status"), [("b" * 64, 200), (SIGN + "a", 200), (SIGN, 404), ("", 200)])
def test_another_program_is_not_taken_for_the_studio(answer: str, status: int) -> None:
    with answering(answer, status) as number, pytest.raises(Conflict, match=str(number)):
        find_place(number, SIGN)


def test_a_program_that_never_answers_holds_nobody_up() -> None:
    with silent() as number, pytest.raises(Conflict, match="taken"):
        find_place(number, SIGN)


def test_of_many_ports_the_one_that_serves_this_studio_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    with answering("b" * 64) as other, answering(SIGN) as own:
        monkeypatch.setattr(port, "FIRST", min(other, own) - 1)
        monkeypatch.setattr(port, "LAST", max(other, own))
        place = find_place(None, SIGN)
        assert (place.port, place.served) == (own, True)
        monkeypatch.setattr(port, "FIRST", other)
        monkeypatch.setattr(port, "LAST", other)
        with pytest.raises(Conflict, match="all taken"):
            find_place(None, SIGN)


def test_the_sign_is_that_of_one_folder_and_one_studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    signs = set()
    for name in ("one", "two"):
        monkeypatch.setenv("TRACKER_HOME", str(tmp_path / name))
        signs.add(studio_sign())
        Store(tmp_path / name).close()
        signs.add(studio_sign())
        assert studio_sign() in signs
    assert len(signs) == 4
    (tmp_path / "two" / "studio.json").write_text("damaged")
    assert len(studio_sign()) == 64


@pytest.mark.usefixtures("home")
def test_the_server_tells_its_sign_to_programs_and_to_no_page() -> None:
    answer = ask(house(), "/which-studio")
    assert (answer.status, answer.body.decode()) == (200, studio_sign())
    assert answer.headers["cache-control"] == "no-store"
    assert ask(house(), "/which-studio", origin="http://evil.example").status == 403
    assert ask(house(), "/which-studio", sec_fetch_site="cross-site", sec_fetch_mode="no-cors").status == 403


@pytest.mark.usefixtures("home")
def test_what_is_open_already_is_only_shown(shown: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with answering(studio_sign()) as number:
        assert main(["open", "--port", str(number)]) == 0
        assert shown == [f"http://127.0.0.1:{number}"]
        assert capsys.readouterr().out == f"The studio is open already: http://127.0.0.1:{number}\n"
        assert main(["open", "--port", str(number), "--no-browser"]) == 0
        assert len(shown) == 1
        assert "Open this address in a browser" in capsys.readouterr().out


@pytest.mark.parametrize(("system", "screen"), [("linux", False), ("darwin", True), ("win32", True)])
def test_without_a_screen_only_the_address_is_said(
    system: str, screen: bool, shown: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(sys, "platform", system)
    browser.show("http://127.0.0.1:8501", True)
    assert bool(shown) == screen
    assert ("Open this address" in capsys.readouterr().out) != screen


@pytest.mark.parametrize("number", ["80", "65536", "x", "-1", "²"])
def test_what_is_no_port_is_refused(number: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["open", f"--port={number}"])
    said = capsys.readouterr()
    require_refusal((int(str(ended.value.code)), said.out, said.err), "usage", "not a port from 1024 to 65535")


def test_a_data_folder_that_cannot_be_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("TRACKER_HOME", str(tmp_path / "file" / "studio"))
    status = main(["open", "--no-browser"])
    said = capsys.readouterr()
    require_refusal((status, said.out, said.err), "store_error", "cannot be made")
