"""The holder to print: a light grey board with markers, a window for a grey card and a dark patch.

The board is light grey, since white paper burns out in many photos and its glow eats the edges of the markers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tracker.errors import InvalidEntry
from tracker.measure.reference_card.board import BORDER, DARK, LAP, LARGE, SMALL, WINDOW, Board, Box, cells
from tracker.report.papers.typesetting import typeset

_PAPER = 180  # code: such a grey prints with about 0.45 of the light, five times lighter than the markers' black
_A4, _LETTER = (210.0, 297.0), (215.9, 279.4)  # mm; ISO 216, ANSI/ASME Y14.1
_TITLE = "Holder for a grey card"


@dataclass(frozen=True, slots=True)
class HolderPaper:
    """A sheet that can be printed.

    Attributes
    ----------
    title : str, for the person who chooses
    size : width and height of the sheet, mm
    board : what is printed on it
    folded : bool, True where the sheet is folded to a quarter
    """

    title: str
    size: tuple[float, float]
    board: Board
    folded: bool = False


HOLDER_PAPERS: Mapping[str, HolderPaper] = {
    "a4": HolderPaper("A4", _A4, LARGE),
    "letter": HolderPaper("Letter", _LETTER, LARGE),
    "pocket-a4": HolderPaper("Pocket size, folded from A4", _A4, SMALL, folded=True),
    "pocket-letter": HolderPaper("Pocket size, folded from Letter", _LETTER, SMALL, folded=True),
}
"""The sheets by their name, in the order offered."""


def holder_pdf(paper: str) -> bytes:
    """The sheet as a PDF, the same bytes each time.

    Parameters
    ----------
    paper : str, a key of `HOLDER_PAPERS`

    Raises
    ------
    InvalidEntry : no such sheet
    """
    return typeset("holder.typ", _content(_paper(paper)))


def holder_picture(paper: str, dpi: float) -> bytes:
    """The sheet as it is printed, as a PNG.

    Parameters
    ----------
    paper : str, a key of `HOLDER_PAPERS`
    dpi : float, pixels an inch

    Raises
    ------
    InvalidEntry : no such sheet
    """
    return typeset("holder.typ", _content(_paper(paper)), "png", dpi=dpi)


def frame_on(paper: str) -> Box:
    """(left, top, right, bottom) of the frame through the markers' outer corners, mm from the sheet's top left.

    Parameters
    ----------
    paper : str, a key of `HOLDER_PAPERS`

    Raises
    ------
    InvalidEntry : no such sheet
    """
    return _frame(_paper(paper))


def _paper(name: str) -> HolderPaper:
    if name not in HOLDER_PAPERS:
        raise InvalidEntry(f"There is no holder on {name!r}.", f"Choose one of {', '.join(HOLDER_PAPERS)}.")
    return HOLDER_PAPERS[name]


def _frame(paper: HolderPaper) -> Box:
    """In the middle of the sheet below its title; of a folded one, in the middle of its top right quarter."""
    (across, down), (width, height) = paper.size, paper.board.size_mm
    left, top = (across - width) / 2, 36.0
    if paper.folded:
        left, top = across * 0.75 - width / 2, down * 0.25 - height / 2
    return left, top, left + width, top + height


def _content(paper: HolderPaper) -> dict[str, Any]:
    left, top, right, bottom = frame = _frame(paper)
    border = BORDER * paper.board.marker_mm

    def put(box: Box) -> Box:
        return left + box[0], top + box[1], left + box[2], top + box[3]

    markers = zip(paper.board.markers, paper.board.ids, strict=True)
    window, dark = (paper.board.in_mm(box) for box in (WINDOW, DARK))
    return {
        "title": _TITLE,
        "page": paper.size,
        "paper": _PAPER,
        "board": (left - border, top - border, right + border, bottom + border),
        "markers": [{"box": put(box), "cells": cells(marker).astype(int).tolist()} for box, marker in markers],
        "window": put(window),
        "dark": put(dark),
        "in_window": _in_window(window),
        **(_folded(paper) if paper.folded else _flat(paper, frame)),
    }


def _in_window(window: Box) -> tuple[str, ...]:
    width, height = window[2] - window[0], window[3] - window[1]
    return (
        f"Cut out this window, {width:g} × {height:g} mm.",
        "A plain 18 % grey card goes behind it,",
        f"at least {width + 2 * LAP:g} × {height + 2 * LAP:g} mm.",
    )


def _sizes(board: Board) -> tuple[str, ...]:
    width, height = board.size_mm
    return (
        f"Markers {board.marker_mm:g} mm, frame {width:g} × {height:g} mm from outer corner to outer corner.",
        "The program reads from the markers how large the holder is: there is nothing to enter.",
    )


_CHECK = "This line measures 100 mm. If yours does not, print again at actual size, 100\u00a0%."
_HOLD = "Hold it beside the hair, in the same light, facing the camera. Nothing on it may shine."
_STEPS = (
    "Print on matt paper at actual size, and stick the sheet onto stiff board.",
    "Cut out the window, and tape the grey card flat behind it.",
    _HOLD,
)
_STEPS_FOLDED = (
    "Print on matt paper at actual size, and cut out the window.",
    "Fold at the dotted marks, and tape the grey card flat behind the window.",
    _HOLD,
)


def _flat(paper: HolderPaper, frame: Box) -> dict[str, Any]:
    across, down = paper.size
    x = 33.0 + (across - 210.0) / 2
    width = across - 2 * x
    below = frame[3] + BORDER * paper.board.marker_mm
    room = down - below  # of the longer sheet, the rest is spread between the parts
    ruler = below + 8 + 0.06 * room
    steps = ruler + 9 + 0.04 * room
    return {
        "head": (x, 13.0),
        "width": width,
        "folds": (),
        "notes": (),
        "ruler": (x, ruler),
        "ruler_says": _CHECK,
        "steps": (x, steps, width, _STEPS),
        "back": (0.0, 0.0, 0.0, ""),
        "sizes": (x, down - 22, width, _sizes(paper.board)),
    }


def _folded(paper: HolderPaper) -> dict[str, Any]:
    across, down = paper.size
    x, y = 22.0, down / 2 + 18
    width = across - 2 * x
    return {
        "head": (x, y),
        "width": width,
        "folds": ((across / 2, down / 2),),
        "notes": (
            (4.0, down / 2 + 1.2, "Fold here first: the lower half goes behind."),
            (across / 2 + 1.2, down - 7, "Then fold here: the left half goes behind."),
        ),
        "ruler": (x, y + 28),
        "ruler_says": _CHECK,
        "steps": (x, y + 42, width, _STEPS_FOLDED),
        "back": (x, down / 4 - 8, across / 2 - x - 8, _HOLD),
        "sizes": (x, down - 30, width, _sizes(paper.board)),
    }
