"""An erased photo is gone from the browser's own folder too."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from conftest import BROWSERS, FLAGS, watch
from stillness import NOTE_RUNS, settled
from test_main_job import open_listed, press, sample

from tracker import workflow
from tracker.record.records import BEFORE, MEASURING
from tracker.store import Store

if TYPE_CHECKING:
    from conftest import Serve

pytestmark = pytest.mark.browser

APP = Path(__file__).parents[2] / "app.py"


def browser() -> str:
    """Where the browser is."""
    return next(path for name in BROWSERS if (path := shutil.which(name)))


def files_with(folder: Path, piece: bytes) -> list[str]:
    """The files below the folder that have these bytes."""
    return [str(path) for path in folder.rglob("*") if path.is_file() and piece in path.read_bytes()]


def holds(folder: Path, piece: bytes) -> bool:
    """Whether any file below the folder has these bytes."""
    return bool(files_with(folder, piece))


def wait_until(page: Any, folder: Path, piece: bytes, there: bool) -> None:
    """The browser writes its folder when it likes."""
    for _ in range(60):
        if holds(folder, piece) is there:
            return
        page.wait_for_timeout(250)
    pytest.fail(f"the picture is {'not ' if there else 'still '}in the browser's folder")


def test_the_browser_keeps_nothing_that_was_typed(chromium: Any, serve: Serve, tmp_path: Path) -> None:
    """Its memory for forms and its restoring of windows both keep the words of fields, in files of its own."""
    profile, name, note = tmp_path / "profile", "Quetzalina Xu", "dislikes strawberries"
    with serve(APP, tmp_path / "studio", tmp_path / "log") as address:
        context = chromium.browser_type.launch_persistent_context(
            str(profile), executable_path=browser(), args=list(FLAGS), headless=True
        )
        context.add_init_script(NOTE_RUNS)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.goto(f"{address}/clients?add=1")
        page.get_by_label("Name", exact=True).fill(name)
        page.get_by_label("Note (optional)").fill(note)
        for purpose in range(2):
            page.get_by_role("checkbox").nth(purpose).check(force=True)
        page.get_by_label("Who asked the client").fill("Wilhelmina")
        press(page, "Add the client")
        page.get_by_role("heading", name=name, exact=True).wait_for()
        page.goto(f"{address}/clients")
        page.get_by_label("Find", exact=False).first.fill(name)
        page.get_by_role("link", name=name).first.wait_for()
        page.goto(f"{address}/studio")
        page.get_by_role("heading", name="Studio", exact=True).wait_for()
        page.wait_for_timeout(3000)  # the browser writes its folder when it likes
        context.close()
    assert holds(profile, b"127.0.0.1")  # it did write it
    for word in (name, note, "Wilhelmina"):
        for encoding in ("utf-8", "utf-16-le"):
            assert files_with(profile, word.encode(encoding)) == []


def test_the_browser_drops_the_pictures_of_an_erased_client(chromium: Any, serve: Serve, tmp_path: Path) -> None:
    home, profile = tmp_path / "studio", tmp_path / "profile"
    with Store(home) as store:
        client = workflow.add_client(store, "Ada", "", {MEASURING: True}, "me")
        content = sample("before").read_bytes()
        draft = workflow.start_draft(store, client.id, "visit")
        photo, _ = workflow.take_in(store, content, client_id=client.id, role=BEFORE, light="daylight")
        workflow.keep_draft(store, replace(draft, photos=(photo,)))
    with serve(APP, home, tmp_path / "log") as address:
        context = chromium.browser_type.launch_persistent_context(
            str(profile), executable_path=browser(), args=list(FLAGS), headless=True
        )
        context.add_init_script(NOTE_RUNS)
        watched = watch(context.new_page())
        page = watched.page
        page.set_default_timeout(15_000)
        with page.expect_response(lambda answer: "/picture/" in answer.url) as answered:
            page.goto(f"{address}/new-visit?draft={draft.id}")
        body = answered.value.body()
        piece = body[len(body) // 2 : len(body) // 2 + 48]
        wait_until(page, profile, piece, there=True)
        open_listed(page, "Clients")
        page.get_by_role("link", name="Ada").first.click()
        page.get_by_role("heading", name="Ada", exact=True).wait_for()
        settled(page)
        page.get_by_text("Erase this client").first.click()
        page.get_by_label("Type the client’s name to confirm").fill("Ada")
        press(page, "Erase for good")
        page.get_by_text("Erased on").wait_for()
        wait_until(page, profile, piece, there=False)
        context.close()
