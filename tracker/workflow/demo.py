"""A made-up studio to try the program with: invented people, drawn photos, real measuring."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from tracker.errors import Conflict, NotFound, StoreDamaged
from tracker.measure.reading import DAYLIGHT, LAMPS, WHOLE, Marks
from tracker.record.agreed import AgreedLimits
from tracker.record.mixing import Amount, Charge, Strength
from tracker.record.records import AFTER, BEFORE, PROGRESS, PURPOSES, Client, PhotoRecord, Step, Visit, new_id, now
from tracker.store import Store
from tracker.words import DAYS_PER_MONTH
from tracker.workflow.clients import add_client
from tracker.workflow.photos import measure_record, take_in
from tracker.workflow.visits import keep_draft, record_visit, start_draft

Progress = Callable[[float, str], object]

_MONTHS_BACK = 6.2  # the service is long enough ago for all progress photos
_RECORDER = "demo"
_AGAIN = "Install the program again."
_NOTE = "Made up for the demo: not a real person, and the photos are drawn by a program."

# Made up, like the people: what a colourist might note, with prices not of any real product
_CARD_MM = (84.0, 116.0)  # of the card in every photo shown: sample_images/make/scenes.json
_POWDER = Charge("demo-powder", "Demo lightener powder", 500, "g", 24.0, "EUR", 40)
_DEVELOPER = Charge("demo-developer", "Demo developer", 1000, "ml", 7.5, "EUR", 60)
_TONER = Charge("demo-toner", "Demo violet toner", 60, "g", 9.0, "EUR", 20)
_LIGHTENING = (
    Step(
        "mid-lengths",
        "lightener",
        "lightener powder",
        45,
        "Painted freehand, soft start, no line at the root",
        Strength(20),
        "1:1.5",
        Amount(40),
        ("slices", "open-air"),
        sections="diagonal back",
        charges=(_POWDER, _DEVELOPER),
        waste=10,
    ),
    Step("ends", "lightener", "lightener powder", 45, "Painted more fully, from the same bowl", Strength(20), "1:1.5"),
    Step(
        "all over",
        "toner",
        "sheer violet toner",
        10,
        developer=Strength(1.5, "%"),
        ratio="1:2",
        amount=Amount(20),
        charges=(_TONER,),
        waste=0,
    ),
    Step("all over", "treatment", "bond mask", 5),
)
_HISTORY = "Invented: box colour some years ago, grown out since; nothing in the last year."
_START = "Invented: natural at the root, a little brassy below, would like it lighter and softer."
_AGREED, _WASHES = AgreedLimits(warmer=3.5, hair=WHOLE), 3.0
_CONSULTATION = (Step("all over", "looked at in daylight before any colour, and measured as a start"),)


@dataclass(frozen=True, slots=True)
class Sample:
    """One photo of the demo, as the list beside it describes it.

    Attributes
    ----------
    path : Path of the photo
    client : str, invented first name
    role : str, ``before``, ``after``, ``progress`` or ``single``
    months : float, since the service
    light : str, one of `reading.LIGHTS`
    """

    path: Path
    client: str
    role: str
    months: float
    light: str
    marks: Marks


def sample_folder() -> Path:
    """The folder of the demo's photos and of their list, inside the program."""
    return Path(__file__).with_name("demo_photos")


def has_demo(store: Store) -> bool:
    """True where the studio has made-up clients."""
    return bool(store.clients.demo_ids())


def remove_demo(store: Store) -> None:
    """Erase all made-up clients; real ones are not touched."""
    for client_id in store.clients.demo_ids():
        store.erasures.erase(client_id)


def load_demo(
    store: Store, folder: Path | None = None, progress: Progress | None = None, *, today: date | None = None
) -> None:
    """Fill an empty studio with made-up clients, their visits and progress photos.

    The photos go through the same steps as real ones. If anything fails, all of it is removed again.

    Parameters
    ----------
    store : Store, without clients
    folder : Path with ``photos.json`` and the photos it lists; None for `sample_folder`
    progress : called with the share done, 0..1, and what is being done
    today : date or None for the current one

    Raises
    ------
    Conflict : there are already clients
    NotFound : the photos are not there
    StoreDamaged : their list cannot be read
    """
    if not store.is_empty():
        raise Conflict("The demo needs an empty studio, and there are clients already.", "Use another data folder.")
    samples = read_samples(folder or sample_folder())
    try:
        _Loading(store, progress or _silent, today or date.today()).load(samples)
    except BaseException:
        remove_demo(store)
        raise


def read_samples(folder: Path) -> list[Sample]:
    """The photos that ``photos.json`` lists.

    Raises
    ------
    NotFound : no list, or one of its photos is missing
    StoreDamaged : the list cannot be read
    """
    listing = folder / "photos.json"
    try:
        entries = json.loads(listing.read_text(encoding="utf-8"))["photos"]
        samples = [_sample(folder, entry) for entry in entries]
    except FileNotFoundError as error:
        raise NotFound(f"The demo's list {listing} is not there.", _AGAIN) from error
    except (ValueError, KeyError, TypeError) as error:
        raise StoreDamaged(f"The demo's list {listing} cannot be read.", _AGAIN) from error
    for sample in samples:
        if not sample.path.is_file():
            raise NotFound(f"The demo's photo {sample.path} is not there.", _AGAIN)
    return samples


def _sample(folder: Path, entry: dict[str, Any]) -> Sample:
    kind = str(entry["card"]["kind"])
    a, b, c, d = ((float(x), float(y)) for x, y in entry["card"]["corners"])
    path, outline = (tuple((float(x), float(y)) for x, y in entry[name]) for name in ("path", "outline"))
    return Sample(
        path=folder / Path(entry["file"]).name,
        client=str(entry["client"]),
        role=str(entry["role"]),
        months=float(entry.get("months") or 0.0),
        light=_light(str(entry["light"])),
        marks=Marks(kind, (a, b, c, d), path, None, size_mm=_CARD_MM, outline=outline),
    )


def _light(illuminant: str) -> str:
    """The illuminant that a photo was drawn under (CIE names: D is daylight) as the studio would note it."""
    return DAYLIGHT if illuminant.startswith(("D", "daylight")) else LAMPS


def _alike(samples: list[Sample]) -> list[Sample]:
    """One client's photos in the light and with the card of the first before photo, as a careful studio takes them."""
    first = next((sample for sample in samples if sample.role == BEFORE), samples[0])
    kit = (first.light, first.marks.card_kind)
    return [sample for sample in samples if (sample.light, sample.marks.card_kind) == kit]


def _silent(_share: float, _text: str) -> None:
    """Report no progress."""


class _Loading:
    """One run of loading: where it is, and on which days things happen."""

    def __init__(self, store: Store, progress: Progress, today: date) -> None:
        self._store = store
        self._photos = 0
        self._done = 0
        self._progress = progress
        self._today = today

    def load(self, samples: list[Sample]) -> None:
        """Fill the studio, client by client."""
        names = dict.fromkeys(sample.client for sample in samples)
        heads = {name: _alike([sample for sample in samples if sample.client == name]) for name in names}
        self._photos = sum(len(own) for own in heads.values())
        for place, (name, own) in enumerate(heads.items()):
            client = add_client(self._store, name, _NOTE, dict.fromkeys(PURPOSES, True), _RECORDER, demo=True)
            if any(sample.role == AFTER for sample in own):
                self._service(client, own)
            else:
                self._consultation(client, own, self._today - timedelta(days=7 * (place + 1)))
        self._progress(1.0, "Done")

    def _service(self, client: Client, samples: list[Sample]) -> None:
        """A visit with before and after, and the progress photos since."""
        months = max([_MONTHS_BACK, *(sample.months + 0.2 for sample in samples)])
        on = self._today - timedelta(days=months * DAYS_PER_MONTH)
        visit = _visit(
            client, on, ("hand-painted lightening", "toner"), _LIGHTENING, "Same light and place for photos."
        )
        visit = replace(visit, limits=_AGREED, washes_per_week=_WASHES)
        hours = {BEFORE: 10, AFTER: 14}
        photos = [
            self._photo(client, sample, sample.role, _at(on, hours[sample.role]))
            for sample in samples
            if sample.role in hours
        ]
        self._record(visit, photos)
        for sample in samples:
            if sample.role == PROGRESS:
                taken_at = _at(on, 12) + timedelta(days=sample.months * DAYS_PER_MONTH)
                self._store.photos.save(self._photo(client, sample, PROGRESS, taken_at))

    def _consultation(self, client: Client, samples: list[Sample], on: date) -> None:
        """A visit with photos of the hair as it is."""
        visit = _visit(client, on, ("consultation",), _CONSULTATION, "Photo again before the first service.")
        self._record(visit, [self._photo(client, sample, BEFORE, _at(on, 10)) for sample in samples])

    def _photo(self, client: Client, sample: Sample, role: str, taken_at: datetime) -> PhotoRecord:
        """One photo, taken in and measured as any other."""
        self._progress(self._done / self._photos, f"{sample.client}: {sample.role}")
        content = sample.path.read_bytes()
        record, _ = take_in(self._store, content, client_id=client.id, role=role, light=sample.light)
        # the card of every scene is clipped to a stand: sample_images/make/studio.py
        record = replace(record, taken_at=taken_at, card_stood=True)
        measured = measure_record(self._store, record, sample.marks)
        self._done += 1
        return measured

    def _record(self, visit: Visit, photos: list[PhotoRecord]) -> None:
        draft = start_draft(self._store, visit.client_id, "visit")
        record_visit(self._store, keep_draft(self._store, replace(draft, visit=visit, photos=tuple(photos))))


def _visit(client: Client, on: date, services: tuple[str, ...], steps: tuple[Step, ...], next_time: str) -> Visit:
    return Visit(
        new_id(), client.id, on, services, steps, _NOTE, next_time, now(), history=_HISTORY, starting_point=_START
    )


def _at(day: date, hour: int) -> datetime:
    return datetime.combine(day, time(hour), UTC)
