"""One kind of card through its search, photo by photo, and how right each answer is."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np

from tests.bench.cards.composite import composite
from tests.bench.cards.photos import Part, opened, part_of, photos
from tests.bench.heads.develop import CHANGING, develop
from tests.bench.heads.plates import heads
from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card import CardKind, FoundCard
from tracker.measure.reference_card.search import ASK, FOUND
from tracker.photo import decode_photo

HEADS, COMPOSITES, NO_CARD = "heads", "composites", "ordinary"
SOURCES = (HEADS, COMPOSITES, NO_CARD)
_MANY = {HEADS: 120, COMPOSITES: 180, NO_CARD: 1000}
"""Photos of each source and part: 300 with a card, and ordinary ones."""
_RIGHT = 0.02  # of the frame's width, within which every corner of a right card lies

Outcome = Literal["right and sure", "right but asked", "none", "wrong but asked", "wrong and sure"]


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One photo to search.

    Attributes
    ----------
    name : str
    source : one of `SOURCES`
    codes : (h, w, 3)
    corners : (4, 2) or None where there is no card
    traits : what makes it hard, as in `Composite`
    """

    name: str
    source: str
    codes: np.ndarray
    corners: Floats | None
    traits: frozenset[str] = field(default_factory=frozenset)


@dataclass(frozen=True, slots=True)
class Answer:
    """What the search said of a photo.

    Attributes
    ----------
    outcome : where there is no card, "none" is what should come out, and the others are wrong
    off : float or None, largest distance of a corner from the truth, share of the frame's width
    seconds : float, of the search
    """

    name: str
    source: str
    traits: frozenset[str]
    outcome: Outcome
    reason: str
    score: float
    off: float | None
    corners: tuple[tuple[float, float], ...] | None
    seconds: float


def cases(folder: Path, part: Part, kind: CardKind, sources: tuple[str, ...], every: int) -> Iterator[Case]:
    """The photos of a part, one at a time.

    Parameters
    ----------
    folder : of the public photos
    part : "fit" or "held"
    kind : of the cards in them
    sources : of `SOURCES`
    every : int, > 0, only every so manieth of them
    """
    plain, ground = photos(folder, part)
    if HEADS in sources:
        shots = [(head, shot) for head in heads() if part_of(f"head {head.name}") == part for shot in head.shots]
        step = max(len(shots) / _MANY[HEADS], 1.0)
        for k in range(0, min(len(shots), _MANY[HEADS]), every):
            photo = develop(*shots[int(k * step)], kind.name, CHANGING)
            yield Case(photo.shot.name, HEADS, photo.picture.encoded, np.array(photo.marks.corners))
    if COMPOSITES in sources:
        for path in ground[: _MANY[COMPOSITES] : every]:
            drawn = composite(opened(path), path.stem, kind)
            yield Case(path.stem, COMPOSITES, decode_photo(drawn.content).encoded, drawn.corners, drawn.traits)
    if NO_CARD in sources:
        for path in plain[: _MANY[NO_CARD] : every]:
            yield Case(path.stem, NO_CARD, opened(path), None)


def run(kind: CardKind, these: Iterator[Case], tell: Callable[[str], None]) -> list[Answer]:
    """Search all photos.

    Parameters
    ----------
    kind : that is looked for
    these : the photos
    tell : is told how far it is
    """
    search = kind.search
    if search is None:
        raise ValueError(f"{kind.name} is not searched for")
    answers = []
    for count, case in enumerate(these, 1):
        begin = time.perf_counter()
        found = search(case.codes, None)
        answers.append(judged(case, kind, found, time.perf_counter() - begin))
        if count % 25 == 0:
            tell(f"{kind.name}: {count} photos")
    return answers


def judged(case: Case, kind: CardKind, found: FoundCard, seconds: float) -> Answer:
    """How right an answer is.

    Parameters
    ----------
    case : the photo
    kind : that was looked for
    found : the answer
    seconds : float, that it took
    """
    off = _off(case, kind, found)
    said = (case.name, case.source, case.traits), (found.reason, found.score, off, found.corners, seconds)
    return Answer(*said[0], _outcome(found, off), *said[1])


def _off(case: Case, kind: CardKind, found: FoundCard) -> float | None:
    if found.corners is None or case.corners is None:
        return None
    seen = np.array(found.corners)
    # a plain card may start at any of its corners
    turns = [np.roll(seen, k, axis=0) for k in range(4 if kind.is_plain else 1)]
    return min(float(np.hypot(*(turn - case.corners).T).max()) for turn in turns) / case.codes.shape[1]


def _outcome(found: FoundCard, off: float | None) -> Outcome:
    if found.corners is None or found.state not in (FOUND, ASK):
        return "none"
    right = off is not None and off <= _RIGHT
    if found.state == FOUND:
        return "right and sure" if right else "wrong and sure"
    return "right but asked" if right else "wrong but asked"
