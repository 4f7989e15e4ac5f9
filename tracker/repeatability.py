"""How far photos of the same hair scatter, and the smallest change that stands out of it.

References
----------
- Bland & Altman 1996, Measurement error, BMJ 312:1654.
- Weir 2005, Quantifying test-retest reliability, J. Strength Cond. Res. 19(1):231-240, doi 10.1519/15184.1.
- Scanavez, Zoega, Barbosa, Joekes 2000, J. Cosmet. Sci. 51:289-302.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.quantities import Vector3, vector3
from tracker.uncertainty import coverage_factor

Array = NDArray[np.float64]


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
        "General figures: photos of heads drawn by this program, taken again, differed by 0.7 in lightness (L*); dark "
        "hair put back under an instrument differed by 1.19 where it looked at 5 x 10 mm and by 0.31 at 20 x 10 mm, "
        "and in colour by 0.17 to 0.33 (a*) and 0.38 to 0.42 (b*), one standard deviation each (Scanavez et al. 2000)."
    ),
)
"""Used until the studio's own study; 20 degrees of freedom are a weak choice of our own."""


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
