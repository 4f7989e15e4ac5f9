"""Millimetres from the known size of the card, for hair that hangs beside it.

The card gives the scale in its own plane only. Hair nearer to the camera or farther away has a different scale, and
nobody measured how far away it hangs: that is the largest part of the uncertainty. Where it would be too large, there
is no scale but a reason.

A length is that of the line from root to tip, which runs down the middle of the hair: of curly or wavy hair it is how
far down it hangs, not how long it is pulled straight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from tracker.errors import CardFarAway, CardTilted, InvalidEntry
from tracker.maths import polyline
from tracker.maths.colorimetry import Floats
from tracker.maths.quantities import Measured
from tracker.measure.reading import Marks, PhotoReading, Point
from tracker.measure.reference_card import CARD_KINDS

# weak choices of our own, to be changed only on the strength of a measurement
_CORNER = 1.5  # pixels, standard uncertainty of a marked corner
_RULER = 0.5  # mm, half width of the error in a card's noted size
_TILT_LIMIT = 25.0  # degrees; at this tilt the card looks a tenth narrower and its near side visibly longer
_UNLIKE_LIMIT = 5.0  # standard uncertainties
_FARTHEST = 400.0  # mm between the card and the nearest of the hair
_DEPTH = 50.0  # mm, half width of the distance in depth between a card held beside the hair and that hair
_DEPTH_PER_GAP = 0.25  # the farther to the side the card is held, the less is known about its depth
# lenses that phones take such photos with, as 24 to 70 mm on a frame of 36 x 24 mm; shares of the photo's diagonal
_LENSES = np.geomspace(24.0, 70.0, 12) / math.hypot(36.0, 24.0)
_USUAL_LENS = 28.0 / math.hypot(36.0, 24.0)
_LENS_SPREAD = 0.35  # natural log

SMALLEST_MM, LARGEST_MM = 15.0, 600.0
"""Plausible lengths of a card's side, millimetres."""


@dataclass(frozen=True, slots=True)
class CardScale:
    """The length of a pixel at the hair, from the card beside it.

    Attributes
    ----------
    mm_per_pixel : Measured, mm
    tilt : float, degrees by which the card is turned away from the camera
    gap : float, mm between the card and the nearest of the hair, at the card's plane
    path : Measured, mm, length of the line from root to tip as projected: how far the hair hangs down as it lies in
        the photo. Waves pulled straight are longer, and so is hair that runs towards the camera or away from it
    """

    mm_per_pixel: Measured
    tilt: float
    gap: float
    path: Measured


def in_cm(length: Measured) -> Measured:
    """A `length` in millimetres, as centimetres."""
    return Measured(length.value / 10, length.u / 10, "cm", length.dof)


def require_size(size_mm: tuple[float, float]) -> None:
    """Check that width and height could be those of a card.

    Parameters
    ----------
    size_mm : width and height, mm

    Raises
    ------
    InvalidEntry
    """
    for side in size_mm:
        if not SMALLEST_MM <= side <= LARGEST_MM:
            raise InvalidEntry(
                f"A card cannot have a side of {side:g} mm ({SMALLEST_MM:g} to {LARGEST_MM:g}).",
                "Measure its width and height with a ruler, in millimetres.",
                value=float(side),
                limit=LARGEST_MM if side > LARGEST_MM else SMALLEST_MM,
                unit="mm",
            )


def card_scale(
    corners: tuple[Point, Point, Point, Point],
    size_mm: tuple[float, float],
    photo_size: tuple[int, int],
    path: tuple[Point, ...],
    *,
    outline: tuple[Point, ...] = (),
    either_way_up: bool = False,
) -> CardScale:
    """The scale at the hair beside a card.

    Parameters
    ----------
    corners : of the card, clockwise from its own top left, pixels
    size_mm : width and height inside those corners, mm
    photo_size : width and height of the whole photo, pixels
    path : down the hair from root to tip, pixels
    outline : about the hair, pixels; empty where only the path is known
    either_way_up : bool, True for a plain card, which may be held upright or across

    Raises
    ------
    InvalidEntry : no card has that size
    CardTilted, CardFarAway : where no useful scale can be given

    Notes
    -----
    For any lens, the four corners give the position and tilt of the card. Of the lenses that phones take such photos
    with, the one that fits the corners best is chosen, or the usual one where they fit equally well.
    """
    require_size(size_mm)
    side_u = _CORNER / float(polyline.sides(corners).min())
    sizes = [size_mm, (size_mm[1], size_mm[0])] if either_way_up else [size_mm]
    pose = min((_pose(corners, size, photo_size, side_u) for size in sizes), key=lambda found: found.misfit)
    if pose.tilt - pose.tilt_u > _TILT_LIMIT:
        raise CardTilted(
            f"No lengths: the card is turned away by {pose.tilt:.0f} degrees (limit {_TILT_LIMIT:.0f}).",
            "Hold the card facing the camera.",
            value=pose.tilt,
            limit=_TILT_LIMIT,
            unit="degrees",
        )
    if pose.unlike > _UNLIKE_LIMIT:
        raise CardTilted(
            f"No lengths: the marked card does not have the shape of a card of {size_mm[0]:g} x {size_mm[1]:g} mm.",
            "Check that the corners lie on the card, and check its size on the Studio page.",
            value=pose.unlike,
            limit=_UNLIKE_LIMIT,
            unit="times",
        )
    scale = pose.mm_per_pixel
    gap = _gap(corners, path, outline) * scale
    if gap > _FARTHEST:
        raise CardFarAway(
            f"No lengths: the card is {gap / 10:.0f} cm from the hair (limit {_FARTHEST / 10:.0f}).",
            "Hold the card beside the hair.",
            value=gap,
            limit=_FARTHEST,
            unit="mm",
        )
    distance = _LENSES[0] * math.hypot(*photo_size) * scale
    depth = (_DEPTH + _DEPTH_PER_GAP * gap) / distance / math.sqrt(3)
    ruler = _RULER / math.sqrt(3) / min(size_mm)
    # how much a tilt of a few degrees, too small to see, changes the size of the card
    turned = (1 - math.cos(math.radians(max(pose.tilt, pose.tilt_u)))) / math.sqrt(3)
    u = scale * math.sqrt(side_u**2 + depth**2 + ruler**2 + turned**2)
    pixels = polyline.length(path)
    return CardScale(Measured(scale, u, "mm"), pose.tilt, gap, Measured(pixels * scale, pixels * u, "mm"))


def scale_of(reading: PhotoReading, marks: Marks, photo_size: tuple[int, int]) -> CardScale | None:
    """The scale in a measured photo; None where nobody noted the size of its card.

    Parameters
    ----------
    reading : PhotoReading, of the photo
    marks : Marks, card and path on the same photo
    photo_size : width and height of the whole photo, pixels

    Raises
    ------
    InvalidEntry, CardTilted, CardFarAway : as in `card_scale`
    """
    if marks.size_mm is None:
        return None
    kind = CARD_KINDS.get(marks.card_kind)
    turned = kind is not None and kind.is_plain
    return card_scale(
        reading.card.corners,
        marks.size_mm,
        photo_size,
        marks.path,
        outline=marks.outline or reading.outline,
        either_way_up=turned,
    )


@dataclass(frozen=True, slots=True)
class _Pose:
    """Pose of a card: its scale, its tilt with a standard uncertainty in degrees, the part of its misfit to the noted
    card that marking errors do not explain, and the whole misfit, which also counts an unusual lens.
    """

    mm_per_pixel: float
    tilt: float
    tilt_u: float
    unlike: float
    misfit: float


def _pose(corners: tuple[Point, ...], size: tuple[float, float], photo_size: tuple[int, int], side_u: float) -> _Pose:
    """The pose that fits the corners best: the edges of a card are as long as noted and at right angles.

    Zhang 2000, IEEE Trans Pattern Anal Mach Intell 22:1330: a plane's homography is ``K [r1 r2 t]``.
    """
    width, height = size
    card = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    centred = np.asarray(corners, np.float32) - np.asarray(photo_size, np.float32) / 2
    homography = cv2.getPerspectiveTransform(card - card.mean(axis=0), centred)
    diagonal = math.hypot(*photo_size)
    found = [_seen_through(homography, share * diagonal, share, side_u) for share in _LENSES]
    return min(found, key=lambda pose: pose.misfit)


def _seen_through(homography: Floats, focal: float, share: float, side_u: float) -> _Pose:
    across, down, middle = (np.diag([1 / focal, 1 / focal, 1.0]) @ homography).T
    lengths = np.linalg.norm(across), np.linalg.norm(down)
    mean = float(sum(lengths)) / 2
    uneven = float(lengths[0] - lengths[1]) / mean
    skew = float(across @ down) / mean**2
    normal = np.cross(across, down)
    tilt = math.degrees(math.acos(min(abs(float(normal[2])) / float(np.linalg.norm(normal)), 1.0)))
    unusual = math.log(share / _USUAL_LENS) / _LENS_SPREAD
    # marking errors also mimic a near and a far side, the more so the smaller the card is in the photo
    near = 2 * side_u**2 * focal / _CORNER
    leaning = math.hypot(float(across[2]), float(down[2])) / mean
    unlike = (uneven**2 + skew**2) / (2 * side_u**2 + (leaning * near) ** 2)
    scale = abs(float(middle[2])) / mean / focal
    return _Pose(scale, tilt, math.degrees(near), math.sqrt(unlike), unlike + unusual**2)


def _gap(corners: tuple[Point, ...], path: tuple[Point, ...], outline: tuple[Point, ...]) -> float:
    """Pixels between the card and the nearest of the hair, by its outline where there is one; 0 where they overlap."""
    card, about = np.asarray(corners, np.float32), np.asarray(outline, np.float32)
    if outline and any(cv2.pointPolygonTest(about, (float(x), float(y)), measureDist=False) >= 0 for x, y in card):
        return 0.0
    line = (*outline, outline[0]) if outline else path
    dense = polyline.places(line, np.linspace(0, polyline.length(line), 200)).astype(np.float32)
    inside = max(cv2.pointPolygonTest(card, (float(x), float(y)), measureDist=True) for x, y in dense)
    return max(-float(inside), 0.0)
