"""Untrusted bytes to an upright photo."""

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
from tracker.photo.metadata import camera, orientation, read_tags, taken_at
from tracker.photo.model import Limits, Photo
from tracker.photo.pixels import bits_per_sample, check_samples, code_values, eight_bit, upright

_TURNED_BY_DECODER = ("TIFF", "HEIF")


def read_photo(content: bytes, limits: Limits = Limits()) -> Photo:  # noqa: B008 - frozen
    """Read a photo: JPEG, HEIC, HEIF, AVIF, PNG, TIFF or WebP, recognised by content.

    Parameters
    ----------
    content : bytes of the file, not trusted in any way
    limits : Limits, checked before anything is decoded

    Returns
    -------
    Photo, upright; of files with several pictures the first. Photos with a matrix profile keep their code
    values and their space; other profiles are converted to sRGB with a warning.

    Raises
    ------
    UnsupportedFormat
        Other formats; transparent, high dynamic range or float pixels; CMYK without a profile.
    TooLarge
        Over `limits`.
    Unreadable
        Empty, damaged or cut off.
    No other exception, whatever the bytes.
    """
    if len(content) > limits.max_bytes:
        value, limit = len(content) / 1024**2, limits.max_bytes / 1024**2
        raise TooLarge(
            f"The photo file has {value:.1f} MB (limit {limit:g}).",
            "Save it at a smaller size and try again.",
            value=value,
            limit=limit,
            unit="MB",
        )
    name = recognise(content)
    with open_image(content, name, limits) as image, guarded():
        bits = bits_per_sample(image, content)
        check_samples(image, bits)
        stated_size = image.size
        image.load()
        if image.size != stated_size:
            raise ValueError("the picture has another size than its header states")
        tags = read_tags(image)
        meaning = meaning_of(image, content, tags)
        encoded = _values(image, content, bits, meaning.engine)
        encoded = upright(encoded, 1 if name in _TURNED_BY_DECODER else orientation(tags))
    encoded.setflags(write=False)
    digest = hashlib.sha256(content).hexdigest()
    return Photo(encoded, meaning.space, taken_at(tags), camera(tags), digest, meaning.warnings)


def _values(image: Image.Image, content: bytes, bits: int, engine: EngineProfile | None) -> NDArray[Any]:
    if engine is None:
        return code_values(image, content, bits)
    if engine.mode == "CMYK":
        return np.asarray(engine.to_srgb(image))
    rgb = eight_bit(code_values(image, content, bits))
    return np.asarray(engine.to_srgb(Image.fromarray(rgb if engine.mode == "RGB" else rgb[..., 0])))
