"""The messages between keeper and worker: a line of JSON, followed by bytes.

JSON, not pickle: an answer comes from a process that has read hostile bytes, and must not be able to run code.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import IO, Any

from tracker import errors
from tracker.errors import PhotoError
from tracker.maths.quantities import matrix3
from tracker.maths.rgb_space import NAMED_SPACES, Curve, ParametricCurve, RgbSpace, SampledCurve
from tracker.photo.model import Photo

Head = Mapping[str, Any]

_LENGTH = struct.Struct(">I")
_LONGEST_HEAD = 4 * 1024**2


def send(stream: IO[bytes], head: Head, body: bytes | memoryview = b"") -> None:
    """Write one message; `head` says with ``"body"`` how many bytes follow it."""
    text = json.dumps({**head, "body": len(body)}).encode()
    stream.write(_LENGTH.pack(len(text)) + text)
    if body:
        stream.write(body)
    stream.flush()


def receive(stream: IO[bytes]) -> Head:
    """The head of the next message.

    Raises
    ------
    EOFError : the other side has ended
    ValueError : it says something else
    """
    (length,) = _LENGTH.unpack(exactly(stream, _LENGTH.size))
    if length > _LONGEST_HEAD:
        raise ValueError(f"a message of {length} bytes")
    head: Head = json.loads(exactly(stream, length))
    return head


def exactly(stream: IO[bytes], size: int) -> bytes:
    """That many bytes.

    Raises
    ------
    EOFError
    """
    content = stream.read(size)
    if len(content) < size:
        raise EOFError
    return content


def error_to_json(error: PhotoError) -> Head:
    """A failure for a message."""
    return {
        "kind": type(error).__name__,
        "what": error.what,
        "advice": error.advice,
        "value": error.value,
        "limit": error.limit,
        "unit": error.unit,
    }


def error_from_json(told: Head) -> PhotoError:
    """The failure in a message.

    Raises
    ------
    ValueError : it names none of ours
    """
    kind = getattr(errors, told["kind"], None)
    if not (isinstance(kind, type) and issubclass(kind, PhotoError)):
        raise ValueError(f"an error of the kind {told['kind']!r}")
    return kind(told["what"], told["advice"], value=told["value"], limit=told["limit"], unit=told["unit"])


def photo_to_json(photo: Photo) -> Head:
    """Everything of a photo except its code values, for a message."""
    return {
        "shape": photo.encoded.shape,
        "bits": 8 * photo.encoded.dtype.itemsize,
        "space": _space_to_json(photo.space),
        "taken_at": photo.taken_at and photo.taken_at.isoformat(),
        "camera": photo.camera,
        "sha256": photo.sha256,
        "warnings": photo.warnings,
        "lens_mm": photo.lens_mm,
    }


def photo_from_json(told: Head, encoded: Any) -> Photo:
    """The photo of a message, with its code values."""
    taken_at = told["taken_at"]
    return Photo(
        encoded,
        _space_from_json(told["space"]),
        datetime.fromisoformat(taken_at) if taken_at else None,
        told["camera"],
        told["sha256"],
        tuple(told["warnings"]),
        told["lens_mm"],
    )


def _space_to_json(space: RgbSpace) -> Head:
    if space in NAMED_SPACES:
        return {"named": space.name}
    return {"name": space.name, "to_xyz": space.to_xyz, "curves": [_curve_to_json(curve) for curve in space.curves]}


def _space_from_json(told: Head) -> RgbSpace:
    if "named" in told:
        return next(space for space in NAMED_SPACES if space.name == told["named"])
    red, green, blue = (_curve_from_json(curve) for curve in told["curves"])
    return RgbSpace(told["name"], matrix3(told["to_xyz"]), (red, green, blue))


def _curve_to_json(curve: Curve) -> Head:
    return {"samples": curve.samples} if isinstance(curve, SampledCurve) else {"parameters": asdict(curve)}


def _curve_from_json(told: Head) -> Curve:
    return SampledCurve(tuple(told["samples"])) if "samples" in told else ParametricCurve(**told["parameters"])
