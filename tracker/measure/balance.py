"""Correction of the light in a photo: the steps that kinds of card share, and applying the result.

One grey fixes the colour of the light and the exposure, as gains in linear light. Greys of several reflectances also
undo the camera's contrast and the stray light of lens and room.

With one grey, the gains are undone on the responses of sharpened sensors. A camera balances its raw values, anew in
each photo, before its matrix turns them into sRGB; gains on sRGB left the largest error of all in a change of b*
(`tests/bench/heads`), and photos of one real chart agree better too (`tests/test_balance.py`). Other tone curves,
matrices weighted near hair, fits in CIELAB and root polynomials were no better (`tests/bench`).

References
----------
[CAT16] Li et al. 2017, Color Res Appl 42:703-718; CIE 248:2022.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.errors import CardImplausible
from tracker.maths.colorimetry import RGB_TO_XYZ, Floats, lightness, luminance
from tracker.maths.quantities import Matrix3, Vector3, matrix3, vector3
from tracker.measure.reading import Correction

_EXPONENTS = (0.5, 2.0)  # beyond these it was not the card, or the photo was edited
# exponents that phones put on a photo (six published chart photos show 0.89 to 1.02, a strong look 1.25), and room for
# a dark patch that reflects 0.04 to 0.06
_PHONES = (0.75, 1.35)
_MOST_STRAY = 0.1
_DARKEST = 1e-6
_CAT16 = np.array([[0.401288, 0.650173, -0.051461], [-0.250268, 1.204414, 0.045854], [-0.002079, 0.048952, 0.953127]])
_SHARPENED = _CAT16 @ RGB_TO_XYZ  # responses of sharpened sensors to linear sRGB [CAT16]


def toned_gains(seen: Floats, wanted: Floats, exponent: float = 1.0, flare: float = 0.0) -> Vector3:
    """Gains that bring a grey to its reflectance, once exponent and stray light are applied.

    Parameters
    ----------
    seen, wanted : (3,), linear values of the grey in the photo and under the standard white
    exponent, flare : as of a `Correction`
    """
    return vector3((wanted + flare) ** (1 / exponent) / np.maximum(seen, _DARKEST))


def sharpened(gains: Vector3, wanted: Floats, exponent: float = 1.0) -> Matrix3:
    """What turns gains in linear sRGB into gains on the responses of a camera's own sensors, nearly.

    A camera balances its raw values before they become sRGB, so what it chose is undone where it was done. The
    sharpened responses of an adaptation transform stand for those of the sensors [CAT16].

    Parameters
    ----------
    gains : of red, green and blue, > 0
    wanted : (3,), linear values of the grey under the standard white
    exponent : of the `Correction`, applied between the gains and this

    Returns
    -------
    3 x 3, to be applied after gains and exponent; it leaves the grey as it is
    """
    done = np.asarray(gains) ** exponent
    seen = wanted / done
    scale = (_SHARPENED @ wanted) / np.maximum(_SHARPENED @ seen, _DARKEST)
    whole = np.linalg.solve(_SHARPENED, scale[:, None] * _SHARPENED)
    return matrix3(whole / done)


def tone(
    seen: Floats, wanted: Floats, grey_seen: Floats, grey_wanted: Floats, *, hold: float = 0.0
) -> tuple[float, float]:
    """Exponent and stray light that bring greys to their own L*, by least squares.

    Parameters
    ----------
    seen, wanted : (n, 3), linear values of the greys in the photo and under the standard white
    grey_seen, grey_wanted : (3,), the same for the grey that fixes the gains
    hold : float, L*, the penalty for a contrast of e: pulls the exponent towards 1
    """
    from scipy.optimize import least_squares  # imported late: a plain card does without

    goal = lightness(luminance(wanted))

    def miss(at: Floats) -> Floats:
        exponent, flare = float(np.exp(at[0])), float(at[1])
        gains = np.asarray(toned_gains(grey_seen, grey_wanted, exponent, flare))
        light = luminance(np.maximum(seen * gains, 0) ** exponent - flare)
        return np.append(lightness(light) - goal, hold * at[0])

    low, high = np.log(_EXPONENTS)
    found = least_squares(miss, (0.0, 0.002), bounds=((low, 0.0), (high, _MOST_STRAY)), x_scale=(0.1, 0.01))
    return float(np.exp(found.x[0])), float(found.x[1])


def exponent_between(seen: Floats, wanted: Floats) -> float:
    """The exponent in linear light that brings a grey and a dark patch as far apart as they are.

    Parameters
    ----------
    seen, wanted : (2, 3), linear values of grey and dark in the photo and under the standard white

    Returns
    -------
    float, > 0, not held within any limits
    """
    (grey, dark), (light, deep) = luminance(np.maximum(seen, _DARKEST)), luminance(wanted)
    return float(np.log(light / deep) / max(np.log(grey / dark), 1e-3))


def grey_and_dark(kind: str, seen: Floats, wanted: Floats) -> Correction:
    """The correction from a grey and a dark patch: gains from the grey, one exponent from both.

    Parameters
    ----------
    kind : str, name of the kind of card
    seen, wanted : (2, 3), linear values of grey and dark in the photo and under the standard white

    Raises
    ------
    CardImplausible : the two are not as far apart as any phone leaves them
    """
    _require_contrast(seen, wanted)
    exponent, grey = float(np.clip(exponent_between(seen, wanted), *_PHONES)), wanted[0]
    gains = toned_gains(seen[0], grey, exponent)
    return Correction(kind, gains, exponent=exponent, matrix=sharpened(gains, grey, exponent))


def _require_contrast(seen: Floats, wanted: Floats) -> None:
    exponent = exponent_between(seen, wanted)
    if _EXPONENTS[0] <= exponent <= _EXPONENTS[1]:
        return
    closer = exponent > 1
    raise CardImplausible(
        f"The dark half reads too {'light' if closer else 'dark'} beside the grey one "
        f"(contrast {1 / exponent:.2f}, {1 / _EXPONENTS[1]:g} to {1 / _EXPONENTS[0]:g} can be).",
        "Turn the card until nothing shines on its dark half, and keep both halves in the same light."
        if closer
        else "Check that the corners lie on both halves, and that the dark half is not in shadow.",
        value=1 / exponent,
        limit=1 / _EXPONENTS[1] if closer else 1 / _EXPONENTS[0],
        unit="ratio",
    )


def apply(correction: Correction, linear: NDArray[Any]) -> Floats:
    """Linear light under the standard white.

    Parameters
    ----------
    correction : Correction, of that photo
    linear : (..., 3), linear sRGB primaries, as photographed

    Returns
    -------
    (..., 3), unclipped; the dtype follows `linear`
    """
    kind = linear.dtype if np.issubdtype(linear.dtype, np.floating) else np.dtype(float)
    balanced = linear * np.asarray(correction.gains, kind)
    if correction.exponent != 1.0 or correction.flare != 0.0:
        toned = np.sign(balanced) * np.abs(balanced) ** kind.type(correction.exponent)
        balanced = toned - kind.type(correction.flare)
    matrix = np.asarray(correction.matrix, kind)
    if np.array_equal(matrix, np.eye(3)):
        return np.asarray(balanced)
    return np.asarray(balanced @ matrix.T)
