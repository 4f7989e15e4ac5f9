"""Two photos of the same hair and what differs between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from tracker.errors import TrackerError
from tracker.reading import NOT_NOTED, PhotoReading
from tracker.records import PhotoRecord

if TYPE_CHECKING:
    from tracker.comparison import Kit, RegionChange

CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class Pair:
    """Before and after, or after and some months later.

    Attributes
    ----------
    changes : one `RegionChange` per band, empty where a photo has no number
    kit_note : str, says whether the two are like for like
    problem : TrackerError or None, why they could not be compared
    """

    before: PhotoRecord
    after: PhotoRecord
    changes: tuple[RegionChange, ...] = ()
    kit_note: str = ""
    problem: TrackerError | None = None

    @property
    def readings(self) -> tuple[PhotoReading, ...]:
        """The readings there are, before first."""
        return tuple(photo.reading for photo in (self.before, self.after) if photo.reading is not None)

    @property
    def headline(self) -> RegionChange | None:
        """The band that says most: the largest real change, else the first band."""
        real = [change for change in self.changes if change.verdict == CHANGED]
        if real:
            return max(real, key=lambda change: abs(change.lift.value.value) if change.lift.value else 0.0)
        return self.changes[0] if self.changes else None

    def change(self, region: str) -> RegionChange | None:
        """What differs in one band."""
        return next((change for change in self.changes if change.name == region), None)


def has_number(photo: PhotoRecord) -> bool:
    """True where the photo was measured and every check passed."""
    return photo.reading is not None and photo.reading.ok


def compare_photos(before: PhotoRecord, after: PhotoRecord) -> Pair:
    """What differs between two photos, with the uncertainty that the pair deserves."""
    from tracker.comparison import common_light, compare_readings, match_kits

    if before.reading is None or after.reading is None or not (before.reading.ok and after.reading.ok):
        return Pair(before, after)
    kits = kit_of(before), kit_of(after)
    match = match_kits(*kits)
    try:
        changes = compare_readings(before.reading, after.reading, same_kit=match.same, light=common_light(*kits))
    except TrackerError as error:
        return Pair(before, after, kit_note=match.says, problem=error)
    return Pair(before, after, changes, match.says)


def kit_of(photo: PhotoRecord) -> Kit:
    """What a photo was taken with, as far as it is known."""
    from tracker.comparison import Kit, was_developed

    light = photo.light if photo.light != NOT_NOTED else None
    card_kind = photo.marks.card_kind if photo.marks is not None else ""
    gains = photo.reading.correction.gains if photo.reading is not None else None
    return Kit(photo.camera, card_kind, light, was_developed(photo.reading), gains)


def like_for_like(before: PhotoRecord, after: PhotoRecord) -> bool:
    """True where camera, card and light are the same as far as they are known."""
    from tracker.comparison import match_kits

    return match_kits(kit_of(before), kit_of(after)).same
