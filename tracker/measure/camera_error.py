"""The error that a camera's rendering leaves in the colour of hair after the correction by the card.

Five causes, each a shift in CIELAB. Four depend on the colour of the hair and vanish for a grey like the card's:
contrast (an exponent in linear light about the card's grey), stray light of lens and room, chroma (the camera's
saturation, or a light that separates warm colours more or less than daylight does) and hue (a light that turns them).
The fifth is a tint that cameras leave on greys lighter or darker than the card. Every photo taken with one kit has the
same errors, so between two of them only the difference of the shifts of the two colours remains.

Their sizes come from the truth bench (nine lights, three measured mosaic cameras, phone looks, 0 to 2 % of stray
light) and from six published photos of a chart (``tests/golden/chart_photos.csv``). Balanced on one grey, those show
exponents of 0.89 to 1.02, stray light of 0.7 to 4.6 %, chroma of 0.87 to 0.95, hue errors of 0.09 to 0.11 rad and tints
of up to 2.5. The allowance for a plain grey does not cover stray light above 1 % (a window behind the hair): it would
make every reading of dark hair worthless, and a strip or chart undoes it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.maths.colorimetry import Floats, lab_to_linear, linear_to_lab
from tracker.measure.reading import DAYLIGHT, LAMPS

MISFIT_ALONE = 0.9
"""Share of a chart's or strip's own misfit taken as the error that its correction leaves; with it the truth bench's
coverage holds."""


@dataclass(frozen=True, slots=True)
class CameraError:
    """Standard uncertainties of the five causes.

    Attributes
    ----------
    contrast : float, of the exponent
    stray : float, of the stray light, in units of perfect white
    chroma : float, relative
    hue : float, radians
    tint : float, a* and b* of a grey
    grey : float, reflectance of the card's grey, 0..1, which contrast and stray light do not change
    """

    contrast: float
    stray: float
    chroma: float
    hue: float
    tint: float
    grey: float


# chroma and hue by light, for cards that say nothing about its spectrum
_CHROMA_HUE = {DAYLIGHT: (0.09, 0.06), LAMPS: (0.10, 0.10)}
_TUBES = (0.13, 0.14)  # also any light that was not noted: old tubes turn warm hair by 0.25 rad


@dataclass(frozen=True, slots=True)
class Undone:
    """The camera's error that remains after correction by a kind of card, standard uncertainties.

    Attributes
    ----------
    contrast, stray, tint : as in `CameraError`
    chroma_hue : relative, and radians; None where the card says nothing about the spectrum of the light
    """

    contrast: float
    stray: float
    tint: float
    chroma_hue: tuple[float, float] | None = None

    def under(self, light: str | None, grey: float) -> CameraError:
        """The camera's error that remains in a photo under a light.

        Parameters
        ----------
        light : str or None, one of `reading.LIGHTS`; the worst case where unknown
        grey : float, reflectance of the card's grey, 0..1
        """
        chroma, hue = self.chroma_hue or _CHROMA_HUE.get(light or "", _TUBES)
        return CameraError(self.contrast, self.stray, chroma, hue, self.tint, grey)


def shifts(lab: ArrayLike, size: CameraError) -> Floats:
    """Shift of L*, a*, b* for an error of one standard uncertainty of each cause, (6, 3).

    Parameters
    ----------
    lab : (3,), L*, a*, b*
    size : CameraError, standard uncertainty of each cause
    """
    colour = np.asarray(lab, float)
    linear = np.maximum(lab_to_linear(colour), 1e-4)
    step = 0.01
    exponents = (linear_to_lab(size.grey * (linear / size.grey) ** (1 + sign * step)) for sign in (1, -1))
    contrast = np.subtract(*exponents) / (2 * step)
    # the veil lies on the card too, where the balance removes it
    veil = 0.002
    veiled = linear_to_lab((linear + veil) * size.grey / (size.grey + veil))
    stray = (veiled - linear_to_lab(linear)) / veil
    a, b = colour[1], colour[2]
    chroma, hue = (0, a * size.chroma, b * size.chroma), (0, -b * size.hue, a * size.hue)
    return np.array([contrast * size.contrast, stray * size.stray, chroma, hue, (0, size.tint, 0), (0, 0, size.tint)])


def lightness_shifts(lightness: float, size: CameraError, tolerance: float) -> Floats:
    """Shift of L* of a piece of hair by contrast, by stray light and by the maker's tolerance, (3,).

    Parameters
    ----------
    lightness : float, L*
    size : CameraError, standard uncertainty of each cause
    tolerance : float, relative half width of the tolerance of the card's grey, rectangular
    """
    grey, step = lab_to_linear((lightness, 0.0, 0.0)), tolerance / math.sqrt(3)
    card = (linear_to_lab(grey * (1 + step)) - linear_to_lab(grey * (1 - step)))[0] / 2
    return np.array([*shifts((lightness, 0.0, 0.0), size)[:2, 0], card])


def standing_alone(lab: ArrayLike, size: CameraError) -> Floats:
    """Covariance of one colour's L*, a*, b* from all causes, (3, 3).

    Parameters
    ----------
    lab : (3,), L*, a*, b*
    size : CameraError, standard uncertainty of each cause
    """
    each = shifts(lab, size)
    return np.asarray(each.T @ each)


def between(before: ArrayLike, after: ArrayLike, size: CameraError) -> Floats:
    """Covariance that does not cancel in the difference of two colours taken with one kit, (3, 3).

    Parameters
    ----------
    before, after : (3,), L*, a*, b*
    size : CameraError, standard uncertainty of each cause
    """
    each = shifts(after, size) - shifts(before, size)
    return np.asarray(each.T @ each)
