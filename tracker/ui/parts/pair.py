"""Two states of the same hair and what differs between them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from tracker.compare.comparison import RegionChange, compare_readings, says_most
from tracker.compare.cut import Cut, at_like_distance, cut_of
from tracker.compare.photo_set import State, combined_state, match_states, state_of, use_again
from tracker.errors import TrackerError
from tracker.measure.reading import PhotoReading
from tracker.record.records import PhotoRecord, Visit
from tracker.said.colour import say_kits
from tracker.ui.session import in_force


@dataclass(frozen=True, slots=True)
class Pair:
    """Before and after, or after and some months later.

    Attributes
    ----------
    changes : one `RegionChange` per band, empty where a photo has no number
    kit_note : str, says whether the two are like for like
    problem : TrackerError or None, why they could not be compared
    cut : Cut or None, what was cut off in between; `before` then carries the reading of the hair that is left
    """

    before: PhotoRecord
    after: PhotoRecord
    changes: tuple[RegionChange, ...] = ()
    kit_note: str = ""
    problem: TrackerError | None = None
    cut: Cut | None = None

    @property
    def readings(self) -> tuple[PhotoReading, ...]:
        """The readings that exist, before first."""
        return tuple(photo.reading for photo in (self.before, self.after) if photo.reading is not None)

    @property
    def headline(self) -> RegionChange | None:
        """The band that says most: the largest real change, else the first band."""
        return says_most(self.changes)

    def change(self, region: str) -> RegionChange | None:
        """What differs in one band."""
        return next((change for change in self.changes if change.name == region), None)


def has_number(photo: PhotoRecord) -> bool:
    """True where the photo was measured and every check passed."""
    return photo.reading is not None and photo.reading.ok


def read_unlike(pair: Pair) -> bool:
    """True where the hair was read along a ribbon in one photo and over the whole in the other."""
    return len({reading.hair for reading in pair.readings}) > 1


def compare_photos(before: PhotoRecord, after: PhotoRecord) -> Pair:
    """What differs between two photos, or between the photos that represent two states."""
    return compare_states(only(before), only(after))


def compare_states(before: State, after: State, visit: Visit | None = None) -> Pair:
    """What differs between two states, with the uncertainty that the pair deserves.

    Parameters
    ----------
    before, after : State
    visit : Visit or None, that both belong to: whether hair was cut
    """
    first, second = before.reading, after.reading
    if first is None or second is None:
        return Pair(before.standing, after.standing)
    cut = cut_of(before, after, visit)
    first = at_like_distance(first, cut)
    pair = Pair(replace(before.standing, reading=first), after.standing, cut=cut)
    match = match_states(before, after)
    own = in_force()
    try:
        changes = compare_readings(
            first,
            second,
            same_kit=match.same,
            light=match.light,
            scale=own.scale,
            locus=own.locus,
            repeatability=own.spread.over(first.hair),
        )
    except TrackerError as error:
        return replace(pair, problem=error)
    return replace(pair, changes=changes, kit_note=say_kits(match))


def only(photo: PhotoRecord) -> State:
    """The state that one photo shows, whether or not it was left out of a larger one."""
    state = combined_state([use_again(photo)])
    if state is None:
        raise ValueError("a photo shows a state")
    return state


def state_in_force(photos: Iterable[PhotoRecord], role: str) -> State | None:
    """The state that the photos of this role show together, by the spread in force; None where there is none."""
    found = [photo for photo in photos if photo.role == role]
    # the spread is looked up only where it counts: lists show many visits
    return state_of(found, role, in_force().spread) if len(found) > 1 else state_of(found, role)
