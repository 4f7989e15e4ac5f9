"""How much of the hair shines: wet or oily hair, or a lamp too close.

Light reflected from the surface of hair keeps the colour of the lamp and adds to the light that went through the hair
and took on its colour (dichromatic reflection, seen on hair: J Cosmet Sci 52 (2001) 238; Marschner et al. 2003, ACM
Trans Graph 22:780). So a pixel shines where most of its extra light over the hair around it has the lamp's colour; in a
lightened piece the extra light has the hair's own colour.
"""

from __future__ import annotations

import numpy as np

from tracker.maths.colorimetry import Floats, luminance

_STRETCHES = 12
_PLENTY = 40_000  # pixels; above this every second row is enough
_BRIGHTER = 1.5  # times the luminance of the hair around it
_MUCH_BRIGHTER = 3.0  # where the hair is as neutral as the lamp, and colour cannot tell
_NEUTRAL = 0.10  # radian between the hair's colour and the lamp's
_LAMP = np.ones(3) / np.sqrt(3)


def gloss_share(linear: Floats, seen: np.ndarray, burnt: np.ndarray, stripes: int | None = None) -> float:
    """Share of the hair that is surface reflection, 0..1: of a ribbon's inner half, or of the whole width.

    Over the whole width a pixel is judged by its own clump: light pieces beside dark ones are no gloss.

    Parameters
    ----------
    linear : (n, m, 3), balanced linear light of the straightened hair, root first
    seen : (n, m) bool, where there is hair inside the photo
    burnt : (n, m) bool, where a code sits at the top of its range: as bright as can be
    stripes : int or None, stripes a clump wide across the whole width; None for a ribbon
    """
    step = 2 if linear.shape[0] * linear.shape[1] > _PLENTY else 1
    linear, seen, burnt = (array[::step] for array in (linear, seen, burnt))
    columns = np.arange(linear.shape[1])
    quarter = len(columns) // 4
    parts = [columns[quarter : len(columns) - quarter]] if stripes is None else np.array_split(columns, stripes)
    shining, counted = 0, 0
    for rows in np.array_split(np.arange(len(linear)), _STRETCHES):
        for part in parts:
            if not len(rows) or not len(part):
                continue
            place = np.s_[rows[0] : rows[-1] + 1, part[0] : part[-1] + 1]
            here = seen[place]
            if here.sum() < 20:
                continue
            pixels, top = linear[place][here], burnt[place][here]
            shining += int(np.count_nonzero(_shines(pixels) | top))
            counted += len(pixels)
    return shining / counted if counted else 0.0


def _shines(pixels: Floats) -> np.ndarray:
    """True where most of a pixel's extra light over the median has the lamp's colour, (n,)."""
    body = np.median(pixels, axis=0)
    ratio = luminance(pixels) / max(float(luminance(body)), 1e-6)
    own = body / max(float(np.linalg.norm(body)), 1e-9)
    if np.arccos(min(float(own @ _LAMP), 1.0)) < _NEUTRAL:
        return np.asarray(ratio > _MUCH_BRIGHTER)
    parts = (pixels - body) @ np.linalg.pinv(np.stack([own, _LAMP], axis=1)).T
    of_own, of_lamp = parts[:, 0] * float(luminance(own)), parts[:, 1] * float(luminance(_LAMP))
    return np.asarray((ratio > _BRIGHTER) & (of_lamp > of_own))
