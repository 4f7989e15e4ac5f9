"""The readings of one service: months since the service, colours, and how far they may scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from tracker.calibrate.warmth import DEFAULT_LOCUS, NeutralLocus, estimate_warmth
from tracker.compare.photo_set import match_states
from tracker.errors import TooFewReadings
from tracker.fade import FadeSeries, months_between
from tracker.maths.quantities import LabMeasured, Measured, Vector3
from tracker.measure.reading import REGIONS, RIBBON
from tracker.record.records import PhotoRecord
from tracker.wear.root import root_series
from tracker.wear.segments import Segment

WARMTH, LIGHTNESS = "warmth", "L*"
QUANTITIES = (WARMTH, LIGHTNESS)

_LEAST_U = 1e-3  # the model would refuse a reading that claims to be more certain


@dataclass(frozen=True, slots=True)
class PlaceReadings:
    """The readings of one band since the service; one entry per state.

    Attributes
    ----------
    region : str, one of `reading.REGIONS`
    months : since the photo right after the service, never falling, the first is 0
    labs : CIELAB, D65
    u : standard uncertainty of L*, a*, b*, the part that differs between the photos of the series
    warmths, u_warmths : CIELAB units, by the locus in force, without its own uncertainty, which all of them share
    """

    region: str
    months: tuple[float, ...]
    labs: tuple[Vector3, ...]
    u: tuple[Vector3, ...]
    warmths: tuple[float, ...]
    u_warmths: tuple[float, ...]

    @property
    def gained(self) -> Measured | None:
        """Warmth since the photo right after the service, up to the last one; None where there is only one."""
        if len(self.warmths) < 2:
            return None
        u = math.hypot(self.u_warmths[0], self.u_warmths[-1])
        return Measured(self.warmths[-1] - self.warmths[0], u)

    def series(self, quantity: str) -> FadeSeries:
        """One quantity, as a series for the model.

        Parameters
        ----------
        quantity : ``warmth``, ``L*``, ``a*`` or ``b*``

        Raises
        ------
        TooFewReadings : the band has no reading
        """
        if not self.months:
            raise TooFewReadings("There is no reading.", "Add a photo.", value=0, limit=1)
        if quantity == WARMTH:
            return FadeSeries(self.months, self.warmths, self.u_warmths, self.region, WARMTH)
        channel = ("L*", "a*", "b*").index(quantity)
        values, u = (tuple(row[channel] for row in rows) for rows in (self.labs, self.u))
        return FadeSeries(self.months, values, u, self.region, quantity)


@dataclass(frozen=True, slots=True)
class ServiceReadings:
    """One service and its readings.

    Attributes
    ----------
    visit_id, client_id : str
    on : date of the visit
    begins : datetime of the photo right after the service
    services : of the visit
    washes_per_week : float or None, as the client said
    places : one per band that was read right after the service
    ended_on : date of the next service, None while this one is worn
    alike : bool, True where all photos come from the same kit
    photo_ids : of the photo that represents each state, in order of time
    left_out : identifiers of photos without a number, or left out by a person
    root : the length of the root in each photo that shows it, or None
    hair : str, `reading.RIBBON` or `reading.WHOLE`, how the hair was read right after the service, and in all of these
    otherwise : identifiers of photos whose hair was read another way, and so do not join them
    """

    visit_id: str
    client_id: str
    on: date
    begins: datetime
    services: tuple[str, ...]
    washes_per_week: float | None
    places: tuple[PlaceReadings, ...]
    ended_on: date | None = None
    alike: bool = True
    photo_ids: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    root: FadeSeries | None = None
    hair: str = RIBBON
    otherwise: tuple[str, ...] = ()

    def place(self, region: str) -> PlaceReadings | None:
        """The readings of the band `region`."""
        return next((place for place in self.places if place.region == region), None)

    @property
    def occasions(self) -> int:
        """The most states that a band was read in."""
        return max((len(place.months) for place in self.places), default=0)


def readings_of(segment: Segment, locus: NeutralLocus = DEFAULT_LOCUS) -> ServiceReadings | None:
    """The readings of a service; None where the photo right after it has no number.

    Parameters
    ----------
    segment : Segment, from one colour service to the next
    locus : NeutralLocus, for the warmth
    """
    first = segment.states[0].reading if segment.states else None
    if first is None or segment.begins is None:
        return None
    alike = all(match_states(segment.states[0], state).same for state in segment.states[1:])
    # all photos of a series share the uncertainty of the locus
    shared = replace(locus, u=0.0, u_dark=0.0, u_own=0.0)
    places = [
        place for region in REGIONS if (place := _place(region, segment.photos, segment.begins, shared, alike=alike))
    ]
    return ServiceReadings(
        segment.visit.id,
        segment.visit.client_id,
        segment.visit.on,
        segment.begins,
        segment.visit.services,
        segment.washes_per_week,
        tuple(places),
        segment.ended_by.on if segment.ended_by is not None else None,
        alike,
        tuple(photo.id for photo in segment.photos),
        tuple(photo.id for photo in segment.left_out),
        root_series(segment),
        first.hair,
        tuple(photo.id for photo in segment.otherwise),
    )


def _place(
    region: str, photos: Sequence[PhotoRecord], begins: datetime, locus: NeutralLocus, *, alike: bool
) -> PlaceReadings | None:
    read = [(photo, band) for photo in photos if photo.reading and (band := photo.reading.region(region))]
    if not read or read[0][0] is not photos[0]:
        return None
    months, labs, u, warmths, u_warmths = [], [], [], [], []
    for photo, band in read:
        # photos from different kits keep the part of their uncertainty that photos of one kit share
        lab = LabMeasured(band.lab.lab, band.repeat_cov, band.lab.dof) if alike else band.lab
        warmth = estimate_warmth(lab, locus).value
        months.append(max(0.0, months_between(begins, photo.taken_at)))
        labs.append(lab.lab)
        first, second, third = (max(float(each), _LEAST_U) for each in lab.u)
        u.append((first, second, third))
        warmths.append(warmth.value)
        u_warmths.append(max(warmth.u, _LEAST_U))
    return PlaceReadings(region, tuple(months), tuple(labs), tuple(u), tuple(warmths), tuple(u_warmths))
