"""Mark the grey card, the outline of the hair and its way from root to tip, by finger, mouse or keyboard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import streamlit as st

from tracker.measure.hair.bands import BANDS
from tracker.measure.hair.outline import FEWEST, MOST
from tracker.measure.reading import Point
from tracker.words import REGION_PLURALS

_HERE = Path(__file__).parent
_SCRIPTS = ("geometry.js", "marks.js", "view.js", "drawing.js", "hands.js", "controls.js", "editor.js", "main.js")
_LONGEST = 16  # points of the way from root to tip: as many as an outline has

_mount = st.components.v2.component(
    "tracker_point_editor",
    html=(_HERE / "editor.html").read_text("utf-8"),
    css=(_HERE / "editor.css").read_text("utf-8"),
    js="\n".join((_HERE / name).read_text("utf-8") for name in _SCRIPTS),
)


@dataclass(frozen=True, slots=True)
class EditedMarks:
    """Where the marks are now, in pixels of the full-size photo.

    Attributes
    ----------
    corners : four points, clockwise from the card's own top left
    path : two or more points from root to tip; () while the hair is not marked
    outline : three to sixteen points about the hair in order; None while it is not known
    near : point inside the card that was just tapped, round which the card is to be found; else None
    """

    corners: tuple[Point, Point, Point, Point]
    path: tuple[Point, ...]
    outline: tuple[Point, ...] | None
    near: Point | None = None

    @property
    def asks_for_outline(self) -> bool:
        """The person said where the hair is, and an outline is to be found along the path."""
        return self.outline is None and bool(self.path)


def edit_marks(
    *,
    key: str,
    url: str,
    size: tuple[int, int],
    corners: Sequence[Sequence[float]],
    path: Sequence[Sequence[float]],
    outline: Sequence[Sequence[float]] | None,
    rev: int | str = 0,
    label: str = "Photo",
    tap_card: bool = False,
) -> EditedMarks:
    """Show the photo with its marks and return where the person has put them.

    Without an outline and a path the person is asked to tap the root, the middle and the tips. The three points come
    back as the path; find the hair along it and answer with the outline under another `rev`, or, where none is found,
    with the same path under another `rev`. "Start again" comes back as no path and no outline.

    With `tap_card` a tap anywhere in the photo comes back as `near`; find the card round it and answer under another
    `rev`. Handles can still be dragged.

    Parameters
    ----------
    key : str, one per photo
    url : str, address of a picture of the photo; any size with the same shape
    size : width and height of the full-size photo, pixels
    corners, path, outline : where the marks start, pixels of the full-size photo; an outline needs a path
    rev : int or str, raise it to make the browser take the marks from here again (a new search for card or hair);
        while it stays the same, the person's marks win
    label : str, what the photo shows, for those who cannot see it
    tap_card : bool, True to ask for a tap inside the card

    Returns
    -------
    EditedMarks : keep them; the browser forgets its own when the page is left

    Notes
    -----
    Put the call inside an `st.fragment` to rerun only that fragment when a mark is moved.
    """
    given = EditedMarks(_four(corners), _points(path), None if outline is None else _points(outline))
    held = st.session_state.get(key)
    marks = _read(held.get("value") if isinstance(held, Mapping) else None, size, rev) or given
    result = _mount(
        key=key,
        data={
            "url": url,
            "size": [int(size[0]), int(size[1])],
            "corners": [list(point) for point in marks.corners],
            "path": [list(point) for point in marks.path],
            "outline": None if marks.outline is None else [list(point) for point in marks.outline],
            "fewest": FEWEST,
            "most": MOST,
            "bands": [[REGION_PLURALS[band.name], band.start, band.stop] for band in BANDS],
            "rev": rev,
            "label": label,
            "tap_card": tap_card,
        },
        on_value_change=_nothing,
    )
    return _read(result.value, size, rev) or marks


def _nothing() -> None:
    """Streamlit keeps a component's state only if it has a callback."""


def _four(points: Sequence[Sequence[float]]) -> tuple[Point, Point, Point, Point]:
    one, two, three, four = _points(points)
    return one, two, three, four


def _points(points: Sequence[Sequence[float]]) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in points)


def _read(value: Any, size: tuple[int, int], rev: int | str) -> EditedMarks | None:
    """What the browser sent, or None where it is stale or not marks."""
    try:
        if value["rev"] != rev:
            return None
        corners, path = _four(value["corners"]), _points(value["path"])
        outline = None if value["outline"] is None else _points(value["outline"])
        near = _points([value["near"]]) if value.get("near") is not None else ()
    except (AttributeError, KeyError, TypeError, ValueError, OverflowError):
        return None
    if len(path) == 1 or len(path) > _LONGEST:
        return None
    if outline is not None and not (path and FEWEST <= len(outline) <= MOST):
        return None
    # whatever is not a number fails both comparisons
    if not all(0 <= x <= size[0] and 0 <= y <= size[1] for x, y in (*corners, *path, *(outline or ()), *near)):
        return None
    return EditedMarks(corners, path, outline, near[0] if near else None)
