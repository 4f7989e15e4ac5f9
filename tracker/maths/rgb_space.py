"""RGB spaces: how the code values of a photo become linear light.

References
----------
[1] IEC 61966-2-1:1999, sRGB: primaries, white and curve.
[2] SMPTE EG 432-1:2010, P3 primaries; with the D65 white and the curve of [1] it is called Display P3.
[3] Adobe RGB (1998) Color Image Encoding, 2005, 4.3.1: primaries; curve of exponent 2 + 51/256 = 563/256.
[4] ICC.1:2022, 10.6 (curveType) and 10.18 (parametricCurveType).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from tracker.maths.colorimetry import RGB_TO_XYZ, lab_to_linear, primaries_to_xyz
from tracker.maths.quantities import Matrix3, matrix3

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

_ENCODE_STEPS = 1 << 16


@dataclass(frozen=True, slots=True)
class ParametricCurve:
    """A transfer function in the general form of ICC parametric curves [4].

    Notes
    -----
    linear = (a v + b)^gamma + e for v >= d, else c v + f, with v the code value in 0..1.
    The ICC types 0 to 3 are this form with some terms at their defaults.
    """

    gamma: float
    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0

    def decode(self, encoded: ArrayLike) -> NDArray[np.float64]:
        """Linear light, 1.0 = white and not clipped, of the code values `encoded`, 0..1, floats of any shape."""
        v = np.asarray(encoded, dtype=np.float64)
        curved = np.maximum(self.a * v + self.b, 0.0) ** self.gamma + self.e
        return np.where(v >= self.d, curved, self.c * v + self.f)


@dataclass(frozen=True, slots=True)
class SampledCurve:
    """A transfer function sampled at equal steps of the code value, linear in between [4].

    Attributes
    ----------
    samples : two or more floats, linear light at code values 0 to 1
    """

    samples: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.samples) < 2:
            raise ValueError(f"a sampled curve needs two samples or more, got {len(self.samples)}")

    def decode(self, encoded: ArrayLike) -> NDArray[np.float64]:
        """Linear light of the code values `encoded`, floats of any shape; outside 0..1 they take the end samples."""
        v = np.asarray(encoded, dtype=np.float64)
        return np.interp(v, np.linspace(0.0, 1.0, len(self.samples)), self.samples)


Curve = ParametricCurve | SampledCurve


@dataclass(frozen=True, slots=True)
class RgbSpace:
    """Primaries, white and transfer functions of a three-colour encoding.

    Attributes
    ----------
    name : str, such as ``"sRGB"``; ``"matrix profile"`` for one without a name of its own
    to_xyz : 3 x 3 floats, linear RGB of this space to CIE XYZ (D65, 2 degree observer), RGB white to Y = 1
    curves : three transfer functions, for red, green and blue
    """

    name: str
    to_xyz: Matrix3
    curves: tuple[Curve, Curve, Curve]

    @property
    def is_linear(self) -> bool:
        """Whether code values are in proportion to light."""
        return self.curves == (LINEAR,) * 3

    def decode(self, encoded: ArrayLike) -> NDArray[np.float64]:
        """Linear light in these primaries, without tables, of the code values `encoded`, 0..1, floats (..., 3)."""
        v = np.asarray(encoded, dtype=np.float64)
        return np.stack([curve.decode(v[..., i]) for i, curve in enumerate(self.curves)], axis=-1)

    def table(self, bits: int) -> NDArray[np.float32]:
        """Linear light of every code value of 8 or 16 `bits`, float32 (2 ** bits, 3), read-only."""
        return _table(self.curves, bits)

    def native_linear(self, encoded: NDArray[Any]) -> NDArray[np.float32]:
        """Linear light in the primaries of this space.

        Parameters
        ----------
        encoded : uint8 or uint16 (..., 3), code values; full scale is white

        Returns
        -------
        float32 (..., 3), 1.0 = white
        """
        if encoded.dtype not in (np.uint8, np.uint16) or encoded.ndim == 0 or encoded.shape[-1] != 3:
            raise ValueError(f"expected uint8 or uint16 (..., 3), got {encoded.dtype} {encoded.shape}")
        if encoded.size == 0:
            return np.empty(encoded.shape, np.float32)
        table = self.table(8 * encoded.dtype.itemsize)
        if encoded.dtype == np.uint16:  # OpenCV looks up 8-bit values only before version 5
            return np.stack([np.take(table[:, i], encoded[..., i]) for i in range(3)], axis=-1)
        import cv2

        rows = encoded if encoded.ndim == 3 else encoded.reshape(-1, 1, 3)
        return np.asarray(cv2.LUT(np.ascontiguousarray(rows), table[np.newaxis]), np.float32).reshape(encoded.shape)

    def linear(self, encoded: NDArray[Any]) -> NDArray[np.float32]:
        """Linear light in the primaries of sRGB (BT.709, D65).

        Parameters
        ----------
        encoded : uint8 or uint16 (..., 3), code values; full scale is white

        Returns
        -------
        float32 (..., 3), 1.0 = white; colours outside sRGB are negative or above 1, never clipped
        """
        native = self.native_linear(encoded)
        if self.to_xyz == SRGB.to_xyz or native.size == 0:
            return native
        import cv2

        to_srgb = np.linalg.solve(np.array(SRGB.to_xyz), np.array(self.to_xyz))
        rows = native if native.ndim == 3 else native.reshape(-1, 1, 3)
        return np.asarray(cv2.transform(rows, to_srgb), np.float32).reshape(native.shape)

    def encode(self, native_linear: ArrayLike) -> NDArray[np.uint8]:
        """Nearest codes, uint8 (..., 3), of the light `native_linear`, floats (..., 3), clipped to 0..1."""
        light = np.clip(np.asarray(native_linear, dtype=np.float32), 0.0, 1.0)
        steps = np.rint(np.sqrt(light) * (_ENCODE_STEPS - 1)).astype(np.uint16)
        lookup = _inverse_table(self.curves)
        return np.stack([np.take(lookup[:, i], steps[..., i]) for i in range(3)], axis=-1)


@lru_cache(maxsize=16)
def _table(curves: tuple[Curve, Curve, Curve], bits: int) -> NDArray[np.float32]:
    codes = np.linspace(0.0, 1.0, 1 << bits)
    table = np.stack([curve.decode(codes) for curve in curves], axis=-1).astype(np.float32)
    table.setflags(write=False)
    return table


@lru_cache(maxsize=16)
def _inverse_table(curves: tuple[Curve, Curve, Curve]) -> NDArray[np.uint8]:
    # indexed by the square root of light: equal steps of light would be coarser than the darkest codes
    light = np.linspace(0.0, 1.0, _ENCODE_STEPS) ** 2
    halfway = (np.arange(255) + 0.5) / 255
    # a damaged or noisy sampled curve may fall in places; the search needs one that only rises
    edges = [np.maximum.accumulate(curve.decode(halfway)) for curve in curves]
    table = np.stack([np.searchsorted(edge, light) for edge in edges], axis=-1).astype(np.uint8)
    table.setflags(write=False)
    return table


LINEAR = ParametricCurve(1.0)
"""Code values in proportion to light."""

_SRGB_CURVE = ParametricCurve(2.4, a=1 / 1.055, b=0.055 / 1.055, c=1 / 12.92, d=0.04045)
_ADOBE_CURVE = ParametricCurve(563 / 256)

SRGB = RgbSpace("sRGB", matrix3(RGB_TO_XYZ), (_SRGB_CURVE,) * 3)
"""sRGB [1]."""

_P3 = primaries_to_xyz([(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)])
DISPLAY_P3 = RgbSpace("Display P3", matrix3(_P3), (_SRGB_CURVE,) * 3)
"""Display P3 [2]."""

_ADOBE = primaries_to_xyz([(0.64, 0.33), (0.21, 0.71), (0.15, 0.06)])
ADOBE_RGB = RgbSpace("Adobe RGB (1998)", matrix3(_ADOBE), (_ADOBE_CURVE,) * 3)
"""Adobe RGB (1998) [3]."""

NAMED_SPACES = (SRGB, DISPLAY_P3, ADOBE_RGB)


def lab_to_hex(lab: ArrayLike) -> str:
    """The colour nearest to `lab`, (3,), that a screen can show, as ``#rrggbb``."""
    return "#{:02x}{:02x}{:02x}".format(*SRGB.encode(lab_to_linear(lab)))
