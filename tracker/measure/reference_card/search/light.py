"""The light on a flat card: a plane through its codes."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.geometry import area
from tracker.measure.reference_card.search.reduced import median

_SAMPLES = 28  # across and down
_ROUNDS = 3
_LEAST_NOISE = 0.4  # codes


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """A plane of codes over a quadrilateral.

    Attributes
    ----------
    plane : (3, 3), codes in the middle, and change to the right and downwards over `size` pixels, each of 3 channels
    centre : (2,), the middle, pixels
    size : float, pixels
    rest : (n, 3), what the samples differ from the plane, codes
    """

    plane: Floats
    centre: Floats
    size: float
    rest: Floats

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Codes of the plane at points of any shape, (..., 3) float32.

        Parameters
        ----------
        x, y : any shape, pixels
        """
        level, right, down = self.plane.astype(np.float32)
        across = ((x - self.centre[0]) / self.size).astype(np.float32)[..., None]
        along = ((y - self.centre[1]) / self.size).astype(np.float32)[..., None]
        return np.asarray(level + across * right + along * down)

    @property
    def unevenness(self) -> float:
        """Robust standard deviation about the plane, codes, mean of the channels."""
        return float(1.4826 * median(np.abs(self.rest - median(self.rest, axis=0)), axis=0).mean())

    def noise(self, photo: float) -> float:
        """Noise of this card itself where that is less than the photo's, codes.

        Parameters
        ----------
        photo : float, codes, noise of the photo
        """
        return min(photo, max(_LEAST_NOISE, float(1.4826 * median(np.abs(self.rest)))))


def light_on(picture: np.ndarray, quad: Floats, share: float) -> Light:
    """The light on the inner part of a quadrilateral, robust against what covers some of it.

    Parameters
    ----------
    picture : (h, w, 3) float32, codes
    quad : (4, 2), pixels
    share : float, of the width and height that is used, 0..1
    """
    centre = quad.mean(axis=0)
    steps = 0.5 + share * ((np.arange(_SAMPLES) + 0.5) / _SAMPLES - 0.5)
    u, v = (grid.ravel()[:, None] for grid in np.meshgrid(steps, steps))
    places = (1 - v) * ((1 - u) * quad[0] + u * quad[1]) + v * ((1 - u) * quad[3] + u * quad[2])
    height, width = picture.shape[:2]
    columns = np.clip(np.rint(places[:, 0]), 0, width - 1).astype(np.intp)
    rows = np.clip(np.rint(places[:, 1]), 0, height - 1).astype(np.intp)
    values = picture[rows, columns].astype(float)
    size = float(np.sqrt(area(quad)))
    design = np.column_stack([np.ones(len(rows)), (columns - centre[0]) / size, (rows - centre[1]) / size])
    keep = np.ones(len(rows), bool)
    plane = np.zeros((3, 3))
    for _ in range(_ROUNDS):
        used = design[keep]
        plane = np.linalg.solve(used.T @ used, used.T @ values[keep])
        off = np.abs(values - design @ plane).max(axis=1)
        keep = off < max(3.5 * 1.4826 * float(median(off)), 2.0)
        if keep.sum() < 20:
            break
    return Light(plane, centre, size, values - design @ plane)


def sample(picture: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Codes between pixels at points of shape (m, n), (m, n, 3) float32; the photo's edge goes on outside.

    Parameters
    ----------
    picture : (h, w, 3) float32, codes
    x, y : (m, n), pixels
    """
    return np.asarray(
        cv2.remap(
            picture, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    )
