"""Tone without exposure: how warm a colour is, whatever shade it lies in.

``b* / (L* + 16)`` is ``(200 / 116) (1 - f(Z/Zn) / f(Y/Yn))``: in all but black, less light changes nothing in it, and
an error of exposure, the same in all channels, cancels. On the bench's rendered heads it tells two states of a head
one and a half to two times as well as b* itself does, and better than the logarithms of the ratios of red, green and
blue.

What natural hair has of it rises with melanin and falls again: lightened hair is paler. In the dark the curve is held
at its crest, for two reasons: shade makes brown hair as dark as black hair in a photo without touching its tone; and
instruments see the neutral surface of black hair, photos its body. So dark hair that is lifted becomes warmer.

References
----------
[CIE]  CIE 15:2018, the CIELAB formulas.
[CHI]  Chiang, Bitterli, Tappan, Burley 2016, Comput Graph Forum 35:275-283, with pbrt-v3's eumelanin absorption and a
       2 % neutral surface term: from the crest on the curve follows it within 0.006.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from tracker.maths.colorimetry import Floats
from tracker.maths.quantities import LabMeasured, Vector3

_OFFSET = 16.0  # of L* in CIELAB [CIE]
_CREST, _AT = 0.345, 36.9  # the largest tone of natural hair, and its L* [CHI]
_BEND, _TURN = -0.987, 0.577  # of the cubic in ln((L* + 16) / (36.9 + 16)), fitted to [CHI]
_LIGHTEST = 77.2  # L* of the lightest hair of the model, beyond which the curve is held

U_NEUTRAL = 0.03
"""Standard uncertainty of the curve: natural heads of the bench lie 0.02 to 0.05 above it."""
_TOGETHER = 20.0  # L*, over which errors of a smooth curve go together: a choice of our own


def tone_of(lab: ArrayLike) -> Floats:
    """``b* / (L* + 16)`` of each colour, (...,).

    Parameters
    ----------
    lab : (..., 3), L*, a*, b*
    """
    colours = np.asarray(lab, float)
    return np.asarray(colours[..., 2] / (colours[..., 0] + _OFFSET))


def neutral_tone(lightness: ArrayLike) -> Floats:
    """The `tone_of` natural hair of that lightness, (...,), held at its crest where hair is darker.

    Parameters
    ----------
    lightness : (...,), L*
    """
    light = np.clip(np.asarray(lightness, float), _AT, _LIGHTEST)
    x = np.log((light + _OFFSET) / (_AT + _OFFSET))
    return np.asarray(_CREST + _BEND * x**2 + _TURN * x**3)


def in_b(tone: float, lightness: float) -> float:
    """A difference of tone as b* at that `lightness`, L*.

    Parameters
    ----------
    tone : float, difference of two `tone_of`
    lightness : float, L*
    """
    return tone * (lightness + _OFFSET)


def tone_beside(lab: ArrayLike, lightness: float) -> Floats:
    """How much warmer than natural hair each colour is, in b* at the lightness of that natural hair, (...,).

    All bands of an untouched head are judged beside the same natural hair, so that their own shade does not count.

    Parameters
    ----------
    lab : (..., 3), L*, a*, b*
    lightness : float, L* of the natural hair in full light
    """
    return np.asarray((tone_of(lab) - neutral_tone(lightness)) * (lightness + _OFFSET))


def tone_gradient(lab: Vector3) -> Floats:
    """Change of tone less that of natural hair for one unit of L*, a* and b*, (3,).

    Parameters
    ----------
    lab : (3,), L*, a*, b*
    """
    lightness, _, b = lab
    own = np.array([-b / (lightness + _OFFSET) ** 2, 0.0, 1 / (lightness + _OFFSET)])
    step = 0.25
    natural = float(neutral_tone(lightness + step) - neutral_tone(lightness - step)) / (2 * step)
    return np.asarray(own - [natural, 0.0, 0.0])


def tone_change(before: LabMeasured, after: LabMeasured) -> tuple[float, float]:
    """How much warmer hair became than natural hair becomes by as much light, and the curve's part of its uncertainty.

    Parameters
    ----------
    before, after : LabMeasured

    Returns
    -------
    change, u : float, in units of `tone_of`; positive = warmer
    """
    first, second = before.lab, after.lab
    change = float(tone_of(second) - tone_of(first))
    natural = float(neutral_tone(second[0]) - neutral_tone(first[0]))
    apart = math.exp(-(((second[0] - first[0]) / _TOGETHER) ** 2) / 2)
    return change - natural, U_NEUTRAL * math.sqrt(2 * (1 - apart))
