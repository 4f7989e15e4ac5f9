"""The photos that show how each service wears: from the one after it to the one before the next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from tracker.compare.photo_set import State, combined_state
from tracker.measure.repeatability import PROVISIONAL, Repeatability
from tracker.record.records import AFTER, BEFORE, PROGRESS, SERVICES, PhotoRecord, Visit

# common practice, no source: after these the colour goes on wearing as before
_LEAVES_COLOUR = frozenset({"treatment", "cut", "consultation"})


@dataclass(frozen=True, slots=True)
class Segment:
    """One service and the photos taken until the next one.

    Attributes
    ----------
    visit : the service
    states : those with a number, in order of time; the first is the hair right after the service
    left_out : photos without a number, and states that a person left out
    ended_by : the visit that changed the colour again, or None for the service worn now
    washes_per_week : float or None, as the client last said before the service ended
    otherwise : photos whose hair was read another way than that right after the service, so they do not join it
    """

    visit: Visit
    states: tuple[State, ...]
    left_out: tuple[PhotoRecord, ...]
    ended_by: Visit | None
    washes_per_week: float | None = None
    otherwise: tuple[PhotoRecord, ...] = ()

    @property
    def photos(self) -> tuple[PhotoRecord, ...]:
        """The photo that represents each state, with the combined reading."""
        return tuple(state.standing for state in self.states)

    @property
    def begins(self) -> datetime | None:
        """When the photo after the service was taken; None where it has no number."""
        return self.states[0].standing.taken_at if self.states else None


def kind_of(services: Iterable[str]) -> str:
    """What `services` are compared by: those that change the colour, in a fixed order; empty where none does."""
    named = {" ".join(name.split()).casefold() for name in services} - _LEAVES_COLOUR - {""}
    known = [name for name in SERVICES if name in named]
    return " + ".join([*known, *sorted(named.difference(known))])


def changes_colour(visit: Visit) -> bool:
    """True where `visit` may have changed the colour: anything but a cut, a treatment or a talk."""
    return not visit.services or not all(" ".join(name.split()).casefold() in _LEAVES_COLOUR for name in visit.services)


def segments(
    visits: Iterable[Visit], photos: Sequence[PhotoRecord], repeatability: Repeatability = PROVISIONAL
) -> tuple[Segment, ...]:
    """The services of one client that have a photo after them, newest first.

    Parameters
    ----------
    visits, photos : all of one client, in any order
    repeatability : Repeatability in force

    Notes
    -----
    The photo before a service is the last one of the previous service. A visit that leaves the colour alone adds its
    photo from before to the service being worn. Photos taken on one day between visits show one state. All photos of a
    service keep to the way in which the hair right after it was read.
    """
    row = sorted(visits, key=lambda visit: (visit.on, visit.created_at, visit.id))
    colouring = [visit for visit in row if changes_colour(visit)]
    of_visit: dict[str | None, list[PhotoRecord]] = {}
    for photo in photos:
        of_visit.setdefault(photo.visit_id, []).append(photo)
    found = []
    for place, visit in enumerate(colouring):
        after = combined_state([photo for photo in of_visit.get(visit.id, ()) if photo.role == AFTER], repeatability)
        if after is None:
            continue
        ended_by = colouring[place + 1] if place + 1 < len(colouring) else None
        until = _begin(ended_by, of_visit) if ended_by is not None else None
        later = _later(after, until, row, visit, ended_by, of_visit, repeatability)
        states = tuple(state for state in (after, *later) if state.used)
        # without a number right after the service, nothing shows where the wear starts
        kept = states if after.used else ()
        without = [photo for state in (after, *later) for photo in (*state.without_number, *state.left_out)]
        otherwise = tuple(photo for state in (after, *later) for photo in state.otherwise) if kept else ()
        found.append(Segment(visit, kept, tuple(without), ended_by, _washes(row, ended_by), otherwise))
    return tuple(reversed(found))


def _washes(row: Sequence[Visit], ended_by: Visit | None) -> float | None:
    """What the client last said before the service ended."""
    until = row.index(ended_by) if ended_by is not None else len(row)
    told = [visit.washes_per_week for visit in row[:until] if visit.washes_per_week is not None]
    return told[-1] if told else None


def _later(
    after: State,
    until: datetime | None,
    row: Sequence[Visit],
    visit: Visit,
    ended_by: Visit | None,
    of_visit: dict[str | None, list[PhotoRecord]],
    repeatability: Repeatability,
) -> list[State]:
    """The states between a service and the next one, and the one right before the next one, in time."""
    begins = after.standing.taken_at
    hair = after.reading.hair if after.reading is not None else None
    groups: list[list[PhotoRecord]] = []
    days: dict[date, list[PhotoRecord]] = {}
    for photo in of_visit.get(None, ()):
        if photo.role == PROGRESS and photo.taken_at >= begins and (until is None or photo.taken_at < until):
            days.setdefault(photo.taken_at.astimezone().date(), []).append(photo)
    groups += days.values()
    for other in row:
        between = visit.on <= other.on and (ended_by is None or other.on <= ended_by.on) and not changes_colour(other)
        if other is ended_by or between:
            groups.append(
                [photo for photo in of_visit.get(other.id, ()) if photo.role == BEFORE and photo.taken_at > begins]
            )
    states = [state for group in groups if (state := combined_state(group, repeatability, hair)) is not None]
    return sorted(states, key=lambda state: state.standing.taken_at)


def _begin(visit: Visit, of_visit: dict[str | None, list[PhotoRecord]]) -> datetime:
    """When a visit began: its first photo, or else the start of its day."""
    midnight = datetime(visit.on.year, visit.on.month, visit.on.day).astimezone()
    return min((photo.taken_at for photo in of_visit.get(visit.id, ())), default=midnight)
