"""Is the difference between two colours real?

The difference is first tested as a vector: judged by its size alone (ΔE above 1), most pairs without any change would
look changed. Lightness and warmth are the declared primary quantities. Where neither a change nor its absence can be
shown, the verdict says so.

References
----------
[HOT]  Hotelling 1931, Ann Math Statist 2:360-378.
[TOST] Schuirmann 1987, J Pharmacokinet Biopharm 15:657-680: absence shown by two one-sided tests.
[PAR]  Paravina et al. 2015, J Esthet Restor Dent 27 Suppl 1: ΔE00 1.8 is accepted by half of observers (dental;
       none is published for hair).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.maths.colorimetry import delta_e_2000, lab_to_lch
from tracker.maths.quantities import LabMeasured, Measured, Vector3, vector3
from tracker.maths.uncertainty import coverage_factor, hotelling

CHANGED = "changed"
NO_CHANGE = "no meaningful change"
CANNOT_TELL = "cannot tell yet"

ACCEPTED = 1.8
"""ΔE00 that half of observers accept [PAR]: a change within this margin has no meaning."""

_ALPHA = 0.05
_DRAWS = 4000
_MOST_PHOTOS = 20  # nobody takes more photos of one state


@dataclass(frozen=True, slots=True)
class Size:
    """A ΔE00 with its 95 % interval by Monte Carlo; never used as a test."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Scatter:
    """How far photos of unchanged hair scatter, L*.

    Attributes
    ----------
    single : float, standard deviation of one photo around the mean of its occasion
    between : float, standard deviation between occasions, which more photos do not reduce
    photos : int, photos on each side, the smaller of the two
    laid : float, the part of `between` from hair and card, which averages out where they are combed and taken up anew
    """

    single: float
    between: float = 0.0
    photos: int = 1
    laid: float = 0.0

    def share(self, photos: int, *, anew: bool = False) -> float:
        """Share of the variance of the difference that is left with so many `photos` (>= 1) on each side.

        Parameters
        ----------
        photos : int, on each side
        anew : bool, True where the hair is combed and the card taken up again between all of them
        """
        now, then = (self.between**2 + self.single**2 / number for number in (self.photos, photos))
        if anew:
            then -= self.laid**2 * (1 - 1 / photos)
        return then / now if now > 0 else 1.0


@dataclass(frozen=True, slots=True)
class Change:
    """The difference between two colours and the verdict on it.

    Attributes
    ----------
    delta : after minus before, L*, a*, b*
    u : standard uncertainties of the three
    size : Size, ΔE00
    p_value : float, probability of a vector difference at least this large by chance alone
    verdict : str, `CHANGED`, `NO_CHANGE` or `CANNOT_TELL`
    lightness, warmth : bool, which of the primary quantities changed at 5 %
    photos_needed : int or None, photos on each side that would settle it if the difference stays the same; None where
        it is settled or more photos would not help
    photos_anew : int or None, where `photos_needed` gives none: photos on each side that would settle it with the hair
        combed and the card taken up again between them
    scatter : Scatter or None, None between different kits
    """

    delta: Vector3
    u: Vector3
    size: Size
    p_value: float
    verdict: str
    lightness: bool
    warmth: bool
    photos_needed: int | None
    scatter: Scatter | None = None
    photos_anew: int | None = None


def compare(
    before: LabMeasured, after: LabMeasured, warmth: Measured, rng: np.random.Generator, scatter: Scatter | None
) -> Change:
    """Verdict on two colours.

    Parameters
    ----------
    before, after : LabMeasured, with only the covariance that does not cancel between them
    warmth : Measured, change of warmth, CIELAB units
    rng : random numbers for the interval of ΔE00
    scatter : Scatter or None, of single photos; None where more photos would not help
    """
    delta = np.subtract(after.lab, before.lab)
    cov = np.asarray(before.cov) + np.asarray(after.cov)
    dof = min(before.dof, after.dof)
    u = np.sqrt(np.diag(cov))
    lightness = bool(abs(delta[0]) > coverage_factor(dof) * u[0])
    warmer = abs(warmth.value) > coverage_factor(warmth.dof) * warmth.u
    margins = _margins(before.lab)

    def verdict_at(share: float) -> tuple[str, float]:
        """The verdict and its p-value with this share of the variance."""
        p_value = hotelling(delta, share * cov, dof)
        if p_value < _ALPHA:
            return CHANGED, p_value
        u_lightness, u_warmth = (math.sqrt(share) * each for each in (float(u[0]), warmth.u))
        inside = _inside(float(delta[0]), u_lightness, dof, margins[0]) and _inside(
            warmth.value, u_warmth, warmth.dof, margins[1]
        )
        return (NO_CHANGE if inside else CANNOT_TELL), p_value

    verdict, p_value = verdict_at(1.0)
    needed, anew = None, None
    if verdict == CANNOT_TELL and scatter is not None:
        numbers = range(scatter.photos + 1, _MOST_PHOTOS + 1)
        needed = next((n for n in numbers if verdict_at(scatter.share(n))[0] != CANNOT_TELL), None)
        if needed is None and scatter.laid > 0:
            numbers = range(2, _MOST_PHOTOS + 1)
            anew = next((n for n in numbers if verdict_at(scatter.share(n, anew=True))[0] != CANNOT_TELL), None)
    return Change(
        vector3(delta),
        vector3(u),
        _size(before.lab, delta, cov, rng, real=verdict == CHANGED),
        p_value,
        verdict,
        verdict == CHANGED and lightness,
        verdict == CHANGED and warmer,
        needed,
        scatter,
        anew,
    )


def _margins(lab: Vector3) -> tuple[float, float]:
    """Steps of L* and of chroma worth `ACCEPTED` ΔE00 at a colour (CIEDE2000's S_L and S_C)."""
    lightness, chroma, _ = lab_to_lch(lab)
    offset = (float(lightness) - 50) ** 2
    return ACCEPTED * (1 + 0.015 * offset / math.sqrt(20 + offset)), ACCEPTED * (1 + 0.045 * float(chroma))


def _inside(value: float, u: float, dof: float, margin: float) -> bool:
    """True where the 90 % interval lies within the margin [TOST]."""
    return abs(value) + coverage_factor(dof, 0.90) * u <= margin


def _size(before: ArrayLike, delta: np.ndarray, cov: np.ndarray, rng: np.random.Generator, *, real: bool) -> Size:
    """ΔE00 with its interval; a distance is never negative, so noise alone moves the draws away from zero."""
    start = np.asarray(before, float)
    draws = rng.multivariate_normal(delta, cov, size=_DRAWS, method="eigh")
    low, high = np.quantile(delta_e_2000(start, start + draws), [0.025, 0.975])
    value = float(delta_e_2000(start, start + delta))
    return Size(value, min(float(low), value) if real else 0.0, max(float(high), value))
