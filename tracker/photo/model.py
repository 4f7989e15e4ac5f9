"""A photo after reading."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.maths.rgb_space import RgbSpace


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits on the photos we read.

    Attributes
    ----------
    max_bytes : int, size of the file
    max_pixels : int, width times height
    max_raw_bytes : int, size of a camera's raw file
    """

    max_bytes: int = 25 * 1024**2
    max_pixels: int = 50_000_000
    max_raw_bytes: int = 80 * 1024**2


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """An upright photo with the meaning of its code values.

    Attributes
    ----------
    encoded : uint8 or uint16 (height, width, 3), read-only code values, red green blue, upright
    space : RgbSpace, what the code values mean
    taken_at : aware UTC datetime or None. Without a time offset in the file the camera's zone is unknown:
        its clock time is then tagged UTC unchanged, up to 14 hours off.
    camera : str or None, maker and model as the file states them, printable, at most 80 characters
    sha256 : str, hexadecimal digest of the bytes that came in
    warnings : strings for the checks: ``"profile_converted"`` (colours went through the 8-bit colour engine,
        out-of-gamut colours are clipped), ``"profile_unreadable"`` (damaged colour profile, read as sRGB),
        ``"profile_assumed"`` (unknown colour tags, read as sRGB), ``"raw_developed"`` (linear, from a camera's raw
        file, without the camera's look), ``"damaged_step 0.43 top"`` (looks damaged at that share of its height from
        the top, or of its width from the ``left``), ``"damaged_empty"`` (sectors of zeros in the pixels); these
        two withhold the number. How it was taken, where the file tells: ``"flash_fired"``, ``"digital_zoom 2.00"``
        (times), ``"portrait_mode"``, ``"depth_map"`` (as portrait modes write it), ``"scene night"`` (or
        ``landscape``, ``portrait``), ``"look contrast"`` (or ``saturation``: set to other than normal)
    lens_mm : int or None, focal length as it would be on a frame of 36 x 24 mm, mm, as the file states it
    """

    encoded: NDArray[Any]
    space: RgbSpace
    taken_at: datetime | None
    camera: str | None
    sha256: str
    warnings: tuple[str, ...] = ()
    lens_mm: int | None = None

    def __post_init__(self) -> None:
        if self.encoded.dtype not in (np.uint8, np.uint16) or self.encoded.ndim != 3 or self.encoded.shape[2] != 3:
            raise ValueError(f"expected uint8 or uint16 (h, w, 3), got {self.encoded.dtype} {self.encoded.shape}")

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        height, width = self.encoded.shape[:2]
        return width, height
