"""From untrusted bytes to an upright photo."""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tracker.errors import TooLarge
from tracker.photo.colour import meaning_of
from tracker.photo.colour_engine import EngineProfile
from tracker.photo.container import guarded, open_image, recognise
from tracker.photo.damage import check_bytes, decode_jpeg
from tracker.photo.metadata import camera, how_taken, lens_mm, orientation, read_tags, taken_at
from tracker.photo.model import Limits, Photo
from tracker.photo.pixels import bits_per_sample, check_samples, code_values, eight_bit, upright
from tracker.photo.raw import read_raw
from tracker.photo.raw_container import is_raw

_TURNED_BY_DECODER = ("TIFF", "HEIF")


def decode_photo(content: bytes, limits: Limits = Limits()) -> Photo:  # noqa: B008 - frozen
    """Decode a photo in this process: for the worker, and for our own kept copies.

    Parameters
    ----------
    content : bytes of the file, not trusted in any way
    limits : Limits, checked before anything is decoded

    Returns
    -------
    Photo, upright; of files with several pictures the first. Photos with a matrix profile keep their code
    values and their space; other profiles are converted to sRGB with a warning. Raw files come out linear,
    in a space with the camera's primaries.

    Raises
    ------
    UnsupportedFormat : other formats; raw files without the raw extra; transparent, high dynamic range or float pixels;
        CMYK without a profile
    TooLarge : over `limits`
    Unreadable : empty, damaged or cut off
    TooCostly : the system refuses the memory it needs
    No other exception, whatever the bytes.
    """
    check_file_size(content, limits)
    raw = is_raw(content)
    refuse_larger(len(content), limits.max_raw_bytes if raw else limits.max_bytes)
    if raw:
        return read_raw(content, limits)
    name = recognise(content)
    with open_image(content, name, limits) as image, guarded():
        bits = bits_per_sample(image, content)
        check_samples(image, bits)
        stated_size = image.size
        warnings = check_bytes(content, name)
        pixels = None
        if name == "JPEG":
            pixels, warnings = decode_jpeg(image, content)
        if pixels is None:
            image.load()
        if (image.size if pixels is None else pixels.shape[1::-1]) != stated_size:
            raise ValueError("the picture has another size than its header states")
        tags = read_tags(image)
        meaning = meaning_of(image, content, tags)
        encoded = _values(image, content, bits, meaning.engine, pixels)
        encoded = upright(encoded, 1 if name in _TURNED_BY_DECODER else orientation(tags))
        taken = how_taken(tags)
        if image.info.get("depth_images") and "portrait_mode" not in taken:
            taken = (*taken, "depth_map")
    encoded.setflags(write=False)
    digest = hashlib.sha256(content).hexdigest()
    warnings = (*warnings, *meaning.warnings, *taken)
    return Photo(encoded, meaning.space, taken_at(tags), camera(tags), digest, warnings, lens_mm(tags))


def check_file_size(content: bytes, limits: Limits) -> None:
    """Refuse a file that is too large for any kind of photo, before looking at its bytes.

    Raises
    ------
    TooLarge
    """
    largest = max(limits.max_bytes, limits.max_raw_bytes)
    if len(content) > largest:
        refuse_larger(len(content), limits.max_bytes)


def refuse_larger(size: int, most: int) -> None:
    """Refuse a file of more bytes than that. Raises TooLarge."""
    if size > most:
        value, limit = size / 1024**2, most / 1024**2
        raise TooLarge(
            f"The photo file has {value:.1f} MB (limit {limit:g}).",
            "Save it at a smaller size and try again.",
            value=value,
            limit=limit,
            unit="MB",
        )


def _values(
    image: Image.Image, content: bytes, bits: int, engine: EngineProfile | None, pixels: NDArray[Any] | None
) -> NDArray[Any]:
    if engine is not None and engine.mode == "CMYK":
        return np.asarray(engine.to_srgb(image))
    codes = code_values(image, content, bits) if pixels is None else pixels
    if engine is None:
        return codes
    rgb = eight_bit(codes)
    return np.asarray(engine.to_srgb(Image.fromarray(rgb if engine.mode == "RGB" else rgb[..., 0])))
