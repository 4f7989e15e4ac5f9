"""A running server answers its own page on its own computer and reaches no other, with and without its settings."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from http.client import HTTPConnection
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import pytest
from conftest import REPOSITORY, Watched, free_port, running
from PIL import Image
from stillness import settled

from tracker import workflow
from tracker.record.records import MEASURING
from tracker.store import Store

pytestmark = pytest.mark.browser

WATCHED = str(REPOSITORY / "tests" / "watched_start.py")
FOREIGN = ["http://evil.example", "http://127.0.0.1:9", "http://localhost:9", "null", None]


def answer(address: str, path: str, method: str = "GET", **headers: str) -> int:
    """The status of one request with exactly these headers."""
    connection = HTTPConnection(address.removeprefix("http://"), timeout=20)
    connection.putrequest(method, path, skip_host="host" in headers)
    for name, value in headers.items():
        connection.putheader(name.replace("_", "-"), value)
    connection.endheaders()
    try:
        return connection.getresponse().status
    finally:
        connection.close()


def socket_answer(address: str, origin: str | None, path: str = "/_stcore/stream", **headers: str) -> int:
    """The status of the opening of a web socket (RFC 6455, 4.1); 101 where it is let in."""
    opening = {
        "connection": "Upgrade",
        "upgrade": "websocket",
        "sec_websocket_version": "13",
        "sec_websocket_key": "dGhlIHNhbXBsZSBub25jZQ==",
        **({"origin": origin} if origin is not None else {}),
        **headers,
    }
    return answer(address, path, **opening)


def assert_only_our_page_is_heard(address: str) -> None:
    """Requests that another page of this computer's browser could send, and one that ours sends."""
    assert [answer(address, "/"), socket_answer(address, address)] == [200, 101]
    assert socket_answer(address, address, "/erasures") == 101
    upload = "/_stcore/upload_file/0/0"
    for origin in FOREIGN:
        assert socket_answer(address, origin) == 403, origin
        assert socket_answer(address, origin, "/erasures") == 403, origin
        for method in ("PUT", "DELETE"):
            named = {"origin": origin} if origin is not None else {}
            assert answer(address, upload, method, content_length="0", **named) == 403, origin
    assert answer(address, upload, "PUT", content_length="0", origin=address) not in (200, 404)
    assert answer(address, "/", host="evil.example") == 403
    assert socket_answer(address, "http://evil.example", host="evil.example") == 403
    assert answer(address, "/_stcore/health", origin="http://127.0.0.1:9") == 403
    assert answer(address, "/picture/0/320.jpg", sec_fetch_site="same-site", sec_fetch_mode="no-cors") == 403


def walk_through(desktop: Watched, address: str) -> None:
    page = desktop.page
    page.goto(address)
    page.get_by_role("heading").first.wait_for()
    page.goto(f"{address}/clients")
    page.get_by_role("heading", name="Clients").wait_for()
    assert desktop.outside == []


def test_a_foreign_page_is_refused_and_no_other_computer_is_asked(desktop: Watched, tmp_path: Path) -> None:
    port, asked = free_port(), tmp_path / "asked"
    command = [sys.executable, WATCHED, str(asked), "streamlit", "run", "app.py"]
    options = ["--server.port", str(port), "--server.headless", "true"]
    with running([*command, *options], REPOSITORY, port, tmp_path / "studio", tmp_path / "log") as address:
        walk_through(desktop, address)
        assert_only_our_page_is_heard(address)
        assert asked.read_text("utf-8") == ""


def test_an_upload_stays_out_of_the_folder_for_temporary_files(desktop: Watched, tmp_path: Path) -> None:
    port, opened, temporary = free_port(), tmp_path / "opened", tmp_path / "temporary"
    temporary.mkdir()
    with Store(tmp_path / "studio") as store:
        client = workflow.add_client(store, "Ada", "", {MEASURING: True}, "me")
    photo = tmp_path / "photo.png"
    Image.effect_noise((2600, 2000), 90).save(photo)
    assert photo.stat().st_size > 4 * 1024**2
    command = [sys.executable, WATCHED, str(opened), "streamlit", "run", "app.py"]
    options = ["--server.port", str(port), "--server.headless", "true"]
    watched = {"TMPDIR": str(temporary), "WATCHED_FOLDER": str(temporary)}
    with running([*command, *options], REPOSITORY, port, tmp_path / "studio", tmp_path / "log", **watched) as address:
        page = desktop.page
        page.goto(f"{address}/new-visit?client={client.id}")
        page.get_by_role("heading", name="New visit").wait_for()
        settled(page)
        page.locator("input[type=file]").first.set_input_files(photo)
        page.get_by_role("button", name="Remove this photo").wait_for(timeout=60_000)
        assert opened.read_text("utf-8") == ""
        assert [path for path in temporary.rglob("*") if path.is_file()] == []


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """The program as it may be copied: without the hidden folder that holds its settings."""
    copy = tmp_path / "copy"
    shutil.copytree(REPOSITORY / "tracker", copy / "tracker", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(REPOSITORY / "app.py", copy)
    return copy


@pytest.fixture
def settings_of_others(tmp_path: Path) -> Callable[[int], dict[str, str]]:
    """A home folder whose settings, made for other programs, open every door."""

    def write(port: int) -> dict[str, str]:
        file = tmp_path / "home" / ".streamlit" / "config.toml"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(
            f'[server]\nport = {port}\naddress = "0.0.0.0"\nenableXsrfProtection = false\nenableCORS = false\n'
            "enableStaticServing = true\nmaxUploadSize = 1000\nheadless = true\n"
            '[browser]\ngatherUsageStats = true\n[client]\nshowErrorDetails = "full"\n'
        )
        return {"HOME": str(tmp_path / "home"), "PYTHONPATH": ""}

    return write


def listening(port: int) -> set[str]:
    """The addresses at which this computer waits at a port (proc(5): hexadecimal, each word in the machine's order)."""
    found = set()
    for name in ("tcp", "tcp6"):
        for line in Path(f"/proc/net/{name}").read_text().splitlines()[1:]:
            local, state = line.split()[1], line.split()[3]
            address, at = local.split(":")
            if state == "0A" and int(at, 16) == port:
                words = [bytes.fromhex(address[i : i + 8]) for i in range(0, len(address), 8)]
                raw = b"".join(word[::-1] if sys.byteorder == "little" else word for word in words)
                found.add(str(ip_address(raw)))
    return found


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="reads the sockets from Linux's /proc")
@pytest.mark.parametrize("way", ["streamlit run app.py", "python app.py", "measured-hair open"])
@pytest.mark.parametrize("others", ["no settings", "settings of others"])
def test_without_its_settings_the_app_is_as_closed(
    way: str,
    others: str,
    bare: Path,
    desktop: Watched,
    settings_of_others: Callable[[int], dict[str, str]],
    tmp_path: Path,
) -> None:
    port, asked = free_port(), tmp_path / "asked"
    environment = settings_of_others(port)
    command = [sys.executable, WATCHED, str(asked), "app.py"]
    if way == "streamlit run app.py":
        command = [*command[:-1], "streamlit", "run", "app.py", "--server.port", str(port), "--server.headless", "true"]
    if way == "measured-hair open":
        words = ["open", "--no-browser", "--port", str(port)]
        (bare / "program.py").write_text(f"from tracker.__main__ import main\n\nraise SystemExit(main({words}))\n")
        command = [*command[:-1], "program.py"]
    if others == "no settings":
        (tmp_path / "home" / ".streamlit" / "config.toml").write_text(f"[server]\nport = {port}\n")
    with running(command, bare, port, tmp_path / "studio", tmp_path / "log", **environment) as address:
        assert listening(port) == {"127.0.0.1"}
        before = asked.read_text("utf-8")
        assert_only_our_page_is_heard(address)
        walk_through(desktop, address)  # Streamlit's page would send statistics itself
        assert asked.read_text("utf-8") == before
        if way != "streamlit run app.py":
            assert before == ""


def test_told_to_listen_wider_it_does_not_start(tmp_path: Path) -> None:
    command = [sys.executable, WATCHED, str(tmp_path / "asked"), "streamlit", "run", "app.py"]
    wide = ["--server.port", str(free_port()), "--server.headless", "true", "--server.address", "0.0.0.0"]  # noqa: S104
    ended = subprocess.run([*command, *wide], cwd=REPOSITORY, capture_output=True, text=True, timeout=120, check=False)
    assert ended.returncode == 1
    assert "answers only the computer it runs on" in ended.stderr


def test_no_settings_file_undoes_the_safe_ones(
    bare: Path, settings_of_others: Callable[[int], dict[str, str]], tmp_path: Path
) -> None:
    """Also not one that is written while the program runs: Streamlit reads it again by itself."""
    seen = (
        "import json; from streamlit import config; first = config.get_option('server.maxUploadSize'); import app; "
        "from tracker.ui.safe_settings import SAFE; now = lambda: {name: config.get_option(name) for name in SAFE}; "
        "one = now(); config.get_config_options(force_reparse=True); print(json.dumps([first, SAFE, one, now()]))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", seen],
        cwd=bare,
        env={**settings_of_others(8501), "TRACKER_HOME": str(tmp_path / "studio")},
        capture_output=True,
        text=True,
        check=True,
    )
    first, safe, one, two = json.loads(ended.stdout)
    assert first == 1000
    assert one == two == safe
    wanted: dict[str, Any] = {
        "server.address": "127.0.0.1",
        "server.enableStaticServing": False,
        "server.enableXsrfProtection": True,
        "server.maxUploadSize": 80,
        "browser.gatherUsageStats": False,
        "client.showErrorDetails": "none",
    }
    assert {name: one[name] for name in wanted} == wanted


def test_the_watch_sees_who_asks_outside(tmp_path: Path) -> None:
    script, asked = tmp_path / "asks.py", tmp_path / "asked"
    script.write_text(
        "import socket, urllib.request\n"
        "for ask in (\n"
        "    lambda: urllib.request.urlopen('http://elsewhere.example'),\n"
        "    lambda: socket.create_connection(('192.0.2.1', 80), timeout=1),\n"
        "    lambda: socket.socket(socket.AF_INET, socket.SOCK_DGRAM).connect(('192.0.2.2', 1)),\n"
        "    lambda: socket.create_connection(('127.0.0.1', 9), timeout=1),\n"
        "):\n"
        "    try:\n"
        "        ask()\n"
        "    except OSError:\n"
        "        pass\n"
    )
    subprocess.run([sys.executable, WATCHED, str(asked), str(script)], check=True, timeout=60)
    found = asked.read_text("utf-8").split()
    assert {"elsewhere.example", "192.0.2.1", "192.0.2.2"} <= set(found)
    assert "127.0.0.1" not in found
