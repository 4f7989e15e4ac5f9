"""The difference between two colours, its size, and the verdict that follows from the answers.

Lightness and tone are asked about one at a time (`answer`); a vector of all three coordinates is not tested, because
what was not asked about would make the answer less sure.

References
----------
[JCGM] JCGM 101:2008: propagation of distributions using a Monte Carlo method.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.compare.answer import Answer, photos_to_settle
from tracker.maths.colorimetry import delta_e_2000
from tracker.maths.quantities import LabMeasured, Vector3, vector3

CHANGED = "changed"
NO_CHANGE = "no meaningful change"
CANNOT_TELL = "cannot tell yet"

_DRAWS = 4000


@dataclass(frozen=True, slots=True)
class Size:
    """A ΔE00 with its 95 % interval by Monte Carlo; never used as a test."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Change:
    """The difference between two colours and the verdict on it.

    Attributes
    ----------
    delta : after minus before, L*, a*, b*
    u : standard uncertainties of the three
    size : Size, ΔE00
    p_value : float, probability of a difference at least this large by chance alone: of the less sure change where
        both changed, of the surer answer where neither did
    verdict : str, `CHANGED`, `NO_CHANGE` or `CANNOT_TELL`
    lightness, warmth : bool, which of the two changed
    photos_needed : int or None, photos on each side that will more likely than not answer the first question that is
        open; None where nothing is open or more photos would not help
    photos_anew : int or None, where `photos_needed` gives none: the same with the hair combed and the card taken up
        again between them
    """

    delta: Vector3
    u: Vector3
    size: Size
    p_value: float
    verdict: str
    lightness: bool
    warmth: bool
    photos_needed: int | None
    photos_anew: int | None = None


def change_between(
    before: LabMeasured, after: LabMeasured, lightness: Answer, tone: Answer, rng: np.random.Generator
) -> Change:
    """The difference of two colours, with the verdict that follows from both answers.

    Parameters
    ----------
    before, after : LabMeasured, with only the covariance that does not cancel between them
    lightness, tone : Answer, about the two
    rng : random numbers for the interval of ΔE00
    """
    delta = np.subtract(after.lab, before.lab)
    cov = np.asarray(before.cov) + np.asarray(after.cov)
    verdict = verdict_of(lightness, tone)
    changes = [answer.p_value for answer in (lightness, tone) if answer.changed]
    needed, anew = None, None
    if verdict == CANNOT_TELL:
        open_still = tone if lightness.sure else lightness
        needed = photos_to_settle(open_still)
        anew = photos_to_settle(open_still, anew=True) if needed is None else None
    return Change(
        vector3(delta),
        vector3(np.sqrt(np.diag(cov))),
        _size(before.lab, delta, cov, rng, real=verdict == CHANGED),
        max(changes) if changes else min(lightness.p_value, tone.p_value),
        verdict,
        lightness.changed,
        tone.changed,
        needed,
        anew,
    )


def verdict_of(lightness: Answer, tone: Answer) -> str:
    """`CHANGED` where either changed, `NO_CHANGE` where surely neither did, else `CANNOT_TELL`.

    Parameters
    ----------
    lightness, tone : Answer
    """
    if lightness.changed or tone.changed:
        return CHANGED
    return NO_CHANGE if lightness.sure and tone.sure else CANNOT_TELL


def _size(before: ArrayLike, delta: np.ndarray, cov: np.ndarray, rng: np.random.Generator, *, real: bool) -> Size:
    """ΔE00 with its interval; a distance is never negative, so noise alone moves the draws away from zero."""
    start = np.asarray(before, float)
    draws = rng.multivariate_normal(delta, cov, size=_DRAWS, method="eigh")
    low, high = np.quantile(delta_e_2000(start, start + draws), [0.025, 0.975])
    value = float(delta_e_2000(start, start + delta))
    return Size(value, min(float(low), value) if real else 0.0, max(float(high), value))
