"""How well the dark patch of a card is known, and what that leaves of the camera's contrast.

Grey and dark patch give one exponent. A patch that reflects less than it is taken for gives an exponent that is too
small, in every photo alike: changes between photos with one card stay right, single colours lean.
"""

from __future__ import annotations

import math

NOMINAL = 0.05
"""Relative standard uncertainty of a dark patch of which nobody knows more than its kind."""
GIVEN = 0.03
"""The same where a person gave its reflectance: a weak choice of our own."""
LEAST, MOST = 0.01, 0.12
"""What the dark patch of a card can reflect, 0..1."""
_CURVE = 0.03  # a phone's tone curve is no power: as the strip, whose three steps leave as much


def contrast_left(grey: float, dark: float, u: float) -> float:
    """Standard uncertainty of the exponent that grey and dark patch give.

    Parameters
    ----------
    grey, dark : float, reflectances, 0..1, dark below grey
    u : float, standard uncertainty of `dark`
    """
    return math.hypot(_CURVE, u / dark / math.log(grey / dark))
