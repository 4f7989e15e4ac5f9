"""Finds a printed board by its markers: two of the four are enough, since each gives four corners of its plane.

The detector of the library sees few markers that are small, soft or grainy. It sees most of them in several views of
the photo (as it is, halved, sharpened, doubled) with more thresholds and finer cells. Markers that it still misses are
looked for where the others say that they are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reading import Point
from tracker.measure.reference_card.board import BOARDS, DARK, MODULES, PAPER, WINDOW, Board, Box, cells, dictionary
from tracker.measure.reference_card.search.found import ASK, FOUND, NONE, FoundCard, Outline, Reason
from tracker.measure.reference_card.search.geometry import contains
from tracker.measure.reference_card.search.reduced import roughly_linear

LONGEST = 1500
"""Pixels of the longer edge while searching."""
_FINER = 2.0  # times as many pixels along each edge, in the finest view
_WORTH = 0.75  # of the photo's own pixels along an edge are left; fewer, and a finer view shows more
_AROUND = 7.0  # sides of a marker, round one that was seen, in which the others are
_LONG_SHOT = 12  # pixels, the least side of a marker that counts when it is the only one
_SHARPER = 1.5  # of the detail finer than two pixels is added
_ALIKE = 0.35  # of its distance, by which a marker may lie off where another one says
_DETAIL = 0.6  # correlation of the cells of a marker that is looked for where it must be
_NEXT = 0.45  # of a marker's side, within which two sightings are one marker
# by which the corners may miss one plane, root mean square: pixels, and share of a marker's side
_FLAT = 0.6, 0.02
_ROUGH = 0.05  # of a marker's side, by which the detector's own corners lie off
_OUTSIDE = 1.0  # pixel

Part = tuple[slice, slice]
_EVERYWHERE: Part = slice(None), slice(None)


@dataclass(frozen=True, slots=True, eq=False)
class _Photo:
    """Grey codes (h, w) uint8 of the whole photo and of its search copy, and search pixels per photo pixel."""

    whole: np.ndarray
    small: np.ndarray
    shrink: float


@dataclass(frozen=True, slots=True, eq=False)
class _Marker:
    """A marker that was seen: of which board, its place in it, and its corners (4, 2), pixel centres."""

    board: Board
    place: int
    corners: Floats

    @property
    def side(self) -> float:
        return _side(self.corners)


@dataclass(frozen=True, slots=True, eq=False)
class _Placed:
    """A board in the photo: its markers, and the map (3, 3) of its unit square to pixel centres."""

    markers: tuple[_Marker, ...]
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


def find_markers(encoded: np.ndarray, near: Point | None = None) -> FoundCard:
    """The one printed board in a photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    near : (x, y) or None, pixels, a point inside the board as a person tapped it

    Returns
    -------
    FoundCard : corners of the frame, clockwise from the board's own top left
    """
    photo = _greys(encoded)
    tapped = None if near is None else np.array(near) * photo.shrink - 0.5
    placed = [_complete(photo.small, group) for group in _groups(_look(photo, tapped))]
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
    photo = _greys(encoded)
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


# --- views of the photo ----------------------------------------------------------------------------------------------


def _greys(encoded: np.ndarray) -> _Photo:
    whole = cv2.cvtColor(np.ascontiguousarray(encoded), cv2.COLOR_RGB2GRAY)
    if whole.dtype != np.uint8:
        whole = (whole // 257).astype(np.uint8)
    shrink = min(1.0, LONGEST / max(whole.shape))
    return _Photo(whole, _resized(whole, shrink), shrink)


def _detector(step: int) -> cv2.aruco.ArucoDetector:
    """A detector whose thresholds look at windows from 5 to 65 pixels, in such steps."""
    how = cv2.aruco.DetectorParameters()
    how.adaptiveThreshWinSizeMin, how.adaptiveThreshWinSizeMax, how.adaptiveThreshWinSizeStep = 5, 65, step
    how.perspectiveRemovePixelPerCell = 8
    how.perspectiveRemoveIgnoredMarginPerCell = 0.3
    return cv2.aruco.ArucoDetector(dictionary(), how)


def _look(photo: _Photo, tapped: Floats | None) -> list[_Marker]:
    """All markers of our boards; the costlier views are looked at where no board shows its four."""
    found: list[_Marker] = []
    quick, thorough = _detector(20), _detector(10)
    for scale in (1.0, 0.5):
        _take(found, quick, _resized(photo.small, scale), scale)
    if _is_whole(found):
        return found
    if not found and tapped is None:
        if photo.shrink <= _WORTH:
            _take(found, _detector(30), *_finer(photo))
        return found
    place = _around(photo.small, found, tapped)
    _take(found, thorough, _sharpened(photo.small[place]), 1.0, place)
    if not _is_whole(found):
        fine, scale = _finer(photo, place)
        _take(found, thorough, fine, scale, place)
        _take(found, thorough, _sharpened(fine), scale, place)
    return found


def _is_whole(found: list[_Marker]) -> bool:
    return any({marker.place for marker in found if marker.board == board} == {0, 1, 2, 3} for board in BOARDS)


def _resized(grey: np.ndarray, scale: float) -> np.ndarray:
    if scale == 1:
        return grey
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    height, width = grey.shape
    return np.asarray(cv2.resize(grey, (max(1, round(width * scale)), max(1, round(height * scale))), interpolation=how))


def _sharpened(grey: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.addWeighted(grey, 1 + _SHARPER, cv2.GaussianBlur(grey, (0, 0), 2.0), -_SHARPER, 0))


def _around(grey: np.ndarray, found: list[_Marker], tapped: Floats | None) -> Part:
    """Rows and columns of the search copy round the markers that were seen, else round the tap."""
    height, width = grey.shape
    points = np.concatenate([marker.corners for marker in found]) if found else np.array([tapped])
    reach = _AROUND * max(marker.side for marker in found) if found else 0.25 * max(height, width)
    left, top = np.maximum(np.floor(points.min(axis=0) - reach), 0).astype(int)
    right, low = np.minimum(np.ceil(points.max(axis=0) + reach), (width, height)).astype(int)
    return slice(int(top), int(low)), slice(int(left), int(right))


def _finer(photo: _Photo, place: Part = _EVERYWHERE) -> tuple[np.ndarray, float]:
    """A finer view of a part, of the photo's own pixels where it has them, and how much finer than the search copy."""
    if photo.shrink > _WORTH:
        return _resized(photo.small[place], _FINER), _FINER
    rows, columns = (
        slice(*(None if edge is None else round(edge / photo.shrink) for edge in (part.start, part.stop)))
        for part in place
    )
    scale = min(_FINER, 1 / photo.shrink)
    return _resized(photo.whole[rows, columns], scale * photo.shrink), scale


def _take(
    found: list[_Marker],
    detector: cv2.aruco.ArucoDetector,
    picture: np.ndarray,
    scale: float,
    place: Part = _EVERYWHERE,
) -> None:
    """Add the markers of our boards in a view of a part of the search copy that are not there yet."""
    quads, numbers, _ = detector.detectMarkers(picture)
    if numbers is None:
        return
    corner = np.array([place[1].start or 0, place[0].start or 0])
    for quad, number in zip(quads, np.ravel(numbers), strict=True):
        corners = (quad.reshape(4, 2).astype(float) + 0.5) / scale - 0.5 + corner
        for board in BOARDS:
            if int(number) not in board.ids:
                continue
            marker = _Marker(board, board.ids.index(int(number)), corners)
            if all(_is_another(marker, other) for other in found):
                found.append(marker)


def _is_another(marker: _Marker, other: _Marker) -> bool:
    apart = float(np.hypot(*(marker.corners.mean(axis=0) - other.corners.mean(axis=0))))
    return apart > _NEXT * max(marker.side, other.side)


_ALONG = np.linspace(0.12, 0.88, 15)
"""Shares of a side at which its edge is looked for, away from the corners."""
_REACH = 0.09  # of a side, to both sides of an edge; the black frame of a marker is a sixth
_FAINTEST = 0.01  # of the light of white, from a marker's black to the paper
_STRAY = 0.25  # of the reach, by which an edge may lie off the others of its side


def _on_its_edges(grey: np.ndarray, corners: Floats) -> Floats | None:
    """The corners where the straight edges of a marker meet; None where one of its edges does not show.

    A corner itself is rounded by any blur; the edges beside it stay where they are, in linear light.
    """
    lines = []
    for start, end in pairwise((*corners, corners[0])):
        line = _edge(grey, start, end)
        if line is None:
            return None
        lines.append(line)
    meets = [np.cross(before, after) for before, after in zip((lines[-1], *lines[:-1]), lines, strict=True)]
    if any(abs(w) < 1e-9 for _, _, w in meets):
        return None
    found = np.array([(x / w, y / w) for x, y, w in meets])
    return found if float(np.abs(found - corners).max()) < max(2.5, 0.2 * _side(corners)) else None


def _edge(grey: np.ndarray, start: Floats, end: Floats) -> Floats | None:
    """The line, in homogeneous coordinates, along the edge of a marker's black beside the line given."""
    length = float(np.hypot(*(end - start)))
    reach = max(2.0, _REACH * length)
    outward = np.array([end[1] - start[1], start[0] - end[0]]) / max(length, 1e-6)
    offsets = np.linspace(-reach, reach, 2 * int(np.ceil(2 * reach)) + 1)
    points = (start + _ALONG[:, None] * (end - start))[:, None] + offsets[None, :, None] * outward
    light = roughly_linear(cv2.remap(grey, points.astype(np.float32), None, cv2.INTER_LINEAR)).astype(float)
    dark, bright = light[:, :2].mean(axis=1), light[:, -2:].mean(axis=1)
    step = float(np.median(bright - dark))
    if step < _FAINTEST:
        return None
    clear = (bright - dark) > 0.5 * step
    # the share of the way that is light says where the edge is, however it is blurred
    share = (light - dark[:, None]) / np.where(clear, bright - dark, 1.0)[:, None]
    at = reach - 2 * reach * (share[:, :-1] + share[:, 1:]).mean(axis=1) / 2
    clear &= np.abs(at - np.median(at[clear])) < max(1.0, _STRAY * reach)
    if clear.sum() < len(_ALONG) // 2:
        return None
    slope, level = np.polyfit(_ALONG[clear], at[clear], 1)
    return np.cross((*(start + level * outward), 1.0), (*(end + (level + slope) * outward), 1.0))


def _side(corners: Floats) -> float:
    return float(np.sqrt(cv2.contourArea(corners.astype(np.float32))))


# --- from markers to boards ------------------------------------------------------------------------------------------


def _groups(found: list[_Marker]) -> Iterator[list[_Marker]]:
    """The markers that belong to one board each."""
    left = list(found)
    while left:
        groups = [_belonging(seed, left) for seed in left]
        group = max(groups, key=len)
        left = [marker for marker in left if all(marker is not one for one in group)]
        yield group


def _belonging(seed: _Marker, found: list[_Marker]) -> list[_Marker]:
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


def _off(seed: _Marker, marker: _Marker) -> float:
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
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)])


def _unit(board: Board, place: int) -> Floats:
    """Corners of a marker, (4, 2), in the unit square of the frame."""
    return _corners(board.markers[place]) / np.array(board.size_mm)


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


def _placed(markers: Sequence[_Marker], off: float = 0.0) -> _Placed:
    unit = np.concatenate([_unit(marker.board, marker.place) for marker in markers])
    pixels = np.concatenate([marker.corners for marker in markers])
    plane = _plane(unit, pixels, off)
    miss = float(np.sqrt(np.square(_seen(plane, unit) - pixels).sum(axis=1).mean()))
    return _Placed(tuple(markers), plane, miss)


def _complete(grey: np.ndarray, group: Sequence[_Marker]) -> _Placed:
    """The board of some markers: those that the detector missed join them, and all lie on their own edges."""
    board = group[0].board
    rough = _placed(group, off=max(1.5, _ROUGH * float(np.mean([marker.side for marker in group]))))
    seen = {marker.place: marker for marker in group}
    markers = []
    for place in range(len(board.ids)):
        expected, marker = _seen(rough.plane, _unit(board, place)), seen.get(place)
        if marker is not None:
            # the detector's corner may be cut off or have run out along something dark
            apart = float(np.median(np.hypot(*(marker.corners - expected).T)))
            start = expected if apart < 2 * _ROUGH * marker.side else marker.corners
            own = _on_its_edges(grey, start)
            markers.append(_Marker(board, place, start if own is None else own))
        elif len(group) > 1 and _likeness(grey, rough.plane, board, place) > _DETAIL:
            own = _on_its_edges(grey, expected)
            if own is not None:
                markers.append(_Marker(board, place, own))
    return _without_a_stray(_placed(markers))


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
