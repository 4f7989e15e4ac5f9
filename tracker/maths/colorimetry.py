"""Colour mathematics: CIELAB, colour difference, adaptation.

All RGB here is in sRGB primaries (IEC 61966-2-1). Linear values have 1.0 = perfect white and are never clipped.
CIELAB is for D65 and the 2 degree observer (CIE 15:2004).

References
----------
[IEC]    IEC 61966-2-1:1999, sRGB.
[CIE15]  CIE 15:2004, Colorimetry, 3rd edition.
[SWD]    Sharma, Wu, Dalal 2005, The CIEDE2000 color-difference formula, Color Res Appl 30:21-30.
[LAM]    Lam 1985, Bradford transform. Matrix values as in colour-science 0.4.7.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.floating[Any]]

D65_XY = (0.3127, 0.3290)
"""Chromaticity x, y of the white of sRGB [IEC]."""

# D50 of the ICC profile connection space, ICC.1:2022 section 6.3.4.3
D50_ICC = np.array([0.9642, 1.0, 0.8249])

# from the chromaticities of the sRGB primaries and D65, to full precision [IEC]
_PRIMARIES_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))

_EPSILON = 216.0 / 24389.0  # exact forms of CIE 15's 0.008856 and 903.3
_KAPPA = 24389.0 / 27.0

_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])  # [LAM]


def white_xyz(white: tuple[float, float]) -> Floats:
    """CIE XYZ, (3,), of the white with chromaticity `white`, x and y, scaled to Y = 1."""
    x, y = white
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


D65 = white_xyz(D65_XY)


def primaries_to_xyz(primaries_xy: ArrayLike, white: ArrayLike = D65) -> Floats:
    """Matrix from linear RGB to XYZ for three primaries and a white.

    Parameters
    ----------
    primaries_xy : (3, 2), chromaticities of red, green, blue
    white : (3,), XYZ with Y = 1

    Returns
    -------
    (3, 3) matrix; the columns sum to the white.
    """
    xy = np.asarray(primaries_xy, float)
    columns = np.stack([xy[:, 0] / xy[:, 1], np.ones(3), (1 - xy.sum(1)) / xy[:, 1]])
    return np.asarray(columns * np.linalg.solve(columns, np.asarray(white, float)))


RGB_TO_XYZ = primaries_to_xyz(_PRIMARIES_XY)
XYZ_TO_RGB = np.linalg.inv(RGB_TO_XYZ)


def xyz_to_lab(xyz: ArrayLike, white: ArrayLike = D65) -> Floats:
    """CIELAB from tristimulus values.

    Parameters
    ----------
    xyz : (..., 3), Y = 1 for perfect white
    white : (3,), XYZ of the white
    """
    f = _compressed(np.asarray(xyz, float) / np.asarray(white, float))
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)


def _compressed(light: Floats) -> Floats:
    return np.where(light > _EPSILON, np.cbrt(light), (_KAPPA * light + 16) / 116)


def lightness(light: ArrayLike) -> Floats:
    """L* of the luminances `light`, any shape, 1.0 = white; a straight line below zero."""
    return 116 * _compressed(np.asarray(light, float)) - 16


def linear_to_lab(linear: ArrayLike) -> Floats:
    """CIELAB from linear light in sRGB primaries.

    Parameters
    ----------
    linear : (..., 3), 1.0 = perfect white

    Examples
    --------
    >>> [round(float(v), 2) for v in linear_to_lab([0.18, 0.18, 0.18])]
    [49.5, 0.0, 0.0]
    """
    return xyz_to_lab(np.asarray(linear, float) @ RGB_TO_XYZ.T)


def lab_to_linear(lab: ArrayLike) -> Floats:
    """Linear light in sRGB primaries of the CIELAB colours `lab`, (..., 3); outside 0..1 where the gamut ends."""
    v = np.asarray(lab, float)
    fy = (v[..., 0] + 16) / 116
    f = np.stack([fy + v[..., 1] / 500, fy, fy - v[..., 2] / 200], -1)
    t = np.where(f > np.cbrt(_EPSILON), f**3, (116 * f - 16) / _KAPPA)
    return np.asarray(t * D65 @ XYZ_TO_RGB.T)


def luminance(linear: ArrayLike) -> Floats:
    """Relative luminance Y, (...,), of the light `linear`, (..., 3), linear in sRGB primaries."""
    return np.asarray(np.asarray(linear, float) @ RGB_TO_XYZ[1])


def lab_to_lch(lab: ArrayLike) -> Floats:
    """Lightness, chroma and hue angle (degrees, 0..360), (..., 3), of the CIELAB colours `lab`, (..., 3)."""
    v = np.asarray(lab, float)
    hue = np.degrees(np.arctan2(v[..., 2], v[..., 1])) % 360
    return np.stack([v[..., 0], np.hypot(v[..., 1], v[..., 2]), hue], -1)


def adaptation_matrix(from_white: ArrayLike, to_white: ArrayLike) -> Floats:
    """The matrix, (3, 3), from XYZ under one white to the corresponding XYZ under another, by Bradford [LAM].

    It equals colour-science's to 1e-9 (`tests/test_colorimetry.py`). Importing that library takes most of a second,
    which even the worker that only reads photos would pay.

    Parameters
    ----------
    from_white, to_white : (3,), XYZ with Y = 1
    """
    gains = (_BRADFORD @ np.asarray(to_white, float)) / (_BRADFORD @ np.asarray(from_white, float))
    return np.asarray(np.linalg.solve(_BRADFORD, gains[:, None] * _BRADFORD))


def delta_e_2000(lab_1: ArrayLike, lab_2: ArrayLike) -> Floats:
    """CIEDE2000 colour difference, kL = kC = kH = 1 [SWD].

    Parameters
    ----------
    lab_1, lab_2 : (..., 3), broadcast against each other

    Returns
    -------
    (...,) >= 0
    """
    from skimage.color import deltaE_ciede2000  # imported late: only comparisons need it

    # equal shapes, or scikit-image takes the wrong axis for the channels
    return np.asarray(deltaE_ciede2000(*np.broadcast_arrays(np.asarray(lab_1, float), np.asarray(lab_2, float))))
