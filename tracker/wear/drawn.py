"""What a chart of one service's wear shows besides its readings: modelled colours, agreed limits, later visits."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from tracker.calibrate.level import LevelScale
from tracker.fade import FadeFit
from tracker.maths.quantities import Vector3, vector3
from tracker.record.agreed import AgreedLimits
from tracker.record.records import Visit
from tracker.wear.due import Learnt, fit_place, limits_as_curves
from tracker.wear.readings import ServiceReadings
from tracker.words import DAYS_PER_MONTH, as_date


def modelled_labs(
    readings: ServiceReadings, region: str, learnt: Learnt, end: float, patches: int
) -> tuple[Vector3, ...]:
    """CIELAB that the three curves of a band pass through, at the middles of even steps.

    Parameters
    ----------
    readings : ServiceReadings, of the service that wears
    region : str, the band's code
    learnt : priors from the studio's own services
    end : float, months, > 0, where the steps end; they begin at the service
    patches : int, how many steps

    Returns
    -------
    as many colours, or none where a curve is missing
    """
    fits = [fit_place(readings, region, channel, learnt) for channel in ("L*", "a*", "b*")]
    months = (np.arange(patches) + 0.5) * end / patches
    curves = [fit.mean(months) for fit in fits if fit is not None]
    return tuple(map(vector3, np.stack(curves, axis=-1))) if len(curves) == 3 else ()


def limit_heights(fit: FadeFit, limits: AgreedLimits, quantity: str, scale: LevelScale) -> list[tuple[str, float]]:
    """Agreed limits as a chart draws them: ``above`` or ``below``, and the value in the unit of the quantity.

    Parameters
    ----------
    fit : FadeFit, whose start limits are counted from where they say so
    limits : AgreedLimits
    quantity : str, lightness or warmth
    scale : LevelScale in force, which turns levels into L*
    """
    begins = float(fit.mean(0.0))
    return [
        (limit.side, limit.value + (begins if limit.from_start else 0.0))
        for limit in limits_as_curves(limits, quantity, scale)
    ]


def visits_since(readings: ServiceReadings, visits: Sequence[Visit]) -> list[float]:
    """Months at which the client came again, rising, up to the next service that changed the colour.

    Parameters
    ----------
    readings : ServiceReadings, of the service that wears
    visits : of the client, in any order
    """
    first, last = as_date(readings.begins), readings.ended_on or date.max
    return sorted((visit.on - first).days / DAYS_PER_MONTH for visit in visits if first < visit.on <= last)
