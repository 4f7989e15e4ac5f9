"""One question at a time: is it lighter, and is it warmer?

Each question is tested by itself at 5 %, on the quantity that it is about. Word and number are the same 95 % interval,
so they cannot contradict each other:

- the whole interval on one side of zero: lighter or darker, warmer or ashier, however small; where it also lies within
  the margin the change is sure but small, and said to be a little;
- zero inside, and the whole interval within the margin: no difference;
- anything else: cannot tell.

References
----------
[GUM]  JCGM 100:2008, G.4.1 and G.3.2: effective degrees of freedom, and the factor of a 95 % interval by Student's t.
[STU]  Student 1908, Biometrika 6:1-25: the test of one mean.
[PAR]  Paravina et al. 2015, J Esthet Restor Dent 27 Suppl 1: of tooth colours, ΔE00 0.8 is noticed and 1.8 accepted by
       half of observers; none is published for hair.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Literal

from tracker.calibrate.level import LevelScale
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import coverage_factor, effective_dof

LightnessAnswer = Literal["lighter", "darker", "no difference", "cannot tell"]
ToneAnswer = Literal["warmer", "ashier", "same tone", "cannot tell"]
Says = LightnessAnswer | ToneAnswer
Grade = Literal["a little", "", "clearly"]

LIGHTER: Final = "lighter"
DARKER: Final = "darker"
NO_DIFFERENCE: Final = "no difference"
WARMER: Final = "warmer"
ASHIER: Final = "ashier"
SAME_TONE: Final = "same tone"
UNSURE: Final = "cannot tell"

LEAST_MARGIN = 2.5
"""L* within which a difference has no meaning, at least: a choice of our own, above the published 0.8 and 1.8 [PAR]."""

ACCEPTED = 1.8
"""ΔE00 that half of observers accept [PAR]: the margin of tone."""

_PROMISE = 0.58
"""Chance that as many photos as are named settle it. Of simulated pairs they then settle half to two thirds, as the
tests show: some of the differences seen are larger than they are."""
_MOST_PHOTOS = 20  # nobody takes more photos of one state


@dataclass(frozen=True, slots=True)
class Spread:
    """What makes a difference uncertain, as variances of the quantity asked about, both sides together.

    Attributes
    ----------
    own : float, from what every photo has anew
    lain : float, from how the hair lies and the card is held, which photos share unless both were done anew
    occasion : float, from what the photos of an occasion share
    kit : float, from what the camera does to two colours that differ
    own_dof, occasion_dof, kit_dof : float, degrees of freedom behind `own` with `lain`, `occasion` and `kit`
    photos : int, of each side, the smaller of the two
    """

    own: float
    lain: float = 0.0
    occasion: float = 0.0
    kit: float = 0.0
    own_dof: float = math.inf
    occasion_dof: float = math.inf
    kit_dof: float = math.inf
    photos: int = 1

    @property
    def u(self) -> float:
        """Standard uncertainty of the difference."""
        return math.sqrt(self.own + self.lain + self.occasion + self.kit)

    @property
    def dof(self) -> float:
        """Effective degrees of freedom of the difference [GUM]."""
        parts = self.own + self.lain, self.occasion, self.kit
        sizes = [math.sqrt(max(part, 0.0)) for part in parts]
        return effective_dof(sizes, (self.own_dof, self.occasion_dof, self.kit_dof))

    def times(self, factor: float) -> Spread:
        """The spread of so many times the quantity, `factor` > 0."""
        square = factor**2
        return replace(
            self,
            own=square * self.own,
            lain=square * self.lain,
            occasion=square * self.occasion,
            kit=square * self.kit,
        )

    def with_photos(self, photos: int, *, anew: bool) -> Spread:
        """The spread with so many `photos` on each side; `anew` with hair and card taken up anew between all of them.

        Parameters
        ----------
        photos : int, >= 1, on each side
        anew : bool
        """
        lain = self.lain / photos if anew else self.lain
        more = 2.0 * (photos - self.photos)
        return replace(
            self, own=self.own * self.photos / photos, lain=lain, own_dof=self.own_dof + max(more, 0.0), photos=photos
        )


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to one question about one band, with the 95 % interval that it was read from.

    Attributes
    ----------
    says : str, the answer
    value, low, high : float, the difference and its 95 % interval, in `unit`
    unit : str
    margin : float, within which a difference has no meaning, in `unit`
    spread : Spread, that the interval comes from
    """

    says: Says
    value: float
    low: float
    high: float
    unit: str
    margin: float
    spread: Spread

    @property
    def sure(self) -> bool:
        """True where there is an answer."""
        return self.says != UNSURE

    @property
    def changed(self) -> bool:
        """True where the answer is a change."""
        return self.low > 0 or self.high < 0

    @property
    def grade(self) -> Grade:
        """How large a change is: all of it within the margin, all of it beyond, or neither."""
        nearest, furthest = sorted((abs(self.low), abs(self.high)))
        if furthest <= self.margin:
            return "a little"
        return "clearly" if nearest > self.margin else ""

    @property
    def p_value(self) -> float:
        """Probability of a difference at least this large, either way, by chance alone [STU]."""
        from scipy.special import ndtr, stdtr  # imported late: keeps `import tracker` light

        if self.spread.u == 0:
            return 1.0 if self.value == 0 else 0.0
        ratio, dof = -abs(self.value) / self.spread.u, self.spread.dof
        return float(2 * (ndtr(ratio) if math.isinf(dof) else stdtr(dof, ratio)))


def lightness_margin(lightness: float, scale: LevelScale) -> float:
    """L* within which a difference has no meaning: half a level there, and at least `LEAST_MARGIN`.

    Parameters
    ----------
    lightness : float, L* of the hair
    scale : LevelScale in force
    """
    return max(scale.slope(lightness) / 2, LEAST_MARGIN)


def tone_margin(chroma: float) -> float:
    """CIELAB units of chroma within which a difference of tone has no meaning: `ACCEPTED` ΔE00, by CIEDE2000's S_C.

    Parameters
    ----------
    chroma : float, C*ab of the hair, >= 0
    """
    return ACCEPTED * (1 + 0.045 * chroma)


def answer_lightness(difference: float, spread: Spread, margin: float) -> Answer:
    """Lighter, darker, no difference, or cannot tell.

    Parameters
    ----------
    difference : float, L*, after less before
    spread : Spread, of that difference
    margin : float, L*, of `lightness_margin`
    """
    return _answered(difference, spread, margin, "L*", (LIGHTER, DARKER, NO_DIFFERENCE))


def answer_tone(difference: float, spread: Spread, margin: float) -> Answer:
    """Warmer, ashier, the same tone, or cannot tell.

    Parameters
    ----------
    difference : float, b* at the level of the hair, after less before
    spread : Spread, of that difference
    margin : float, b*, of `tone_margin`
    """
    return _answered(difference, spread, margin, "b*", (WARMER, ASHIER, SAME_TONE))


def _answered(difference: float, spread: Spread, margin: float, unit: str, words: tuple[Says, Says, Says]) -> Answer:
    reach = coverage_factor(spread.dof) * spread.u
    low, high = difference - reach, difference + reach
    return Answer(_says(low, high, margin, words), difference, low, high, unit, margin, spread)


def _says(low: float, high: float, margin: float, words: tuple[Says, Says, Says]) -> Says:
    more, less, same = words
    if low > 0:
        return more
    if high < 0:
        return less
    return same if max(-low, high) <= margin else UNSURE


def chance_of_an_answer(answer: Answer, photos: int, *, anew: bool = False) -> float:
    """Probability that the question is answered with so many photos of each side.

    How much is left uncertain of the mean of more photos is known; where they will take it, is not: that is spread
    around the difference seen, by what averages out.

    Parameters
    ----------
    answer : Answer, so far
    photos : int, of each side, no fewer than there are
    anew : bool, True where hair and card are taken up anew between all of them
    """
    then = answer.spread.with_photos(photos, anew=anew)
    moves = math.sqrt(max(answer.spread.u**2 - then.u**2, 0.0))
    return _settled(Measured(answer.value, moves), coverage_factor(then.dof) * then.u, answer.margin)


def _settled(expected: Measured, reach: float, margin: float) -> float:
    """Chance that a difference that is expected there lies beyond `reach` of zero, or within the margin less it."""
    from scipy.special import ndtr  # imported late: keeps `import tracker` light

    within = margin - reach
    if within >= reach:  # nothing lies between: every outcome is an answer
        return 1.0
    if expected.u == 0:
        return float(abs(expected.value) > reach or abs(expected.value) <= within)

    def below(limit: float) -> float:
        return float(ndtr((limit - expected.value) / expected.u))

    inside = max(below(within) - below(-within), 0.0)
    return 1 - below(reach) + below(-reach) + inside


def photos_to_settle(answer: Answer, *, anew: bool = False) -> int | None:
    """Photos of each side that will more likely than not answer the question; None where it is answered or none do.

    Parameters
    ----------
    answer : Answer, so far
    anew : bool, True for photos between which the hair is combed and the card taken up again
    """
    if answer.sure:
        return None
    numbers = range(answer.spread.photos + 1, _MOST_PHOTOS + 1)
    return next((n for n in numbers if chance_of_an_answer(answer, n, anew=anew) >= _PROMISE), None)
