"""What was marked, made into a way over the hair: a ribbon along a path, or the whole head."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from tracker.errors import InvalidMarks, InvalidPath
from tracker.maths import polyline
from tracker.measure.hair import (
    NARROWEST,
    USUAL,
    WHOLE_WIDTH,
    HairPath,
    Outline,
    Selection,
    Strip,
    extent,
    find_hair,
    hair_within,
    require_downwards,
    require_inside,
    straighten,
    straighten_whole,
    stripes,
)
from tracker.measure.reading import RIBBON, WHOLE, Marks, Point
from tracker.measure.reference_card import Corners

_PLACEMENT = 0.12  # standard uncertainty of where a person puts a ribbon, as a share of its width
_HEIGHTS = 0.01  # of the heights of root and tip, as a share of the length between them
_RIM = 0.01  # of the rim of the hair, as a share of its width: what the finder misses before a plain wall
_SQUARES = 0.25  # of the hair's width: side of the squares down its middle where blur is looked for


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """How the hair of one photo is read.

    Attributes
    ----------
    hair : str, `RIBBON` or `WHOLE`
    path : HairPath, the ribbon, or squares down the middle of the whole hair
    how : Selection, which of the pixels count
    strip : makes the straightened photo, with the marks moved by (across, along), pixels; at most that many points
    moves : across and along, pixels, standard uncertainty of the marks; across is outwards for the whole hair
    stripes : int or None, stripes a clump wide over the whole hair
    outline : points about the hair, pixels; empty for a ribbon
    doubt, reason : float, 0..1, how unsure it is that what was found is the hair, and why
    """

    hair: str
    path: HairPath
    how: Selection
    strip: Callable[..., Strip]
    moves: tuple[float, float]
    stripes: int | None = None
    outline: tuple[Point, ...] = ()
    doubt: float = 0.0
    reason: str = ""

    @property
    def width(self) -> float:
        """Pixels across the hair that is read."""
        return self.path.width if self.stripes is None else self.path.width / _SQUARES


def way_over(encoded: np.ndarray, marks: Marks, corners: Corners, pixels_per_cm: float | None = None) -> Way:
    """The way over the hair that was marked; without an outline or a width the hair is searched for.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    marks : Marks, pixels
    corners : of the card, pixels, which is never hair
    pixels_per_cm : float or None, where the size of the card is known

    Raises
    ------
    HairError, InvalidMarks : marks that cannot be used
    """
    if marks.width is not None and marks.outline is not None:
        raise InvalidMarks(
            "These marks give both a width and an outline.",
            "Give the width of a ribbon, or the outline of the whole hair.",
        )
    if marks.width is not None:
        path = HairPath(marks.path, marks.width)
        step = _PLACEMENT * path.width
        return Way(RIBBON, path, USUAL, partial(_ribbon, encoded, path), (step, step))
    return _whole(encoded, marks, corners, pixels_per_cm)


def _whole(encoded: np.ndarray, marks: Marks, corners: Corners, pixels_per_cm: float | None) -> Way:
    if not marks.path:
        raise InvalidPath("The hair is not marked yet.", "Tap the root, the middle and the tip of the hair.")
    height, width = encoded.shape[:2]
    require_inside(marks.path, width, height)
    require_downwards(marks.path)
    if marks.outline is None:
        mask = find_hair(encoded, corners, marks.path)
        outline = mask.outline().points
    else:
        outline = marks.outline
        require_inside(outline, width, height, "outline")
        mask = hair_within(encoded, Outline(outline), marks.path, corners)
    reach = extent(marks.path, outline)
    path = HairPath(marks.path, max(_SQUARES * reach.width, NARROWEST))

    def strip(across: float = 0.0, along: float = 0.0, largest: int | None = None) -> Strip:
        moved = mask.grown(across) if across else mask
        limit = {} if largest is None else {"largest": largest}
        return straighten_whole(encoded, marks.path, moved, reach, along=along, **limit)

    length = polyline.length(marks.path)
    moves, clumps = (_RIM * reach.width, _HEIGHTS * length), stripes(reach, pixels_per_cm, length)
    return Way(WHOLE, path, WHOLE_WIDTH, strip, moves, clumps, outline, mask.doubt, mask.reason)


def _ribbon(
    encoded: np.ndarray, path: HairPath, across: float = 0.0, along: float = 0.0, largest: int | None = None
) -> Strip:
    limit = {} if largest is None else {"largest": largest}
    return straighten(encoded, path, across=across, along=along, **limit)
