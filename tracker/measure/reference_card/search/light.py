"""The light on flat cards: a plane through the codes of each outline."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.geometry import areas
from tracker.measure.reference_card.search.reduced import median

_SAMPLES = 20  # across and down
_ROUNDS = 3
_LEAST_NOISE = 0.4  # codes


@dataclass(frozen=True, slots=True, eq=False)
class Lights:
    """Planes of codes over n quadrilaterals.

    Attributes
    ----------
    plane : (n, 3, 3), codes in the middle, and change to the right and downwards over `size` pixels, each of 3 channels
    centre : (n, 2), the middle, pixels
    size : (n,), pixels
    rest : (n, m, 3), what the samples differ from the plane, codes
    """

    plane: Floats
    centre: Floats
    size: Floats
    rest: np.ndarray

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Codes of each plane at its own points, (n, ..., 3) float32.

        Parameters
        ----------
        x, y : (n, ...), pixels
        """
        beside = (slice(None), *(None,) * (x.ndim - 1))
        level, right, down = (self.plane[:, k].astype(np.float32)[(*beside, slice(None))] for k in range(3))
        across = ((x - self.centre[:, 0][beside]) / self.size[beside]).astype(np.float32)[..., None]
        along = ((y - self.centre[:, 1][beside]) / self.size[beside]).astype(np.float32)[..., None]
        return np.asarray(level + across * right + along * down)

    @property
    def unevenness(self) -> Floats:
        """Robust standard deviation about each plane, codes, mean of the channels, (n,)."""
        middle = median(self.rest, axis=1)[:, None]
        return np.asarray(1.4826 * median(np.abs(self.rest - middle), axis=1).mean(axis=1), float)

    @property
    def blotches(self) -> Floats:
        """What fifths of its width and height differ from the plane, codes, root mean square of the even half, (n,)."""
        fifth = _SAMPLES // 5
        boxes = self.rest.reshape(-1, 5, fifth, 5, fifth, 3).mean(axis=(2, 4)).reshape(-1, 25, 3)
        squares = np.sort(np.square(boxes).mean(axis=2), axis=1)
        return np.asarray(np.sqrt(squares[:, :18].mean(axis=1)), float)

    def noise(self, photo: float) -> Floats:
        """Noise of each card itself where that is less than the photo's, codes, (n,).

        Parameters
        ----------
        photo : float, codes, noise of the photo
        """
        own = 1.4826 * median(np.abs(self.rest).reshape(len(self.rest), -1), axis=1)
        return np.asarray(np.minimum(photo, np.maximum(_LEAST_NOISE, own)), float)


def lights_on(picture: np.ndarray, quads: Floats, share: float) -> Lights:
    """The light on the inner part of each quadrilateral, robust against what covers some of it.

    Parameters
    ----------
    picture : (h, w, 3) float32, codes
    quads : (n, 4, 2), pixels
    share : float, of the width and height that is used, 0..1
    """
    centre, size = quads.mean(axis=1), np.sqrt(areas(quads))
    steps = 0.5 + share * ((np.arange(_SAMPLES) + 0.5) / _SAMPLES - 0.5)
    u, v = (grid.ravel() for grid in np.meshgrid(steps, steps))
    weights = np.stack([(1 - v) * (1 - u), (1 - v) * u, v * u, v * (1 - u)], axis=1)
    spots = weights @ quads
    height, width = picture.shape[:2]
    columns = np.clip(np.rint(spots[..., 0]), 0, width - 1).astype(np.intp)
    rows = np.clip(np.rint(spots[..., 1]), 0, height - 1).astype(np.intp)
    values = picture[rows, columns]
    across, along = ((places - centre[:, [k]]) / size[:, None] for k, places in enumerate((columns, rows)))
    design = np.stack([np.ones_like(across), across, along], axis=2).astype(np.float32)
    used = np.ones(across.shape, np.float32)
    for _ in range(_ROUNDS):
        weighted = (design * used[..., None]).swapaxes(1, 2)
        plane = np.linalg.solve(weighted.astype(float) @ design + 1e-9 * np.eye(3), weighted.astype(float) @ values)
        rest = values - design @ plane.astype(np.float32)
        off = np.abs(rest).max(axis=2)
        limit = np.maximum(3.5 * 1.4826 * median(off, axis=1), 2.0)
        used = (off < limit[:, None]).astype(np.float32)
    return Lights(plane, centre, size, rest)


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """The light on one quadrilateral.

    Attributes
    ----------
    only : Lights, of that one
    """

    only: Lights

    @property
    def plane(self) -> Floats:
        """Codes in the middle, and change to the right and downwards, (3, 3); see `Lights`."""
        return np.asarray(self.only.plane[0])

    @property
    def rest(self) -> np.ndarray:
        """What the samples differ from the plane, codes, (m, 3)."""
        return np.asarray(self.only.rest[0])

    @property
    def unevenness(self) -> float:
        """Robust standard deviation about the plane, codes, mean of the channels."""
        return float(self.only.unevenness[0])

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Codes of the plane at points of any shape, (..., 3) float32.

        Parameters
        ----------
        x, y : any shape, pixels
        """
        return np.asarray(self.only.at(x[None], y[None])[0])

    def noise(self, photo: float) -> float:
        """Noise of this card itself where that is less than the photo's, codes.

        Parameters
        ----------
        photo : float, codes, noise of the photo
        """
        return float(self.only.noise(photo)[0])


def light_on(picture: np.ndarray, quad: Floats, share: float) -> Light:
    """The light on the inner part of one quadrilateral.

    Parameters
    ----------
    picture : (h, w, 3) float32, codes
    quad : (4, 2), pixels
    share : float, of the width and height that is used, 0..1
    """
    return Light(lights_on(picture, quad[None], share))


def sample(picture: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Codes between pixels at points of shape (n, ...), (n, ..., 3) float32; the photo's edge goes on outside.

    Parameters
    ----------
    picture : (h, w, 3) float32, codes
    x, y : (n, ...), pixels
    """
    flat = (len(x), -1) if len(x) else (0, 0)
    across, down = (np.ascontiguousarray(places, np.float32).reshape(flat) for places in (x, y))
    if not across.size:
        return np.empty((*x.shape, 3), np.float32)
    codes = cv2.remap(picture, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(codes.reshape(*x.shape, 3))
