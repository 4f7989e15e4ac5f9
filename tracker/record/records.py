"""What the studio keeps, as frozen dataclasses, and JSON both ways.

Identifiers are opaque strings (UUID4 hex), times are aware UTC.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any, TypeVar, cast
from uuid import uuid4

from tracker.measure.reading import Marks, PhotoReading
from tracker.record.agreed import NOTHING_AGREED, AgreedLimits
from tracker.record.mixing import Amount, Charge, Strength

if TYPE_CHECKING:
    from pydantic import TypeAdapter

Record = TypeVar("Record")

MEASURING = "measuring"
PORTFOLIO = "portfolio"
PURPOSES = (MEASURING, PORTFOLIO)

CONSENT_VERSION = "1"
"""Raised whenever the wording below changes: a client agrees to one wording."""

CONSENT_WORDING = {
    MEASURING: (
        "I agree that photos of my hair are taken, kept on the studio's own computer and measured, "
        "so that we can see how my colour changes. I can withdraw this at any time."
    ),
    PORTFOLIO: (
        "I agree that photos of my hair and what was measured in them may be shown to other clients of the "
        "studio, without my name. I can withdraw this at any time; my photos then leave the portfolio at once."
    ),
}

BEFORE = "before"
AFTER = "after"
PROGRESS = "progress"
ROLES = (BEFORE, AFTER, PROGRESS)

# common practice, no source: plain names for the services that this program covers
SERVICES = (
    "hand-painted lightening",
    "foiled lightening",
    "toner",
    "shadow root",
    "lowlights",
    "all-over colour",
    "treatment",
    "cut",
    "consultation",
    "other",
)
ZONES = ("root", "mid-lengths", "ends", "all over", "face frame")
KINDS_OF_STEP = ("lightener", "toner", "shadow root", "all-over colour", "treatment", "cut")
PLACEMENTS = ("slices", "weaves", "back-to-back", "open-air", "foils")


def new_id() -> str:
    """A fresh opaque identifier."""
    return uuid4().hex


def now() -> datetime:
    """The current time, aware UTC, whole microseconds."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Client:
    """A person whose hair is coloured here.

    Attributes
    ----------
    contact : str, how to reach the client, and anything they said, in the studio's own words
    """

    id: str
    name: str
    note: str
    created_at: datetime
    demo: bool = False
    contact: str = ""


@dataclass(frozen=True, slots=True)
class Consent:
    """One answer to one question, never changed: withdrawing adds another.

    Attributes
    ----------
    purpose : str, one of `PURPOSES`
    given : bool
    wording_version : str, the `CONSENT_VERSION` that was read
    recorded_by : str, who asked, in the studio's own words
    """

    id: str
    client_id: str
    purpose: str
    given: bool
    wording_version: str
    recorded_at: datetime
    recorded_by: str


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a service, in the colourist's own words.

    Attributes
    ----------
    zone : str, from `ZONES` or free words
    what : str, from `KINDS_OF_STEP` or free words
    product : str, product and shade
    minutes : float or None
    note : str, how it was placed or anything else
    developer : Strength or None
    ratio : str, as typed, product first, such as ``1:1.5``
    amount : Amount or None, of the product without the developer
    placement : from `PLACEMENTS`
    weave : str, width of the weave
    sections : str, section pattern
    charges : products from the studio's price list that went into the bowl
    waste : float or None, share of the bowl that was thrown away, percent
    """

    zone: str
    what: str
    product: str = ""
    minutes: float | None = None
    note: str = ""
    developer: Strength | None = None
    ratio: str = ""
    amount: Amount | None = None
    placement: tuple[str, ...] = ()
    weave: str = ""
    sections: str = ""
    charges: tuple[Charge, ...] = ()
    waste: float | None = None


@dataclass(frozen=True, slots=True)
class Visit:
    """One appointment.

    Attributes
    ----------
    on : date of the appointment
    services : names from `SERVICES` or free words
    revision : int, raised at each saved change; a stale one is refused
    history : str, what was done to the hair before, in the client's words
    starting_point : str, the hair as it came in, in the client's words
    limits : how far the colour may go before it is refreshed, as agreed
    washes_per_week : float or None, as the client said
    """

    id: str
    client_id: str
    on: date
    services: tuple[str, ...]
    steps: tuple[Step, ...]
    note: str
    next_time: str
    created_at: datetime
    revision: int = 1
    history: str = ""
    starting_point: str = ""
    limits: AgreedLimits = NOTHING_AGREED
    washes_per_week: float | None = None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """When and why a person left a photo out of the reading of its state.

    Attributes
    ----------
    at : datetime
    why : str, the reason, such as its distance from the others against the limit
    """

    at: datetime
    why: str


@dataclass(frozen=True, slots=True)
class PhotoRecord:
    """One kept photo with its marks and its reading.

    Attributes
    ----------
    visit_id : str or None, None for a progress photo between visits
    role : str, one of `ROLES`
    taken_at : datetime, from the camera where known, else when it was added
    camera : str or None, maker and model as the camera wrote them
    light : str, one of `reading.LIGHTS`
    file : str, SHA-256 of the kept picture, its name on disk
    size : width and height in pixels
    reading : PhotoReading or None
    failure : str or None, why there is no number
    warnings : notes from reading the original file, such as ``profile_converted``
    left_out : LeftOut or None, where a person left it out of the reading of its state
    time_noted : bool, False where neither camera nor person gave the time: the photo then keeps to the day of its visit
    card_stood : bool or None, True where the card stood on its own, False where it was held; None where not noted
    combed_anew : bool or None, True where the hair was combed and the card taken up again between the photos of the
        state; None where not noted
    lens_mm : int or None, focal length as it would be on a frame of 36 x 24 mm, mm, where the file stated it; not used
        yet
    """

    id: str
    client_id: str
    visit_id: str | None
    role: str
    taken_at: datetime
    added_at: datetime
    camera: str | None
    light: str
    file: str
    size: tuple[int, int]
    marks: Marks | None
    reading: PhotoReading | None
    failure: str | None = None
    warnings: tuple[str, ...] = ()
    left_out: LeftOut | None = None
    time_noted: bool = True
    card_stood: bool | None = None
    combed_anew: bool | None = None
    lens_mm: int | None = None


@dataclass(frozen=True, slots=True)
class Draft:
    """A visit or a progress photo in the making, not yet part of the record.

    Attributes
    ----------
    kind : str, ``visit`` or ``progress``
    step : int, index of the step the page was left at
    revision : int, how often it was saved; a stale one is refused
    """

    id: str
    client_id: str
    kind: str
    step: int
    visit: Visit | None
    photos: tuple[PhotoRecord, ...]
    updated_at: datetime
    revision: int = 0


@lru_cache(maxsize=32)
def _adapter(shape: Hashable) -> TypeAdapter[list[Any]]:
    from pydantic import ConfigDict, TypeAdapter  # imported late: keeps `import tracker` light

    # a list, because pydantic takes a configuration from outside only around a plain dataclass
    return TypeAdapter(list[shape], config=ConfigDict(ser_json_inf_nan="strings"))  # type: ignore[valid-type]


def to_json(record: object) -> str:
    """The dataclass `record` as JSON text."""
    return _adapter(cast("Hashable", type(record))).dump_json([record]).decode()[1:-1]


def from_json(shape: type[Record], text: str) -> Record:
    """The record of that shape, read from its JSON text.

    Parameters
    ----------
    shape : type, the dataclass of the record
    text : str, JSON

    Raises
    ------
    ValueError : the text is not JSON or does not fit the shape
    """
    found: list[Record] = _adapter(cast("Hashable", shape)).validate_json(f"[{text}]")
    if len(found) != 1:
        raise ValueError(f"expected one {shape.__name__}, got {len(found)}")
    return found[0]
