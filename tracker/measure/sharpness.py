"""How blurred a photo is at the hair, and at the border of the card.

**Hair.** Squares down the middle of the hair are blurred again by two known widths. In a sharp photo the wider one
leaves far less fine contrast than the narrower; in a photo that was already blurred, only a little less. For a texture
whose energy is a power of its spatial frequency, the energy of the slopes after a further blur ``r`` is proportional to
``(s**2 + r**2) ** -k``, where ``s`` is the photo's own blur. The exponent ``k`` comes from our rendered heads of hair,
sharp and blurred by known amounts. Slow shading is removed first, or smooth hair would look blurred; noise and JPEG
blocks are measured on the card's even grey and subtracted, or they would look like sharp hair.

**Card.** The border of the card is a step: its blur is the height of the step over its steepest slope.

References
----------
Blur estimated from the response to further blur: Hu and de Haan 2006, Low cost robust blur estimator, IEEE ICIP (from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tracker.maths import polyline
from tracker.maths.colorimetry import Floats
from tracker.measure.reading import Point

_FURTHER = (1.0, 2.0)  # further blur, standard deviation in work pixels
_SHADING = 6.0  # work pixels; anything broader is shading, not strands
_LIMIT_AT = 2.0  # work pixels to which the limit is scaled
_EXPONENT = 1.85  # of hair's texture without its shading: tests/test_sharpness.py on the rendered heads
_SQUARES = 7
_SMALLEST = 24  # work pixels of a square's side
_LEAST_TEXTURE = 2.0  # times the energy of the noise
_LARGEST = 8.0  # work pixels; beyond this, more blur makes no difference


@dataclass(frozen=True, slots=True)
class Sharpness:
    """Blur as the standard deviation of a Gaussian, pixels of the photo.

    Attributes
    ----------
    hair : float or None, None where the hair shows too little texture above the noise
    card : float or None, None where the card's border is not a clear step
    """

    hair: float | None
    card: float | None


def hair_blur(
    encoded: np.ndarray,
    path: tuple[Point, ...],
    width: float,
    limit: float,
    corners: tuple[Point, ...] | None = None,
) -> float | None:
    """Blur of the hair along a path, standard deviation in pixels of the photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    path, width : points down the hair from root to tip, and the side of the squares on them, pixels
    limit : float, pixels, the blur to judge by, where the answer is most exact
    corners : of the card, whose even grey shows the noise, or None

    Returns
    -------
    float or None : None where too little texture stands above the noise
    """
    shrink = min(1.0, _LIMIT_AT / limit)
    squares = (_square(encoded, centre, width, shrink) for centre in _centres(path))
    energies = [_energies(square) for square in squares if square is not None]
    if len(energies) < 3:
        return None
    texture = np.median(energies, axis=0)
    noise = _card_noise(encoded, corners, shrink)
    if texture[0] < _LEAST_TEXTURE * noise[0]:
        return None
    near, far = np.maximum(texture - noise, 1e-6)
    ratio = float(near / far) ** (1 / _EXPONENT)
    first, second = np.square(_FURTHER)
    lowest, highest = (second + _LARGEST**2) / (first + _LARGEST**2), second / first
    ratio = min(max(ratio, lowest), highest)
    return float(np.sqrt((second - ratio * first) / (ratio - 1))) / shrink


def _centres(path: tuple[Point, ...]) -> Floats:
    return polyline.places(path, np.linspace(0.06, 0.94, _SQUARES) * polyline.length(path))


def _square(encoded: np.ndarray, centre: Floats, side: float, shrink: float) -> np.ndarray | None:
    """The green codes of a square of the photo at work scale, 0..255; None where it leaves the photo."""
    height, width = encoded.shape[:2]
    size = round(max(side, _SMALLEST / shrink))
    left, top = (round(float(value) - size / 2) for value in centre)
    if left < 0 or top < 0 or left + size > width or top + size > height:
        return None
    part = np.asarray(encoded[top : top + size, left : left + size, 1], np.float32)
    if encoded.dtype == np.uint16:
        part = part / np.float32(257)
    if shrink < 1:
        small = round(size * shrink)
        part = cv2.resize(part, (small, small), interpolation=cv2.INTER_AREA)
    return part


def _energies(square: np.ndarray) -> Floats:
    """Energy of the slopes that each further blur leaves, without slow shading."""
    fine = square - cv2.GaussianBlur(square, (0, 0), _SHADING)
    found = []
    for further in _FURTHER:
        smooth = cv2.GaussianBlur(fine, (0, 0), further)[4:-4, 4:-4]
        slopes = np.mean(np.square(np.diff(smooth, axis=1))), np.mean(np.square(np.diff(smooth, axis=0)))
        found.append(float(slopes[0] + slopes[1]))
    return np.array(found)


def _card_noise(encoded: np.ndarray, corners: tuple[Point, ...] | None, shrink: float) -> Floats:
    """The same energies on the card's even grey, from noise and JPEG alone."""
    if corners is None:
        return np.zeros(2)
    points = np.asarray(corners, float)
    sides = polyline.sides(points)
    square = _square(encoded, points.mean(axis=0), 0.25 * float(sides.min()), shrink)
    return np.zeros(2) if square is None else _energies(square)


_LINES = 40  # across each side of the card
_CLEAR_STEP = 14.0  # codes


def card_blur(encoded: np.ndarray, corners: tuple[Point, ...]) -> float | None:
    """Blur of the card's border, standard deviation in pixels of the photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    corners : of the card, clockwise, pixels

    Returns
    -------
    float or None : None where no side is a clear step
    """
    points = np.asarray(corners, float)
    centre = points.mean(axis=0)
    found = [_side_blur(encoded, a, b, centre) for a, b in zip(points, np.roll(points, -1, axis=0), strict=True)]
    clear = [blur for blur in found if blur is not None]
    return float(np.median(clear)) if clear else None


def _side_blur(encoded: np.ndarray, start: Floats, end: Floats, centre: Floats) -> float | None:
    """Blur of one side, from the mean of its profiles aligned on their steepest points."""
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    normal = np.array([along[1], -along[0]])
    if normal @ ((start + end) / 2 - centre) < 0:
        normal = -normal
    reach = min(max(6.0, 0.1 * length), 40.0)
    offsets = np.arange(-reach, reach + 0.125, 0.25)
    places = start + np.linspace(0.2, 0.8, _LINES)[:, None] * (end - start)
    at = (places[:, None] + offsets[None, :, None] * normal - 0.5).astype(np.float32)
    left, top = np.floor(at.min(axis=(0, 1))).astype(int) - 2
    right, bottom = np.ceil(at.max(axis=(0, 1))).astype(int) + 3
    height, width = encoded.shape[:2]
    if left < 0 or top < 0 or right > width or bottom > height:
        return None
    part = np.ascontiguousarray(encoded[top:bottom, left:right, 1])
    x, y = (np.ascontiguousarray(at[..., k] - np.float32(low)) for k, low in enumerate((left, top)))
    lines = cv2.remap(part, x, y, cv2.INTER_LINEAR).astype(float) / (257 if encoded.dtype == np.uint16 else 1)
    return _step_blur(lines, offsets)


def _step_blur(lines: Floats, offsets: Floats) -> float | None:
    """Height over steepest slope of the aligned mean; for a Gaussian that slope is height / (s sqrt(2 pi))."""
    smooth = cv2.GaussianBlur(lines, (0, 0), sigmaX=4, sigmaY=3)  # one pixel along each profile, three lines across
    place = np.argmax(np.abs(np.diff(smooth, axis=1)), axis=1)
    near = np.abs(place - np.median(place)) <= 8  # two pixels
    half = min(int(place[near].min()), lines.shape[1] - 2 - int(place[near].max()), 60) if near.any() else 0
    if half < 12:
        return None
    mean = np.mean([line[at - half : at + half + 1] for line, at in zip(lines[near], place[near], strict=True)], axis=0)
    height = abs(float(np.median(mean[: half // 3]) - np.median(mean[-(half // 3) :])))
    slope = float(np.abs(np.gradient(mean, offsets[1] - offsets[0])).max())
    if height < _CLEAR_STEP or slope <= 0:
        return None
    return height / (slope * float(np.sqrt(2 * np.pi)))
