"""Warmth: how much warmer a colour is than natural hair of the same lightness.

Natural hair is itself warm, the more the lighter it is, and people take dark brown as neutral. So warmth is measured
from a neutral locus a*(L*), b*(L*) along the locus' own hue direction: positive is warmer, negative ashier.

References
----------
[SCA]  Scanavez, Zoega, Barbosa, Joekes 2000, J Cosmet Sci 51:289-302, Tables III, IV and VIII: black and dark hair.
[CHI]  Chiang, Bitterli, Tappan, Burley 2016, Comput Graph Forum 35:275-283, with pbrt-v3's eumelanin absorption
       and a 2 % neutral surface term: lighter hair, eumelanin 0.5, 0.3, 0.2, 0.1, 0.05, 0.02.
[ACTA] Brightness and Hue Judgment of Dyed Hair Color, Acta Psychologica 2023: the neutral point is dark brown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tracker.quantities import LabMeasured, Measured
from tracker.uncertainty import expanded, format_measured


@dataclass(frozen=True, slots=True)
class NeutralLocus:
    """The colour that natural hair has at each lightness, as knots joined without overshoot.

    Attributes
    ----------
    name : str
    knots : tuple of (L*, a*, b*), rising in L*
    u : float, standard uncertainty of the locus itself along its direction, CIELAB units
    u_dark : float, the same for dark hair, up to L* 25
    """

    name: str
    knots: tuple[tuple[float, float, float], ...]
    u: float
    u_dark: float

    def at(self, lightness: float) -> tuple[float, float]:
        """a* and b* of neutral hair at that L*; held beyond the ends."""
        from scipy.interpolate import PchipInterpolator  # imported late: keeps `import tracker` light

        knots = np.asarray(self.knots, float)
        held = float(np.clip(lightness, knots[0, 0], knots[-1, 0]))
        a, b = PchipInterpolator(knots[:, 0], knots[:, 1:])(held)
        return float(a), float(b)

    def uncertainty(self, lightness: float) -> float:
        """Standard uncertainty of the locus at that L*, CIELAB units."""
        return float(np.interp(lightness, _DARK_TO_LIGHT, (self.u_dark, self.u)))

    def direction(self, lightness: float) -> tuple[float, float]:
        """Unit vector in (a*, b*) towards warm at that L*."""
        # black hair has no hue of its own, so below the first coloured knot that knot's direction holds
        coloured = next(knot for knot in self.knots if math.hypot(knot[1], knot[2]) >= 5)
        a, b = self.at(max(lightness, coloured[0]))
        size = math.hypot(a, b)
        return a / size, b / size


_DARK_TO_LIGHT = 25.0, 30.0  # L* between which the sources of the locus change
_TOGETHER = 10.0  # L*, about how far one error of the locus reaches: a choice of our own

# [SCA] rows of black hair (two), dark brown hair; [CHI] lighter hair. The spread between published rows of the same
# darkness and between two published sets of melanin constants is about 2 units either way; for dark hair the melanin
# model and the measured rows differ by 4.4 (at L* 23: b* 9.3 against 4.9). Both taken as rectangular
DEFAULT_LOCUS = NeutralLocus(
    "published natural hair",
    (
        (18.37, 0.0, -0.9),
        (21.55, 1.73, 1.67),
        (23.0, 4.0, 4.9),
        (28.5, 5.8, 13.8),
        (36.9, 5.5, 18.0),
        (44.1, 4.8, 19.5),
        (55.9, 3.4, 19.1),
        (66.3, 2.1, 16.6),
        (77.2, 1.1, 12.5),
    ),
    2 / math.sqrt(3),
    4.4 / math.sqrt(3),
)

# names: common practice, no source; the limits in hue angle are a choice of our own
_UNDERTONES = ((45.0, "red"), (55.0, "red-orange"), (66.0, "orange"), (76.0, "yellow-orange"), (110.0, "yellow"))
_PALE_FROM = 70.0  # L*, from which yellow is called pale: common practice, no source


@dataclass(frozen=True, slots=True)
class WarmthReading:
    """Warmth and what a colourist calls it.

    Attributes
    ----------
    value : Measured, CIELAB units, positive = warmer than natural hair of that lightness
    tone : str, ``cool``, ``neutral`` or ``warm``: neutral where the 95 % interval holds zero
    undertone : str or None, a family such as ``yellow-orange``; None where the hue is not defined
    text : str, such as ``warm, +4.1 ± 2.0``
    """

    value: Measured
    tone: str
    undertone: str | None
    text: str


def warmth_value(lab: np.ndarray | tuple[float, float, float], locus: NeutralLocus = DEFAULT_LOCUS) -> float:
    """Signed distance from the neutral locus along its hue direction, CIELAB units."""
    lightness, a, b = (float(v) for v in lab)
    neutral = locus.at(lightness)
    along = locus.direction(lightness)
    return (a - neutral[0]) * along[0] + (b - neutral[1]) * along[1]


def warmth_gradient(lab: tuple[float, float, float], locus: NeutralLocus = DEFAULT_LOCUS) -> np.ndarray:
    """Change of warmth for one unit of L*, a* and b*, shape (3,), by central differences."""
    step = 0.25
    at = np.asarray(lab, float)
    shifts = step * np.eye(3)
    return np.array([(warmth_value(at + s, locus) - warmth_value(at - s, locus)) / (2 * step) for s in shifts])


def estimate_warmth(lab: LabMeasured, locus: NeutralLocus = DEFAULT_LOCUS) -> WarmthReading:
    """Warmth of a colour with the uncertainty of the colour and of the locus."""
    gradient = warmth_gradient(lab.lab, locus)
    variance = float(gradient @ np.asarray(lab.cov) @ gradient) + locus.uncertainty(lab.lab[0]) ** 2
    value = Measured(warmth_value(lab.lab, locus), math.sqrt(variance), "CIELAB units", lab.dof)
    tone = _tone(value)
    sign = "+" if value.value > 0 else ""
    return WarmthReading(value, tone, undertone(lab), f"{tone}, {sign}{format_measured(value)}")


def warmth_change(before: LabMeasured, after: LabMeasured, locus: NeutralLocus = DEFAULT_LOCUS) -> Measured:
    """Change of warmth; the locus' own error drops out between like lightnesses and stays between unlike ones.

    Parameters
    ----------
    before, after : colours whose covariance holds only what does not cancel between them
    """
    first, second = (locus.uncertainty(lab.lab[0]) for lab in (before, after))
    shared = math.exp(-abs(after.lab[0] - before.lab[0]) / _TOGETHER)
    variance = first**2 + second**2 - 2 * shared * first * second
    for lab in (before, after):
        gradient = warmth_gradient(lab.lab, locus)
        variance += float(gradient @ np.asarray(lab.cov) @ gradient)
    change = warmth_value(after.lab, locus) - warmth_value(before.lab, locus)
    return Measured(change, math.sqrt(variance), "CIELAB units", min(before.dof, after.dof))


def _tone(value: Measured) -> str:
    if abs(value.value) <= expanded(value):
        return "neutral"
    return "warm" if value.value > 0 else "cool"


def undertone(lab: LabMeasured) -> str | None:
    """Undertone family by hue angle, or None where chroma does not clear twice its uncertainty."""
    lightness, a, b = lab.lab
    chroma = math.hypot(a, b)
    if chroma == 0:
        return None
    along = np.array([0.0, a / chroma, b / chroma])
    u_chroma = math.sqrt(max(float(along @ np.asarray(lab.cov) @ along), 0.0))
    hue = math.degrees(math.atan2(b, a))
    if chroma < 2 * u_chroma or not -10 <= hue < _UNDERTONES[-1][0]:
        return None
    family = next(name for limit, name in _UNDERTONES if hue < limit)
    return "pale yellow" if family == "yellow" and lightness >= _PALE_FROM else family
