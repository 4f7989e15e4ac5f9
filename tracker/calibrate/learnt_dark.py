"""What the dark half of a card reflects, as far as the photos with it tell.

In each photo, grey and dark half give the contrast between them. That is the card's own, times what the camera and the
stray light of the place make of it. One camera with one card cannot tell the two apart: six published photos of a
chart (``tests/golden/chart_photos.csv``) show 0.62 to 0.92 of the true contrast between a grey and a patch of 5 %,
rendered looks up to 1.1 of it. So photos with one card say little about its dark half. They say much about a new one
where the same camera took photos with the card before it: what camera and place do is then the same, and the new dark
half is what makes photos with both cards agree.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tracker.measure.dark_half import GIVEN, NOMINAL
from tracker.measure.reading import DarkHalf

FEWEST = 6
"""Visits with each card; fewer say little of how much visits differ."""
_CAMERA = 0.20  # sd of the log of what camera and place make of the contrast, by the photos named above
_OCCASION = 0.08  # the same from visit to visit, as long as few visits tell it: a weak choice of our own
_OCCASION_DOF = 4
_MEDIAN = 1.25  # standard error of a median over that of a mean, normal values


@dataclass(frozen=True, slots=True)
class CardSeen:
    """What one photo shows of a card.

    Attributes
    ----------
    camera : str, that took it, empty where unknown
    occasion : str, the visit or day: photos of one visit are not independent
    exponent : float, that the correction used
    grey, dark : float, reflectances that the correction used, 0..1
    """

    camera: str
    occasion: str
    exponent: float
    grey: float
    dark: float

    @property
    def contrast(self) -> float:
        """Log of grey to dark half as photographed, once the grey is right: > 0."""
        return math.log(self.grey / self.dark) / self.exponent


@dataclass(frozen=True, slots=True)
class LearntDark:
    """What photos tell of the dark half of a card.

    Attributes
    ----------
    known : DarkHalf, its reflectance with the standard uncertainty
    photos, visits : int, with this card, that told it
    compared : bool, True where photos with an earlier card by the same camera were there to compare with
    is_worth_using : bool, True where it makes photos with two cards agree, or is surer than the nominal value by a
        quarter at least
    """

    known: DarkHalf
    photos: int
    visits: int
    compared: bool
    is_worth_using: bool


def learn_dark(
    now: Sequence[CardSeen],
    nominal: float,
    before: Sequence[CardSeen] = (),
    earlier: DarkHalf | None = None,
    prior: float = NOMINAL,
) -> LearntDark | None:
    """The reflectance of a card's dark half by the photos with it; None where they are too few.

    Parameters
    ----------
    now : photos with this card
    nominal : float, reflectance of the dark half of such cards, 0..1
    before : photos with the card before it, of the same kind
    earlier : DarkHalf or None, what was known of the dark half of that one; None for its nominal value
    prior : float, relative standard uncertainty of the nominal value

    Notes
    -----
    For each camera the medians over visits of the log of the contrast are compared, and cameras weighed by how well
    each tells. What comes out is shrunk to the nominal value by `prior`.
    """
    new, old = _by_camera(now), _by_camera(before)
    visits = sum(len(each) for each in new.values())
    if visits < FEWEST:
        return None
    grey = float(np.median([seen.grey for seen in now]))
    was, u_was = _known(earlier, nominal, prior)
    both = [name for name in new if name in old and len(old[name]) + len(new[name]) >= FEWEST]
    here, found = _scatter([*new.values(), *old.values()]), []
    for name, values in new.items():
        seen, u = _middle(values, here)
        if name in both:
            shown, u_shown = _middle(old[name], here)
            found.append((seen - shown + math.log(math.log(grey / was)), math.hypot(u, u_shown)))
        else:
            found.append((seen, math.hypot(u, _CAMERA)))
    weights = np.array([1 / u**2 for _, u in found])
    contrast = float(weights @ [value for value, _ in found] / weights.sum())
    spread = math.log(grey / nominal)
    # of the log of the reflectance; the slope of a log of a log
    said, u_said = math.log(grey) - math.exp(contrast), spread / math.sqrt(weights.sum())
    u_prior = math.hypot(prior, u_was) if both else prior
    share = u_prior**2 / (u_prior**2 + u_said**2)
    dark = math.exp(math.log(nominal) + share * (said - math.log(nominal)))
    u = math.hypot(math.sqrt(share) * u_said, u_was if both else 0.0)
    return LearntDark(DarkHalf(dark, u * dark), len(now), visits, bool(both), bool(both) or u <= 0.75 * prior)


def _known(dark: DarkHalf | None, nominal: float, prior: float) -> tuple[float, float]:
    """Reflectance of a dark half and its relative standard uncertainty."""
    if dark is None:
        return nominal, prior
    return dark.reflectance, GIVEN if dark.u is None else dark.u / dark.reflectance


def _by_camera(photos: Iterable[CardSeen]) -> Mapping[str, list[float]]:
    """Log of the contrast, a value for each visit, by camera."""
    visits: dict[tuple[str, str], list[float]] = defaultdict(list)
    for seen in photos:
        visits[seen.camera, seen.occasion].append(math.log(seen.contrast))
    cameras: dict[str, list[float]] = defaultdict(list)
    for (camera, _), values in visits.items():
        cameras[camera].append(float(np.median(values)))
    return cameras


def _scatter(groups: Sequence[list[float]]) -> float:
    """Standard deviation from visit to visit, within cameras and cards, held up where few visits tell it."""
    off = np.concatenate([np.array(values) - np.mean(values) for values in groups])
    dof = sum(len(values) - 1 for values in groups)
    return math.sqrt((_OCCASION_DOF * _OCCASION**2 + float(off @ off)) / (_OCCASION_DOF + dof))


def _middle(values: list[float], scatter: float) -> tuple[float, float]:
    return float(np.median(values)), _MEDIAN * scatter / math.sqrt(len(values))
