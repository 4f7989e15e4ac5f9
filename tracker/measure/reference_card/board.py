"""The printed board that holds a grey card: where its markers, its window and its dark patch lie, in millimetres.

The paper that is printed, the search for it in a photo and the kind of card all take their measures from here. Every
board has the same shape in another size, and its own markers say which.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats

Box = tuple[float, float, float, float]

MODULES = 6
"""Cells along a marker's side: four of its code and one of black frame at each end."""
_WIDTH, _HEIGHT, _MARKER = 84.0, 108.0, 22.0  # mm, of the small board, to the outer corners of its markers
_WINDOW = (8.0, 28.0, 76.0, 62.0)
_DARK = (8.0, 66.0, 76.0, 80.0)
# bare paper left and right of the window, left and right of the dark patch, above and below
_PAPER = (
    (0.5, 28.0, 7.0, 62.0),
    (77.0, 28.0, 83.5, 62.0),
    (0.5, 66.0, 7.0, 80.0),
    (77.0, 66.0, 83.5, 80.0),
    (27.0, 4.0, 57.0, 22.0),
    (27.0, 86.0, 57.0, 104.0),
)
BORDER = 6.0 / _MARKER
"""Light grey paper round the markers, in sides of a marker; the markers need at least a sixth."""
LAP = 6.0
"""Least width in mm by which the grey card reaches under the paper on each side of the window."""


def _shares(box: Box) -> Box:
    left, top, right, bottom = box
    return left / _WIDTH, top / _HEIGHT, right / _WIDTH, bottom / _HEIGHT


WINDOW: Box = _shares(_WINDOW)
"""(left, top, right, bottom) of the grey card's window, in the unit square of the frame."""
DARK: Box = _shares(_DARK)
"""The same of the printed dark patch."""
PAPER: tuple[Box, ...] = tuple(_shares(box) for box in _PAPER)
"""The same of fields of bare paper: left and right of the window, left and right of the dark patch, above, below."""


@dataclass(frozen=True, slots=True)
class Board:
    """A size of the board.

    Attributes
    ----------
    ids : of the four markers, clockwise from the top left
    size_mm : width and height of the frame, which runs through the outer corners of the markers
    marker_mm : side of a marker
    """

    ids: tuple[int, int, int, int]
    size_mm: tuple[float, float]
    marker_mm: float

    @property
    def markers(self) -> tuple[Box, ...]:
        """(left, top, right, bottom) of each marker, mm from the frame's top left corner, in the order of `ids`."""
        (width, height), side = self.size_mm, self.marker_mm
        left, low = width - side, height - side
        return tuple((x, y, x + side, y + side) for x, y in ((0.0, 0.0), (left, 0.0), (left, low), (0.0, low)))

    def in_mm(self, box: Box) -> Box:
        """A box of the unit square, mm from the frame's top left corner.

        Parameters
        ----------
        box : (left, top, right, bottom), 0..1
        """
        (width, height), (left, top, right, bottom) = self.size_mm, box
        return left * width, top * height, right * width, bottom * height


def _times(factor: float, ids: tuple[int, int, int, int]) -> Board:
    return Board(ids, (_WIDTH * factor, _HEIGHT * factor), _MARKER * factor)


LARGE = _times(1.5, (4, 5, 24, 0))
"""On a sheet of A4 or Letter."""
SMALL = _times(1.0, (3, 6, 13, 20))
"""On a quarter of such a sheet."""
BOARDS = (LARGE, SMALL)
# the eight markers differ from one another, and from themselves turned, in at least 6 of their 16 cells


def dictionary() -> cv2.aruco.Dictionary:
    """The markers' dictionary."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def cells(marker: int) -> Floats:
    """The cells of a marker, (`MODULES`, `MODULES`), 1 where the paper shows.

    Parameters
    ----------
    marker : int, its number in the dictionary
    """
    return np.asarray(cv2.aruco.generateImageMarker(dictionary(), marker, MODULES) > 0, float)
