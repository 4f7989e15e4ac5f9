"""The RESULT document of ``measure``, written and read back.

Besides the keys of the contract ``card`` has the reflectances that were used, of its grey and of its dark patch (null
where it has none), and each photo carries ``camera``, ``light``, ``lengths`` where the size of the card is
noted, and ``reading``, the whole record of its reading, so that two results can be compared exactly without their
photos. A check also carries ``stops``: false where failing it only warns.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tracker import METHOD_VERSION
from tracker.calibrate.level import estimate_level
from tracker.calibrate.warmth import estimate_warmth
from tracker.cli.files import named, read_text
from tracker.errors import CannotCompare, TrackerError
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import format_measured
from tracker.measure.card_scale import scale_of
from tracker.measure.kit import Kit, was_developed
from tracker.measure.reading import Marks, PhotoReading, RegionReading
from tracker.record.records import from_json, to_json
from tracker.said.colour import say_level, say_warmth

Json = dict[str, Any]

_CARD = ("kind", "corners", "lab", "clipped", "gradient", "reflectance", "dark")  # what the contract names of it
_NO_BAND = "No band of hair was measured."
_ADVICE = "Make it with measured-hair measure --out."


@dataclass(frozen=True, slots=True)
class MeasuredPhoto:
    """One photo of a result that was read back.

    Attributes
    ----------
    photo : str, its name in the marks file
    reading : PhotoReading or None
    camera, light : str or None
    length : Measured or None, of the hair from root to tip, mm; None where the card gave no scale
    """

    photo: str
    reading: PhotoReading | None
    camera: str | None
    light: str | None
    length: Measured | None = None

    @property
    def kit(self) -> Kit:
        """What it was taken with."""
        card_kind = self.reading.card.kind if self.reading else ""
        gains = self.reading.correction.gains if self.reading else None
        grey = self.reading.card.reflectance if self.reading else None
        dark = self.reading.card.dark if self.reading else None
        developed = was_developed(self.reading)
        return Kit(self.camera, card_kind, self.light, developed, gains, reflectance=grey, dark=dark)


@dataclass(frozen=True, slots=True)
class Result:
    """A result that was read back."""

    method_version: str
    photos: tuple[MeasuredPhoto, ...]


def document(photos: list[Json]) -> Json:
    """The RESULT of these photos."""
    return {"method_version": METHOD_VERSION, "photos": photos}


def failed_entry(photo: str, code: str, message: str, light: str | None) -> Json:
    """A photo that could not be measured at all."""
    return {
        "photo": photo,
        "ok": False,
        "error": {"code": code, "message": message},
        "card": None,
        "checks": [],
        "regions": {},
        "camera": None,
        "light": light,
        "reading": None,
    }


def measured_entry(
    photo: str, reading: PhotoReading, camera: str | None, light: str | None, lengths: Json | None = None
) -> Json:
    """A photo with its reading; one with a check that stopped it has no regions.

    Parameters
    ----------
    lengths : what `lengths` gives, None where the size of the card was not noted
    """
    whole = json.loads(to_json(reading))
    return {
        "photo": photo,
        "ok": reading.ok,
        "error": None if reading.ok else {"code": "check_failed", "message": reading.failure or _NO_BAND},
        "card": {name: whole["card"][name] for name in _CARD},
        "checks": whole["checks"],
        "regions": {region.name: _region(region) for region in reading.regions} if reading.ok else {},
        "hair": reading.hair,
        "outline": whole["outline"] or None,
        "camera": camera,
        "light": light,
        "reading": whole,
        "lengths": lengths,
    }


def lengths(reading: PhotoReading, marks: Marks, size: tuple[int, int]) -> Json | None:
    """Millimetres by the card's size, or why there are none; None where its size was not noted.

    Parameters
    ----------
    size : width and height of the photo, pixels
    """
    try:
        scale = scale_of(reading, marks, size)
    except TrackerError as error:
        return {"mm_per_pixel": None, "path_mm": None, "error": {"code": error.code, "message": error.message}}
    if scale is None:
        return None
    return {"mm_per_pixel": number(scale.mm_per_pixel), "path_mm": number(scale.path), "error": None}


def number(measured: Measured | None) -> Json:
    """A measured value with its standard uncertainty; None where there is none."""
    return {"value": measured.value if measured else None, "u": measured.u if measured else None}


def _region(region: RegionReading) -> Json:
    level, warmth = estimate_level(region.lab), estimate_warmth(region.lab)
    return {
        "lab": list(region.lab.lab),
        "u": list(region.lab.u),
        "text": ", ".join(f"{axis.unit} {format_measured(axis)}" for axis in region.lab.axes),
        "level": {
            **number(level.value),
            "text": say_level(level),
            "provisional": level.provisional,
        },
        "warmth": {
            **number(warmth.value),
            "tone": warmth.tone,
            "undertone": " or ".join(warmth.undertones) or None,
            "text": say_warmth(warmth),
        },
        "pixels": region.pixels,
    }


def read_result(path: Path | None) -> Result:
    """A RESULT file with its readings; None for standard input.

    Raises
    ------
    CannotCompare : no file, or not a RESULT
    """
    text = read_text(path, CannotCompare)
    try:
        found = json.loads(text)
        photos = tuple(_measured(entry) for entry in found["photos"])
        return Result(str(found["method_version"]), photos)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise CannotCompare(f"{named(path)} is not a result of measure.", _ADVICE) from error


def _measured(entry: Json) -> MeasuredPhoto:
    reading = None if entry["reading"] is None else from_json(PhotoReading, json.dumps(entry["reading"]))
    if reading is not None and not all(_is_sound(region) for region in reading.regions):
        raise ValueError("a region with a colour or a covariance that nothing can have")
    return MeasuredPhoto(str(entry["photo"]), reading, entry.get("camera"), entry.get("light"), _length(entry))


def _length(entry: Json) -> Measured | None:
    found = (entry.get("lengths") or {}).get("path_mm")
    if found is None:
        return None
    length = Measured(float(found["value"]), float(found["u"]), "mm")
    if length.value <= 0:
        raise ValueError("hair without a length")
    return length


def _is_sound(region: RegionReading) -> bool:
    """Refuse colours that are not finite and covariances that cannot be one: a file can be edited by hand."""
    parts = (*region.light_cov, *region.laid_cov)
    numbers = np.array([region.lab.lab, *region.lab.cov, *region.repeat_cov, *parts], float)
    if not np.all(np.isfinite(numbers)) or np.abs(numbers).max() > 1e6 or not region.lab.dof > 0:
        return False
    covariances = numbers[1:7].reshape(2, 3, 3)
    symmetric = np.allclose(covariances, np.swapaxes(covariances, 1, 2))
    return bool(symmetric and np.all(np.linalg.eigvalsh(covariances) > 0))
