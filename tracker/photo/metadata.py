"""The few facts taken from a photo's EXIF: orientation, time, camera, stated colour space.

References
----------
[1] CIPA DC-008 (Exif 3.0), 4.6: tags. [2] CIPA DC-009 (DCF 2.0): index "R03" marks an Adobe RGB photo.
"""

from __future__ import annotations

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
