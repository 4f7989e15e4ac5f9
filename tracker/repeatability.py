"""How far photos of the same hair scatter, and the smallest change that stands out of it.

References
----------
- Bland & Altman 1996, Measurement error, BMJ 312:1654.
- Weir 2005, Quantifying test-retest reliability, J. Strength Cond. Res. 19(1):231-240, doi 10.1519/15184.1.
- Shrout & Fleiss 1979, Intraclass correlations, Psychological Bulletin 86(2):420-428.
- Cano, Moguerza, Redchuk 2012, Six Sigma with R, chapter 5.
- Scanavez, Zoega, Barbosa, Joekes 2000, J. Cosmet. Sci. 51:289-302.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.errors import TooFewReadings
from tracker.quantities import Measured, Vector3, vector3
from tracker.uncertainty import coverage_factor

Array = NDArray[np.float64]

_POOLING_LEVEL = 0.05  # Cano et al. 2012: an interaction that is not significant joins the error


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Scatter between photos of the same hair, taken by the same kit.

    Attributes
    ----------
    name : str, what the study is called
    sd : three floats, standard deviation of L*, a*, b* of one photo
    dof : float, degrees of freedom behind `sd`
    provisional : bool, True until the studio has measured its own
    source : str, where the numbers come from, one sentence
    shared : three floats, the part of `sd` that all photos of one occasion have in common (who took them, on which
        day), so that more photos do not make it smaller; 0 where it is not known apart
    covers_light : bool, True where the hair was lit anew between the photos behind `sd`, so that light which differs
        between card and hair is a part of it
    """

    name: str
    sd: Vector3
    dof: float
    provisional: bool
    source: str
    shared: Vector3 = (0.0, 0.0, 0.0)
    covers_light: bool = False

    def sd_of_mean(self, photos: int) -> Vector3:
        """Standard deviation of L*, a*, b* of the mean of that many photos of one occasion."""
        return vector3(
            [
                math.sqrt(shared**2 + max(sd**2 - shared**2, 0.0) / photos)
                for sd, shared in zip(self.sd, self.shared, strict=True)
            ]
        )

    def smallest_change(self, photos: int = 1) -> float:
        """Smallest real change of L* with that many photos before and as many after, 95 %."""
        return mdc95(self.sd_of_mean(photos)[0], dof=self.dof)


PROVISIONAL = Repeatability(
    name="provisional",
    sd=(0.8, 0.5, 0.6),
    dof=20.0,
    provisional=True,
    source=(
        "Own rendered heads, photographed again, spread L* by 0.7; dark hair that was put back under an instrument "
        "spread L* by 1.19 on 5 x 10 mm and 0.31 on 20 x 10 mm, a* by 0.17 to 0.33 and b* by 0.38 to 0.42 "
        "(Scanavez et al. 2000)."
    ),
)
"""Used until the studio's own study; 20 degrees of freedom are a weak choice of our own."""


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """What scatter of repeated measurements is made of. All are variances, in the squared unit of the values.

    Attributes
    ----------
    repeatability : the same operator measuring the same part again
    operators : operators that differ on all parts alike
    interaction : operators that differ on some parts; 0 where it is pooled or cannot be told from the error
    parts : true differences between parts
    dof : float, degrees of freedom behind `repeatability`
    pooled : bool, True where the interaction joined the error
    """

    repeatability: float
    operators: float
    interaction: float
    parts: float
    dof: float
    pooled: bool

    @property
    def gauge(self) -> float:
        """Variance of one measurement of one part by any operator."""
        return self.repeatability + self.operators + self.interaction

    @property
    def total(self) -> float:
        """Variance of one measurement of any part."""
        return self.gauge + self.parts

    @property
    def percent_gauge(self) -> float:
        """Share of the gauge in the whole spread, standard deviations, %; 0 where nothing varies."""
        return 100 * math.sqrt(self.gauge / self.total) if self.total > 0 else 0.0

    @property
    def distinct_parts(self) -> float:
        """How many groups of parts can be told apart, a whole number; infinite without scatter."""
        if self.gauge == 0:
            return math.inf if self.parts > 0 else 0.0
        # 1.41 and not the root of two: the convention of the gauge study
        return float(math.floor(1.41 * math.sqrt(self.parts / self.gauge)))

    @property
    def sd_any_operator(self) -> float:
        """Standard deviation of one measurement when operators may change: the one to plan with (Weir 2005)."""
        return math.sqrt(self.gauge)

    @property
    def sd_same_operator(self) -> float:
        """Standard deviation when one operator repeats; hides what operators do differently."""
        return math.sqrt(self.repeatability)


def within_subject_sd(groups: Sequence[ArrayLike]) -> Measured:
    """Pooled standard deviation of repeats of the same thing.

    Parameters
    ----------
    groups : one sequence per head or swatch, each of its repeats; a single reading tells nothing and is skipped

    Returns
    -------
    Measured : the spread; its `u` is ``sd / sqrt(2 dof)`` (GUM E.4.3), its `dof` that of the spread

    Raises
    ------
    TooFewReadings : where no group has two readings
    ValueError : where a reading is not finite

    Notes
    -----
    Root of the mean within-subject variance, weighted by degrees of freedom; for pairs
    ``sqrt(sum(d²) / 2n)`` (Bland & Altman 1996).
    """
    squares, dof = 0.0, 0
    for group in groups:
        values = np.asarray(group, dtype=np.float64).ravel()
        if not np.all(np.isfinite(values)):
            raise ValueError("repeats must be finite")
        if values.size > 1:
            squares += float(np.sum((values - values.mean()) ** 2))
            dof += values.size - 1
    if dof == 0:
        raise TooFewReadings(
            "No hair was photographed twice.", "Take at least two photos of the same hair.", value=1.0, limit=2.0
        )
    sd = math.sqrt(squares / dof)
    return Measured(sd, sd / math.sqrt(2 * dof), "", float(dof))


def study_repeatability(groups: Sequence[ArrayLike], name: str) -> Repeatability:
    """The studio's own scatter from repeat photos.

    Parameters
    ----------
    groups : one (photos, 3) array per head or swatch, L*, a*, b* of its photos
    name : str, kept with the study

    Raises
    ------
    TooFewReadings : where nothing was photographed twice
    ValueError : where a group is not (photos, 3), or not finite
    """
    photos = [np.atleast_2d(np.asarray(group, dtype=np.float64)) for group in groups]
    if any(group.shape[1] != 3 for group in photos):
        raise ValueError("each photo needs L*, a* and b*")
    spreads = [within_subject_sd([group[:, channel] for group in photos]) for channel in range(3)]
    repeated = [len(group) for group in photos if len(group) > 1]
    return Repeatability(
        name=name,
        sd=vector3([spread.value for spread in spreads]),
        dof=spreads[0].dof,
        provisional=False,
        source=f"Own study: {sum(repeated)} photos of {len(repeated)} heads or swatches.",
    )


def mdc95(sd: float, n_before: int = 1, n_after: int = 1, dof: float = math.inf) -> float:
    """Smallest difference between two visits that scatter alone makes only once in twenty times.

    Parameters
    ----------
    sd : float, standard deviation of one photo, >= 0
    n_before, n_after : int, photos averaged at each visit, >= 1
    dof : float, degrees of freedom behind `sd`

    Returns
    -------
    float : ``t sd sqrt(1/n_before + 1/n_after)``, in the unit of `sd`; 2.77 sd for single photos and a
        well-known sd (Weir 2005)

    Examples
    --------
    >>> round(mdc95(1.0), 2)
    2.77
    """
    if n_before < 1 or n_after < 1 or not sd >= 0:
        raise ValueError("photos must be at least one on each side, and the spread >= 0")
    return coverage_factor(dof) * sd * math.sqrt(1 / n_before + 1 / n_after)


def photos_needed(sd: float, margin: float, shared: float = 0.0) -> int | None:
    """Photos per visit after which a change of `margin` stands out of the scatter.

    Parameters
    ----------
    sd : float, standard deviation of one photo around the mean of its occasion, >= 0
    margin : float, > 0, the change that matters, same unit
    shared : float, standard deviation between occasions, which more photos do not make smaller, >= 0

    Returns
    -------
    int or None : smallest n >= 1 with ``1.96 sqrt(2 (shared² + sd²/n)) <= margin``, without `shared`
        ``n >= 2 (1.96 sd / margin)²``; None where no number of photos is enough
    """
    if not (margin > 0 and math.isfinite(margin) and sd >= 0 and math.isfinite(sd) and shared >= 0):
        raise ValueError("the margin must be > 0 and the spread >= 0")
    room = (margin / coverage_factor(math.inf)) ** 2 / 2 - shared**2
    if room <= 0:
        return None
    needed = sd**2 / room
    # the small step back keeps a result that is whole but for rounding from asking one photo more
    return max(1, math.ceil(needed - 1e-9))


def gauge_study(values: ArrayLike) -> GaugeStudy:
    """Variance components of a study in which each operator measures each part the same number of times.

    Parameters
    ----------
    values : (parts, operators, repeats) array; at least two parts, and two repeats or two operators

    Raises
    ------
    TooFewReadings : where scatter cannot be told from differences between parts
    ValueError : where `values` has another shape, or is not finite

    Notes
    -----
    Two-way crossed analysis of variance. An interaction that is not significant at 5 % joins the error
    (Cano et al. 2012, chapter 5); with one repeat it cannot be told from it (Shrout & Fleiss 1979).
    Negative estimates become 0.
    """
    y = np.asarray(values, dtype=np.float64)
    if y.ndim != 3 or not np.all(np.isfinite(y)):
        raise ValueError("a gauge study needs finite values, parts x operators x repeats")
    p, o, r = y.shape
    if p < 2 or o * r < 2:
        raise TooFewReadings("This is no study of scatter.", "Measure at least two parts, each at least twice.")
    mean_part, mean_operator, mean_cell = y.mean(axis=(1, 2)), y.mean(axis=(0, 2)), y.mean(axis=2)
    mean = y.mean()
    cross = mean_cell - mean_part[:, None] - mean_operator[None, :] + mean
    ss_cross, df_cross = r * float(np.sum(cross**2)), (p - 1) * (o - 1)
    ss_error, df_error = float(np.sum((y - mean_cell[:, :, None]) ** 2)), p * o * (r - 1)
    ms_part = o * r * float(np.sum((mean_part - mean) ** 2)) / (p - 1)
    ms_operator = p * r * float(np.sum((mean_operator - mean) ** 2)) / (o - 1) if o > 1 else 0.0

    pooled = not _stands_out(ss_cross, df_cross, ss_error, df_error)
    if pooled:
        ss_error, df_error = ss_error + ss_cross, df_error + df_cross
    repeatability = ss_error / df_error
    base = repeatability if pooled else ss_cross / df_cross
    return GaugeStudy(
        repeatability=repeatability,
        operators=max(0.0, (ms_operator - base) / (p * r)) if o > 1 else 0.0,
        interaction=0.0 if pooled else (base - repeatability) / r,
        parts=max(0.0, (ms_part - base) / (o * r)),
        dof=float(df_error),
        pooled=pooled,
    )


def _stands_out(ss_cross: float, df_cross: int, ss_error: float, df_error: int) -> bool:
    """True where the interaction is larger than the error explains."""
    if df_cross == 0 or df_error == 0:
        return False
    from scipy.special import fdtrc  # imported late: keeps `import tracker` light

    if ss_error == 0:
        return ss_cross > 0
    return float(fdtrc(df_cross, df_error, (ss_cross / df_cross) / (ss_error / df_error))) < _POOLING_LEVEL
