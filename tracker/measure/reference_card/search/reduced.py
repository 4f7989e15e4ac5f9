"""The reduced copy of a photo in which cards are searched for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar, cast

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reading import Point

_Part = TypeVar("_Part")

LONGEST = 1000
"""Pixels of the longer edge while searching."""
_LEAST_NOISE, _MOST_NOISE = 0.4, 4.0  # codes
_NOISY = 2.0  # codes; more is blurred away, so that a weak edge shows
_BLURRED = 0.28  # of white noise is left by a blur of one pixel, and half as much by two
_MOST_BLUR = 2.0  # pixels
_BLOCK = 8  # pixels
_BAND, _MANY_ROWS = 128, 1100  # pixels
_FLAT = 0.2  # of all blocks count as flat
_SMOOTH = 0.8  # pixels
_ABOUT = 0.05  # of the search size by which a copy may be larger or smaller


@dataclass(frozen=True, slots=True, eq=False)
class Reduced:
    """A photo at search size.

    Attributes
    ----------
    photo : (h, w, 3) uint8 or uint16, upright, as it was given
    codes : (h, w, 3) float32, 0..255
    smooth : (h, w, 3) float32, the same with a little blur
    noise : float, standard deviation of the codes where the photo is flat
    tint : (3,), mean of the photo in linear light, each channel against their mean
    shrink : float, search pixels per photo pixel
    larger : (h, w, 3) and its pixels per photo pixel, the photo at 1.2 to 2.5 times this size, or None
    parts : what searches found out about the photo and share, by name
    """

    photo: np.ndarray
    codes: np.ndarray
    smooth: np.ndarray
    noise: float
    tint: Floats
    shrink: float
    larger: tuple[np.ndarray, float] | None = None
    parts: dict[str, object] = field(default_factory=dict)

    @property
    def finer(self) -> Reduced | None:
        """The copy of up to 2.5 times this size, on which small cards are measured; None where there is one."""
        if self.larger is None:
            return None
        codes, shrink = self.larger
        return self.shared("finer", lambda: _copy(self.photo, codes, shrink, None))

    def shared(self, name: str, make: Callable[[], _Part]) -> _Part:
        """A part of the work that several searches need: made once for this copy.

        Parameters
        ----------
        name : str
        make : makes it
        """
        if name not in self.parts:
            self.parts[name] = make()
        return cast(_Part, self.parts[name])

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, pixels."""
        height, width = self.codes.shape[:2]
        return width, height

    def to_photo(self, points: Floats) -> Floats:
        """Pixels of the photo, from pixel centres of this copy.

        Parameters
        ----------
        points : (n, 2), pixel centres of this copy
        """
        return np.asarray((points + 0.5) / self.shrink)

    def from_photo(self, points: Floats) -> Floats:
        """Pixel centres of this copy, from pixels of the photo.

        Parameters
        ----------
        points : (n, 2), pixels of the photo
        """
        return np.asarray(points * self.shrink - 0.5)

    def corners_of(self, quad: Floats) -> tuple[Point, Point, Point, Point]:
        """Corners in pixels of the photo, inside it, of a quadrilateral of this copy.

        Parameters
        ----------
        quad : (4, 2), pixel centres of this copy
        """
        limits = np.array(self.size) / self.shrink
        a, b, c, d = ((float(x), float(y)) for x, y in np.clip(self.to_photo(quad), 0, limits))
        return a, b, c, d


def reduce(photo: np.ndarray | Reduced) -> Reduced:
    """The search copy of a photo, each pixel the mean of those that it covers; a copy is given back as it is.

    Parameters
    ----------
    photo : (h, w, 3) uint8 or uint16, upright; or its search copy, so that several searches share their work
    """
    if isinstance(photo, Reduced):
        return photo
    small, shrink, finer = _shrunk(photo)
    return _copy(photo, small, shrink, finer)


def _copy(photo: np.ndarray, small: np.ndarray, shrink: float, finer: tuple[np.ndarray, float] | None) -> Reduced:
    codes = small.astype(np.float32)
    if small.dtype == np.uint16:
        codes /= 257
    noise = _noise(codes)
    if noise > _NOISY:
        codes = cv2.GaussianBlur(codes, (0, 0), min(max(_BLURRED * noise / _NOISY, 0.5), _MOST_BLUR))
        noise = max(_noise(codes), _NOISY)
    noise = float(np.clip(noise, _LEAST_NOISE, _MOST_NOISE))
    mean = roughly_linear(codes[::8, ::8]).reshape(-1, 3).mean(axis=0)
    return Reduced(photo, codes, cv2.GaussianBlur(codes, (0, 0), _SMOOTH), noise, mean / mean.mean(), shrink, finer)


def _shrunk(photo: np.ndarray) -> tuple[np.ndarray, float, tuple[np.ndarray, float] | None]:
    """The photo at about search size, its pixels per photo pixel, and the same of up to 2.5 times that size."""
    wanted = min(1.0, LONGEST / max(photo.shape[:2]))
    small, shrink = photo, 1.0
    finer = None
    while True:
        if 1.2 <= shrink / wanted <= 2.5:
            finer = small, shrink
        if shrink / 2 < wanted * (1 - _ABOUT):
            break
        height, width = (edge // 2 for edge in small.shape[:2])  # ten times as fast as one step of no whole number
        small = cv2.resize(small[: 2 * height, : 2 * width], (width, height), interpolation=cv2.INTER_AREA)
        shrink /= 2
    if shrink > wanted * (1 + _ABOUT):
        height, width = (max(1, round(edge * wanted / shrink)) for edge in small.shape[:2])
        return cv2.resize(small, (width, height), interpolation=cv2.INTER_AREA), wanted, finer
    return small, shrink, finer


def grey_of(codes: np.ndarray) -> np.ndarray:
    """Mean of the channels, (h, w) float32.

    Parameters
    ----------
    codes : (h, w, 3) float32
    """
    return np.asarray(cv2.transform(codes, np.full((1, 3), 1 / 3, np.float32)))


def _noise(codes: np.ndarray) -> float:
    """Standard deviation of the finest detail in the flattest blocks that are neither black nor white, codes."""
    every = _BAND if len(codes) <= _MANY_ROWS else 4 * _BAND  # a quarter of a large copy tells as much
    spreads = np.concatenate([_detail(codes[top : top + _BAND]) for top in range(0, len(codes), every)])
    # the blur takes part of the noise with it
    return float(np.quantile(spreads, _FLAT)) * 1.3 if len(spreads) else 1.0


def _detail(codes: np.ndarray) -> np.ndarray:
    """Standard deviation of the finest detail in each block that is neither black nor white, codes."""
    grey = grey_of(codes)
    rows, columns = (n // _BLOCK for n in grey.shape)
    if not rows or not columns:
        return np.empty(0)
    detail = grey - cv2.GaussianBlur(grey, (0, 0), 1.5)

    def blocks(picture: np.ndarray) -> np.ndarray:
        whole = picture[: rows * _BLOCK, : columns * _BLOCK]
        return np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA))

    level = blocks(grey)
    spread = np.sqrt(np.maximum(blocks(detail * detail) - blocks(detail) ** 2, 0))
    return np.asarray(spread[(level > 20) & (level < 240)])


def roughly_linear(codes: np.ndarray) -> np.ndarray:
    """Linear light of codes 0..255, 1 = the brightest; close enough to judge a colour cast.

    Parameters
    ----------
    codes : any shape, 0..255
    """
    return np.asarray((np.clip(codes, 1.5, 255) / 255) ** 2.2)


def median(values: np.ndarray, axis: int | None = None) -> np.ndarray:
    """The median, the upper one of an even number: several times faster than NumPy's on small arrays.

    Parameters
    ----------
    values : any shape
    axis : int or None, None for all values
    """
    values = np.asarray(values)
    if axis is None:
        values, axis = values.ravel(), 0
    half = values.shape[axis] // 2
    return np.asarray(np.partition(values, half, axis=axis).take(half, axis=axis))
