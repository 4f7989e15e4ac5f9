"""The likely difference between the light on the hair and on the card.

Only the card is known to be even, so the fall-off of the light shows only there. Extrapolated along a straight line to
the hair, it predicts how much stronger or weaker the light is there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.maths.robust import robust_sd
from tracker.maths.uncertainty import combined_u
from tracker.measure.reading import Point

_NEIGHBOURS = 4.0  # samples of a card that vary together: noise smoothed by the camera, and JPEG blocks


@dataclass(frozen=True, slots=True)
class LightAtHair:
    """Light on the hair relative to the card, where they differ most.

    Attributes
    ----------
    ev : float, EV, positive where the hair gets more light
    u : float, standard uncertainty, EV
    """

    ev: float
    u: float

    @property
    def at_least(self) -> float:
        """The least difference between the two (95 %), EV, never negative."""
        return max(abs(self.ev) - 2 * self.u, 0.0)


def light_at_hair(ev: Floats, x: Floats, y: Floats, path: Sequence[Point]) -> LightAtHair:
    """The fall-off of light across the card, extrapolated to the hair.

    Parameters
    ----------
    ev : (n,), exposure of samples of the card's even grey, log2 of linear luminance
    x, y : (n,), their positions in the photo, pixels
    path : points along the hair, pixels
    """
    centre = np.array([x.mean(), y.mean()])
    design = np.stack([np.ones(len(ev)), x - centre[0], y - centre[1]], -1)
    keep = np.abs(ev - np.median(ev)) <= 0.6  # a speck or a finger is not a change of light
    plane, *_ = np.linalg.lstsq(design[keep], ev[keep], rcond=None)
    rest = ev[keep] - design[keep] @ plane
    keep[keep] = np.abs(rest) <= 4 * max(float(robust_sd(rest)), 1e-6)
    plane, *_ = np.linalg.lstsq(design[keep], ev[keep], rcond=None)
    rest = ev[keep] - design[keep] @ plane
    cov = np.linalg.inv(design[keep].T @ design[keep])[1:, 1:] * float(rest.var()) * _NEIGHBOURS
    away = np.asarray(path, float) - centre
    differs = away @ plane[1:]
    worst = int(np.argmax(np.abs(differs)))
    return LightAtHair(float(differs[worst]), combined_u(away[worst], cov))
