"""All heads through one method: what it says of each change, beside the truth."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing import get_context
from typing import Any, NamedTuple

import numpy as np

from tests.bench.heads.develop import LOOKS, develop
from tests.bench.heads.methods import METHODS, BandChange, Refused
from tests.bench.heads.plates import Head, heads
from tracker.maths.colorimetry import Floats, delta_e_2000
from tracker.measure.reading import REGIONS

ONE, ALL, LAIN = "one each", "three anew", "three as it lay"
"""Photos of each state: one each; all of them, between which the hair was combed and the card taken up again; or three
of the first plate, between which neither was."""
PHOTOS = (ONE, ALL, LAIN)
_AGAIN = 3
_STRIDE = 37  # has no factor in common with the number of heads


class Compared(NamedTuple):
    """What is compared: the first fields of an `Outcome`."""

    head: int
    kind: str
    looks: str
    photos: str
    number: int


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """One band of one comparison.

    Attributes
    ----------
    head : int, its place among all heads
    kind, looks : str, card and look of the photos
    photos : str, of each state, one of `PHOTOS`
    number : int, which photos were compared, where one of each was
    band : str
    said : BandChange, by the method
    true : (3,), true change of L*, a*, b*
    size : float, true ΔE00
    """

    head: int
    kind: str
    looks: str
    photos: str
    number: int
    band: str
    said: BandChange
    true: Floats
    size: float

    @property
    def error(self) -> Floats:
        """Measured less true change of L*, a*, b*, (3,)."""
        return np.asarray(self.said.delta - self.true)


@dataclass
class Results:
    """Everything that was seen.

    Attributes
    ----------
    outcomes : one for each band of each comparison
    taken : photos taken, by card and look
    refused : photos without a number, by card, look and reason
    """

    outcomes: list[Outcome] = field(default_factory=list)
    taken: Counter[tuple[str, str]] = field(default_factory=Counter)
    refused: Counter[tuple[str, str, str]] = field(default_factory=Counter)

    def add(self, other: Results) -> None:
        """Take in what another process saw."""
        self.outcomes += other.outcomes
        self.taken.update(other.taken)
        self.refused.update(other.refused)


def chosen_heads(number: int | None = None) -> list[int]:
    """Places of so many heads, mixed in light, camera, level and in what was done."""
    everyone = len(heads())
    return sorted(_STRIDE * place % everyone for place in range(min(number or everyone, everyone)))


def run(
    method: str,
    places: Sequence[int],
    kinds: Sequence[str] | None = None,
    looks: Sequence[str] = LOOKS,
    processes: int = 2,
    tell: Callable[[str], None] = lambda _: None,
    lain: bool = False,
) -> Results:
    """The method on these heads, with all kinds of card that it can use or only some; `tell` hears of the progress.

    With `lain` also three photos of each state of hair that lies as it lay, which takes twice as long.
    """
    cards = [kind for kind in METHODS[method].kinds if kinds is None or kind in kinds]
    cells = [(kind, look) for kind in cards for look in looks]
    jobs = [(method, place, cells, lain) for place in places]
    total = Results()
    with get_context("fork").Pool(processes) as pool:
        for done, found in enumerate(pool.imap(_one_head, jobs), 1):
            total.add(found)
            tell(f"{done} of {len(jobs)} heads")
    return total


def _one_head(job: tuple[str, int, list[tuple[str, str]], bool]) -> Results:
    method, place, cells, lain = job
    results = Results()
    for kind, looks in cells:
        _one_cell(results, method, place, kind, looks)
        if lain:
            _as_it_lay(results, method, place, kind, looks)
    return results


def _one_cell(results: Results, name: str, place: int, kind: str, looks: str) -> None:
    """One head with one card and way of looking: every photo read, pairs and whole sets compared."""
    head, method = heads()[place], METHODS[name]
    read: tuple[dict[int, Any], dict[int, Any]] = ({}, {})
    light = ""
    for shot in head.shots:
        photo = develop(head, shot, kind, looks)
        light = photo.noted
        results.taken[kind, looks] += 1
        try:
            read[shot.state][shot.number] = method.read(photo)
        except Refused as refused:
            results.refused[kind, looks, refused.reason] += 1
    before, after = read
    for number in sorted(before.keys() & after.keys()):
        one = Compared(place, kind, looks, ONE, number)
        _compared(results, name, one, ([before[number]], [after[number]]), light)
    sides = list(before.values()), list(after.values())
    _compared(results, name, Compared(place, kind, looks, ALL, 0), sides, light)


def _as_it_lay(results: Results, name: str, place: int, kind: str, looks: str) -> None:
    """The first plate of each state, photographed three times with balance, exposure and noise of their own."""
    head, method = heads()[place], METHODS[name]
    read: tuple[list[Any], list[Any]] = ([], [])
    light = ""
    for state in (0, 1):
        shot = next(shot for shot in head.shots if shot.state == state)
        for again in range(1, _AGAIN + 1):
            photo = develop(head, shot, kind, looks, again)
            light = photo.noted
            # one more refusal of the same plate would be no more evidence
            with suppress(Refused):
                read[state].append(method.read(photo))
    _compared(results, name, Compared(place, kind, looks, LAIN, 0), read, light)


def _compared(results: Results, name: str, what: Compared, sides: tuple[list[Any], list[Any]], light: str) -> None:
    """The change between two states, beside the truth; nothing where a state has no reading."""
    if not all(sides):
        return
    head, method = heads()[what.head], METHODS[name]
    said = method.change(*sides, light, what.photos == ALL)
    for band, true, size in _truths(head, method.part):
        if band in said:
            results.outcomes.append(Outcome(*what, band, said[band], true, size))


def _truths(head: Head, part: str) -> Iterator[tuple[str, Floats, float]]:
    for band in REGIONS:
        yield band, head.change(band, part), float(delta_e_2000(*head.truth(band, part)))


def conditions(results: Results) -> list[tuple[str, str]]:
    """Cards and looks that were tried, in the order of trying."""
    return list(results.taken)
