"""Root, mid-lengths and ends of a straightened strip: colour, lights and lows, each with its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tracker.errors import TooFewPixels
from tracker.maths.colorimetry import Floats, lightness, linear_to_lab, luminance
from tracker.maths.quantities import Measured, vector3
from tracker.maths.uncertainty import effective_dof
from tracker.measure.hair.select import CLIPPED, GLOSS, KEPT, NOT_HAIR, OUTSIDE, SHADOW, USUAL, Selection, select_body
from tracker.measure.hair.whole import stripe_spread
from tracker.measure.reading import Dropped, ProfilePoint


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of the path, as shares of its length from root to tip."""

    name: str
    start: float
    stop: float


BANDS = (Band("root", 0.0, 0.2), Band("mid", 0.4, 0.6), Band("end", 0.8, 1.0))

FEWEST = 400
"""Fewest pixels of body hair that give a colour."""

_BLOCKS = 6, 3  # along, across: larger than a strand's width, so that blocks are nearly independent
PIECES = 12
"""Pieces of hair across a ribbon, too large for single fibres to count as lights."""

_FEWEST_IN_ROW = 40  # pixels of the whole width at one place of the profile
_A_CLUMP = 3  # such pieces in a stripe as wide as a clump
_BY_CHANCE = 0.05  # share of hair above the lightest twentieth of the root where nothing was lightened
# relative standard uncertainty of L* + 16 between root and band from the shape of the head alone: rendered heads of one
# colour read L* 20 at the crown and 10 under the curve, taken as rectangular
_SHADING = 5 / math.sqrt(3) / (15 + 16)


@dataclass(frozen=True, slots=True, eq=False)
class BandColour:
    """The colour of a band, in CIELAB of the balanced photo.

    Attributes
    ----------
    lab : (3,), from the mean of the body hair in linear light
    linear : (3,), that mean
    cov : (3, 3), covariance of `lab` from block to block within this band, about its own trend
    dof : float, number of blocks minus two
    cells : (n,), L* of small pieces of the band, NaN where there is no hair
    verdict : (n, m) uint8, see `tracker.measure.hair.select`
    pixels : int, pixels of the photo that were averaged
    rim : bool, True where what lies outside is what lies beside the hair, and not missing from it
    """

    lab: Floats
    linear: Floats
    cov: Floats
    dof: float
    cells: Floats
    verdict: np.ndarray
    pixels: int
    rim: bool = False

    @property
    def dropped(self) -> Dropped:
        """Shares of pixels left out."""
        counts = np.bincount(self.verdict.ravel(), minlength=OUTSIDE + 1).astype(float)
        if self.rim:
            counts[OUTSIDE] = 0.0
        shares = counts / max(counts.sum(), 1.0)
        return Dropped(*(float(shares[k]) for k in (CLIPPED, GLOSS, SHADOW, NOT_HAIR, OUTSIDE)))

    @property
    def filled(self) -> float:
        """Share of the heights of the band at which there is hair."""
        return float(np.mean((self.verdict == KEPT).any(axis=1)))


@dataclass(frozen=True, slots=True)
class Pieces:
    """How light the small pieces of a band are, with the uncertainty that the pieces themselves show.

    Attributes
    ----------
    lights, lows : L* of the lightest and the darkest quarter
    dimension : their difference, L*
    lightened : share lighter than the root, 0..1, or None
    shading : float, the part of the uncertainty of `lightened` from the shape of the head
    """

    lights: Measured
    lows: Measured
    dimension: Measured
    lightened: Measured | None
    shading: float


def band_colour(
    linear: Floats,
    usable: np.ndarray,
    name: str,
    how: Selection = USUAL,
    area: float = 1.0,
    inside: np.ndarray | None = None,
    stripes: int | None = None,
) -> BandColour:
    """Colour of the body hair in a band.

    Parameters
    ----------
    linear : (n, m, 3), balanced linear light; rows run from root to tip
    usable : (n, m) bool
    name : str, the band, for the message
    how : Selection, which pixels count as body hair
    area : float, pixels of the photo for one grid point
    inside : (n, m) bool, False outside the photo, or outside the hair; None where all of it lies inside
    stripes : int or None, stripes a clump wide across the whole width of the hair; None for a ribbon

    Raises
    ------
    TooFewPixels : fewer than `FEWEST` pixels of the photo are left
    """
    mean, verdict = body_mean(linear, usable, how)
    if inside is not None:
        verdict[~inside] = OUTSIDE
    kept = verdict == KEPT
    pixels = int(kept.sum() * area)
    if pixels < FEWEST:
        raise TooFewPixels(
            f"Only {pixels} pixels of hair are left at the {name} (at least {FEWEST}).",
            "Put the path on the hair, make it wider, or take the photo from closer."
            if stripes is None
            else "Look at the outline and the line from root to tip, or take the photo from closer.",
            value=float(pixels),
            limit=float(FEWEST),
            unit="pixels",
        )
    if stripes is None:
        cov, dof = _block_spread(_block_means(linear, kept, _BLOCKS, fewest=12))
        return BandColour(linear_to_lab(mean), mean, cov, dof, _cells(linear, kept, PIECES), verdict, pixels)
    cov, dof = stripe_spread(linear, verdict, stripes)
    cells = _cells(linear, kept, pieces_across(stripes))
    return BandColour(linear_to_lab(mean), mean, cov, dof, cells, verdict, pixels, rim=True)


def pieces_across(stripes: int | None) -> int:
    """Pieces across a ribbon, or across the whole width with that many `stripes`."""
    return PIECES if stripes is None else _A_CLUMP * stripes


def _block_spread(means: Floats) -> tuple[Floats, float]:
    """Covariance of the band's Lab from block to block, and its degrees of freedom.

    A steady change from root to tip is not noise (the uncertainty of placement covers it), so the spread is taken about
    a straight line along the band.
    """
    along = np.repeat(np.arange(len(means)), means.shape[1]).astype(float)
    blocks = means.reshape(-1, 3)
    seen = np.isfinite(blocks[:, 0])
    if seen.sum() < 5 or np.ptp(along[seen]) == 0:
        return np.diag(np.full(3, 4.0)), 1.0
    lab = linear_to_lab(blocks[seen])
    design = np.stack([np.ones(int(seen.sum())), along[seen]], -1)
    rest = lab - design @ np.linalg.lstsq(design, lab, rcond=None)[0]
    dof = len(lab) - 2.0
    return np.asarray(rest.T @ rest / dof / len(lab)), dof


def body_mean(linear: Floats, usable: np.ndarray, how: Selection = USUAL) -> tuple[Floats, np.ndarray]:
    """Mean of the body hair in linear light, (3,), NaN where there is none; and the verdict on each pixel, (n, m).

    Parameters
    ----------
    linear : (n, m, 3), balanced linear light
    usable : (n, m) bool, False for clipped pixels and outside the photo
    how : Selection, which pixels count as body hair
    """
    verdict = select_body(linear_to_lab(linear), luminance(linear), usable, how)
    body = linear[verdict == KEPT]
    mean = body.mean(axis=0, dtype=float) if len(body) else np.full(3, np.nan)
    return np.asarray(mean), verdict


def _block_means(values: Floats, kept: np.ndarray, shape: tuple[int, int], fewest: int) -> Floats:
    """Means over a coarse grid of blocks, (rows, columns, channels); NaN where too few pixels were kept."""
    rows, columns = (
        np.linspace(0, size, min(parts, size) + 1).astype(int)[:-1]
        for size, parts in zip(kept.shape, shape, strict=True)
    )

    def total(array: Floats) -> Floats:
        return np.asarray(np.add.reduceat(np.add.reduceat(array, rows, axis=0), columns, axis=1))

    count = total(kept.astype(float))
    sums = total(np.where(kept[..., None], values, 0).astype(float))
    means = sums / np.maximum(count, 1)[..., None]
    means[count < fewest] = np.nan
    return means


def _cells(linear: Floats, kept: np.ndarray, most: int) -> Floats:
    across = min(most, kept.shape[1] // 2)
    along = max(12, round(across * kept.shape[0] / kept.shape[1]))
    along -= along % 6  # whole rows of cells in each sixth, for leaving one out
    along = max(6, min(along, kept.shape[0] // 2))
    means = _block_means(linear, kept, (along, across), fewest=2)
    return lightness(luminance(means))


def lights_and_lows(cells: Floats, root_cells: Floats | None) -> Pieces:
    """Lights, lows, their difference, and the share lighter than nearly all of the root.

    Parameters
    ----------
    cells : (n, m), L* of the band's pieces
    root_cells : (n, m) or None, those of the root; without them no share

    Notes
    -----
    Uncertainties by leaving out one sixth of the length at a time (jackknife, Efron 1982): no simple formula gives that
    of a quartile when neighbouring pieces are alike.
    """
    left = np.array([_quarters(part) for part in _left_out(cells)])
    whole, u = _quarters(cells), _jackknife(left)
    light, low, difference = (Measured(float(whole[k]), float(u[k]), "L*", len(left) - 1.0) for k in range(3))
    share, shading = (None, 0.0) if root_cells is None else _lightened(cells, root_cells)
    return Pieces(light, low, difference, share, shading)


def _quarters(cells: Floats) -> Floats:
    values = np.sort(cells[np.isfinite(cells)])
    quarter = max(1, len(values) // 4)
    low, high = values[:quarter].mean(), values[-quarter:].mean()
    return np.array([high, low, high - low])


def _left_out(cells: Floats) -> list[Floats]:
    """The pieces with each sixth of the length left out in turn."""
    parts = np.array_split(np.arange(len(cells)), min(6, len(cells)))
    return [np.delete(cells, part, axis=0) for part in parts]


def _jackknife(left: Floats) -> Floats:
    n = len(left)
    return np.asarray(np.sqrt((n - 1) / n * np.square(left - left.mean(axis=0)).sum(axis=0)))


def _lightened(cells: Floats, root: Floats) -> tuple[Measured, float]:
    """Share lighter than the root's limit, less that by chance, and its uncertainty from the shape of the head."""
    limit = _limit(root)
    by_band = float(_jackknife(np.array([_beyond(part, limit) for part in _left_out(cells)])))
    by_root = float(_jackknife(np.array([_beyond(cells, _limit(part)) for part in _left_out(root)])))
    step = _SHADING * (limit + 16)
    shading = (_beyond(cells, limit - step) - _beyond(cells, limit + step)) / 2
    causes, dof = (by_band, by_root, shading), (5.0, 5.0, math.inf)
    return Measured(_beyond(cells, limit), math.hypot(*causes), "share", effective_dof(causes, dof)), shading


def _limit(root: Floats) -> float:
    return float(np.nanquantile(root, 1 - _BY_CHANCE))


def _beyond(cells: Floats, limit: float) -> float:
    share = float(np.mean(cells[np.isfinite(cells)] > limit))
    return max((share - _BY_CHANCE) / (1 - _BY_CHANCE), 0.0)


def profile(
    linear: Floats, verdict: np.ndarray, points: int = 40, stripes: int | None = None
) -> tuple[ProfilePoint, ...]:
    """Colour along the hair from root to tip, with the spread of L* across it.

    Parameters
    ----------
    linear : (n, m, 3), balanced
    verdict : (n, m) uint8, see `tracker.measure.hair.select`
    points : int, > 0, how many steps from root to tip
    stripes : int or None, stripes a clump wide across the whole width of the hair; None for a ribbon
    """
    kept = verdict == KEPT
    if stripes is not None:
        return _whole_profile(linear, verdict, points, stripes)
    blocks = _block_means(linear, kept, (points, 6), fewest=4)
    found = []
    for index, row in enumerate(blocks):
        good = row[np.isfinite(row[:, 0])]
        if len(good) < 3:
            continue
        lab = linear_to_lab(good)
        u = float(lab[:, 0].std(ddof=1) / np.sqrt(len(good)))
        found.append(ProfilePoint((index + 0.5) / len(blocks), vector3(linear_to_lab(good.mean(axis=0))), u))
    return tuple(found)


def _whole_profile(linear: Floats, verdict: np.ndarray, points: int, stripes: int) -> tuple[ProfilePoint, ...]:
    """The same over the whole width: all of its pixels, and the spread from clump to clump."""
    edges = np.linspace(0, len(linear), min(points, len(linear)) + 1).astype(int)
    found = []
    for index, (start, stop) in enumerate(pairwise(edges)):
        part, seen = linear[start:stop], verdict[start:stop]
        body = part[seen == KEPT]
        if len(body) < _FEWEST_IN_ROW:
            continue
        cov, _ = stripe_spread(part, seen, stripes)
        lab = vector3(linear_to_lab(body.mean(axis=0, dtype=float)))
        found.append(ProfilePoint((index + 0.5) / (len(edges) - 1), lab, math.sqrt(float(cov[0, 0]))))
    return tuple(found)
