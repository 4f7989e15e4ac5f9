"""A marks file: the photos to measure, and what a person marked in each.

    {"photos": [{"photo": "a.jpg",
                 "card": {"kind": KIND, "corners": [[x, y], [x, y], [x, y], [x, y]], "reflectance": 0.18,
                          "dark": 0.05, "size_mm": [width, height]},
                 "path": [[x, y], ...],
                 "outline": [[x, y], ...], or "hair": "whole", or "width": pixels,
                 "light": "daylight"}]}

Exactly one of ``outline`` (points about the whole hair), ``hair`` (``whole``: the outline is found) and ``width`` (a
ribbon along the path) is given. ``corners`` (without them the card is searched for), ``reflectance`` of the grey,
``dark`` (reflectance of the dark patch of a kind that has one), ``size_mm`` (gives lengths) and ``light`` may be left
out. A file of any other shape is refused as a whole, before anything is
measured; whether the marks fit their photo shows when it is measured.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

from tracker.errors import InvalidMarks
from tracker.measure.reading import WHOLE, Marks, Point
from tracker.words import listed

FARTHEST = 1e6
"""Pixels; more than ten times the longest edge of any photo we read."""

_ADVICE = "What belongs in it: measured-hair measure --help."


@dataclass(frozen=True, slots=True)
class MarkedPhoto:
    """One photo of a marks file.

    Attributes
    ----------
    photo : str, path of the photo as written in the file
    marks : Marks
    light : str or None, the light it was taken in, in the person's own words
    """

    photo: str
    marks: Marks
    light: str | None


@dataclass(frozen=True, slots=True)
class MarksFile:
    """A marks file that follows the contract.

    Attributes
    ----------
    photos : at least one
    ignored : unknown keys, such as ``photos[0].corner``: probably typing errors
    """

    photos: tuple[MarkedPhoto, ...]
    ignored: tuple[str, ...]


def parse_marks(text: str) -> MarksFile:
    """The photos and marks of a marks file.

    Parameters
    ----------
    text : str, content of the file

    Raises
    ------
    InvalidMarks : names the place that breaks the contract
    """
    content = _mapping(_decoded(text), "The file", ("photos",))
    entries = _list(content["photos"], "photos")
    if not entries:
        raise InvalidMarks("The marks file lists no photos.", "Add an entry per photo.")
    photos = tuple(_photo(entry, f"photos[{number}]") for number, entry in enumerate(entries))
    return MarksFile(photos, tuple(_unknown_keys(content)))


def _decoded(text: str) -> object:
    def refuse(name: str) -> NoReturn:
        raise ValueError(f"{name} is not a JSON number")

    try:
        return json.loads(text, parse_constant=refuse)
    except (ValueError, RecursionError) as error:
        reason = "nested too deeply" if isinstance(error, RecursionError) else str(error)
        raise InvalidMarks(f"The marks file is not JSON: {reason}.", _ADVICE) from error


def _photo(entry: object, place: str) -> MarkedPhoto:
    found = _mapping(entry, place, ("photo", "card", "path"))
    width, outline = _hair(found, place)
    card = _mapping(found["card"], f"{place}.card", ("kind",))
    corners = _points(card["corners"], f"{place}.card.corners") if card.get("corners") is not None else None
    reflectance = card.get("reflectance")
    marks = Marks(
        card_kind=_text(card["kind"], f"{place}.card.kind"),
        corners=None if corners is None else _four(corners, f"{place}.card.corners"),
        path=_points(found["path"], f"{place}.path"),
        width=width,
        outline=outline,
        reflectance=None if reflectance is None else _number(reflectance, f"{place}.card.reflectance"),
        dark=None if card.get("dark") is None else _number(card["dark"], f"{place}.card.dark"),
        size_mm=None if card.get("size_mm") is None else _point(card["size_mm"], f"{place}.card.size_mm"),
    )
    light = _text(found.get("light") or "", f"{place}.light").strip()
    return MarkedPhoto(_text(found["photo"], f"{place}.photo"), marks, light or None)


def _hair(found: Mapping[str, Any], place: str) -> tuple[float | None, tuple[Point, ...] | None]:
    """Width of a ribbon, or the outline of the whole hair, which is None where it is to be found."""
    given = [key for key in ("width", "outline", "hair") if found.get(key) is not None]
    if len(given) != 1:
        said = f"gives {listed([f'“{key}”' for key in given])}" if given else "does not say how to read the hair"
        raise InvalidMarks(
            f"{place} {said}: exactly one of “outline”, “hair” and “width” belongs in it.",
            'Outline the whole hair, write "hair": "whole" to have it found, or give the width of a ribbon.',
        )
    if given == ["width"]:
        return _number(found["width"], f"{place}.width"), None
    if given == ["outline"]:
        return None, _points(found["outline"], f"{place}.outline")
    if found["hair"] != WHOLE:
        raise InvalidMarks(f"{place}.hair must be “{WHOLE}”.", _ADVICE)
    return None, None


def _mapping(value: object, place: str, required: tuple[str, ...]) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise InvalidMarks(f"{place} must be an object.", _ADVICE)
    missing = [key for key in required if key not in value]
    if missing:
        raise InvalidMarks(f"{place} lacks “{missing[0]}”.", _ADVICE)
    return value


def _list(value: object, place: str) -> list[Any]:
    if not isinstance(value, list):
        raise InvalidMarks(f"{place} must be a list.", _ADVICE)
    return value


def _text(value: object, place: str) -> str:
    if not isinstance(value, str):
        raise InvalidMarks(f"{place} must be a text.", _ADVICE)
    return value


def _number(value: object, place: str) -> float:
    # a truth value is a number to Python
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InvalidMarks(f"{place} must be a number.", _ADVICE)
    if not abs(value) <= FARTHEST:
        raise InvalidMarks(f"{place} is out of range (up to {FARTHEST:g} either way).", "Correct it.")
    return float(value)


def _points(value: object, place: str) -> tuple[Point, ...]:
    return tuple(_point(pair, f"{place}[{number}]") for number, pair in enumerate(_list(value, place)))


def _point(value: object, place: str) -> Point:
    if not isinstance(value, list) or len(value) != 2:
        raise InvalidMarks(f"{place} must be a point [x, y].", _ADVICE)
    x, y = (_number(coordinate, place) for coordinate in value)
    return x, y


def _four(points: tuple[Point, ...], place: str) -> tuple[Point, Point, Point, Point]:
    if len(points) != 4:
        raise InvalidMarks(f"{place} has {len(points)} points instead of four.", "Mark each corner of the card once.")
    a, b, c, d = points
    return a, b, c, d


def _unknown_keys(content: Mapping[str, Any]) -> Iterator[str]:
    """Keys that the contract does not name, in a file already checked."""
    yield from (key for key in content if key != "photos")
    for number, entry in enumerate(content["photos"]):
        place = f"photos[{number}]"
        known = {"photo", "card", "path", "width", "outline", "hair", "light"}
        yield from (f"{place}.{key}" for key in entry if key not in known)
        known = {"kind", "corners", "reflectance", "dark", "size_mm"}
        yield from (f"{place}.card.{key}" for key in entry["card"] if key not in known)
