"""When a client is due, and why: how the service wears against the agreed limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from tracker.calibrate.calibration import Yardsticks
from tracker.calibrate.level import LevelScale
from tracker.fade import FadeFit, Limit, Priors, Window, fit_fade, nothing_known, refresh_window, window
from tracker.fade.window import WhyNot
from tracker.measure.reading import WHOLE
from tracker.record.agreed import NOTHING_AGREED, AgreedLimits
from tracker.record.records import Visit
from tracker.wear.readings import LIGHTNESS, WARMTH, PlaceReadings, ServiceReadings
from tracker.wear.regrowth import Regrowth, forecast
from tracker.wear.segments import Segment, changes_colour, kind_of
from tracker.words import DAYS_PER_MONTH

Learnt = Mapping[tuple[str, str, str, str], Priors]
"""Priors by how the hair was read, kind of service, band and quantity; anything missing uses the published ones."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One agreed limit and when it will be passed.

    Attributes
    ----------
    name : str, ``warmth``, ``lightness``, ``depth`` or ``root``
    early, middle, late : dates by which it is passed in 10, 50 and 90 of 100 cases, or None
    state : str, as in `fade.Window`
    why_not : WhyNot or None
    share : float, chance of being passed first, 0..1
    """

    name: str
    early: date | None
    middle: date | None
    late: date | None
    state: str
    why_not: WhyNot | None
    share: float = 0.0


@dataclass(frozen=True, slots=True)
class Due:
    """When one client is due.

    Attributes
    ----------
    visit_id : str or None, of the service now worn
    state : str, ``given``, ``passed``, ``not soon``, ``unknown``, or ``nothing agreed`` or ``no service``
    early, middle, late : dates of the refresh window, or None
    why_not : why there is no date, or None; the sentence of an error that kept it from being worked out
    reasons : one per agreed limit, the one most likely to be passed first in front
    region, quantity : of `values`
    months, values : readings so far, for a small picture of the wear
    photo_id : str or None, the last photo
    to_confirm : bool, True where the limits were agreed on photos read along a ribbon, and the service is now read over
        the whole hair: they hold until somebody keeps them or agrees anew
    """

    client_id: str
    visit_id: str | None = None
    state: str = "no service"
    early: date | None = None
    middle: date | None = None
    late: date | None = None
    why_not: WhyNot | str | None = WhyNot("no service")  # noqa: RUF009 - frozen
    reasons: tuple[Reason, ...] = ()
    region: str = "end"
    quantity: str = WARMTH
    months: tuple[float, ...] = ()
    values: tuple[float, ...] = ()
    photo_id: str | None = None
    to_confirm: bool = False


def agreed_at(visits: Sequence[Visit]) -> Visit | None:
    """The visit at which the limits in force were agreed; None where there are none.

    Parameters
    ----------
    visits : of one client, newest first
    """
    for visit in visits:
        if visit.limits.anything:
            return visit
        if changes_colour(visit):
            break
    return None


def limits_in_force(visits: Sequence[Visit]) -> tuple[Visit | None, AgreedLimits]:
    """The service now worn, and the limits agreed then or at a later visit that left the colour alone.

    Parameters
    ----------
    visits : of one client, newest first
    """
    worn = next((visit for visit in visits if changes_colour(visit)), None)
    agreed = agreed_at(visits) if worn is not None else None
    return worn, agreed.limits if agreed is not None else NOTHING_AGREED


def fit_place(readings: ServiceReadings, region: str, quantity: str, learnt: Learnt) -> FadeFit | None:
    """The curve of one quantity in one band; None where the band was not read.

    Parameters
    ----------
    readings : ServiceReadings, of one service
    region : str, the band
    quantity : str, lightness or warmth
    learnt : Learnt, the priors from the studio's own services
    """
    place = readings.place(region)
    if place is None or not place.months:
        return None
    priors = learnt.get((readings.hair, kind_of(readings.services), region, quantity))
    return fit_fade(place.series(quantity), priors, readings.washes_per_week)


def limits_as_curves(limits: AgreedLimits, quantity: str, scale: LevelScale) -> list[Limit]:
    """The agreed limits of a quantity, in its unit; warmth counts from where the curve begins.

    Parameters
    ----------
    limits : AgreedLimits
    quantity : str, lightness or warmth
    scale : LevelScale, between levels and L*
    """
    if quantity == WARMTH:
        return [] if limits.warmer is None else [Limit(limits.warmer, "above", "warmth", from_start=True)]
    found = []
    if limits.lightest is not None:
        found.append(Limit(scale.lightness(limits.lightest), "above", "lightness"))
    if limits.darkest is not None:
        found.append(Limit(scale.lightness(limits.darkest), "below", "depth"))
    return found


def windows(
    readings: ServiceReadings | None,
    limits: AgreedLimits,
    learnt: Learnt,
    scale: LevelScale,
    found: Regrowth | None = None,
    washes_from_now: tuple[float, float] | None = None,
) -> list[Window]:
    """The window of each agreed limit, in months since the photo right after the service.

    Parameters
    ----------
    readings : ServiceReadings or None, of the service that is worn
    limits : AgreedLimits
    learnt : Learnt, the priors from the studio's own services
    scale : LevelScale, between levels and L*
    found : Regrowth or None, how the root grows
    washes_from_now : washes a week from now on, and now in months since the service; None for the pace so far
    """
    each = []
    often, now = washes_from_now or (None, None)
    for quantity in (WARMTH, LIGHTNESS):
        asked = limits_as_curves(limits, quantity, scale)
        fit = fit_place(readings, limits.region, quantity, learnt) if readings is not None and asked else None
        for limit in asked:
            if fit is None:
                each.append(nothing_known(WhyNot("no start", limit.name)))
            else:
                each.append(window(fit, limit, washes_per_week=often, now=now))
    if limits.root_mm is not None and found is not None:
        each.append(forecast(found, limits.root_mm))
    return each


def together(found: Sequence[Window]) -> Window:
    """The one window of several limits.

    A limit already passed right after the service gives no date, so the others count.

    Parameters
    ----------
    found : sequence of Window, one for each limit
    """
    dated = [each for each in found if each.state != "passed" or each.middle is not None]
    return refresh_window([(each.name, each) for each in dated or found])


def due_of(
    client_id: str,
    visits: Sequence[Visit],
    segment: Segment | None,
    readings: ServiceReadings | None,
    own: Yardsticks,
    learnt: Learnt,
    root: Regrowth | None = None,
) -> Due:
    """When a client is due.

    Parameters
    ----------
    client_id : str
    visits : of the client, newest first
    segment, readings : of the service now worn, None where no photo right after it has a number
    own : yardsticks in force
    learnt : priors from the studio's own services, empty where that is switched off
    root : how the root has grown since that service, or None
    """
    worn, limits = limits_in_force(visits)
    if worn is None:
        return Due(client_id)
    place = readings.place(limits.region) if readings is not None else None
    quantity = WARMTH if limits.warmer is not None or limits.darkest is limits.lightest is None else LIGHTNESS
    base = Due(
        client_id,
        worn.id,
        region=limits.region,
        quantity=quantity,
        months=place.months if place is not None else (),
        values=_values(place, quantity) if place is not None else (),
        photo_id=segment.photos[-1].id if segment is not None and segment.photos else None,
        state="nothing agreed",
        why_not=WhyNot("nothing agreed"),
        to_confirm=readings is not None and readings.hair == WHOLE and limits.of_colour and limits.hair != WHOLE,
    )
    if not limits.anything:
        return base
    begins = readings.begins if readings is not None else datetime(worn.on.year, worn.on.month, worn.on.day, 12)
    found = windows(readings, limits, learnt, own.scale, root)
    whole = together(found)
    shares = dict(whole.first)
    reasons = [reason_of(each, begins, shares.get(each.name, 0.0)) for each in found]
    return replace(
        base,
        state=whole.state,
        early=_day(begins, whole.early),
        middle=_day(begins, whole.middle),
        late=_day(begins, whole.late),
        why_not=whole.why_not,
        reasons=tuple(sorted(reasons, key=lambda reason: -reason.share)),
    )


def reason_of(found: Window, begins: datetime, share: float = 0.0) -> Reason:
    """A window in local days instead of months.

    Parameters
    ----------
    found : Window
    begins : datetime, of the service
    share : float, chance that its limit is passed first, 0..1
    """
    early, middle, late = (_day(begins, months) for months in (found.early, found.middle, found.late))
    return Reason(found.name, early, middle, late, found.state, found.why_not, share)


def _day(begins: datetime, months: float | None) -> date | None:
    return None if months is None else (begins + timedelta(days=months * DAYS_PER_MONTH)).astimezone().date()


def _values(place: PlaceReadings, quantity: str) -> tuple[float, ...]:
    return place.warmths if quantity == WARMTH else tuple(lab[0] for lab in place.labs)
