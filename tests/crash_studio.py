"""Records of a small studio, for the tests of the store and for the programs that they kill."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tracker.maths.quantities import LabMeasured, Measured
from tracker.measure.reading import (
    CardSummary,
    Check,
    Correction,
    Dropped,
    Marks,
    PhotoReading,
    ProfilePoint,
    RegionReading,
)
from tracker.record.records import (
    CONSENT_VERSION,
    MEASURING,
    PURPOSES,
    Client,
    Consent,
    Draft,
    PhotoRecord,
    Step,
    Visit,
    new_id,
    now,
)
from tracker.store import Store

if TYPE_CHECKING:
    import pytest

MARKS = Marks("grey18", ((1.0, 1.0), (9.0, 1.0), (9.0, 9.0), (1.0, 9.0)), ((20.0, 5.0), (21.5, 80.25)), 12.5)
COV = ((1.0, 0.25, 0.0), (0.25, 2.0, 0.0), (0.0, 0.0, 3.0))


def reading() -> PhotoReading:
    """A reading with a value in every field, infinite degrees of freedom among them."""
    measured = Measured(41.5, 0.75, "L*", math.inf)
    region = RegionReading(
        "mid", LabMeasured((41.5, 9.25, 17.0), COV, 7.5), COV, measured, measured, measured, None, 4321,
        Dropped(0.01, 0.02, 0.0, 0.25),
    )  # fmt: skip
    return PhotoReading(
        "1.0",
        CardSummary("grey18", MARKS.corners or ((0, 0),) * 4, (49.5, 0.1, -0.2), 0.0, 0.05),
        Correction("grey18", (1.1, 1.0, 0.9)),
        (region,),
        (ProfilePoint(0.5, (41.5, 9.25, 17.0), 0.3),),
        (Check("clipped", True, 0.0, 0.005, "", "The card is not clipped."),),
    )


def add_client(store: Store, name: str = "Ada", note: str = "", purposes: Iterable[str] = PURPOSES) -> Client:
    """Keep a client who agrees to those purposes."""
    client = Client(new_id(), name, note, now())
    return store.clients.add(client, [answer(client.id, purpose) for purpose in purposes])


def answer(client_id: str, purpose: str = MEASURING, given: bool = True) -> Consent:
    return Consent(new_id(), client_id, purpose, given, CONSENT_VERSION, now(), "the owner")


def new_visit(client_id: str, on: date = date(2026, 3, 14), note: str = "") -> Visit:
    steps = (Step("ends", "Painted freehand", minutes=40.0),)
    return Visit(new_id(), client_id, on, ("toner",), steps, note, "", now())


def new_photo(
    store: Store,
    client_id: str,
    content: bytes,
    *,
    visit_id: str | None = None,
    role: str = "before",
    taken_at: datetime = datetime(2026, 3, 14, 10, tzinfo=UTC),
) -> PhotoRecord:
    """A photo whose picture is kept; the record is not saved."""
    file = store.pictures.put(content)
    return PhotoRecord(
        new_id(),
        client_id,
        visit_id,
        role,
        taken_at,
        now(),
        "Maker Model",
        "daylight",
        file,
        (100, 90),
        MARKS,
        reading(),
    )


def new_draft(client_id: str, visit: Visit | None, photos: tuple[PhotoRecord, ...]) -> Draft:
    return Draft(new_id(), client_id, "visit", 0, visit, photos, now())


def note_syncs(monkeypatch: pytest.MonkeyPatch) -> set[int]:
    """The numbers (inodes) of all files and folders that are put safely on the disk from now on."""
    synced: set[int] = set()
    fsync = os.fsync

    def noted(descriptor: int) -> None:
        synced.add(os.fstat(descriptor).st_ino)
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", noted)
    return synced


def save_pair(store: Store, client_id: str, before: bytes = b"before", after: bytes = b"after") -> Visit:
    """Keep a visit with a before and an after."""
    visit = new_visit(client_id)
    photos = [
        new_photo(store, client_id, before, visit_id=visit.id),
        replace(new_photo(store, client_id, after, visit_id=visit.id), role="after"),
    ]
    return store.visits.save(visit, photos)


def pictures_in(root: Path) -> set[str]:
    """Names of the picture files below a studio's folder."""
    return {path.stem for path in (root / "pictures").rglob("*.jpg")}


def files_with(root: Path, tokens: Iterable[bytes]) -> list[tuple[str, bytes]]:
    """Files below a folder that hold one of the tokens, with the token."""
    found = []
    for path in sorted(root.rglob("*")):
        if path.is_file():
            content = path.read_bytes()
            found += [(path.name, token) for token in tokens if token in content]
    return found
