"""The installed program in a real browser: its pages show the demo, and closing it with a page open takes one line."""

from __future__ import annotations

import signal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.installed import MARK, find_installed, free_port, started

if TYPE_CHECKING:
    from conftest import Watched

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_it_shows_its_pages_with_its_own_look_and_asks_nothing_outside(desktop: Watched, tmp_path: Path) -> None:
    installed, port = find_installed(tmp_path), free_port()
    (tmp_path / "empty").mkdir()
    command = [installed.program, "open", "--no-browser", "--port", str(port)]
    with started(command, port, tmp_path / "empty", tmp_path / "studio") as server:
        page = desktop.page
        page.goto(f"http://127.0.0.1:{port}/clients")
        page.get_by_role("heading", name="Clients").wait_for()
        assert MARK in page.content()
        # the page's colour in tracker/ui/theme.toml, though no file of settings is near
        page.get_by_role("button", name="Add a client").wait_for()
        background = page.evaluate("getComputedStyle(document.querySelector('.stApp')).backgroundColor")
        assert background == "rgb(247, 247, 247)"
        desktop.assert_clean()
        server.send_signal(signal.SIGINT)
        said, _ = server.communicate(timeout=60)
    assert server.returncode == 0
    assert said.splitlines()[-1] == "The studio is closed."
    assert len(said.splitlines()) == 5
    assert list((tmp_path / "empty").iterdir()) == []
