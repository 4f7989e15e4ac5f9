"""Is it another light, or did the phone balance the colours otherwise?

A phone takes the light for something between a candle and the blue sky. Where it takes it otherwise in the next photo,
the gains that a grey asks for move along the line of these lights, and the card takes that out. A move to the side of
the line is another matter: no daylight and no bulb makes light greener or pinker.

One grey cannot tell more. Lamps against daylight lie along the line, as a phone does that warms one photo and cools the
next, so a move along it says nothing and what was noted of the light decides. The lamps and tubes of CIE 15 lie within
0.04 of the line too: what is seen by this are coloured lights.

References
----------
[CIE]   CIE 15:2018: Planckian radiators from 2300 to 5000 K, then daylights to 7500 K; all lie within 0.01
        of the line.
[CAT16] Li et al. 2017, Color Res Appl 42:703-718: the sharpened responses on which a balance is nearly a gain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.maths.colorimetry import RGB_TO_XYZ, Floats

# logarithms of long and short responses less that of the middle one: the unit vector along the lights of [CIE], from
# tungsten to daylight, by their first principal component
_ALONG = np.array([-0.172, 0.985])
_ACROSS = np.array([0.985, 0.172])
_CAT16 = np.array(
    [[0.401288, 0.650173, -0.051461], [-0.250268, 1.204414, 0.045854], [-0.002079, 0.048952, 0.953127]],
)

LARGEST_OFF = 0.2
"""Off the line, more than this means another light. By the bench: under one light, with balances 5 % apart in each
channel of the sensor, at most 2 % of pairs are further apart."""


@dataclass(frozen=True, slots=True)
class BalanceMove:
    """How the light on two cards looked to the camera, the second against the first, natural logarithms of ratios.

    Attributes
    ----------
    along : float, along the line from tungsten to daylight, positive = bluer
    off : float, to the side of it, positive = pinker, negative = greener
    """

    along: float
    off: float

    @property
    def another_light(self) -> bool:
        """True where no balance between daylight and tungsten explains the difference."""
        return abs(self.off) > LARGEST_OFF


def balance_move(before: ArrayLike, after: ArrayLike) -> BalanceMove:
    """What two photos' gains differ by, along the line from tungsten to daylight and off it.

    Parameters
    ----------
    before, after : (3,), gains of linear red, green and blue (sRGB primaries) that made each photo's grey neutral, > 0
    """
    moved = _seen(after) - _seen(before)
    return BalanceMove(float(_ALONG @ moved), float(_ACROSS @ moved))


def _seen(gains: ArrayLike) -> Floats:
    """The grey before its balance: logarithms of long and short responses against the middle one, (2,)."""
    responses = np.log(np.maximum(_CAT16 @ RGB_TO_XYZ @ (1 / np.asarray(gains, float)), 1e-6))
    return np.asarray([responses[0] - responses[1], responses[2] - responses[1]])
