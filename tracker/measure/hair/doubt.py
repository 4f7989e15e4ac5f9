"""How sure a mask of the hair is: whether it is likely right, and whether something strange is in the photo."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.hair import grab, shape, strands

LIMIT = 0.5  # from here on a person should look: `quality.limits.DOUBT`

# Log odds that an outline is wrong (overlap with the true one under 0.85): a logistic regression over 170 photos from
# behind or the side, straight to curly, of Figaro1k (Muhammad et al. 2018, Image Vis. Comput. 71), and 128 of rendered
# heads. Cross-validated in four, with neighbours together, 3 % of the real outlines are wrong without a doubt. Of 382
# photos of rendered heads, 99 % before plain walls and 77 % before busy ones give a number.
_ALWAYS = 33.59
_OF_MORE, _MORE_FLOOR = 0.711, 0.005  # for each factor e of `_MORE`'s measure
_OF_SUPPORT = -3.819
_OF_FULLNESS = -14.609
_OF_CLEAR = -11.868
_OF_STRANDS, _STRANDS_FLOOR = 1.187, 0.01  # for each factor e of `_STRANDS`'s measure
_WRONG_FROM = -1.55  # a person should look: a doubt too many is cheap, a wrong number dear

# These only decide what is said of an outline that is likely wrong.
_WEAKEST_TENTH = 1.5  # contrast that all but a tenth of the rim exceeds, in units of spread
_CLEAR = 0.88  # mean contrast of the rim, where _PLAIN counts as 1
_PLAIN = 3.0
_MOVED = 0.10  # what the look most like it does not share with it

# Each of these is the value at which the doubt reaches the limit.
_SMALLEST = 0.06  # share of the photo
_AT_FRAME = 0.15  # share of the rim that lies at the photo's edge
_SMOOTH = 0.03  # share of the mask: the largest piece without strands
_MORE = 0.06  # share of the mask: the largest piece like it beside it
_SECOND = 1.1  # share of the mask: the largest piece with strands of whatever colour beside it; a busy wall has 0.6
_WAIST = 0.77  # width where it is narrowest, of the narrower of the parts above and below; wet hair has 0.8
_LEAN = 0.22  # of its width: how far its lower part hangs beside its upper one
_STRANDS = 0.025  # octaves: strength of texture in the middle of the mask; hair has 0.03 to 0.17

_SAME = 1.5  # median contrast of the rim: true outlines have 3.1 or more, boxes on a plain wall up to 0.8

_WALL = "Take the photo before a plain wall of another colour, or draw the outline round the hair."
SENTENCES = {
    "alike": ("The hair and what is behind it look alike.", _WALL),
    "unclear": ("The edge of the hair is unclear.", _WALL),
    "moved": ("Two looks at this photo gave two different outlines.", "Draw the outline round the hair."),
    "small": ("The hair is small in the photo.", "Go closer, or draw the outline round the hair."),
    "frame": ("The hair runs out of the photo.", "Step back until all of it is in the picture."),
    "smooth": (
        "Something smooth is among the hair, such as skin, a hat, a hand or a brush.",
        "Take the photo from behind with nothing on the hair, or draw the outline round the hair alone.",
    ),
    "more": (
        "Something like more hair lies beside what was found: a tail, a plait, another head, or fur.",
        "Let all of it hang loose, with nobody else in the picture, or draw the outline round the hair you mean.",
    ),
    "second": ("Two separate areas of hair were found.", "Draw the outline round the one you mean."),
    "waist": ("The hair seems to be tied together.", "Open it, or draw the outline round the part you mean."),
    "lean": (
        "The hair falls to one side, as over a shoulder.",
        "Let it hang down the back, or draw the outline round the part you mean.",
    ),
    "plain": ("What was found shows no strands of hair.", "Draw the outline round the hair."),
}
"""What is seen and what to do, by what the doubt is about."""

_GAP = 0.012  # of the unit width, to either side of the rim: strands that stand off, and the lens
_REACH = 0.10  # of the unit width: a neighbourhood, wide enough for a clump
_FLOOR = 6.0  # codes: noise and compression
_BESIDE = 0.06  # of the hair's width: what is nearer is its own rim
_MORE_WIDTH, _SECOND_WIDTH = 0.05, 0.10  # of the hair's width, half: strands that stand off are narrower
_STRANDED = 0.6  # of the hair's strength of texture
_LEAST_SPREAD = (8.0, 4.0, 4.0, 10.0)  # codes of L*a*b* in 8 bit, and of texture
_ALIKE = 5.0  # squared spreads over four channels: about seven in ten places of one head of hair


def of_mask(small: np.ndarray, hair: np.ndarray, support: float = 1.0, card: Floats | None = None) -> tuple[float, str]:
    """Doubt about a mask, 0..1, and what it is about: a key of `SENTENCES`, empty below the limit.

    Parameters
    ----------
    small : (h, w, 3) uint8
    hair : (h, w) bool, the mask
    support : float, 0..1, overlap with the most similar of other looks at the photo; 1 where a person gave the path
    card : (4, 2), pixels of the small copy, or None
    """
    if not hair.any():
        return 1.0, "plain"
    things = _things(small, hair, card)
    causes = _of_things(things) | _of_form(hair)
    clear, weakest = clearness(grab.look(small), hair)
    wrong = _of_outline(hair, things, clear, support)
    most = float(np.clip(max(*causes.values(), wrong), 0, 1))
    if most < LIMIT:
        return most, ""
    # an outline that is likely wrong is an effect: where a cause is known, that is what helps
    told = causes if max(causes.values()) >= LIMIT else _of_rim(clear, weakest, support)
    return most, max(told, key=lambda name: min(told[name], 1.0))


def is_bare(small: np.ndarray, mask: np.ndarray) -> bool:
    """Whether what a person drew is a wall or a cloth: no strands inside, and the same on both sides of its rim.

    Parameters
    ----------
    small : (h, w, 3) uint8
    mask : (h, w) bool, with something in it
    """
    seen = float(np.median(strands.texture(small)[strands.core(mask)]))
    return seen < _STRANDS and float(np.median(rim_contrast(grab.look(small), mask))) < _SAME


def _things(small: np.ndarray, hair: np.ndarray, card: Floats | None) -> dict[str, float]:
    """Largest pieces of what else is in the photo, in areas of the hair, and the hair's strength of texture."""
    strength, core = strands.texture(small), strands.core(hair)
    usual = float(np.median(strength[core]))
    clear = cv2.dilate(hair.astype(np.uint8), shape.disc(_BESIDE * shape.hair_width(hair))) == 0
    clear &= ~grab.card_area(hair.shape, card)
    return {
        "second": _largest(clear & (strength > _STRANDED * usual), hair, _SECOND_WIDTH),
        "more": _largest(clear & _alike(small, strength, core), hair, _MORE_WIDTH),
        "smooth": _largest(strands.smooth_places(small, hair), hair),
        "strands": usual,
    }


def _of_things(things: dict[str, float]) -> dict[str, float]:
    """Doubts for what else is in the photo; the likeliest causes of a strange outline come first."""
    return {
        "second": LIMIT * things["second"] / _SECOND,
        "more": LIMIT * things["more"] / _MORE,
        "smooth": LIMIT * things["smooth"] / _SMOOTH,
        "plain": LIMIT * (2 - things["strands"] / _STRANDS),
    }


def _of_form(hair: np.ndarray) -> dict[str, float]:
    """Doubts for how the hair hangs."""
    waist, lean = shape.waist(hair), shape.lean(hair)
    return {
        "waist": LIMIT * (1 - waist) / (1 - _WAIST),
        "lean": LIMIT * lean / _LEAN,
        "small": LIMIT * (2 - float(hair.mean()) / _SMALLEST),
        "frame": LIMIT * at_frame(hair) / _AT_FRAME,
    }


def _of_outline(hair: np.ndarray, things: dict[str, float], clear: float, support: float) -> float:
    """Doubt for the outline itself, 0..1: `LIMIT` where its log odds of being wrong reach `_WRONG_FROM`."""
    odds = (
        _ALWAYS
        + _OF_MORE * np.log(things["more"] + _MORE_FLOOR)
        + _OF_SUPPORT * support
        + _OF_FULLNESS * shape.fullness(hair)
        + _OF_CLEAR * clear
        + _OF_STRANDS * np.log(things["strands"] + _STRANDS_FLOOR)
    )
    return float(1 / (1 + np.exp(_WRONG_FROM - odds)))


def _of_rim(clear: float, weakest: float, support: float) -> dict[str, float]:
    """What may be said of an outline that is likely wrong."""
    return {
        "alike": LIMIT * (2 - weakest / _WEAKEST_TENTH),
        "unclear": LIMIT * (1 - clear) / (1 - _CLEAR),
        "moved": LIMIT * (1 - support) / _MOVED,
    }


def _alike(small: np.ndarray, strength: Floats, core: np.ndarray) -> np.ndarray:
    """Which places have about the colour and the texture of the hair, (h, w) bool."""
    colour = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.5), cv2.COLOR_RGB2LAB).astype(np.float32)
    # in codes like those of the colours, as `grab.look` has it
    seen = np.dstack([colour, np.clip(np.log2(strength + 0.01) * 36 + 245, 0, 255)])
    middle, spread = seen[core].mean(axis=0), np.maximum(seen[core].std(axis=0), _LEAST_SPREAD)
    return np.asarray((((seen - middle) / spread) ** 2).sum(axis=-1) < _ALIKE)


def _largest(places: np.ndarray, hair: np.ndarray, opened: float = 0.0) -> float:
    """Area of the largest piece, in areas of the hair, of what is broader than twice a share of the hair's width."""
    solid = places.astype(np.uint8)
    if opened:
        solid = cv2.morphologyEx(solid, cv2.MORPH_OPEN, shape.disc(opened * shape.hair_width(hair)))
    count, _, measures, _ = cv2.connectedComponentsWithStats(solid, connectivity=4)
    return float(measures[1:, cv2.CC_STAT_AREA].max() / hair.sum()) if count > 1 else 0.0


def clearness(channels: np.ndarray, mask: np.ndarray) -> tuple[float, float]:
    """Mean clearness of the rim, 0..1, and the contrast that all but a tenth of it exceeds.

    Parameters
    ----------
    channels : (h, w, 3) uint8, see `grab.look`
    mask : (h, w) bool
    """
    contrast = rim_contrast(channels, mask)
    return float(np.clip(contrast / _PLAIN, 0, 1).mean()), float(np.quantile(contrast, 0.1))


def at_frame(mask: np.ndarray) -> float:
    """Share of the rim that lies at the photo's edge.

    Parameters
    ----------
    mask : (h, w) bool
    """
    rim = _rim(mask)
    framed = rim.copy()
    framed[2:-2, 2:-2] = False
    return float(framed.sum() / max(int(rim.sum()), 1))


def rim_contrast(channels: np.ndarray, mask: np.ndarray) -> Floats:
    """How unlike the two sides of the rim are, in units of their spread, for every place on it, (n,).

    Parameters
    ----------
    channels : (h, w, 3) uint8, see `grab.look`
    mask : (h, w) bool
    """
    size = grab.unit(channels.shape)
    gap, reach = max(1, round(_GAP * size)), max(3, round(_REACH * size)) | 1
    rim = _rim(mask)
    if not rim.any():
        return np.zeros(1)
    solid = mask.astype(np.uint8)
    sides = cv2.erode(solid, shape.disc(gap), borderValue=0), 1 - cv2.dilate(solid, shape.disc(gap))
    means, spreads = [], []
    codes = channels.astype(np.float32)
    for side in sides:
        weight = cv2.blur(side.astype(np.float32), (reach, reach)) + 1e-6
        mean = cv2.blur(codes * side[..., None], (reach, reach)) / weight[..., None]
        square = cv2.blur(codes**2 * side[..., None], (reach, reach)) / weight[..., None]
        means.append(mean[rim])
        spreads.append(np.maximum(square - mean**2, 0)[rim])
    squared = (means[0] - means[1]) ** 2 / ((spreads[0] + spreads[1]) / 2 + _FLOOR**2)
    return np.asarray(np.sqrt(squared.sum(axis=-1)), float)


def _rim(mask: np.ndarray) -> np.ndarray:
    """The outermost places of a mask."""
    return np.asarray(mask & (cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) == 0))
