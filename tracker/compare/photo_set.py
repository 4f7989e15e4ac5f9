"""The reading of a state: all photos of one visit with the same role, without those that a person left out.

This is the one place that decides which photos count and what they say together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from tracker.compare.replicates import Disagreement, disagreements, mean_of_replicates
from tracker.measure.kit import Kit, KitMatch, first_unlike, match_kits, was_developed
from tracker.measure.reading import NOT_NOTED, WHOLE, PhotoReading
from tracker.measure.repeatability import PROVISIONAL, Repeatability
from tracker.record.records import LeftOut, PhotoRecord


@dataclass(frozen=True, slots=True)
class State:
    """The photos of one state and their combined reading.

    Attributes
    ----------
    photos : all of them, in the order they were taken
    used : those that count: with a number, and not left out
    left_out : those that a person left out
    doubles : those with the same picture as another one that counts, and so not a repeat
    without_number : those that have no number
    standing : the photo that represents the state on a page; where several count it carries their combined reading,
        so it may be shown but never saved
    odd : which of `used` disagree, each with its distance and its limit
    otherwise : those with a number whose hair was read another way than that of `used`, so they do not count
    """

    photos: tuple[PhotoRecord, ...]
    used: tuple[PhotoRecord, ...]
    left_out: tuple[PhotoRecord, ...]
    doubles: tuple[PhotoRecord, ...]
    without_number: tuple[PhotoRecord, ...]
    standing: PhotoRecord
    odd: tuple[Disagreement, ...]
    otherwise: tuple[PhotoRecord, ...] = ()

    @property
    def reading(self) -> PhotoReading | None:
        """The combined reading, None where no photo has a number."""
        return self.standing.reading if self.used else None

    def number(self, photo: PhotoRecord) -> int:
        """Place of `photo` among the photos of the state, from 1."""
        return 1 + [other.id for other in self.photos].index(photo.id)


def state_of(photos: Iterable[PhotoRecord], role: str, repeatability: Repeatability = PROVISIONAL) -> State | None:
    """The state that the photos of this role show; None without photos.

    Parameters
    ----------
    photos : sequence of PhotoRecord, of one visit, or one taken between visits
    role : str, one of `records.ROLES`
    repeatability : Repeatability in force
    """
    return combined_state([photo for photo in photos if photo.role == role], repeatability)


def combined_state(
    photos: Sequence[PhotoRecord], repeatability: Repeatability = PROVISIONAL, hair: str | None = None
) -> State | None:
    """The state that these photos show together; None without photos.

    Parameters
    ----------
    photos : sequence of PhotoRecord, of one occasion
    repeatability : Repeatability in force
    hair : str or None, only photos whose hair was read this way count; None for the whole hair, or a ribbon where no
        photo was read over the whole
    """
    if not photos:
        return None
    row = tuple(sorted(photos, key=lambda photo: (photo.taken_at, photo.added_at, photo.id)))
    left_out = tuple(photo for photo in row if photo.left_out is not None)
    counted = [photo for photo in row if photo.left_out is None]
    numbers = [photo for photo in counted if photo.reading is not None and photo.reading.ok]
    ways = {photo.reading.hair for photo in numbers if photo.reading is not None}
    hair = hair or (WHOLE if WHOLE in ways else next(iter(ways), WHOLE))
    measured = [photo for photo in numbers if photo.reading is not None and photo.reading.hair == hair]
    first = {photo.file: photo.id for photo in reversed(measured)}
    used = tuple(photo for photo in measured if first[photo.file] == photo.id)
    doubles = tuple(photo for photo in measured if photo not in used)
    without = tuple(photo for photo in counted if photo not in numbers)
    otherwise = tuple(photo for photo in numbers if photo not in measured)
    standing = next(iter((*used, *otherwise, *without, *left_out)))
    odd: tuple[Disagreement, ...] = ()
    if len(used) > 1:
        readings = [photo.reading for photo in used if photo.reading is not None]
        known = repeatability.over(hair)
        combed_anew = all(photo.combed_anew is True for photo in used)
        standing = replace(standing, reading=mean_of_replicates(readings, known, combed_anew))
        odd = disagreements(readings, known)
    return State(row, used, left_out, doubles, without, standing, odd, otherwise)


def kit_of(photo: PhotoRecord) -> Kit:
    """What `photo` was taken with, as far as is known."""
    light = photo.light if photo.light != NOT_NOTED else None
    card_kind = photo.marks.card_kind if photo.marks is not None else ""
    gains = photo.reading.correction.gains if photo.reading is not None else None
    method = photo.reading.method_version if photo.reading is not None else ""
    grey = photo.reading.card.reflectance if photo.reading is not None else None
    dark = photo.reading.card.dark if photo.reading is not None else None
    return Kit(photo.camera, card_kind, light, was_developed(photo.reading), gains, method, grey, dark)


def match_states(before: State, after: State) -> KitMatch:
    """Whether all photos of both states come from the same kit; the first that does not gives the reason.

    Parameters
    ----------
    before, after : State
    """
    first = kit_of(before.used[0]) if before.used else kit_of(before.standing)
    photos = (after.standing, *before.used[1:], *after.used)
    return first_unlike([match_kits(first, kit_of(photo)) for photo in photos])


def leave_out(photo: PhotoRecord, why: str, at: datetime) -> PhotoRecord:
    """The photo, left out by a person for that reason; its reading is kept.

    Parameters
    ----------
    photo : PhotoRecord
    why : str, the reason
    at : datetime, when it was left out
    """
    return replace(photo, left_out=LeftOut(at, why))


def use_again(photo: PhotoRecord) -> PhotoRecord:
    """`photo`, no longer left out."""
    return replace(photo, left_out=None)
