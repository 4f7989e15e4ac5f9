"""What makes a reading uncertain, cause by cause.

The number of pixels does not give it: on correlated texture the naive standard error was 28 times too small.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tracker.colorimetry import Floats, linear_to_lab
from tracker.hair import BandColour, lights_and_lows
from tracker.measure.settings import Settings
from tracker.quantities import LabMeasured, Measured, matrix3, vector3
from tracker.reading import RegionReading
from tracker.reference_card import CardReading
from tracker.uncertainty import effective_dof

# Standard uncertainty of the camera's own rendering (L*, a*, b*) by kind of card, which one grey cannot see. Lightness:
# six published photos of a chart, balanced on one grey, differ from the truth by 4 to 5 ΔE00 on average over all
# patches (tests/golden/chart_photos.csv). a* and b*: root mean square over nine lights (daylights, tungsten,
# fluorescent, LED) of the first measured camera of the truth bench, with its own matrix; the second camera has
# a stacked sensor and is several times worse. A strip undoes contrast and stray light, not the light's spectrum.
RENDERING = {"grey18": (2.0, 2.3, 2.2), "steps3": (2.0, 2.3, 2.2), "chart24": (1.0, 1.2, 1.1)}


@dataclass(frozen=True, slots=True, eq=False)
class _Component:
    """One cause of uncertainty: covariance of L*, a*, b* and what it rests on."""

    cov: Floats
    dof: float = math.inf


def region_reading(
    name: str,
    colour: BandColour,
    colours: dict[str, BandColour],
    card: CardReading,
    moved: Floats,
    settings: Settings,
) -> RegionReading:
    """One band's reading with both parts of its uncertainty."""
    here = [
        _Component(colour.cov, colour.dof),
        _Component(_card_noise(colour, card)),
        _Component(_light(colour, card, settings)),
        _Component(moved, 4.0),
    ]
    cov = np.sum([c.cov for c in here], axis=0)
    # the studio's spread between photos has the same causes, so the larger of both stands, not their sum
    known = np.square(settings.repeatability.sd)
    rest = np.maximum(known - np.diag(cov), 0)
    repeat = cov + np.diag(rest)
    parts = [*here, _Component(np.diag(rest), settings.repeatability.dof)]
    alone = repeat + np.diag(np.square(RENDERING[card.kind.name])) + _tolerance(colour, card)
    dof = effective_dof([math.sqrt(max(float(np.trace(p.cov)), 0)) for p in parts], [p.dof for p in parts])
    root = None if name == "root" or "root" not in colours else colours["root"].cells
    lights, lows, dimension, share = lights_and_lows(colour.cells, root)
    light_u = math.sqrt(float(_light(colour, card, settings)[0, 0]))
    return RegionReading(
        name,
        LabMeasured(vector3(colour.lab), matrix3(alone), dof),
        matrix3((repeat + repeat.T) / 2),
        _widened(lights, light_u),
        _widened(lows, light_u),
        dimension,
        share,
        colour.pixels,
        colour.dropped,
    )


def _widened(measured: Measured, u: float) -> Measured:
    """A value with one more cause of uncertainty that rests on stated limits."""
    total = math.hypot(measured.u, u)
    return Measured(measured.value, total, measured.unit, effective_dof([measured.u, u], [measured.dof, math.inf]))


def _lab_slope(colour: BandColour, change: Floats) -> Floats:
    """Change of Lab for a relative change of linear red, green and blue, shape (3,)."""
    return np.asarray(linear_to_lab(colour.linear * (1 + change)) - linear_to_lab(colour.linear * (1 - change))) / 2


def _card_noise(colour: BandColour, card: CardReading) -> Floats:
    """Noise of the grey's mean, carried to the hair through the gains."""
    grey = card.linear[card.kind.grey]
    relative = card.cov[card.kind.grey] / np.outer(grey, grey)
    step = 1e-3
    slopes = np.stack([_lab_slope(colour, step * np.eye(3)[k]) / step for k in range(3)], axis=1)
    return np.asarray(slopes @ relative @ slopes.T)


def _light(colour: BandColour, card: CardReading, settings: Settings) -> Floats:
    """Light on the hair unlike the light on the card: rectangular limits in EV (GUM 4.3.7)."""
    half_width = math.hypot(settings.light_half_width, card.gradient)
    slope = _lab_slope(colour, np.full(3, 2 ** (half_width / math.sqrt(3)) - 1))
    return np.outer(slope, slope)


def _tolerance(colour: BandColour, card: CardReading) -> Floats:
    """The maker's tolerance of the grey's reflectance, rectangular; drops out between photos with the same card."""
    slope = _lab_slope(colour, np.full(3, card.kind.tolerance / math.sqrt(3)))
    return np.outer(slope, slope)
