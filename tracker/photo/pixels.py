"""Red, green and blue code values from a loaded picture of any kind."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image

from tracker.errors import Unreadable, UnsupportedFormat

_SIMPLE_MODES = frozenset({"1", "L", "LA", "P", "PA", "RGB", "RGBA", "RGBa", "RGBX", "YCbCr"})
_DEEP_MODES = frozenset({"LA", "RGB", "RGBA"})  # modes in which Pillow keeps only the high byte of 16-bit samples
_TO_RGB = {3: cv2.COLOR_BGR2RGB, 4: cv2.COLOR_BGRA2RGB}
_ROWS = 256
_PNG_DEPTH_AT = 24  # signature, length and name of IHDR, width, height: PNG (ISO/IEC 15948) 11.2.2


def bits_per_sample(image: Image.Image, content: bytes) -> int:
    """Bits of one sample in the file of an opened photo; 8 for formats with no other choice here."""
    if image.mode.startswith("I;16") and image.format == "PNG":
        return 16
    if image.format == "PNG" and content[12:16] == b"IHDR":
        return content[_PNG_DEPTH_AT]
    tags = getattr(image, "tag_v2", None)
    if image.format == "TIFF" and tags is not None:
        return int(max(tags.get(ExifTags.Base.BitsPerSample, (1,))))
    return 8


def check_samples(image: Image.Image, bits: int) -> None:
    """Refuse kinds of samples with an uncertain scale.

    Raises
    ------
    UnsupportedFormat : samples of 12 or 32 bits, floats, signed numbers, inverted 16-bit grey, 16-bit colours stored
        apart, CIELAB
    """
    tags = getattr(image, "tag_v2", {})
    if image.mode.startswith("I;16"):
        certain = bits == 16 and tags.get(ExifTags.Base.PhotometricInterpretation, 1) == 1
    elif bits == 16 and image.mode in _DEEP_MODES:
        certain = tags.get(ExifTags.Base.PlanarConfiguration, 1) == 1
    else:
        certain = image.mode in _SIMPLE_MODES or image.mode == "CMYK"
    if certain:
        return
    raise UnsupportedFormat(
        f"The photo has an unusual kind of pixels ({image.mode}, {bits} bits).", "Save it as JPEG or 16-bit RGB TIFF."
    )


def code_values(image: Image.Image, content: bytes, bits: int) -> NDArray[Any]:
    """Code values of a loaded photo.

    Parameters
    ----------
    image : the photo, loaded
    content : bytes of the file
    bits : bits of one sample of the file

    Returns
    -------
    uint8 or uint16 (height, width, 3)

    Raises
    ------
    UnsupportedFormat : a part of the photo is transparent
    Unreadable : the two decoders of 16-bit photos disagree
    """
    see_through = image.has_transparency_data
    if image.mode.startswith("I;16"):
        if see_through:  # a key colour
            raise _transparent()
        return _grey_to_rgb(np.asarray(image).astype(np.uint16, copy=False))
    if bits == 16 and image.mode in _DEEP_MODES:
        return _deep_values(image, content, see_through)
    if see_through:
        image = image.convert("RGBA")
        _check_opaque(int(np.asarray(image.getchannel("A")).min()), 255)
    if image.mode in ("1", "L"):
        return _grey_to_rgb(np.asarray(image.convert("L")))
    return np.asarray(image if image.mode == "RGB" else image.convert("RGB"))


def eight_bit(encoded: NDArray[Any]) -> NDArray[np.uint8]:
    """Code values in 8 bits: uint8 unchanged, uint16 rounded to the nearest."""
    if encoded.dtype == np.uint8:
        return encoded
    return ((encoded.astype(np.uint32) + 128) // 257).astype(np.uint8)


def upright(encoded: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Turn an array upright by its EXIF orientation (1 to 8)."""
    turned: NDArray[Any] = encoded
    if orientation in (5, 6, 7, 8):
        turned = np.asarray(cv2.transpose(turned))
    flip = {2: 1, 3: -1, 4: 0, 6: 1, 7: -1, 8: 0}.get(orientation)
    return turned if flip is None else np.asarray(cv2.flip(turned, flip))


def _deep_values(image: Image.Image, content: bytes, see_through: bool) -> NDArray[Any]:
    """16-bit code values, which Pillow cannot give, checked against its 8-bit ones."""
    flags = cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION
    samples = cv2.imdecode(np.frombuffer(content, np.uint8), flags)
    if samples is None or samples.dtype != np.uint16 or samples.ndim != 3 or samples.shape[2] not in _TO_RGB:
        raise Unreadable("The 16-bit photo cannot be decoded.", "Save it as JPEG or 16-bit RGB TIFF.")
    if see_through and samples.shape[2] == 4:
        _check_opaque(int(samples[..., 3].min()), 65535)
    # in place where possible: at 50 megapixels another copy takes 300 MB
    encoded = cv2.cvtColor(samples, _TO_RGB[samples.shape[2]], dst=samples if samples.shape[2] == 3 else None)
    if encoded.shape[1::-1] != image.size or not all(
        _agree(encoded, image, row) for row in range(0, image.height, _ROWS)
    ):
        raise Unreadable("The 16-bit photo decodes to two different pictures.", "Save it as JPEG or 16-bit RGB TIFF.")
    return np.asarray(encoded)


def _agree(encoded: NDArray[Any], image: Image.Image, row: int) -> bool:
    """Whether some rows of 16-bit code values match the 8-bit ones."""
    part = encoded[row : row + _ROWS]
    eight = image.crop((0, row, image.width, row + len(part))).convert("RGB")
    return np.array_equal((part >> 8).astype(np.uint8), np.asarray(eight))


def _grey_to_rgb(grey: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(grey), cv2.COLOR_GRAY2RGB))


def _check_opaque(least: int, full: int) -> None:
    if least < full:
        raise _transparent()


def _transparent() -> UnsupportedFormat:
    return UnsupportedFormat(
        "A part of the photo is transparent, so its colour is not known.", "Use the photo as the camera saved it."
    )
