"""How far photos of the same hair scatter, and the smallest change that stands out from it.

References
----------
- Bland & Altman 1996, Measurement error, BMJ 312:1654.
- Weir 2005, Quantifying test-retest reliability, J. Strength Cond. Res. 19(1):231-240, doi 10.1519/15184.1.
- Scanavez, Zoega, Barbosa, Joekes 2000, J. Cosmet. Sci. 51:289-302.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tracker.maths.quantities import Vector3
from tracker.maths.uncertainty import coverage_factor, effective_dof
from tracker.measure.reading import RIBBON
from tracker.measure.spot import ASSUMED, Factor, Spot


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Scatter between photos of the same hair, taken with the same kit.

    Attributes
    ----------
    name : str, of the study
    sd : three floats, standard deviation of L*, a*, b* of one photo
    dof : float, degrees of freedom behind the part of `sd` that differs from photo to photo
    provisional : bool, True until the studio has measured its own
    source : str, where the numbers come from, one sentence
    shared : three floats, the part of `sd` that all photos of one occasion have in common (who took them, on which
        day) and more photos do not reduce; 0 where it is not known separately
    shared_dof : float, degrees of freedom behind `shared`
    covers_light : bool, True where the light was set up afresh often enough for `sd` to include its difference between
        card and hair
    hair : str, `reading.RIBBON` or `reading.WHOLE`, how the photos of the study were read: it says nothing of photos
        that were read the other way
    """

    name: str
    sd: Vector3
    dof: float
    provisional: bool
    source: str
    shared: Vector3 = (0.0, 0.0, 0.0)
    shared_dof: float = 4.0
    covers_light: bool = False
    hair: str = RIBBON

    def over(self, hair: str) -> Repeatability:
        """What counts for photos whose hair was read that way: this, or the general figures.

        Parameters
        ----------
        hair : str, `reading.RIBBON` or `reading.WHOLE`
        """
        return self if self.provisional or self.hair == hair else PROVISIONAL

    def smallest_change(self, photos: int = 1, light: float = 0.0, own_light: float = 0.0) -> float:
        """Smallest difference of L* that is called lighter or darker: the 95 % interval just misses zero.

        Parameters
        ----------
        photos : int, before, and as many after; the hair combed and the card taken up again between them
        light, own_light : float, L*, standard uncertainties from light that differs between card and hair: shared by
            the photos of an occasion, and each photo's own. A studio's own `sd` has the same causes, so the larger
            counts; the general figures are of hair alone, so both do
        """
        single = max(self.sd[0] ** 2 - self.shared[0] ** 2, 0.0)
        own = single + own_light**2 if self.provisional else max(single, own_light**2)
        spot = self.spot
        parts = math.sqrt(own / photos), math.sqrt(max(self.shared[0] ** 2, spot.occasion.value * light**2))
        dof = effective_dof(parts, (spot.photo.dof + 2 * (photos - 1), spot.occasion.dof))
        return math.sqrt(2) * coverage_factor(dof) * math.hypot(*parts)

    @property
    def spot(self) -> Spot:
        """What is known of the scatter where this is in force; a studio's own figures are in its readings already."""
        if self.provisional:
            return ASSUMED
        known = self.shared_dof if self.covers_light else ASSUMED.occasion.dof
        return Spot(Factor(1.0, self.dof), Factor(1.0, known), Factor(1.0, self.dof))


def lightness_u(lightness: float, ev: float) -> float:
    """Standard uncertainty of L* where the light on the hair is known to a standard uncertainty in EV.

    Carried through ``L* = 116 Y^(1/3) - 16`` (CIE 15).

    Parameters
    ----------
    lightness : float, L* of the hair
    ev : float, standard uncertainty, EV
    """
    return ev * math.log(2) * (lightness + 16) / 3


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
"""Used until the studio has its own study; 20 degrees of freedom are a weak choice of our own."""
