"""Opening any page without a browser, on an empty studio or on one with drawn photos."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image
from scenes import marks
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

from tracker import workflow
from tracker.record.records import (
    AFTER,
    BEFORE,
    MEASURING,
    PORTFOLIO,
    PROGRESS,
    Client,
    PhotoRecord,
    Step,
    Visit,
    new_id,
    now,
)
from tracker.store import Store
from tracker.ui import session

if TYPE_CHECKING:
    from conftest import MadeOnce

# each page that is opened would have Streamlit read what every installed package says of itself
manifest_scanner.scan_component_manifests = cache(manifest_scanner.scan_component_manifests)

SCRIPT = """
from importlib import import_module
import streamlit as st
from tracker.ui.navigation import ENTRIES, page
chosen = st.navigation([page(entry.name) for entry in ENTRIES], position="hidden")
path = chosen.url_path
name = next((entry.name for entry in ENTRIES if entry.path and (entry.path or entry.name) == path), None)
st.session_state["page-shown"] = name or st.session_state["page-asked"]
import_module("tracker.ui.pages." + st.session_state["page-shown"]).page()
"""

NASTY = ("'); DROP TABLE client; --", "<img src=x onerror=alert(1)>", "=1+1", "*bold* [a](http://b) $x$ :red[x] `c`")
STEP = Step("ends", NASTY[1], NASTY[3], 45.0)


def sent(rev: int = 0, **other: Any) -> dict[str, Any]:
    """What the marks editor sends when somebody has put the marks where they fit, or elsewhere."""
    given = marks()
    value: dict[str, Any] = {"rev": rev, "corners": given.corners, "path": given.path, "outline": given.outline} | other
    return {
        "value": {
            name: [list(point) for point in points] if isinstance(points, tuple) else points
            for name, points in value.items()
        }
    }


def open_page(name: str, **query: str) -> AppTest:
    """Run a page as a person would open it by its address."""
    test = AppTest.from_string(SCRIPT, default_timeout=60)
    test.session_state["page-asked"] = name
    for key, value in query.items():
        test.query_params[key] = value
    return test.run()


def words(test: AppTest) -> str:
    """Everything that the page says, as one text."""
    kinds = (
        "title",
        "header",
        "subheader",
        "markdown",
        "caption",
        "html",
        "error",
        "warning",
        "info",
        "success",
        "code",
    )
    parts = [str(element.value) for kind in kinds for element in getattr(test, kind)]
    return "\n".join(parts)


def assert_no_failure(test: AppTest) -> None:
    """No exception, and no page that says it failed."""
    assert [problem.message for problem in test.exception] == []


def save_visit(test: AppTest) -> AppTest:
    """Save the visit of the last step, without a service where that is asked about."""
    test.button(key="save").click().run()
    if any(button.key == "save-unserved" for button in test.button):
        test.button(key="save-unserved").click().run()
    return test


@cache
def drawn_photo(tip_lightness: float, taken: datetime | None = None, seed: int = 1) -> bytes:
    """A JPEG of a card and a lock of hair that gets lighter towards the tip."""
    from scenes import photograph, scene

    codes = photograph(scene(tip=(tip_lightness, 6.0, 24.0), seed=seed), seed=seed + 1).encoded
    stream = io.BytesIO()
    exif = Image.Exif()
    if taken is not None:
        exif.get_ifd(0x8769)[0x9003] = f"{taken:%Y:%m:%d %H:%M:%S}"
    Image.fromarray(np.asarray(codes)).save(stream, "JPEG", quality=95, exif=exif)
    return stream.getvalue()


@dataclass(frozen=True)
class Filled:
    """A studio with one client who has a visit, two progress photos and a draft, and one who has nothing."""

    store: Store
    client: Client
    visit: Visit
    nobody: Client
    draft_id: str


@pytest.fixture
def store(
    request: pytest.FixtureRequest, made_once: MadeOnce, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Store]:
    """A studio in a folder of its own: the one of `filled` where a test asks for that too, else an empty one."""
    root = tmp_path / "studio"
    monkeypatch.setenv("TRACKER_HOME", str(root))
    if "filled" in request.fixturenames:
        request.node.stash[FILLED] = made_once.copy("filled-studio", fill, root)
    else:
        request.getfixturevalue("empty_studio")
    opened = session.open_store()
    yield opened
    session.close_stores()


@pytest.fixture
def filled(request: pytest.FixtureRequest, store: Store) -> Filled:
    """The studio of `Filled`."""
    return Filled(store, *request.node.stash[FILLED])


FILLED = pytest.StashKey[tuple[Client, Visit, Client, str]]()


def fill(root: Path) -> tuple[Client, Visit, Client, str]:
    """Build the studio of `Filled`; gives what it holds, in that order."""
    with Store(root) as store:
        client = workflow.add_client(store, "Ada", "likes cool tones", {MEASURING: True, PORTFOLIO: True}, "me")
        nobody = workflow.add_client(store, NASTY[1], NASTY[3], {MEASURING: True, PORTFOLIO: False}, NASTY[0])
        on = date.today() - timedelta(days=90)
        draft = workflow.start_draft(store, client.id, "visit")
        visit = Visit(new_id(), client.id, on, ("toner", NASTY[3]), (STEP,), NASTY[1], NASTY[2], now())
        photos = tuple(measured(store, client, role, tip, at(on)) for role, tip in ((BEFORE, 40.0), (AFTER, 62.0)))
        visit = workflow.record_visit(store, replace(draft, visit=visit, photos=photos))
        for number, tip in enumerate((60.0, 58.0), start=1):
            progress = workflow.start_draft(store, client.id, "progress")
            photo = measured(store, client, PROGRESS, tip, at(on + timedelta(days=30 * number)))
            workflow.record_progress(store, replace(progress, photos=(photo,)))
        waiting = workflow.start_draft(store, client.id, "visit")
    return client, visit, nobody, waiting.id


def at(on: date) -> datetime:
    """Noon of a day."""
    return datetime.combine(on, time(12), UTC)


def measured(store: Store, client: Client, role: str, tip: float, taken: datetime) -> PhotoRecord:
    """A drawn photo, taken in and measured with marks that fit it."""
    content = drawn_photo(tip, seed=int(tip))
    record, _ = workflow.take_in(store, content, client_id=client.id, role=role, light="daylight")
    return workflow.measure_record(store, replace(record, taken_at=taken, time_noted=True), marks())
