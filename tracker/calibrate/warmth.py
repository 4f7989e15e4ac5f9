"""Warmth: how much warmer a colour is than natural hair of the same lightness.

Natural hair is itself warm, black hair least and dark blonde hair most, and people see dark brown as neutral. So warmth
is measured from a neutral locus a*(L*), b*(L*) along the hue direction of the locus: positive is warmer, negative
ashier.

References
----------
[SCA]  Scanavez, Zoega, Barbosa, Joekes 2000, J Cosmet Sci 51:289-302, Tables III, IV and VIII: black and dark hair.
[CHI]  Chiang, Bitterli, Tappan, Burley 2016, Comput Graph Forum 35:275-283, with pbrt-v3's eumelanin absorption
       and a 2 % neutral surface term: lighter hair, eumelanin 0.5, 0.3, 0.2, 0.1, 0.05, 0.02.
[ACTA] Brightness and Hue Judgment of Dyed Hair Color, Acta Psychologica 2023: the neutral point is dark brown.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from tracker.maths.colorimetry import Floats
from tracker.maths.quantities import LabMeasured, Measured
from tracker.maths.uncertainty import combined_u, coverage_factor, expanded


@dataclass(frozen=True, slots=True)
class NeutralLocus:
    """The colour that natural hair has at each lightness, as knots joined without overshoot.

    Attributes
    ----------
    name : str
    knots : tuple of (L*, a*, b*), rising in L*
    u : float, standard uncertainty of the locus itself along its direction, CIELAB units
    u_dark : float, the same for dark hair, up to L* 25
    own : two floats or None, the L* between which the studio's own swatches replace published hair
    u_own : float, standard uncertainty of the locus there
    source : str, where it comes from, one sentence
    """

    name: str
    knots: tuple[tuple[float, float, float], ...]
    u: float
    u_dark: float
    own: tuple[float, float] | None = None
    u_own: float = 0.0
    source: str = ""

    def at(self, lightness: ArrayLike) -> Floats:
        """a* and b*, (..., 2), of neutral hair of that `lightness`, L*; held beyond the ends of the locus."""
        return _curve(self.knots)(np.clip(lightness, self.knots[0][0], self.knots[-1][0]))

    def uncertainty(self, lightness: float) -> float:
        """Standard uncertainty of the locus at `lightness`, L*, in CIELAB units."""
        published = float(np.interp(lightness, _DARK_TO_LIGHT, (self.u_dark, self.u)))
        if self.own is None:
            return published
        beyond = max(self.own[0] - lightness, lightness - self.own[1], 0.0)
        return float(np.interp(beyond, (0.0, JOIN), (self.u_own, max(published, self.u_own))))

    def direction(self, lightness: ArrayLike) -> Floats:
        """Unit vectors in (a*, b*), (..., 2), that point towards warm at `lightness`, L*."""
        # black hair has no hue of its own, so below the first coloured knot the direction is that knot's
        coloured = next(knot[0] for knot in self.knots if math.hypot(knot[1], knot[2]) >= 5)
        towards = self.at(np.maximum(lightness, coloured))
        return np.asarray(towards / np.linalg.norm(towards, axis=-1, keepdims=True))


@lru_cache(maxsize=16)
def _curve(knots: tuple[tuple[float, float, float], ...]) -> Callable[[ArrayLike], Floats]:
    """The curve through the knots, cached: a page asks for it hundreds of times."""
    from scipy.interpolate import PchipInterpolator  # imported late: keeps `import tracker` light

    points = np.asarray(knots, float)
    curve: Callable[[ArrayLike], Floats] = PchipInterpolator(points[:, 0], points[:, 1:])
    return curve


_DARK_TO_LIGHT = 25.0, 30.0  # L* between which the sources of the locus change
JOIN = 5.0  # L*, over which the studio's own swatches blend into published hair: a choice of our own
_TOGETHER = 10.0  # L*, over which errors of the locus are correlated: a choice of our own

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
    source="Published rows of dark hair (Scanavez et al. 2000), and a model of hair's own dyes for lighter hair.",
)

# names: common practice, no source; the limits in hue angle are a choice of our own
_UNDERTONES = ((45.0, "red"), (55.0, "red-orange"), (66.0, "orange"), (76.0, "yellow-orange"), (110.0, "yellow"))
_FIRST_HUE = -10.0  # degrees, where red begins
_PALE, _PALE_FROM = "pale yellow", 70.0  # L*, from which yellow is called pale: common practice, no source

UNDERTONES = (*(name for _, name in _UNDERTONES), _PALE)
"""The families that `undertone` may name, from red to pale yellow."""


Tone = Literal["cool", "neutral", "warm"]


@dataclass(frozen=True, slots=True)
class WarmthReading:
    """Warmth and what a colourist calls it.

    Attributes
    ----------
    value : Measured, CIELAB units, positive = warmer than natural hair of that lightness
    tone : neutral where the 95 % interval includes zero
    undertones : as `possible_undertones`
    """

    value: Measured
    tone: Tone
    undertones: tuple[str, ...]


def warmth_value(lab: ArrayLike, locus: NeutralLocus = DEFAULT_LOCUS) -> Floats:
    """Signed distance of each colour from the neutral locus along its hue direction, CIELAB units, (...,).

    Parameters
    ----------
    lab : (..., 3), L*, a*, b*
    locus : NeutralLocus, what counts as neutral
    """
    colours = np.asarray(lab, float)
    away = colours[..., 1:] - locus.at(colours[..., 0])
    return np.asarray(np.sum(away * locus.direction(colours[..., 0]), axis=-1))


def warmth_gradient(lab: tuple[float, float, float], locus: NeutralLocus = DEFAULT_LOCUS) -> Floats:
    """Change of warmth for one unit of L*, a* and b*, shape (3,), by central differences.

    Parameters
    ----------
    lab : (3,), L*, a*, b*
    locus : NeutralLocus, what counts as neutral
    """
    step = 0.25
    at, shifts = np.asarray(lab, float), step * np.eye(3)
    return np.asarray(warmth_value(at + shifts, locus) - warmth_value(at - shifts, locus)) / (2 * step)


def estimate_warmth(lab: LabMeasured, locus: NeutralLocus = DEFAULT_LOCUS) -> WarmthReading:
    """Warmth of a colour, with the uncertainties of the colour and of the locus combined.

    Parameters
    ----------
    lab : LabMeasured, CIELAB under D65
    locus : NeutralLocus, what counts as neutral
    """
    gradient = warmth_gradient(lab.lab, locus)
    u = math.hypot(combined_u(gradient, lab.cov), locus.uncertainty(lab.lab[0]))
    value = Measured(float(warmth_value(lab.lab, locus)), u, "CIELAB units", lab.dof)
    return WarmthReading(value, _tone(value), possible_undertones(lab))


def warmth_change(before: LabMeasured, after: LabMeasured, locus: NeutralLocus = DEFAULT_LOCUS) -> Measured:
    """Change of warmth; the error of the locus cancels between colours of similar lightness.

    Parameters
    ----------
    before, after : LabMeasured, with only the covariance that does not cancel between them
    locus : NeutralLocus, what counts as neutral
    """
    first, second = (locus.uncertainty(lab.lab[0]) for lab in (before, after))
    alike = math.exp(-abs(after.lab[0] - before.lab[0]) / _TOGETHER)
    variance = first**2 + second**2 - 2 * alike * first * second
    for lab in (before, after):
        variance += combined_u(warmth_gradient(lab.lab, locus), lab.cov) ** 2
    change = float(warmth_value(after.lab, locus) - warmth_value(before.lab, locus))
    return Measured(change, math.sqrt(variance), "CIELAB units", min(before.dof, after.dof))


def _tone(value: Measured) -> Tone:
    if abs(value.value) <= expanded(value):
        return "neutral"
    return "warm" if value.value > 0 else "cool"


def undertone(lab: LabMeasured) -> str | None:
    """The likeliest undertone family, to sort by; None where there is no hue to name.

    `possible_undertones` tells how sure it is.

    Parameters
    ----------
    lab : LabMeasured, CIELAB under D65
    """
    hue = _hue(lab)
    if hue is None or not _FIRST_HUE <= hue.value < _UNDERTONES[-1][0]:
        return None
    family = next(name for limit, name in _UNDERTONES if hue.value < limit)
    return _PALE if family == "yellow" and lab.lab[0] >= _PALE_FROM else family


def possible_undertones(lab: LabMeasured) -> tuple[str, ...]:
    """The one or two families that the undertone may belong to, or none that could be named.

    Parameters
    ----------
    lab : LabMeasured, CIELAB under D65

    Returns
    -------
    names : every family that the 95 % interval of the hue touches; none where there are more than two, where the
        interval leaves the named hues, or where chroma is within its ±
    """
    hue = _hue(lab)
    if hue is None:
        return ()
    low, high = hue.value - expanded(hue), hue.value + expanded(hue)
    if low < _FIRST_HUE or high >= _UNDERTONES[-1][0]:
        return ()
    starts = (_FIRST_HUE, *(limit for limit, _ in _UNDERTONES))
    found = [name for start, (end, name) in zip(starts, _UNDERTONES, strict=False) if low < end and high >= start]
    if found[-1] == "yellow":
        reach = coverage_factor(lab.dof) * lab.u[0]
        found[-1:] = [
            *(["yellow"] if lab.lab[0] - reach < _PALE_FROM else []),
            *([_PALE] if lab.lab[0] + reach >= _PALE_FROM else []),
        ]
    return tuple(found) if len(found) <= 2 else ()


def _hue(lab: LabMeasured) -> Measured | None:
    """Hue angle, degrees; None where chroma is within its ±, and the hue means nothing."""
    _, a, b = lab.lab
    chroma = math.hypot(a, b)
    if chroma == 0:
        return None
    axes = np.array([[0.0, a, b], [0.0, -b, a]]) / chroma  # along chroma, and across it
    u_chroma, u_across = np.sqrt(np.maximum(np.diag(axes @ np.asarray(lab.cov) @ axes.T), 0.0))
    if chroma <= coverage_factor(lab.dof) * u_chroma:
        return None
    return Measured(math.degrees(math.atan2(b, a)), math.degrees(u_across / chroma), "degrees", lab.dof)
