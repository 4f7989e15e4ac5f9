"""Outlines of hair judged against the true one: how well they overlap, and what their error costs in colour."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tests.bench.heads.plates import Shot
from tracker.maths.colorimetry import Floats, linear_to_lab, luminance
from tracker.measure.hair import BANDS
from tracker.measure.reading import REGIONS

_TRIM = 0.1  # of gloss and of shadow, as the truth's core
_MARGIN = 1.15  # the card and a little round it is never hair
_SPANS = {band.name: (band.start, band.stop) for band in BANDS}


@dataclass(frozen=True, slots=True)
class OutlineError:
    """How far a found outline is from the true one.

    Attributes
    ----------
    overlap : float, intersection over union of the pixels, 0..1
    cost : L*, a*, b* of each band read with the found outline, less those with the true one; not a number in a band
        where nothing was found
    """

    overlap: float
    cost: dict[str, tuple[float, float, float]]


def inside(shape: tuple[int, int], corners: Floats, grow: float = 1.0) -> np.ndarray:
    """True inside a polygon (k, 2), pixels, grown about its middle; (h, w)."""
    grown = corners.mean(axis=0) + (corners - corners.mean(axis=0)) * grow
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.rint((grown - 0.5) * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(bool)


def patch_mean(picture: Floats, corners: Floats, box: tuple[float, float, float, float]) -> Floats:
    """Mean of a picture (h, w, 3) in a box (left, top, right, bottom) of the card's unit square."""
    left, top, right, bottom = box
    places = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
    x, y = places[:, :1], places[:, 1:]
    there = (1 - y) * ((1 - x) * corners[0] + x * corners[1]) + y * ((1 - x) * corners[3] + x * corners[2])
    return np.asarray(picture[inside(picture.shape[:2], there)].mean(axis=0))


def band_rows(path: Floats, band: str) -> slice:
    """Image rows between a band's two heights along a path (k, 2)."""
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))]
    first, last = np.interp(_SPANS[band], along / along[-1], path[:, 1])
    return slice(max(int(first), 0), int(np.ceil(last)))


def band_lab(balanced: Floats, hair: np.ndarray, shot: Shot, band: str) -> Floats:
    """CIELAB of a band: all hair of an outline at its heights but the card, a tenth of gloss and of shadow left out.

    Parameters
    ----------
    balanced : (h, w, 3), linear light, 1 = perfect white
    hair : (h, w) bool, the outline
    """
    rows = band_rows(shot.path, band)
    body = hair & ~inside(hair.shape, shot.corners, _MARGIN)
    pixels = balanced[rows][body[rows]]
    if not len(pixels):
        return np.full(3, np.nan)
    light = luminance(pixels)
    low, high = np.quantile(light, [_TRIM, 1 - _TRIM])
    return linear_to_lab(pixels[(light >= low) & (light <= high)].mean(axis=0))


def overlap(found: np.ndarray, true: np.ndarray) -> float:
    """Intersection over union of two masks, 0..1."""
    return float((found & true).sum() / max((found | true).sum(), 1))


def judge(found: np.ndarray, shot: Shot, balanced: Floats) -> OutlineError:
    """How far a found outline is from the plate's true one.

    Parameters
    ----------
    found : (h, w) bool, what a finder takes for hair
    balanced : (h, w, 3), linear light of the developed photo, 1 = perfect white
    """
    true = shot.hair()
    cost = {}
    for band in REGIONS:
        lightness, red, yellow = band_lab(balanced, found, shot, band) - band_lab(balanced, true, shot, band)
        cost[band] = (float(lightness), float(red), float(yellow))
    return OutlineError(overlap(found, true), cost)
