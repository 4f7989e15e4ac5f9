"""What a camera's rendering does to the colour of hair that the card in the photo cannot undo.

Five causes, each a shift of CIELAB. Four depend on the hair's own colour and are nil for a grey like the card's:
contrast (an exponent in linear light about the card's grey), stray light of lens and room, chroma (the camera's
saturation, and a light that separates warm colours more or less than daylight), hue (a light that turns them). The
fifth is a tint that cameras leave on greys lighter or darker than the card. They are the same in every photo taken with
one kit, so between two such photos only what they do unlike to the two colours remains.

Their sizes come from the truth bench (nine lights, three measured mosaic cameras, phone looks, 0 to 2 % of stray
light) and from six published photos of a chart (``tests/golden/chart_photos.csv``), which balanced on one grey show
exponents of 0.89 to 1.02, stray light of 0.7 to 4.6 %, chroma of 0.87 to 0.95, hue 0.09 to 0.11 rad off and tints of up
to 2.5. Stray light of more than 1 % (a window behind the hair) is not allowed for beside a plain grey: to make room for
it would make every reading of dark hair worthless, and a strip or chart undoes it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.maths.colorimetry import Floats, lab_to_linear, linear_to_lab
from tracker.measure.reading import DAYLIGHT, LAMPS

MISFIT_ALONE = 0.9
"""Share of a chart's or strip's own misfit that stands for what its correction leaves undone in the photo: the truth
bench's coverage holds with it."""


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
    grey : float, reflectance of the card's grey, 0..1: what contrast and stray light leave as it is
    """

    contrast: float
    stray: float
    chroma: float
    hue: float
    tint: float
    grey: float


# chroma and hue by light, for cards that say nothing of its spectrum
_CHROMA_HUE = {DAYLIGHT: (0.09, 0.06), LAMPS: (0.10, 0.10)}
_TUBES = (0.13, 0.14)  # and any light that was not noted: old tubes turn warm hair by 0.25 rad


@dataclass(frozen=True, slots=True)
class Undone:
    """What the correction by a kind of card leaves of the camera's error, standard uncertainties.

    Attributes
    ----------
    contrast, stray, tint : as of `CameraError`
    chroma_hue : relative, and radians; None where the card says nothing of the light's spectrum
    """

    contrast: float
    stray: float
    tint: float
    chroma_hue: tuple[float, float] | None = None

    def under(self, light: str | None, grey: float) -> CameraError:
        """What is left in a photo.

        Parameters
        ----------
        light : str or None, one of `reading.LIGHTS`; what is not known is taken as the worst
        grey : float, reflectance of the card's grey, 0..1
        """
        chroma, hue = self.chroma_hue or _CHROMA_HUE.get(light or "", _TUBES)
        return CameraError(self.contrast, self.stray, chroma, hue, self.tint, grey)


def shifts(lab: ArrayLike, size: CameraError) -> Floats:
    """What each cause does to a colour when it is one standard uncertainty off: L*, a*, b*, shape (6, 3).

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
    # the veil lies on the card too, so the balance scales it away there
    veil = 0.002
    veiled = linear_to_lab((linear + veil) * size.grey / (size.grey + veil))
    stray = (veiled - linear_to_lab(linear)) / veil
    a, b = colour[1], colour[2]
    chroma, hue = (0, a * size.chroma, b * size.chroma), (0, -b * size.hue, a * size.hue)
    return np.array([contrast * size.contrast, stray * size.stray, chroma, hue, (0, size.tint, 0), (0, 0, size.tint)])


def lightness_shifts(lightness: float, size: CameraError, tolerance: float) -> Floats:
    """What contrast, stray light and the maker's tolerance each do to the L* of a piece of hair, shape (3,).

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
