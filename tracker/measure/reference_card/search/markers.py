"""Finds a printed board by its markers: two of the four are enough, since each gives four corners of its plane.

Markers that the detector misses are looked for where the others say that they are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reading import Point
from tracker.measure.reference_card.board import BOARDS, DARK, MODULES, PAPER, WINDOW, Board, Box, cells
from tracker.measure.reference_card.search.found import ASK, FOUND, NONE, FoundCard, Outline, Reason
from tracker.measure.reference_card.search.geometry import contains
from tracker.measure.reference_card.search.marker_edges import on_its_edges
from tracker.measure.reference_card.search.marker_views import Marker, greys_of, look
from tracker.measure.reference_card.search.reduced import Reduced

_LONG_SHOT = 12  # pixels, the least side of a marker that counts when it is the only one
_ALIKE = 0.35  # of its distance, by which a marker may lie off where another one says
_DETAIL = 0.6  # correlation of the cells of a marker that is looked for where it must be
# by which the corners may miss one plane, root mean square: pixels, and share of a marker's side
_FLAT = 0.6, 0.008
_ROUGH = 0.05  # of a marker's side, by which the detector's own corners lie off
_ROUNDS = 2  # from the detector's corners to those where the edges meet
_OUTSIDE = 1.0  # pixel


@dataclass(frozen=True, slots=True, eq=False)
class _Placed:
    """A board in the photo: its markers, and the map (3, 3) of its unit square to pixel centres."""

    markers: tuple[Marker, ...]
    plane: Floats
    miss: float

    @property
    def board(self) -> Board:
        return self.markers[0].board

    @property
    def frame(self) -> Floats:
        """Corners of the frame, (4, 2), pixel centres."""
        return _seen(self.plane, _corners((0.0, 0.0, 1.0, 1.0)))

    @property
    def is_flat(self) -> bool:
        """True where all corners lie in one plane, nearly."""
        side = float(np.mean([marker.side for marker in self.markers]))
        return self.miss <= max(_FLAT[0], _FLAT[1] * side)


def find_markers(encoded: np.ndarray | Reduced, near: Point | None = None) -> FoundCard:
    """The one printed board in a photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright; or its search copy, which stands for the photo
    near : (x, y) or None, pixels, a point inside the board as a person tapped it

    Returns
    -------
    FoundCard : corners of the frame, clockwise from the board's own top left
    """
    encoded = encoded.photo if isinstance(encoded, Reduced) else encoded
    photo = greys_of(encoded)
    tapped = None if near is None else np.array(near) * photo.shrink - 0.5
    placed = [_complete(photo.small, group) for group in _groups(look(photo, tapped))]
    if tapped is not None:
        placed = [one for one in placed if contains(one.frame, tapped)]
    placed.sort(key=lambda one: -len(one.markers))
    if not placed:
        return FoundCard(NONE, None, 0.0, "nothing")
    best = placed[0]
    corners = _in_photo((best.frame + 0.5) / photo.shrink, encoded.shape)
    if len(best.markers) == 1 and (corners is None or not _looks_like_one(photo.small, best)):
        return FoundCard(NONE, None, 0.0, "nothing")
    if corners is None:
        return FoundCard(NONE, None, 1.0, "cut_off")
    reason = _doubt(placed, tapped is not None)
    return FoundCard(ASK if reason else FOUND, corners, 0.5 if len(best.markers) == 1 else 1.0, reason)


def board_at(encoded: np.ndarray, corners: Sequence[Point]) -> Board | None:
    """The board whose markers show in a photo at these corners of its frame; None where none of them does.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    corners : four points, pixels, clockwise from the board's own top left
    """
    photo = greys_of(encoded)
    plane = _plane(_corners((0.0, 0.0, 1.0, 1.0)), np.asarray(corners, float) * photo.shrink - 0.5)
    likeness = {
        board: float(np.mean([_likeness(photo.small, plane, board, place) for place in range(len(board.ids))]))
        for board in BOARDS
    }
    best = max(likeness, key=likeness.__getitem__)
    return best if likeness[best] > _DETAIL / 2 else None


def _doubt(placed: list[_Placed], tapped: bool) -> Reason:
    best, *others = placed
    if len(best.markers) == 1:
        return "few_markers"
    if not best.is_flat:
        return "bent"
    if not tapped and any(len(other.markers) > 1 for other in others):
        return "two_boards"
    return ""


# --- from markers to boards ------------------------------------------------------------------------------------------


def _groups(found: list[Marker]) -> Iterator[list[Marker]]:
    """The markers that belong to one board each."""
    left = list(found)
    while left:
        groups = [_belonging(seed, left) for seed in left]
        group = max(groups, key=len)
        left = [marker for marker in left if all(marker is not one for one in group)]
        yield group


def _belonging(seed: Marker, found: list[Marker]) -> list[Marker]:
    """The marker, and of each other place of its board the one that lies best where it should."""
    group = [seed]
    for place in range(len(seed.board.ids)):
        others = [marker for marker in found if marker.board == seed.board and marker.place == place]
        if place == seed.place or not others:
            continue
        off, best = min(((_off(seed, marker), marker) for marker in others), key=lambda pair: pair[0])
        if off < _ALIKE:
            group.append(best)
    return group


def _off(seed: Marker, marker: Marker) -> float:
    """How far a marker lies from where another one of its board says, by the nearer of both, in their distance."""
    here, there = (_middle(seed.board.markers[one.place]) for one in (seed, marker))
    (x, y), apart = (there - here) / seed.board.marker_mm, marker.corners.mean(axis=0) - seed.corners.mean(axis=0)
    misses = []
    for one in (seed, marker):
        a, b, c, d = one.corners
        misses.append(x * (b + c - a - d) / 2 + y * (c + d - a - b) / 2 - apart)
    return min(float(np.hypot(*miss)) for miss in (*misses, np.mean(misses, axis=0))) / float(np.hypot(*apart))


def _middle(box: Box) -> Floats:
    return np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])


def _corners(box: Box) -> Floats:
    left, top, right, bottom = box
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)], float)


def _unit(board: Board, place: int) -> Floats:
    """Corners of a marker, (4, 2), in the unit square of the frame."""
    return np.asarray(_corners(board.markers[place]) / np.array(board.size_mm))


def _plane(unit: Floats, pixels: Floats, off: float = 0.0) -> Floats:
    """The projective map (3, 3) of points of the unit square to pixels.

    By least squares; where some may be `off` by more than that, of the others.
    """
    if off and len(unit) > 4:
        plane, _ = cv2.findHomography(unit, pixels, cv2.RANSAC, off)
        if plane is not None:
            return np.asarray(plane)
    return np.asarray(cv2.findHomography(unit, pixels, 0)[0])


def _seen(plane: Floats, unit: Floats) -> Floats:
    return np.asarray(cv2.perspectiveTransform(unit[None].astype(float), plane)[0])


def _placed(markers: Sequence[Marker], off: float = 0.0) -> _Placed:
    unit = np.concatenate([_unit(marker.board, marker.place) for marker in markers])
    pixels = np.concatenate([marker.corners for marker in markers])
    plane = _plane(unit, pixels, off)
    miss = float(np.sqrt(np.square(_seen(plane, unit) - pixels).sum(axis=1).mean()))
    return _Placed(tuple(markers), plane, miss)


def _complete(grey: np.ndarray, group: Sequence[Marker]) -> _Placed:
    """The board of some markers: those that the detector missed join them, and all lie on their own edges."""
    side = float(np.mean([marker.side for marker in group]))
    placed = _placed(group, off=max(1.5, _ROUGH * side))
    for _ in range(_ROUNDS):
        placed = _on_edges(grey, placed)
    return _without_a_stray(placed)


def _on_edges(grey: np.ndarray, placed: _Placed) -> _Placed:
    """The board with each marker on its own edges, looked for where the whole board says that they are."""
    seen = {marker.place: marker for marker in placed.markers}
    markers = []
    for place in range(len(placed.board.ids)):
        expected, marker = _seen(placed.plane, _unit(placed.board, place)), seen.get(place)
        if marker is not None:
            # the detector's corner may be cut off or have run out along something dark
            apart = float(np.median(np.hypot(*(marker.corners - expected).T)))
            start = expected if apart < 2 * _ROUGH * marker.side else marker.corners
            own = on_its_edges(grey, start)
            markers.append(marker if own is None else Marker(placed.board, place, own))
        elif len(seen) > 1 and _likeness(grey, placed.plane, placed.board, place) > _DETAIL:
            own = on_its_edges(grey, expected)
            if own is not None:
                markers.append(Marker(placed.board, place, own))
    return _placed(markers)


def _without_a_stray(placed: _Placed) -> _Placed:
    """The board without the one marker that misses the plane of all others: a curled corner, a finger at its edge."""
    if placed.is_flat or len(placed.markers) < 3:
        return placed
    fewer = [_placed([one for one in placed.markers if one is not stray]) for stray in placed.markers]
    best = min(fewer, key=lambda one: one.miss)
    return best if best.is_flat else placed


def _likeness(grey: np.ndarray, plane: Floats, board: Board, place: int) -> float:
    """Correlation of a marker's cells with the photo where it must be, -1..1; 0 where that is outside or even."""
    left, top, right, bottom = board.markers[place]
    steps = (np.arange(MODULES) + 0.5) / MODULES
    across, down = np.meshgrid(left + steps * (right - left), top + steps * (bottom - top))
    unit = np.column_stack([across.ravel(), down.ravel()]) / np.array(board.size_mm)
    points = _seen(plane, unit)
    height, width = grey.shape
    if points.min() < 0 or np.any(points.max(axis=0) > (width - 1, height - 1)):
        return 0.0
    codes = cv2.remap(grey, points.astype(np.float32)[None], None, cv2.INTER_LINEAR)[0].astype(float)
    if float(codes.std()) < 3:
        return 0.0
    return float(np.corrcoef(codes, cells(board.ids[place]).ravel())[0, 1])


def _looks_like_one(grey: np.ndarray, placed: _Placed) -> bool:
    """True where the paper is lighter than the window and the window than the dark patch, as one marker places them."""
    if placed.markers[0].side < _LONG_SHOT:
        return False
    height, width = grey.shape
    levels = []
    for box in (PAPER[0], PAPER[1], WINDOW, DARK):
        x, y = _seen(placed.plane, _middle(box)[None])[0]
        if not (0 <= x < width and 0 <= y < height):
            return False
        levels.append(float(grey[int(y), int(x)]))
    return min(levels[:2]) > levels[2] + 5 and levels[2] > levels[3] + 5


def _in_photo(frame: Floats, shape: tuple[int, ...]) -> Outline | None:
    """The corners, in the photo; None where one lies outside it."""
    limits = np.array([shape[1], shape[0]])
    if np.any(frame < -_OUTSIDE) or np.any(frame > limits + _OUTSIDE):
        return None
    a, b, c, d = ((float(x), float(y)) for x, y in np.clip(frame, 0, limits))
    return a, b, c, d
