"""How long the root is in the photos of a service, and how it grows."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.errors import TrackerError
from tracker.fade import FadeSeries, months_between
from tracker.measure.card_scale import scale_of
from tracker.record.records import PhotoRecord, Visit
from tracker.wear.regrowth import Regrowth, regrowth, root_length
from tracker.wear.segments import Segment

ROOT = "root"

# common practice, no source: these colour the hair up to the scalp
_COVERING_SERVICES = frozenset({"all-over colour", "shadow root"})
_COVERING_STEPS = _COVERING_SERVICES | {"root shadow"}  # the name in the steps of earlier records

_JUST_COVERED = FadeSeries((0.0,), (0.0,), (1.0,), ROOT, "mm")
"""Used in place of photos for a root that was coloured up to the scalp: within a millimetre of it."""


def covers_root(visit: Visit) -> bool:
    """True where `visit` coloured the root up to the scalp, so that everything growing since is root."""
    return bool(_COVERING_SERVICES.intersection(visit.services)) or any(
        step.what in _COVERING_STEPS for step in visit.steps
    )


def root_series(segment: Segment) -> FadeSeries | None:
    """Root lengths, mm, by months since the service of `segment`; None where no photo shows the natural level end."""
    if segment.begins is None:
        return None
    found = []
    for photo in segment.photos:
        length = _length(photo)
        if length is not None:
            found.append((max(0.0, months_between(segment.begins, photo.taken_at)), *length))
    if not found:
        return None
    months, values, u = zip(*found, strict=True)
    return FadeSeries(months, values, u, ROOT, "mm")


def growth(series: Sequence[FadeSeries | None], *, covered: bool) -> Regrowth:
    """How the root grows.

    Parameters
    ----------
    series : of each service, the latest last; None where no photo shows the root
    covered : True where the latest service coloured the root
    """
    known = [each for each in series if each is not None]
    if not series or series[-1] is None:
        # earlier services show the rate, but nothing about the root now, unless it was coloured
        if covered:
            return regrowth([*known, _JUST_COVERED])
        return regrowth([])
    return regrowth(known, covered=covered)


def _length(photo: PhotoRecord) -> tuple[float, float] | None:
    """Length and standard uncertainty, mm."""
    if photo.marks is None or photo.reading is None or not photo.reading.profile:
        return None
    try:
        scale = scale_of(photo.reading, photo.marks, photo.size)
    except TrackerError:
        return None
    found = root_length(photo.reading.profile, scale.path if scale else None)
    return None if found is None else (found.value, found.u)
