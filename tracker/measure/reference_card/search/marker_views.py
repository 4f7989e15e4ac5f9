"""All markers that show in a photo, looked for in several views of it.

The detector of the library sees few markers that are small, soft or grainy. It sees most of them in several views of
the photo (as it is, halved, sharpened, doubled) with more thresholds and finer cells.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.board import BOARDS, Board, dictionary
from tracker.measure.reference_card.search.marker_edges import side_of

LONGEST = 1500
"""Pixels of the longer edge while searching."""
_FINER = 2.0  # times as many pixels along each edge, in the finest view
_WORTH = 0.75  # search pixels per photo pixel, above which the photo shows hardly more than its copy
_LARGE = 60.0  # pixels, a side whose corners half of the pixels show well enough to start from
_AROUND = 7.0  # sides of a marker, round one that was seen, in which the others are
_SHARPER = 1.5  # of the detail finer than two pixels is added
_NEXT = 0.45  # of a marker's side, within which two sightings are one marker

Part = tuple[slice, slice]
_EVERYWHERE: Part = slice(None), slice(None)


@dataclass(frozen=True, slots=True, eq=False)
class GreyPhoto:
    """A photo in grey.

    Attributes
    ----------
    whole, small : (h, w) uint8, encoded, of the whole photo and of its search copy
    shrink : float, search pixels per photo pixel
    """

    whole: np.ndarray
    small: np.ndarray
    shrink: float


@dataclass(frozen=True, slots=True, eq=False)
class Marker:
    """A marker that was seen.

    Attributes
    ----------
    board : Board, whose marker it is
    place : int, of the marker on the board, 0..3 clockwise from the top left
    corners : (4, 2), pixel centres of the search copy, clockwise from the marker's own top left
    """

    board: Board
    place: int
    corners: Floats

    @property
    def side(self) -> float:
        """Side of the marker, pixels."""
        return side_of(self.corners)


def greys_of(encoded: np.ndarray) -> GreyPhoto:
    """The grey codes of a photo, whole and at search size.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    """
    whole = cv2.cvtColor(np.ascontiguousarray(encoded), cv2.COLOR_RGB2GRAY)
    if whole.dtype != np.uint8:
        whole = (whole // 257).astype(np.uint8)
    shrink = min(1.0, LONGEST / max(whole.shape))
    halved = _resized(whole, 0.5) if shrink <= 0.5 else whole  # to halve first is twice as fast
    height, width = (max(1, round(side * shrink)) for side in whole.shape)
    return GreyPhoto(whole, cv2.resize(halved, (width, height), interpolation=cv2.INTER_AREA), shrink)


def _detector(step: int) -> cv2.aruco.ArucoDetector:
    """A detector whose thresholds look at windows from 5 to 65 pixels, in such steps."""
    how = cv2.aruco.DetectorParameters()
    how.adaptiveThreshWinSizeMin, how.adaptiveThreshWinSizeMax, how.adaptiveThreshWinSizeStep = 5, 65, step
    how.perspectiveRemovePixelPerCell = 8
    how.perspectiveRemoveIgnoredMarginPerCell = 0.3
    return cv2.aruco.ArucoDetector(dictionary(), how)


def look(photo: GreyPhoto, tapped: Floats | None) -> list[Marker]:
    """All markers of our boards; the costlier views are looked at where no board shows its four.

    Parameters
    ----------
    photo : GreyPhoto
    tapped : (2,) or None, pixel centre of the search copy, a point inside the board
    """
    halved: list[Marker] = []
    found: list[Marker] = []
    quick, thorough = _detector(20), _detector(10)
    _take(halved, quick, _resized(photo.small, 0.5), 0.5)
    if _is_whole(halved, _LARGE):
        return halved
    _take(found, quick, photo.small, 1.0)
    for marker in halved:
        _add(found, marker)
    if _is_whole(found):
        return found
    if not found and tapped is None:
        return found  # finer views of all of a photo show none where these show none
    place = _around(photo.small, found, tapped)
    _take(found, thorough, _sharpened(photo.small[place]), 1.0, place)
    if not _is_whole(found):
        fine, scale = _finer(photo, place)
        _take(found, thorough, fine, scale, place)
        _take(found, thorough, _sharpened(fine), scale, place)
    return found


def _is_whole(found: list[Marker], least: float = 0.0) -> bool:
    """True where a board shows its four markers, each with a side of at least so many pixels."""
    large = [marker for marker in found if marker.side >= least]
    return any({marker.place for marker in large if marker.board == board} == {0, 1, 2, 3} for board in BOARDS)


def _resized(grey: np.ndarray, scale: float) -> np.ndarray:
    if scale == 1:
        return grey
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    height, width = grey.shape
    return np.asarray(
        cv2.resize(grey, (max(1, round(width * scale)), max(1, round(height * scale))), interpolation=how)
    )


def _sharpened(grey: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.addWeighted(grey, 1 + _SHARPER, cv2.GaussianBlur(grey, (0, 0), 2.0), -_SHARPER, 0))


def _around(grey: np.ndarray, found: list[Marker], tapped: Floats | None) -> Part:
    """Rows and columns of the search copy round the markers that were seen, else round the tap."""
    height, width = grey.shape
    points = np.concatenate([marker.corners for marker in found]) if found else np.array([tapped])
    reach = _AROUND * max(marker.side for marker in found) if found else 0.25 * max(height, width)
    left, top = np.maximum(np.floor(points.min(axis=0) - reach), 0).astype(int)
    right, low = np.minimum(np.ceil(points.max(axis=0) + reach), (width, height)).astype(int)
    return slice(int(top), int(low)), slice(int(left), int(right))


def _finer(photo: GreyPhoto, place: Part) -> tuple[np.ndarray, float]:
    """A finer view of a part, of the photo's own pixels where it has them, and how much finer than the search copy."""
    if photo.shrink > _WORTH:
        return _resized(photo.small[place], _FINER), _FINER
    rows, columns = (slice(round(part.start / photo.shrink), round(part.stop / photo.shrink)) for part in place)
    scale = min(_FINER, 1 / photo.shrink)
    return _resized(photo.whole[rows, columns], scale * photo.shrink), scale


def _take(
    found: list[Marker],
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
            _add(found, Marker(board, board.ids.index(int(number)), corners))


def _add(found: list[Marker], marker: Marker) -> None:
    """Add a marker, unless it is one that is there already."""
    if all(_is_another(marker, other) for other in found):
        found.append(marker)


def _is_another(marker: Marker, other: Marker) -> bool:
    apart = float(np.hypot(*(marker.corners.mean(axis=0) - other.corners.mean(axis=0))))
    return apart > _NEXT * max(marker.side, other.side)
