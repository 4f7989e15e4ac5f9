"""The few facts taken from a photo's EXIF: orientation, time, camera, stated colour space, how it was taken.

References
----------
[1] CIPA DC-008 (Exif 3.0), 4.6: tags. [2] CIPA DC-009 (DCF 2.0): index "R03" marks an Adobe RGB photo.
[3] Not in the standard, which ends at 1: 7 and 8 are photos with a blurred background in a phone maker's published list
of its values of CustomRendered, and in the tag tables of several programs that read EXIF.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

from PIL import ExifTags, Image

_LONGEST_NAME = 80
_OFFSET = re.compile(r"([+-])(\d\d):(\d\d)")
_FARTHEST_OFFSET = timedelta(hours=14)  # the largest offset in civil use
_TIME_TAGS = (  # first the shutter, then digitisation, then the last change of the file
    (ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal),
    (ExifTags.Base.DateTimeDigitized, ExifTags.Base.OffsetTimeDigitized),
    (ExifTags.Base.DateTime, ExifTags.Base.OffsetTime),
)

_LONGEST_LENS = 2000  # mm; more is no lens for people
_FIRED = 1  # bit 0 of Flash [1]
_SCENES = {1: "scene landscape", 2: "scene portrait", 3: "scene night"}  # SceneCaptureType; 0 is standard [1]
_BLURRED_BACKGROUND = (7, 8)  # CustomRendered [3]
_SOFTER, _HARDER = 1, 2  # Contrast; for Saturation low and high; 0 is normal for both [1]

Tags = Mapping[int, Any]


def read_tags(image: Image.Image) -> Tags:
    """EXIF tags of a loaded photo in one flat mapping; empty where there are none or they are damaged."""
    tags: dict[int, Any] = {}
    try:
        exif = image.getexif()
        tags.update(exif)
        tags.update(exif.get_ifd(ExifTags.IFD.Exif))
        tags.update(exif.get_ifd(ExifTags.IFD.Interop))
    except Exception:  # damaged EXIF raises almost anything, and must not lose us the photo
        return tags
    return tags


def orientation(tags: Tags) -> int:
    """EXIF orientation 1 to 8; 1 (upright) where it is missing or invalid."""
    value = tags.get(ExifTags.Base.Orientation)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def states_adobe_rgb(tags: Tags) -> bool:
    """Whether the camera marked the photo as Adobe RGB without a profile [2]."""
    return _text(tags.get(ExifTags.Interop.InteropIndex)) == "R03"


def taken_at(tags: Tags) -> datetime | None:
    """When the photo was taken, as aware UTC.

    Without an offset in the file the zone is unknown, and the camera's clock time is tagged UTC unchanged.
    """
    for time_tag, offset_tag in _TIME_TAGS:
        try:
            local = datetime.strptime(_text(tags.get(time_tag)), "%Y:%m:%d %H:%M:%S")
            return local.replace(tzinfo=_zone(_text(tags.get(offset_tag)))).astimezone(UTC)
        except (ValueError, OverflowError):  # no time, month 0, or a year 1 moved before its start
            continue
    return None


def camera(tags: Tags) -> str | None:
    """Maker and model as stated, printable, at most 80 characters, without repeating the maker."""
    maker, model = _text(tags.get(ExifTags.Base.Make)), _text(tags.get(ExifTags.Base.Model))
    name = model if model.lower().startswith(maker.lower()) else f"{maker} {model}".strip()
    return name[:_LONGEST_NAME].strip() or None


def how_taken(tags: Tags) -> tuple[str, ...]:
    """What the tags say of flash, zoom and computed looks, as `Photo.warnings`; nothing where they do not say."""
    flash, ratio = tags.get(ExifTags.Base.Flash), _ratio(tags.get(ExifTags.Base.DigitalZoomRatio))
    found = [
        "flash_fired" if isinstance(flash, int) and flash & _FIRED else "",
        f"digital_zoom {ratio:.2f}" if ratio > 1 else "",  # 0 says that it was not used [1]
        "portrait_mode" if tags.get(ExifTags.Base.CustomRendered) in _BLURRED_BACKGROUND else "",
        _SCENES.get(_whole(tags.get(ExifTags.Base.SceneCaptureType)), ""),
        *(
            f"look {name}"
            for name, tag in (("contrast", ExifTags.Base.Contrast), ("saturation", ExifTags.Base.Saturation))
            if _whole(tags.get(tag)) in (_SOFTER, _HARDER)
        ),
    ]
    return tuple(warning for warning in found if warning)


def lens_mm(tags: Tags) -> int | None:
    """Focal length of the lens as it would be on a frame of 36 x 24 mm, mm; None where the file does not say."""
    value = _whole(tags.get(ExifTags.Base.FocalLengthIn35mmFilm))  # 0 is unknown [1]
    return value if 0 < value <= _LONGEST_LENS else None


def _whole(value: Any) -> int:
    return value if isinstance(value, int) else 0


def _ratio(value: Any) -> float:
    """A rational number, 0 where there is none or it cannot be."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return 0.0
    return number if math.isfinite(number) else 0.0


def _zone(offset: str) -> timezone:
    match = _OFFSET.fullmatch(offset)
    if match is None:
        return UTC
    distance = timedelta(hours=int(match[2]), minutes=int(match[3]))
    if distance > _FARTHEST_OFFSET:
        return UTC
    return timezone(-distance if match[1] == "-" else distance)


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("ascii", "ignore")
    if not isinstance(value, str):
        return ""
    # zero bytes end a string; control and direction marks could disguise what a page shows
    readable = "".join(character for character in value.partition("\x00")[0] if character.isprintable())
    return " ".join(readable.split())
