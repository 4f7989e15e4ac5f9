"""Writes a clean JPEG from pixels alone, and smaller ones for the screen."""

from __future__ import annotations

import io
import sys

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tracker.errors import UnsupportedFormat
from tracker.maths.rgb_space import SRGB, RgbSpace
from tracker.photo.colour_engine import engine_profile
from tracker.photo.container import guarded, open_image
from tracker.photo.model import Limits, Photo
from tracker.photo.pixels import eight_bit
from tracker.photo.profile import build_profile, parse_profile
from tracker.photo.read import decode_photo

_ROWS = 256
_KEPT_QUALITY = 95


def clean_jpeg(photo: Photo) -> bytes:
    """A JPEG rebuilt from the code values, with nothing else of the original file.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    bytes of an upright 8-bit 4:4:4 JPEG in the space of the photo, with a profile made here unless it is sRGB

    Notes
    -----
    A photo in a linear space, such as a raw one, becomes sRGB, and its colours outside sRGB are clipped. Eight bits in
    equal steps of light would be 3.5 L* apart in the darkest hair; with the curve of sRGB they are 0.5 L* at most.
    """
    linear = photo.space.is_linear
    encoded = _bent(photo) if linear else eight_bit(photo.encoded)
    profile = None if photo.space == SRGB or linear else build_profile(photo.space)
    return _jpeg(Image.fromarray(encoded), _KEPT_QUALITY, profile)


def read_kept(content: bytes) -> Photo:
    """A photo from a copy that `clean_jpeg` made.

    Parameters
    ----------
    content : bytes of the copy, recognised as ours by their digest, and so decoded here and not by the worker

    Raises
    ------
    PhotoError : as in `decode_photo`, but without a limit on bytes: a copy may be larger than the original, and every
        photo that was taken in must stay readable
    """
    return decode_photo(content, Limits(max_bytes=sys.maxsize))


def scaled_jpeg(content: bytes, max_edge: int, quality: int = 85) -> bytes:
    """A JPEG for the screen from one that `clean_jpeg` made.

    Parameters
    ----------
    content : bytes of an upright JPEG
    max_edge : int, longest edge in pixels; a smaller picture keeps its size
    quality : int, 1..100

    Returns
    -------
    bytes of an sRGB JPEG without profile or metadata; colours outside sRGB are clipped, so never measure it

    Raises
    ------
    UnsupportedFormat : not a JPEG in RGB or grey
    TooLarge : over the default `Limits` of pixels
    Unreadable : damaged or cut off
    """
    if not content.startswith(b"\xff\xd8\xff"):
        raise UnsupportedFormat("The picture is not a JPEG.", "Read the photo and make a clean JPEG first.")
    with open_image(content, "JPEG", Limits()) as image, guarded():
        if image.mode not in ("RGB", "L"):
            raise UnsupportedFormat("The picture is not in RGB.", "Read the photo and make a clean JPEG first.")
        # a gap of 1 lets the decoder halve the size as long as it stays large enough
        image.thumbnail((max_edge, max_edge), Image.Resampling.LANCZOS, reducing_gap=1.0)
        picture = _to_srgb(image.convert("RGB"), image.info.get("icc_profile"))
        return _jpeg(picture, quality, None)


def screen_jpeg(codes: NDArray[np.uint8], quality: int = 88) -> bytes:
    """A JPEG for the screen from sRGB code values.

    Parameters
    ----------
    codes : uint8, shape (rows, columns, 3), sRGB
    quality : int, 1..100

    Returns
    -------
    bytes of a JPEG without metadata
    """
    written, content = cv2.imencode(".jpg", cv2.cvtColor(codes, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not written:
        raise RuntimeError("a picture could not be written as JPEG")
    return bytes(content)


def _bent(photo: Photo) -> NDArray[np.uint8]:
    """Linear code values through the curve of sRGB, a few rows at a time: floats take six times the memory."""
    parts = range(0, len(photo.encoded), _ROWS)
    return np.concatenate([SRGB.encode(photo.space.linear(photo.encoded[row : row + _ROWS])) for row in parts])


def _to_srgb(picture: Image.Image, icc: bytes | None) -> Image.Image:
    if not icc:
        return picture
    space = parse_profile(icc)
    if space is not None:
        return picture if space == SRGB else _through_matrix(picture, space)
    engine = engine_profile(icc)
    return picture if engine is None or engine.mode != "RGB" else engine.to_srgb(picture)


def _through_matrix(picture: Image.Image, space: RgbSpace) -> Image.Image:
    return Image.fromarray(SRGB.encode(space.linear(np.asarray(picture))))


def _jpeg(picture: Image.Image, quality: int, profile: bytes | None) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=quality, subsampling=0, icc_profile=profile)
    return out.getvalue()
