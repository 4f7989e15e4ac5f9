"""A card of several equal steps in a row, such as grey above dark: found as a whole, never as one of its steps.

An even outline may be any step of it, turned any way. What lies where the other steps should be must be as even, of
the same colour of light, and lighter or darker as its reflectance says; then all steps together give the corners.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reading import Point
from tracker.measure.reference_card.search.candidates import LARGEST, SMALLEST
from tracker.measure.reference_card.search.found import ASK, FOUND, NONE, FoundCard, Reason
from tracker.measure.reference_card.search.geometry import area, areas, card_shaped, contains, overlap
from tracker.measure.reference_card.search.light import lights_on, sample
from tracker.measure.reference_card.search.plain import LONGEST_STEP, Outline, outlines
from tracker.measure.reference_card.search.reduced import Reduced, median, reduce, roughly_linear
from tracker.measure.reference_card.search.score import form, probability
from tracker.measure.reference_card.search.sides import reaches, refine_all
from tracker.measure.reference_card.search.traits import inside_photo, traits_of_all

_LONGEST = 4.5  # of the whole row
_LIKELY = -4.0  # log odds of a step by its form, below which no row is tried
_BLUR = 1.5  # pixels, see `reaches`: how far the sides of a step may be from where its neighbour says
_CONTRAST = (0.55, 1.6)  # seen over true log ratio of two steps: a phone's look, stray light, a printed dark
_BURNT = 245.0  # code: a white step may burn out, and then only has to be lighter
_TINT = 0.45  # log ratio by which the channels of two steps may differ
_EVEN = 5.0  # codes, and 3 times the noise
_BESIDE = 4.0, 6.0  # times the noise, and codes, by which what lies beside a step differs from it
_BOTH = 0.75  # share of a step's length that shows it, on both sides
_AT_ONCE = 0.55  # of the change over a quarter of the width, within a tenth of it; an even slope has two fifths
_JOINED = 0.06  # of a step's size: how far the corners of two neighbours may lie apart
_PRIOR = 1.0  # log odds of two steps that stand to one another as they should
_SURE, _MAYBE, _TAPPED = 0.2, 0.02, 1e-4  # probability; of 167 photos without a card the highest was 2e-4
_LARGEST_MISS = 1.6  # pixels by which the steps' corners may miss one plane
_CLEANEST = 8.0  # codes by which a step's rim may differ from its middle
_CERTAIN = 1.5  # log odds above which fingers on a rim do not matter: all steps gave the corners together
_LEAD = 3.0
_SAME_THING = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """A row of steps that may be the card.

    Attributes
    ----------
    quad : (4, 2), pixels of the search picture, clockwise from the row's own top left
    odds : float, log odds that it is the card
    miss : float, pixels, by which the steps' corners miss one common plane, root mean square
    rim : float, codes; see `Traits`, the worst step
    """

    quad: Floats
    odds: float
    miss: float
    rim: float


def find_row(encoded: np.ndarray | Reduced, near: Point | None = None, *, reflectances: Sequence[float]) -> FoundCard:
    """The one card of equal steps in a photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright; or its search copy, which several searches then share
    near : (x, y) or None, pixels, a point inside the card as a person tapped it
    reflectances : of the steps from the card's top to its bottom, 0..1

    Returns
    -------
    FoundCard : corners clockwise from the card's own top left
    """
    photo = reduce(encoded)
    rows = rows_among(photo, outlines(photo, LONGEST_STEP, SMALLEST / len(reflectances)), reflectances)
    if near is not None:
        tapped = photo.from_photo(np.array(near))
        rows = [row for row in rows if contains(row.quad, tapped)]
    best = max(rows, key=lambda row: row.odds - row.miss, default=None)
    if best is None or probability(best.odds) < (_MAYBE if near is None else _TAPPED):
        return FoundCard(NONE, None, 0.0 if best is None else probability(best.odds), "nothing")
    reason = "" if near is not None else _doubt(best, rows)
    return FoundCard(ASK if reason else FOUND, photo.corners_of(best.quad), probability(best.odds), reason)


def _doubt(best: Row, rows: list[Row]) -> Reason:
    elsewhere = max((row.odds for row in rows if overlap(row.quad, best.quad) < _SAME_THING), default=-20.0)
    if best.odds - elsewhere < _LEAD:
        return "several"
    if best.rim > _CLEANEST and best.odds < _CERTAIN:
        return "rim"
    return "faint" if probability(best.odds) < _SURE or best.miss > _LARGEST_MISS else ""


def rows_among(photo: Reduced, found: Sequence[Outline], reflectances: Sequence[float]) -> list[Row]:
    """All rows of which one of the outlines is a step.

    Parameters
    ----------
    photo : Reduced
    found : outlines of single steps
    reflectances : of the steps from top to bottom, 0..1
    """
    finer = photo.finer if any(one.fine for one in found) else None
    if finer is not None:
        fine = [replace(one, quad=finer.from_photo(photo.to_photo(one.quad)), fine=False) for one in found if one.fine]
        coarse = rows_among(photo, [one for one in found if not one.fine], reflectances)
        return coarse + [
            replace(row, quad=photo.from_photo(finer.to_photo(row.quad)))
            for row in rows_among(finer, fine, reflectances)
        ]
    likely = [one for one in found if form(one.traits) > _LIKELY and one.traits.opposite > 0.75]
    rows: list[Row] = []
    likely.sort(key=lambda one: -form(one.traits))
    for which, turn, place in _promising(photo, likely, reflectances):
        outline = likely[which]
        step = np.roll(outline.quad, -turn, axis=0)
        quad = _seen(_plane(_box(place, len(reflectances)), step), _box(0, 1))
        if not card_shaped(quad, 0.1, _LONGEST) or not _new(quad, rows) or not _matches(photo, quad, reflectances):
            continue
        row = _row(photo, outline, place, quad, len(reflectances))
        if row is not None:
            rows.append(row)
    return rows


def _promising(photo: Reduced, likely: list[Outline], reflectances: Sequence[float]) -> list[tuple[int, int, int]]:
    """Outline, turn and place in the row, wherever the middles of all steps look as their reflectances say."""
    if not likely:
        return []
    count = len(reflectances)
    quads = np.array([np.roll(one.quad, -turn, axis=0) for one in likely for turn in range(4)])
    steps = np.arange(1 - count, count)  # from the outline's own
    u, v = np.array([(x, y + step) for step in steps for x in (0.4, 0.6) for y in (0.4, 0.6)]).T
    spots = _unit_square_to(quads, u, v)
    width, height = photo.size
    within = ((spots > 0) & (spots < [width - 1, height - 1])).all(axis=2).reshape(len(quads), len(steps), 4)
    codes = sample(photo.smooth, spots[..., 0], spots[..., 1]).reshape(len(quads), len(steps), 4, 3).mean(axis=2)
    wanted = np.log(np.divide(reflectances[:-1], reflectances[1:]))
    found = []
    for place in range(count):
        of_row = slice(count - 1 - place, 2 * count - 1 - place)
        stands = _stand(codes[:, of_row][:, :-1], codes[:, of_row][:, 1:], wanted).all(axis=1)
        found += [(k // 4, k % 4, place) for k in np.flatnonzero(stands & within[:, of_row].all(axis=(1, 2))).tolist()]
    return sorted(found)


def joins(photo: Reduced, outline: Outline, two: Sequence[float]) -> bool:
    """True where an even step as wide as the outline joins on, even if its far end is not to be seen.

    Parameters
    ----------
    photo : Reduced
    outline : a step
    two : reflectances of two neighbouring steps, the lighter first
    """
    limit = max(_BESIDE[0] * photo.noise, _BESIDE[1])
    for _, turn, place in _promising(photo, [outline], two):
        quad = np.roll(outline.quad, -turn, axis=0)
        v = np.linspace(0.2, 0.8, 9) + (1 if place == 0 else -1)
        left, right = (_stops_at(photo, quad, side, v, limit) for side in (0.0, 1.0))
        inside = _along(photo, quad, np.array([0.12, 0.88]), v)
        across = np.sqrt(np.square(inside[1] - inside[0]).mean(axis=1))
        if min(left, right) >= _BOTH and float(median(across)) < limit:
            return True
    return False


def _stops_at(photo: Reduced, quad: Floats, side: float, v: Floats, limit: float) -> float:
    """Share of the places along a side at which the photo changes at once, as no pattern of a wall does."""
    far, near, here, there = _along(photo, quad, side + np.array([-0.12, -0.05, 0.05, 0.12]), v)
    wide, narrow = (np.sqrt(np.square(one - other).mean(axis=1)) for one, other in ((there, far), (here, near)))
    return float(((wide > limit) & (narrow > _AT_ONCE * wide)).mean())


def _along(photo: Reduced, quad: Floats, u: Floats, v: Floats) -> np.ndarray:
    """Codes at each `u` along all `v` of the unit square on a quadrilateral, (u, v, 3)."""
    spots = _unit_square_to(quad[None], np.repeat(u, len(v)), np.tile(v, len(u)))
    return sample(photo.smooth, spots[..., 0], spots[..., 1]).reshape(len(u), len(v), 3)


def _unit_square_to(quads: Floats, u: Floats, v: Floats) -> Floats:
    """Points (m,) of the unit square on each of the quadrilaterals (n, 4, 2) in perspective, (n, m, 2)."""
    (a, b, c, d) = (quads[:, k] for k in range(4))
    right, down, skew = b - c, d - c, a - b + c - d
    across = right[:, 0] * down[:, 1] - down[:, 0] * right[:, 1]
    g = (skew[:, 0] * down[:, 1] - down[:, 0] * skew[:, 1]) / across
    h = (right[:, 0] * skew[:, 1] - skew[:, 0] * right[:, 1]) / across
    along = (b - a + g[:, None] * b)[:, None] * u[:, None] + (d - a + h[:, None] * d)[:, None] * v[:, None] + a[:, None]
    depth = g[:, None] * u + h[:, None] * v + 1
    return np.asarray(along / np.where(depth > 0.05, depth, np.nan)[..., None])


def _new(quad: Floats, rows: list[Row]) -> bool:
    limit = 0.06 * np.sqrt(area(quad))
    return all(float(np.abs(quad - row.quad).max()) > limit for row in rows)


def _box(place: int, steps: int) -> Floats:
    """Corners of a step in the row's unit square."""
    top, bottom = place / steps, (place + 1) / steps
    return np.array([(0.0, top), (1.0, top), (1.0, bottom), (0.0, bottom)])


def _plane(unit: Floats, pixels: Floats) -> Floats:
    """The projective map (3, 3) of points of the unit square to pixels, by least squares where there are over four."""
    if len(unit) == 4:
        return np.asarray(cv2.getPerspectiveTransform(unit.astype(np.float32), pixels.astype(np.float32)))
    return np.asarray(cv2.findHomography(unit, pixels, 0)[0])


def _seen(plane: Floats, unit: Floats) -> Floats:
    """Pixels of points (n, 2) of the unit square."""
    return np.asarray(cv2.perspectiveTransform(unit[None].astype(float), plane)[0])


def _steps_of(row: Floats, steps: int) -> list[Floats]:
    plane = _plane(_box(0, 1), row)
    return [_seen(plane, _box(place, steps)) for place in range(steps)]


def _matches(photo: Reduced, row: Floats, reflectances: Sequence[float]) -> bool:
    """True where all steps lie in the photo, are even, and stand to one another as their reflectances do."""
    if not inside_photo(photo, row, SMALLEST, LARGEST):
        return False
    light = lights_on(photo.smooth, np.array(_steps_of(row, len(reflectances))), 0.6)
    if (light.unevenness > max(_EVEN, 3 * photo.noise)).any():
        return False
    levels = light.plane[:, 0]
    wanted = np.log(np.divide(reflectances[:-1], reflectances[1:]))
    return bool(_stand(levels[:-1], levels[1:], wanted).all())


def _stand(lighter: np.ndarray, darker: np.ndarray, expected: Floats) -> np.ndarray:
    """True where codes (..., n, 3) are lighter than the next by about a log ratio (n,), in the same colour of light."""
    ratios = np.log(roughly_linear(lighter) / roughly_linear(darker))
    seen = ratios.mean(axis=-1)
    burnt = lighter.max(axis=-1) > _BURNT
    alike = np.ptp(ratios, axis=-1) < _TINT
    stands = alike & (_CONTRAST[0] * expected < seen) & (seen < _CONTRAST[1] * expected)
    return np.asarray(np.where(burnt, seen > 0.35 * expected, stands))


def _row(photo: Reduced, outline: Outline, place: int, quad: Floats, steps: int) -> Row | None:
    """The row with every step on its own edges; None where a step has none, or they do not join."""
    begin = np.array(_steps_of(quad, steps))
    others = [k for k in range(steps) if k != place]
    found = begin[others]
    for reach in reaches(_BLUR):
        found = refine_all(photo, found, reach, LONGEST_STEP)
        if not np.isfinite(found).all():
            return None
    if (np.abs(found - begin[others]).max(axis=(1, 2)) > 0.3 * np.sqrt(areas(begin[others]))).any():
        return None
    outlines_of_steps, traits = list(found), traits_of_all(photo, found)
    outlines_of_steps.insert(place, _from_corner(outline.quad, begin[place]))
    traits.insert(place, outline.traits)
    size = float(np.sqrt(area(outlines_of_steps[0])))
    for upper, lower in pairwise(outlines_of_steps):
        if np.abs(upper[[3, 2]] - lower[[0, 1]]).max() > _JOINED * size + 1.5:
            return None
    unit, pixels = np.concatenate([_box(k, steps) for k in range(steps)]), np.concatenate(outlines_of_steps)
    plane = _plane(unit, pixels)
    miss = float(np.sqrt(np.square(_seen(plane, unit) - pixels).sum(axis=1).mean()))
    whole_size = [replace(one, shortest=one.shortest * steps**0.5) for one in traits]  # a step is smaller than a card
    odds = float(np.mean([form(one) for one in whole_size])) * 1.5 + _PRIOR * (steps - 1) - miss
    whole = _seen(plane, _box(0, 1))
    if not card_shaped(whole, 0.1, _LONGEST) or not inside_photo(photo, whole, SMALLEST, LARGEST):
        return None
    return Row(whole, odds, miss, max(float(one.rim.max()) for one in traits))


def _from_corner(quad: Floats, like: Floats) -> Floats:
    """The same outline, from the corner that another one starts at."""
    turned = [np.roll(quad, k, axis=0) for k in range(4)]
    return min(turned, key=lambda one: float(np.abs(one - like).max()))
