"""Ways to find the colour of the body of the hair among gloss and gaps, on balanced linear light.

References
----------
[SHA] Shafer 1985, Color Res Appl 10:210-218: light from a surface is body colour plus the lamp's colour.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from tracker.maths.colorimetry import Floats, luminance
from tracker.measure.hair import KEPT, body_mean
from tracker.measure.hair.select import Selection

Body = Callable[[Floats, np.ndarray], Floats]


def trimmed(linear: Floats, usable: np.ndarray, gloss: float = 0.10, shadow: float = 0.10) -> Floats:
    """The program's own choice of pixels, with other tails."""
    return body_mean(linear, usable, Selection(gloss, shadow))[0]


def middle(linear: Floats, usable: np.ndarray) -> Floats:
    """Mean of the pixels about the median of luminance."""
    return trimmed(linear, usable, 0.4, 0.4)


def dichromatic(linear: Floats, usable: np.ndarray, gloss: float = 0.10, shadow: float = 0.10) -> Floats:
    """Each pixel split into body colour and lamp colour [SHA], gloss taken away, then the tails trimmed.

    The body's hue comes from the darker half of the hair, which holds least gloss; the lamp is white after balance.
    """
    _, verdict = body_mean(linear, usable, Selection(0.0, 0.0))
    pixels = linear[verdict == KEPT].astype(float)
    light = luminance(pixels)
    darker = pixels[(light >= np.quantile(light, shadow)) & (light <= np.median(light))].mean(axis=0)
    parts = np.linalg.lstsq(np.stack([darker, np.ones(3)], -1), pixels.T, rcond=None)[0]
    # noise makes small lamp parts of either sign; the darker half tells how small
    noise = np.median(np.abs(parts[1]))
    clean = pixels - np.maximum(parts[1] - noise, 0)[:, None]
    light = luminance(clean)
    low, high = np.quantile(light, [shadow, 1 - gloss])
    return np.asarray(clean[(light >= low) & (light <= high)].mean(axis=0))


BODIES: dict[str, Body] = {
    "tails 5 %": partial(trimmed, gloss=0.05, shadow=0.05),
    "tails 15 %": partial(trimmed, gloss=0.15, shadow=0.15),
    "gloss 15 %, shadow 10 %": partial(trimmed, gloss=0.15, shadow=0.10),
    "gloss 20 %, shadow 10 %": partial(trimmed, gloss=0.20, shadow=0.10),
    "gloss 20 %, shadow 20 %": partial(trimmed, gloss=0.20, shadow=0.20),
    "middle fifth": middle,
    "lamp colour taken away": dichromatic,
    "lamp colour taken away, tails 5 %": partial(dichromatic, gloss=0.05, shadow=0.05),
}
