"""How well the dark patch of a card is known, and what that leaves of the camera's contrast.

Grey and dark patch give one exponent. A patch that reflects less than it is taken for gives an exponent that is too
small, in every photo alike: changes between photos with one card stay right, single colours lean.
"""

from __future__ import annotations

import math

from tracker.errors import InvalidMarks

NOMINAL = 0.10
"""Relative standard uncertainty of a dark patch by its nominal value: matt black reflects 4 to 6 %; common practice, no
source."""
GIVEN = 0.03
"""The same where a person gave its reflectance: a weak choice of our own."""
LEAST, MOST = 0.01, 0.12
"""What the dark patch of a card can reflect, 0..1."""
_DARKER = 0.7  # share of the grey's reflectance that a dark patch reflects at most: closer, and the two tell nothing
_CURVE = 0.03  # a phone's tone curve is no power: as the strip, whose three steps leave as much


def contrast_left(grey: float, dark: float, u: float) -> float:
    """Standard uncertainty of the exponent that grey and dark patch give.

    Parameters
    ----------
    grey, dark : float, reflectances, 0..1, dark below grey
    u : float, standard uncertainty of `dark`
    """
    return math.hypot(_CURVE, u / dark / math.log(grey / dark))


def u_of_contrast(grey: float, dark: float, contrast: float) -> float:
    """Relative standard uncertainty of a dark patch that leaves so much contrast; undoes `contrast_left`.

    Parameters
    ----------
    grey, dark : float, reflectances, 0..1, dark below grey
    contrast : float, standard uncertainty of the exponent
    """
    return math.sqrt(max(contrast**2 - _CURVE**2, 0.0)) * math.log(grey / dark)


def require_dark(dark: float, grey: float) -> None:
    """Check that a card's dark patch could reflect so much.

    Parameters
    ----------
    dark, grey : float, reflectances of dark patch and grey, 0..1

    Raises
    ------
    InvalidMarks
    """
    most = min(MOST, _DARKER * grey)
    if not LEAST <= dark <= most:
        raise InvalidMarks(
            f"The dark patch of a card cannot reflect {dark:g} of the light ({LEAST:g} to {most:.2g}).",
            "Give its reflectance as a share, such as 0.05.",
            value=float(dark),
            limit=most if dark > most else LEAST,
            unit="share",
        )
