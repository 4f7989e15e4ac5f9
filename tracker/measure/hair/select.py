"""Which pixels of a band are the body of the hair.

Left out: burnt-out and crushed pixels; anything that is not hair (by robust distance in CIELAB); the gloss tail,
where the lamp's colour reflected from the surface raises L* and lowers chroma; and the shadow tail between strands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.maths.robust import robust_sd

CLIPPED, NOT_HAIR, GLOSS, SHADOW, KEPT, OUTSIDE = 0, 1, 2, 3, 4, 5
"""Why a pixel was left out, or that it was kept."""


@dataclass(frozen=True, slots=True)
class Selection:
    """How the body of the hair is chosen.

    Attributes
    ----------
    gloss, shadow : float, shares of the hair's pixels at the light and the dark end that are left out
    distance : float, robust distance from the band's median beyond which a pixel is not hair
    """

    gloss: float = 0.10
    shadow: float = 0.10
    distance: float = 4.5


USUAL = Selection()
WHOLE_WIDTH = Selection(gloss=0.0, shadow=0.0, distance=np.inf)
"""For the whole width of painted hair: a band is a mixture of light and low pieces, and none of them is left out."""

_ENOUGH = 2500  # enough pixels for a median
# smallest scatter (L*, a*, b*) assumed for one head of hair: strands differ, and so do lights and lows
_SMALLEST_SPREAD = np.array([8.0, 2.5, 4.0])


def clipped_codes(codes: np.ndarray) -> np.ndarray:
    """True where any channel of the `codes`, (n, m, 3) uint8 or uint16, is at either end of its range, (n, m)."""
    top = np.iinfo(codes.dtype).max
    return np.asarray(((codes >= top - top // 255) | (codes == 0)).any(axis=-1))


def select_body(lab: Floats, luminance: Floats, usable: np.ndarray, how: Selection = USUAL) -> np.ndarray:
    """The verdict on every pixel of a band: kept, or why not.

    Parameters
    ----------
    lab : (n, m, 3), balanced
    luminance : (n, m), linear
    usable : (n, m) bool, False for clipped pixels and outside the photo
    how : Selection, its limits

    Returns
    -------
    (n, m) uint8
    """
    verdict = np.full(usable.shape, CLIPPED, np.uint8)
    if not usable.any():
        return verdict
    verdict[usable] = KEPT
    if np.isfinite(how.distance):
        centre, scatter = _middle_of_ribbon(lab, usable)
        away = np.square((lab - centre) / scatter).sum(axis=-1) > how.distance**2
        verdict[usable & away] = NOT_HAIR
    hair = verdict == KEPT
    if hair.any():
        low, high = np.quantile(luminance[hair], [how.shadow, 1 - how.gloss])
        verdict[hair & (luminance > high)] = GLOSS
        verdict[hair & (luminance < low)] = SHADOW
    return verdict


def _middle_of_ribbon(lab: Floats, usable: np.ndarray) -> tuple[Floats, Floats]:
    """Median and robust scatter of the inner half of the width, since the edges of the path may miss the hair."""
    columns = lab.shape[1]
    inner = slice(columns // 4, columns - columns // 4)
    pixels = lab[:, inner][usable[:, inner]]
    if len(pixels) < 8:
        pixels = lab[usable]
    pixels = pixels[:: max(1, len(pixels) // _ENOUGH)]
    centre = np.median(pixels, axis=0)
    scatter = np.maximum(robust_sd(pixels - centre), _SMALLEST_SPREAD)
    return np.asarray(centre), np.asarray(scatter)
