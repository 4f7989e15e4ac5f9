"""From a camera's raw file to a photo in linear light, in the camera's own colours.

Sensor values are scaled to make saturation full scale, and white-balanced by the camera's own numbers (the grey card
balances the rest). No curve, no brightening, no matrix: the camera's matrix goes into the space of the photo instead,
so no colour is lost at the edge of another space and no clipping is hidden.

References
----------
[1] DNG specification 1.7.1.0 (2023), chapter 6: ColorMatrix, AsShotNeutral, and from camera colours to XYZ.
[2] The reference of LibRaw's data structures: ``adjust_maximum_thr``, ``highlight``, ``flip``, ``cam_xyz``.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tracker.errors import TooLarge, Unreadable, UnsupportedFormat
from tracker.maths.quantities import matrix3
from tracker.maths.rgb_space import LINEAR, SRGB, RgbSpace
from tracker.photo.container import check_size, guarded
from tracker.photo.metadata import Tags, camera, how_taken, lens_mm, read_tags, taken_at
from tracker.photo.model import Limits, Photo
from tracker.photo.pixels import upright
from tracker.photo.raw_clipping import mark_clipped
from tracker.photo.raw_container import check_whole, is_dng, preview_at

if TYPE_CHECKING:
    import rawpy

# EXIF orientation by the decoder's flip, whose bits are 1 = mirrored, 2 = upside down, 4 = rows become columns [2]
_ORIENTATIONS = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
_BEYOND_THE_END = b"\x5a" * 65_536
_TOO_MANY_EMPTY_ROWS = 4  # fewer may be a margin unknown to the decoder; a weak choice of our own
_WORST_CONDITION = 1000.0  # of a camera's matrix; those of real cameras are below 20


def can_read_raw() -> bool:
    """Whether the optional library for raw files is installed."""
    return find_spec("rawpy") is not None


def read_raw(content: bytes, limits: Limits) -> Photo:
    """Read a raw file.

    Parameters
    ----------
    content : bytes for which `is_raw` is true, not trusted
    limits : Limits of pixels; the bytes have been checked

    Returns
    -------
    Photo : uint16, linear, in a space with the camera's primaries; all three codes are 65535 where any sensor
        value behind a pixel is saturated. Its warnings include ``"raw_developed"``.

    Raises
    ------
    UnsupportedFormat : the library is not installed or does not know the camera; not three colours
    TooLarge : over the limit of pixels
    Unreadable : damaged or cut off
    """
    if not can_read_raw():
        raise UnsupportedFormat(
            "This is a raw photo, and the reader for raw photos is not installed.",
            "Install the raw extra (pip install -e '.[raw]'), or use the camera's JPEG.",
        )
    check_whole(content)
    with _opened(content, limits) as raw, guarded():
        raw.unpack()
        _check_rows(raw.raw_image_visible)
        _check_nothing_beyond(raw, content, limits)
        if raw.num_colors != 3:
            raise UnsupportedFormat(f"The raw photo has {raw.num_colors} colours, not 3.", "Use the camera's JPEG.")
        space = _camera_space(raw, is_dng(content))
        orientation = _ORIENTATIONS.get(raw.sizes.flip, 1)  # developing overwrites it
        developed = _develop(raw)
    encoded = upright(developed, orientation)  # the decoder has freed its memory by now
    encoded.setflags(write=False)
    tags = _tags(content)
    digest = hashlib.sha256(content).hexdigest()
    warnings = ("raw_developed", *how_taken(tags))
    return Photo(encoded, space, taken_at(tags), camera(tags), digest, warnings, lens_mm(tags))


@contextmanager
def _opened(content: bytes, limits: Limits) -> Iterator[rawpy.RawPy]:
    """The raw file with its header read and its size checked; turns the decoder's errors into ours."""
    import rawpy

    try:
        with rawpy.RawPy() as raw:
            raw.open_buffer(io.BytesIO(content))
            check_size((raw.sizes.raw_width, raw.sizes.raw_height), limits)
            check_size((raw.sizes.width, raw.sizes.height), limits)
            yield raw
    except (rawpy.LibRawFileUnsupportedError, rawpy.LibRawNotImplementedError, rawpy.NotSupportedError) as error:
        raise UnsupportedFormat(
            "This kind of raw photo is not known here.", "Convert it to DNG, or use the camera's JPEG."
        ) from error
    except (rawpy.LibRawTooBigError, rawpy.LibRawUnsufficientMemoryError) as error:
        raise TooLarge("The raw photo has too many pixels.", "Use the camera's JPEG.") from error
    except rawpy.LibRawError as error:
        raise Unreadable("The raw photo is damaged or cut off.", "Copy it from the camera again.") from error


def _check_rows(sensels: NDArray[Any]) -> None:
    """Refuse a file of full length that was never filled: a sensor has noise, so no row is all zeros."""
    empty = int((~sensels.any(axis=tuple(range(1, sensels.ndim)))).sum())
    if empty >= _TOO_MANY_EMPTY_ROWS:
        raise Unreadable(
            f"The raw photo is damaged: {empty} rows are empty.",
            "Copy it from the camera again.",
            value=empty,
            limit=_TOO_MANY_EMPTY_ROWS - 1,
            unit="rows",
        )


def _check_nothing_beyond(raw: rawpy.RawPy, content: bytes, limits: Limits) -> None:
    """Refuse a file that makes the decoder read past its end.

    Bytes appended to a complete file change nothing. If they change the result, the decoder has read them, so the file
    is cut off. This works for compressed data too, without trusting what the file claims.
    """
    with _opened(content + _BEYOND_THE_END, limits) as longer:
        longer.unpack()
        same = np.array_equal(raw.raw_image_visible, longer.raw_image_visible)
        if not same or raw.black_level_per_channel != longer.black_level_per_channel:
            raise Unreadable("The raw photo is cut off.", "Copy it from the camera again.")


def _develop(raw: rawpy.RawPy) -> NDArray[np.uint16]:
    """White-balanced linear camera colours, not turned, with the clipped pixels marked."""
    import rawpy

    mosaic = raw.raw_type is rawpy.RawType.Flat
    sensels = raw.raw_image_visible.copy()  # developing may change them in place
    white, stated = raw.white_level, raw.camera_white_level_per_channel
    developed = raw.postprocess(
        rawpy.Params(
            # means of neighbours keep the mean colour of an area, and reach no farther than one pixel
            demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
            user_wb=_white_balance(raw),
            output_color=rawpy.ColorSpace.raw,
            output_bps=16,
            gamma=(1, 1),
            no_auto_bright=True,
            adjust_maximum_thr=0.0,  # otherwise full scale follows the brightest pixel of each photo
            highlight_mode=rawpy.HighlightMode.Clip,  # every channel reaches full scale where it saturates
            user_sat=None if mosaic else white - min(raw.black_level_per_channel[:3]),  # full scale lies above black
            user_flip=0,  # turned once, after the clipped pixels are marked
        )
    )
    codes: NDArray[Any] = np.require(developed, requirements="W")
    if codes.dtype != np.uint16 or codes.shape[:2] != sensels.shape[:2] or codes.shape[2:] != (3,):
        raise UnsupportedFormat("The raw photo has an unusual grid of pixels.", "Use the camera's JPEG.")
    mark_clipped(codes, sensels, white, stated, reach=1 if mosaic else 0)
    return codes


def _white_balance(raw: rawpy.RawPy) -> list[float]:
    """The camera's own gains for red, green, blue and second green; those for daylight where it gives none."""
    for gains in (raw.camera_whitebalance, raw.daylight_whitebalance):
        first = np.array(gains[:3], np.float64)
        if np.isfinite(first).all() and first.min() > 0 and first.max() < 100 * first.min():
            return [*map(float, first), float(gains[3]) if gains[3] > 0 else float(first[1])]
    raise Unreadable("The raw photo has no usable white balance.", "Use the camera's JPEG.")


def _camera_space(raw: rawpy.RawPy, dng: bool) -> RgbSpace:
    """The space of balanced camera colours: the camera's neutral is white, the rest goes through its matrix [1].

    A DNG contains its matrix; for other files the decoder knows the camera, or the maker wrote one into the file.
    """
    own, known = np.array(raw.color_matrix, np.float64)[:, :3], np.array(raw.rgb_xyz_matrix, np.float64)[:3]
    to_srgb = own if (dng and own.any()) or not known.any() else _inverse(known @ np.array(SRGB.to_xyz))
    white = to_srgb.sum(axis=1)
    if not to_srgb.any():
        raise UnsupportedFormat("The colours of this camera are not known here.", "Use the camera's JPEG.")
    if not np.isfinite(to_srgb).all() or white.min() <= 0 or np.linalg.cond(to_srgb) > _WORST_CONDITION:
        raise Unreadable("The raw photo has a colour matrix that cannot be right.", "Copy it from the camera again.")
    balanced = to_srgb / white[:, np.newaxis]
    return RgbSpace("camera raw", matrix3(np.array(SRGB.to_xyz) @ balanced), (LINEAR,) * 3)


def _inverse(to_camera: NDArray[np.float64]) -> NDArray[np.float64]:
    """Balanced camera colours to linear sRGB, from linear sRGB to camera colours."""
    return np.asarray(np.linalg.inv(to_camera / to_camera.sum(axis=1)[:, np.newaxis]))


def _tags(content: bytes) -> Tags:
    """Camera and time as the file states them; empty where it stores them in another way."""
    with suppress(Exception):  # no photo is refused for its tags
        preview = preview_at(content)
        if preview is not None:
            with Image.open(io.BytesIO(content[preview]), formats=["JPEG"]) as image:
                return read_tags(image)
        if content[:2] in (b"II", b"MM"):
            exif = Image.Exif()
            plain = b"II*\0" if content[:2] == b"II" else b"MM\0*"  # whatever dialect the file names
            exif.load_from_fp(io.BytesIO(plain + content[4:]))
            return {**exif, **exif.get_ifd(34665)}
    return {}
