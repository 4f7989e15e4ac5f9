"""What is frozen of a studio's own study: its scale, its neutral, its set-up check, and what it learns of wear.

The studio is made up and written down here by plain formulas, so that it is the same with every library.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from tracker.calibrate.gauge_study import Shot, repeatability_of, study
from tracker.calibrate.level import estimate_level, estimate_lift
from tracker.calibrate.level_fit import LevelSwatch, fit_scale
from tracker.calibrate.neutral_fit import fit_locus
from tracker.calibrate.warmth import estimate_warmth
from tracker.fade import FadeSeries, Worn, across, studio_prior
from tracker.maths.quantities import LabMeasured, matrix3

Json = Any

_LEVELS = ((2.0, 21.0), (4.0, 26.5), (5.0, 31.5), (6.0, 36.0), (8.0, 50.5), (9.0, 58.0))
_NATURAL = ((22.0, 2.8, 3.9), (29.0, 4.9, 8.5), (37.0, 6.2, 13.0), (46.0, 6.0, 15.5), (55.0, 5.6, 18.6))
_AT = (18.0, 25.0, 35.0, 45.0, 60.0, 70.0)


def _lab(lightness: float, a: float, b: float) -> LabMeasured:
    return LabMeasured((lightness, a, b), matrix3(np.diag([0.64, 0.25, 0.36])), 30.0)


def scale() -> Json:
    """A level scale of six swatches, what hair reads on it, and a lift."""
    fit = fit_scale([LevelSwatch(f"swatch {level:g}", level, _lab(light, 5, 12)) for level, light in _LEVELS], "own")
    found = {}
    for light in _AT:
        value = estimate_level(_lab(light, 5, 12), fit.scale).value
        found[f"at {light:g}"] = None if value is None else {"level": value.value, "level u": value.u}
    lift = estimate_lift(25.0, 48.0, 0.8, 0.8, fit.scale, 30.0).value
    assert lift is not None
    return {"read": found, "lift level": [lift.value, lift.u], "residuals level": list(fit.residuals)}


def neutral() -> Json:
    """A neutral of five natural swatches, and the warmth of hair by it."""
    locus = fit_locus([(f"swatch {lab[0]:g}", _lab(*lab)) for lab in _NATURAL], "own")
    found = {}
    for light in _AT:
        warmth = estimate_warmth(_lab(light, 7, 20), locus)
        found[f"at {light:g}"] = {"lab": warmth.value.value, "u": warmth.value.u, "tone": warmth.tone}
    return found


def setup_check() -> Json:
    """Three samples by two people on five days, two photos each, and the spread that they show."""
    shots = []
    for index in range(3 * 2 * 5 * 2):
        sample, operator, day = index // 20, index // 10 % 2, index // 2 % 5
        off = [
            0.5 * math.sin(3 * operator + axis) + 0.6 * math.sin(2.3 * day + axis) + 0.4 * math.sin(7.7 * index + axis)
            for axis in range(3)
        ]
        band = (25.0 + 15 * sample + off[0], 6 + 0.5 * off[1], 14 + 0.6 * off[2])
        shots.append(Shot(f"s{sample}", f"o{operator}", f"d{day}", (band, band, band)))
    spread = study(shots)
    own = repeatability_of(spread, "own")
    parts = ("repeat", "operator", "session", "occasion", "total", "between")
    return {
        **{f"{part} u": getattr(spread, part) and list(getattr(spread, part)) for part in parts},
        "dof": [spread.dof, spread.repeat_dof, spread.between_dof],
        "own u": [*own.sd, *own.shared],
        "own dof": [own.dof, own.shared_dof],
        "smallest change lab": [own.smallest_change(photos) for photos in (1, 3)],
    }


def _services() -> list[Worn]:
    found = []
    for number in range(14):
        group = ("cool", "warm")[number % 2]
        months = [0.0, *(0.4 + step * (1.1 + 0.05 * number) for step in range(4))]
        fast, rate = (3.0 if group == "cool" else 6.0) + math.sin(number), 1.0 + 0.3 * math.cos(number)
        values = [
            4 + fast * (1 - math.exp(-rate * month)) + 0.3 * month + 0.4 * math.sin(5 * number + 3 * step)
            for step, month in enumerate(months)
        ]
        series = FadeSeries(tuple(months), tuple(values), (0.6,) * 5, unit="warmth")
        found.append(Worn(series, f"client {number}", 3.0, group))
    return found


def learnt() -> Json:
    """What fourteen services say of the next one, and of two groups."""
    services = _services()
    priors = studio_prior(services).priors
    laid = across(services)
    groups = {each.group: each for each in (*laid.groups, laid.all)}
    return {
        "fast value": [priors.amplitude_mean, priors.amplitude],
        "slow value": [priors.slope_mean, priors.slope],
        "rate value": [priors.rate_median, priors.rate_spread],
        "groups": {
            name or "all": {
                "months": list(each.months),
                "wear lab": [list(each.low), list(each.median), list(each.high)],
                "compared lab": each.at_compared and [each.at_compared.value, each.at_compared.u],
            }
            for name, each in groups.items()
        },
        "compared at months": laid.compared_at,
        "differences": {
            f"{each.first} and {each.second}": {
                "lab": each.size and [each.size.value, each.size.u],
                "p": each.p,
                "verdict": each.verdict,
            }
            for each in laid.differences
        },
    }


STUDIO = {
    "studio, scale": scale,
    "studio, neutral": neutral,
    "studio, set-up check": setup_check,
    "studio, wear": learnt,
}
