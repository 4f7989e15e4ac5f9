"""Whether four corners lie on something that reads as a kind of card, by its patches and by the edges along its sides.

Nothing here looks for the card. The inside must be as even, as light and as dark as that kind is, and each side must
lie on a line where the photo stops being the card, seen from inside outwards.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import cv2
import numpy as np

from tracker.errors import CardError, CardMisplaced, CardTooSmall
from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.kind import Box, CardKind, CardReading, Corners
from tracker.measure.reference_card.search.geometry import area, outward, sides
from tracker.measure.reference_card.search.light import Light, light_on, sample
from tracker.measure.reference_card.search.reduced import Reduced, median, reduce, roughly_linear
from tracker.words import pixels

# set on two or three photos of each of the bench's 64 heads; DEVELOPERS.md says what others gave
_SMALLEST = 8.0  # pixels of the search picture, of a side
_INNER = 0.64  # of a patch's width and height, as it is read
_EVEN = (5.0, 3.0)  # codes about the plane of light, or times the photo's noise
_STRAY = (4.0, 4.0, 3.0)  # codes, times the noise, or times a patch's own scatter, that count as off the plane
_MOST_STRAY = 0.3  # of a patch
_BURNT, _CRUSHED = 250.0, 3.0  # codes
_CONTRAST = (0.4, 2.0)  # seen over true log ratio of two greys
_APART = 0.4  # log ratio of two greys above which they are compared
_TINT = 0.6  # log ratio by which the channels of two greys may differ
_NEUTRAL = 0.15  # the same of a patch's own reference
_COLOURED = 4.0  # ratio of the channels, or against the mean of the photo; the bench's cards reach 2
_MANY = 9  # patches that hold a card in place by their own borders

_OUTSIDE, _WITHIN = 0.02, 0.03  # of the card's size, by which a side may lie outside and inside the card
_FRAME = 0.035  # the same where there are many patches, which may have a frame
_ROUNDING = 0.7  # pixels
_LOOK_IN, _LOOK_OUT = 0.08, 0.3  # of the card's size, how far from a side its edge is looked for
_SPACING = 0.5  # pixels
_PLACES = 24  # along a side
_DIFFERS = (2.5, 2.5, 0.45, 60.0)  # codes, times the noise, and share of what lies outside up to so many codes
_ON_LINE = (1.0, 0.012)  # pixels, or of the card's size
_MOST_OF_IT = 0.35  # of a side; fingers may hide the rest
_UNSEEN = 0.4  # of a side that shows no edge: before a background like the card itself none can be seen

_PUT_RIGHT = "Drag each corner onto its corner of the card."
_IN_LIGHT = f"{_PUT_RIGHT} If they lie there, keep fingers, gloss and shadows off the card and take the photo again."


@dataclass(frozen=True, slots=True, eq=False)
class _Patch:
    """One patch: its box in the unit square, the light on it, and the share of it that is not like the rest, 0..1."""

    box: Box
    light: Light
    stray: float

    @property
    def codes(self) -> Floats:
        return np.asarray(self.light.plane[0])


@dataclass(frozen=True, slots=True)
class _Side:
    """One side of the outline.

    Attributes
    ----------
    name : str, where it lies in the photo
    on : bool, the edge of the card runs along it
    off : float or None, pixels of the search picture by which the edge lies off it; None where no edge is clear
    """

    name: str
    on: bool
    off: float | None


def read_as(kind: CardKind, picture: np.ndarray | Reduced, corners: Corners) -> CardError | None:
    """What tells that the corners do not lie on a card of that kind; None where they do.

    Parameters
    ----------
    kind : CardKind
    picture : (h, w, 3) uint8 or uint16, upright, or its search copy, which saves making it for each try
    corners : four points, pixels of the photo, clockwise from the card's own top left

    Returns
    -------
    CardError or None : says what is wrong and what to do
    """
    photo = picture if isinstance(picture, Reduced) else reduce(picture)
    quad = photo.from_photo(np.array(corners, float))
    wrong = _misshapen(quad)
    if wrong is not None:
        return wrong
    patches = _patches(photo, kind, quad)
    return _unlike(photo, kind, patches) or _off_the_edges(photo, quad, patches)


def _misshapen(quad: Floats) -> CardError | None:
    along, lengths = sides(quad)
    following = np.roll(along, -1, axis=0)
    turns = along[:, 0] * following[:, 1] - along[:, 1] * following[:, 0]
    if not np.isfinite(quad).all() or turns.min() <= 0:
        return CardMisplaced(
            "The card's corners cross over, repeat or run the wrong way round.",
            "Put them clockwise: the card's own top left, top right, bottom right, bottom left.",
        )
    if lengths.min() < _SMALLEST:
        return CardTooSmall(
            "The card is too small in the photo to be told from anything else.",
            "Move closer or use a larger card.",
            value=float(lengths.min()),
            limit=_SMALLEST,
            unit="pixels",
        )
    return None


# --- the inside ------------------------------------------------------------------------------------------------------


def _patches(photo: Reduced, kind: CardKind, quad: Floats) -> list[_Patch]:
    square = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], np.float32)
    plane = cv2.getPerspectiveTransform(square, quad.astype(np.float32))
    found = []
    for box in kind.boxes:
        left, top, right, bottom = box
        unit = np.array([[(left, top), (right, top), (right, bottom), (left, bottom)]])
        light = light_on(photo.smooth, np.asarray(cv2.perspectiveTransform(unit, plane)[0]), _INNER)
        limit = max(_STRAY[0], _STRAY[1] * photo.noise, _STRAY[2] * light.unevenness)
        found.append(_Patch(box, light, float(np.mean(np.abs(light.rest).max(axis=1) > limit))))
    return found


def _unlike(photo: Reduced, kind: CardKind, patches: list[_Patch]) -> CardError | None:
    """What tells the patches from those of the kind."""
    return _not_even(photo, kind, patches) or _not_neutral(photo, kind, patches) or _not_its_greys(kind, patches)


def _not_neutral(photo: Reduced, kind: CardKind, patches: list[_Patch]) -> CardError | None:
    linear = roughly_linear(patches[kind.grey].codes)
    beside = linear / photo.tint
    tint = min(float(linear.max() / linear.min()), float(beside.max() / beside.min()))
    if tint <= _COLOURED:
        return None
    return _not_the_card(f"the {_name(kind, kind.grey)} is coloured, not grey", tint, _COLOURED, "ratio")


def _not_even(photo: Reduced, kind: CardKind, patches: list[_Patch]) -> CardError | None:
    limit = max(_EVEN[0], _EVEN[1] * photo.noise)
    uneven = np.array([patch.light.unevenness for patch in patches])
    stray = np.array([patch.stray for patch in patches])
    if len(patches) >= _MANY:  # printed borders blur into some of the small ones
        worst, uneven, stray = kind.grey, median(uneven)[None], median(stray)[None]
    else:
        worst = int(np.argmax(np.maximum(uneven / limit, stray / _MOST_STRAY)))
    if uneven.max() <= limit and stray.max() <= _MOST_STRAY:
        return None
    part = "what lies inside them" if len(patches) == 1 or len(patches) >= _MANY else f"the {_name(kind, worst)}"
    return CardMisplaced(
        f"The corners do not lie on the card: {part} is not even.",
        _IN_LIGHT,
        value=float(uneven.max()),
        limit=limit,
        unit="codes",
    )


def _name(kind: CardKind, index: int) -> str:
    return dict(kind.sound).get(index, "patch")


def _not_its_greys(kind: CardKind, patches: list[_Patch]) -> CardError | None:
    """What contradicts the kind: its own word on what is plausible, and how light its greys are beside one another."""
    codes = np.array([patch.codes for patch in patches])
    usable = (codes.max(axis=1) < _BURNT) & (codes.min(axis=1) > _CRUSHED)
    linear = roughly_linear(codes)
    try:
        kind.require_plausible(CardReading(kind, _NOWHERE, linear, np.zeros((len(linear), 3, 3)), usable, 0.0, 0.0))
    except CardError as error:
        return error.with_traceback(None)
    wanted = np.log(np.maximum(kind.reference(None, None), 1e-4))
    greys = [int(k) for k in np.flatnonzero(usable & (np.ptp(wanted, axis=1) < _NEUTRAL))]
    pairs = itertools.permutations(greys, 2)
    return next((wrong for pair in pairs if (wrong := _do_not_agree(kind, pair, np.log(linear), wanted))), None)


def _do_not_agree(kind: CardKind, pair: tuple[int, int], seen: Floats, wanted: Floats) -> CardError | None:
    """What is wrong with a lighter and a darker grey beside one another, by the logarithms of their light, (n, 3)."""
    one, other = pair
    true = float((wanted[one] - wanted[other]).mean())
    if true < _APART:
        return None
    apart = seen[one] - seen[other]
    share, tint = float(apart.mean()) / true, float(np.ptp(apart))
    if not _CONTRAST[0] <= share <= _CONTRAST[1]:
        how, limit = ("alike", _CONTRAST[0]) if share < 1 else ("far apart", _CONTRAST[1])
        return _not_the_card(f"{_both(kind, one, other)} are too {how} in lightness", share, limit, "ratio")
    if tint > _TINT:
        return _not_the_card(f"{_both(kind, one, other)} are not the same neutral grey", tint, _TINT, "log ratio")
    return None


def _both(kind: CardKind, one: int, other: int) -> str:
    names = dict(kind.sound)
    return f"the {names[one]} and the {names[other]}" if one in names and other in names else "two of its greys"


_NOWHERE: Corners = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
"""Corners of a reading of which only the colours are asked about."""


def _not_the_card(why: str, value: float, limit: float, unit: str) -> CardMisplaced:
    return CardMisplaced(
        f"The corners do not lie on a card of this kind: {why}.",
        f"Look whether the right kind of card is chosen. {_IN_LIGHT}",
        value=value,
        limit=limit,
        unit=unit,
    )


# --- the sides -------------------------------------------------------------------------------------------------------


def _off_the_edges(photo: Reduced, quad: Floats, patches: list[_Patch]) -> CardError | None:
    """Which side lies off the edge of the card; also where too few sides show one at all."""
    many = len(patches) >= _MANY
    slack = _FRAME if many else _OUTSIDE
    found = [side for k in range(4) if (side := _side(photo, quad, k, patches, slack)) is not None]
    off = [side for side in found if not side.on and side.off is not None]
    if off:
        worst = max(off, key=lambda side: abs(side.off or 0.0))
        away = abs(worst.off or 0.0) / photo.shrink
        which = f"The {worst.name} side of the outline lies" if len(off) == 1 else "The sides of the outline lie up to"
        return CardMisplaced(
            f"{which} {pixels(away)} off the edge of the card.",
            _PUT_RIGHT,
            value=away,
            limit=slack * math.sqrt(area(quad)) / photo.shrink,
            unit="pixels",
        )
    unclear = [side.name for side in found if not side.on]
    if len(unclear) <= (1 if len(patches) == 1 else 2):
        return None
    return CardMisplaced(
        f"No edge of a card runs along the {' and the '.join(unclear[:2])} side of the outline.",
        f"{_PUT_RIGHT} If they lie there, hold the card before something lighter or darker and take the photo again.",
        value=float(len(unclear)),
        limit=1.0,
        unit="sides",
    )


def _side(photo: Reduced, quad: Floats, k: int, patches: list[_Patch], slack: float) -> _Side | None:
    """Where the edge of the card runs along a side; None for a side that no patch reaches."""
    size = math.sqrt(area(quad))
    normal = outward(quad[k], quad[(k + 1) % 4], quad.mean(axis=0))
    axis, end = ((1, 0), (0, 1), (1, 1), (0, 0))[k]  # the coordinate that is the same all along, and what it is
    reaching = [patch for patch in patches if abs(patch.box[axis + 2 * end] - end) < 1e-6]
    if not reaching:
        return None
    parts = [_places(photo, quad, k, normal, patch, 1 - axis, size) for patch in reaching]
    along, places = (np.concatenate(each) for each in zip(*parts, strict=True))
    within = -slack * size - _ROUNDING, _WITHIN * size + _ROUNDING
    share, line = _line(along, places, size, within)
    name = _direction(normal)
    if share >= _MOST_OF_IT:
        return _Side(name, True, 0.0)
    share, line = _line(along, places, size, None)
    clear = share >= _MOST_OF_IT and float(np.mean(~np.isfinite(places))) <= _UNSEEN
    return _Side(name, False, max(line, key=abs) if clear else None)


def _direction(normal: Floats) -> str:
    if abs(normal[0]) > abs(normal[1]):
        return "right" if normal[0] > 0 else "left"
    return "lower" if normal[1] > 0 else "upper"


def _places(
    photo: Reduced, quad: Floats, k: int, normal: Floats, patch: _Patch, across: int, size: float
) -> tuple[Floats, Floats]:
    """Places along a side, 0..1, and how far outwards the photo stops being the patch there, pixels; infinite if never.

    The photo has to stop being the patch for good: from there on, three samples in a row differ from its light.
    """
    first, last = patch.box[across], patch.box[across + 2]
    along = first + (last - first) * np.linspace(0.06, 0.94, max(6, round(_PLACES * (last - first))))
    start, end = quad[k], quad[(k + 1) % 4]
    points = start + (along if k < 2 else 1 - along)[:, None] * (end - start)
    offsets = np.arange(-max(_LOOK_IN * size, 5.0), max(_LOOK_OUT * size, 8.0), _SPACING)
    x, y = (points[:, axis, None] + offsets * normal[axis] for axis in (0, 1))
    off = np.sqrt(np.square(sample(photo.smooth, x, y) - patch.light.at(x, y)).mean(axis=2))
    zero = int(np.searchsorted(offsets, 0.0))
    least, times, share, most = _DIFFERS
    outside = median(off[:, zero + 6 : zero + 13], axis=1)
    limit = np.maximum(max(least, times * patch.light.noise(photo.noise)), share * np.minimum(outside, most))
    over = off > limit[:, None]
    lasting = over[:, :-2] & over[:, 1:-1] & over[:, 2:]
    return along, np.where(lasting.any(axis=1), offsets[lasting.argmax(axis=1)], np.inf)


def _line(
    along: Floats, places: Floats, size: float, within: tuple[float, float] | None
) -> tuple[float, tuple[float, float]]:
    """The straight line through most of the places: the share of them on it, and where it begins and ends, pixels.

    Only lines of which both ends lie within the limits count, where these are given.
    """
    seen = np.flatnonzero(np.isfinite(places))
    one, other = (seen[pair] for pair in np.triu_indices(len(seen), max(1, len(places) // 6)))
    if not len(one):
        return 0.0, (0.0, 0.0)
    slope = (places[other] - places[one]) / (along[other] - along[one])
    start = places[one] - slope * along[one]
    off = np.abs(places[seen] - start[:, None] - slope[:, None] * along[seen])
    count = (off < max(_ON_LINE[0], _ON_LINE[1] * size)).sum(axis=1)
    if within is not None:
        fits = (np.minimum(start, start + slope) > within[0]) & (np.maximum(start, start + slope) < within[1])
        count = np.where(fits, count, 0)
    best = int(np.argmax(count))
    return float(count[best]) / len(places), (float(start[best]), float(start[best] + slope[best]))
