"""Reads a marked card: its patches in linear light, and whether they can be trusted."""

from __future__ import annotations

import math

import numpy as np

from tracker.errors import (
    CardClipped,
    CardCovered,
    CardImplausible,
    CardMisplaced,
    CardTooSmall,
    CardUneven,
)
from tracker.maths import polyline
from tracker.maths.colorimetry import Floats, luminance
from tracker.maths.rgb_space import RgbSpace
from tracker.maths.robust import robust_sd
from tracker.maths.uncertainty import format_share
from tracker.measure.reference_card.kind import Box, CardKind, CardReading, Corners
from tracker.words import pixels

# when a card is refused: weak choices of our own, to be changed only on the strength of a measurement
_SHORTEST_SIDE = 10.0  # pixels, of a patch
_MOST_CLIPPED = 0.005  # share of the grey's pixels at either end of the code range
_LARGEST_GRADIENT = 0.5  # EV across the card; 0.1 EV is 1.3 L* at L* 40
_MOST_COVERED = 0.08  # share of a patch's pixels that do not belong to it

_HUE = 0.25  # log2 of a ratio of two channels, from the patch's own, the least that is another hue
_SPREADS = 5.0  # standard deviations of the patch's own noise
INSET = 0.18  # of a patch's side, left out at each edge: keeps out frames, rounded corners and imprecise marks
_SAMPLES = 64  # per side of a single grey; more adds nothing, since blocks are larger than a pixel


def read_card(encoded: np.ndarray, space: RgbSpace, kind: CardKind, corners: Corners) -> CardReading:
    """The reading of the card in a photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    space : what the codes mean
    kind : CardKind, of the card in the photo
    corners : four points, pixels, clockwise from the card's own top left

    Raises
    ------
    CardMisplaced, CardTooSmall, CardClipped, CardUneven, CardCovered, CardImplausible
    """
    _require_quadrilateral(corners, encoded.shape)
    _require_size(kind, corners)
    patches = [sample(encoded, corners, box, kind) for box in kind.boxes]
    clipped = np.array([_clipped_share(codes) for codes in patches])
    left_out = _burnt_spare(kind, clipped, patches)
    used = [index for index, _ in kind.sound if index != left_out]
    for index, part in kind.sound:
        if index in used:
            _require_unclipped(part, float(clipped[index]), patches[index])
    linear = [np.asarray(space.linear(codes), float) for codes in patches]
    means, covs = zip(*(_mean_and_cov(values, grey=index in used) for index, values in enumerate(linear)), strict=True)
    gradient = _check_light([linear[index] for index in used])
    usable = clipped <= 0.02
    if left_out is not None:
        usable[left_out] = False
    reading = CardReading(kind, corners, np.array(means), np.array(covs), usable, float(clipped[used].max()), gradient)
    _require_plausible(reading)
    return reading


def _require_quadrilateral(corners: Corners, shape: tuple[int, ...]) -> None:
    points = np.asarray(corners, float)
    height, width = shape[:2]
    if points.shape != (4, 2) or not np.all(np.isfinite(points)):
        raise CardMisplaced("The card needs four corners.", "Mark each corner of the card once.")
    outside = np.maximum(np.maximum(-points, points - [width, height]), 0).max()
    if outside > 0:
        raise CardMisplaced(
            f"A card corner lies {pixels(outside)} outside the photo.",
            "Move it onto the card, or take the photo again with the whole card in frame.",
            value=float(outside),
            limit=0.0,
            unit="pixels",
        )
    sides = np.roll(points, -1, axis=0) - points
    following = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0]
    if not np.all(turns > 0):
        raise CardMisplaced(
            "The card's corners cross over, repeat or run the wrong way round.",
            "Put them clockwise: the card's own top left, top right, bottom right, bottom left.",
        )


def _require_size(kind: CardKind, corners: Corners) -> None:
    sides = polyline.sides(corners)
    columns, rows = (round(1 / (kind.boxes[0][k + 2] - kind.boxes[0][k])) for k in (0, 1))
    shortest = min(sides[0], sides[2]) / columns, min(sides[1], sides[3]) / rows
    if min(shortest) < _SHORTEST_SIDE:
        raise CardTooSmall(
            f"A patch of the card is only {pixels(min(shortest))} wide (at least {_SHORTEST_SIDE:.0f}).",
            "Move closer or use a larger card.",
            value=float(min(shortest)),
            limit=_SHORTEST_SIDE,
            unit="pixels",
        )


def unit_to_photo(corners: Corners, u: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pixels of points in the card's unit square, by the projective map through its corners.

    Closed form of Heckbert 1989, Fundamentals of texture mapping and image warping, section 2.2.

    Parameters
    ----------
    corners : four points, pixels, clockwise from the card's own top left
    u, v : any shape, 0..1 from left to right and from top to bottom
    """
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = corners
    dx1, dx2, dx3 = x1 - x2, x3 - x2, x0 - x1 + x2 - x3
    dy1, dy2, dy3 = y1 - y2, y3 - y2, y0 - y1 + y2 - y3
    area = dx1 * dy2 - dx2 * dy1
    g = (dx3 * dy2 - dx2 * dy3) / area
    h = (dx1 * dy3 - dx3 * dy1) / area
    depth = g * u + h * v + 1
    x = ((x1 - x0 + g * x1) * u + (x3 - x0 + h * x3) * v + x0) / depth
    y = ((y1 - y0 + g * y1) * u + (y3 - y0 + h * y3) * v + y0) / depth
    return x, y


def sample(encoded: np.ndarray, corners: Corners, box: Box, kind: CardKind) -> np.ndarray:
    """Codes on a grid over the inner part of a patch, shape (n, n, 3): nearest pixels, so nothing is averaged.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    corners : four points, pixels, clockwise from the card's own top left
    box : of the patch, in the card's unit square
    kind : CardKind, of the card in the photo
    """
    count = max(12, _SAMPLES // round(math.sqrt(len(kind.boxes))))
    steps = (np.arange(count) + 0.5) / count * (1 - 2 * INSET) + INSET
    u = box[0] + steps * (box[2] - box[0])
    v = box[1] + steps * (box[3] - box[1])
    x, y = unit_to_photo(corners, *np.meshgrid(u, v))
    height, width = encoded.shape[:2]
    columns = np.clip(np.floor(x), 0, width - 1).astype(np.intp)
    rows = np.clip(np.floor(y), 0, height - 1).astype(np.intp)
    return np.asarray(encoded[rows, columns])


def _clipped_share(codes: np.ndarray) -> float:
    top = int(np.iinfo(codes.dtype).max)
    near = top // 255
    return float(np.mean(np.any((codes >= top - near) | (codes <= near), axis=-1)))


def _burnt_spare(kind: CardKind, clipped: Floats, patches: list[np.ndarray]) -> int | None:
    """The patch that the card can do without, where it burnt out."""
    spare = kind.spare
    if spare is None or clipped[spare] <= _MOST_CLIPPED or not _is_bright(patches[spare]):
        return None
    return spare


def _is_bright(codes: np.ndarray) -> bool:
    return float(codes.mean()) > np.iinfo(codes.dtype).max / 2


def _require_unclipped(part: str, share: float, codes: np.ndarray) -> None:
    if share <= _MOST_CLIPPED:
        return
    bright = _is_bright(codes)
    raise CardClipped(
        f"The {part} is {'burnt out' if bright else 'crushed to black'} in {format_share(share, 1)} of its pixels "
        f"(limit {format_share(_MOST_CLIPPED, 1)}).",
        f"{'Lower' if bright else 'Raise'} the exposure and take the photo again.",
        value=share,
        limit=_MOST_CLIPPED,
        unit="share",
    )


_BLOCKS = 6


def _mean_and_cov(values: Floats, *, grey: bool) -> tuple[Floats, Floats]:
    """Mean of a patch without outliers, and the covariance of that mean from block to block."""
    _, inside = _light_plane(values)
    if grey:  # the noise of a strongly coloured patch is no other hue
        inside &= ~of_another_hue(values)
    kept = np.where(inside[..., None], values, np.nan)
    cut = [np.array_split(rows, _BLOCKS, axis=1) for rows in np.array_split(kept, _BLOCKS, axis=0)]
    flat = [block.reshape(-1, 3) for row in cut for block in row]
    seen = np.array([np.isfinite(block[:, 0]).sum() >= 2 for block in flat])
    blocks = np.array([np.nanmean(block, axis=0) for block, enough in zip(flat, seen, strict=True) if enough])
    mean = values[inside].mean(axis=0)
    if len(blocks) < 4:
        return mean, np.diag(np.full(3, np.inf))
    # a smooth fall-off of light counts as gradient, not as noise
    return mean, np.asarray(np.cov(blocks - _plane(blocks, np.flatnonzero(seen)), rowvar=False) / len(blocks))


def _plane(blocks: Floats, places: np.ndarray) -> Floats:
    """Plane through the blocks, each at its place in the grid, row by row."""
    design = np.stack([np.ones(len(blocks)), places % _BLOCKS, places // _BLOCKS], -1).astype(float)
    return np.asarray(design @ np.linalg.lstsq(design, blocks, rcond=None)[0])


def _exposure(values: Floats) -> Floats:
    return np.asarray(np.log2(np.maximum(luminance(values), 1e-5)))


def _light_plane(values: Floats) -> tuple[Floats, np.ndarray]:
    """Plane through a patch's exposure (EV), robust against what covers it, and which pixels lie on it."""
    ev = _exposure(values)
    rows, columns = np.mgrid[0 : ev.shape[0], 0 : ev.shape[1]] / np.array(ev.shape)[:, None, None] - 0.5
    design = np.stack([np.ones(ev.size), columns.ravel(), rows.ravel()], -1)
    keep = np.abs(ev - np.median(ev)).ravel() <= 0.6
    for _ in range(4):
        plane, *_ = np.linalg.lstsq(design[keep], ev.ravel()[keep], rcond=None)
        rest = ev.ravel() - design @ plane
        keep = np.abs(rest) <= max(4 * float(robust_sd(rest[keep])), 0.12)
    return plane, np.asarray(keep.reshape(ev.shape))


def of_another_hue(values: Floats) -> np.ndarray:
    """True on the pixels of a patch that are of another hue than the patch, as print or a finger of its lightness is.

    Parameters
    ----------
    values : (n, n, 3), linear light
    """
    ratios = np.log2(np.maximum(values[..., (0, 2)], 1e-5) / np.maximum(values[..., 1:2], 1e-5))
    off = np.abs(ratios - np.median(ratios, axis=(0, 1)))
    most = np.maximum(_SPREADS * robust_sd(off.reshape(-1, 2)), _HUE)
    return np.asarray(np.any(off > most, axis=-1))


def _check_light(patches: list[Floats]) -> float:
    """Gradient across the card in EV; refuses a card that is covered or lit too unevenly."""
    worst = 0.0
    for values in patches:
        plane, inside = _light_plane(values)
        covered = 1 - float(np.mean(inside & ~of_another_hue(values)))
        if covered > _MOST_COVERED:
            raise CardCovered(
                f"{format_share(covered)} of the card shows something else or lies in a shadow "
                f"(limit {format_share(_MOST_COVERED)}).",
                "Keep fingers, hair and hard shadows off the card, and check its corners and its kind.",
                value=covered,
                limit=_MOST_COVERED,
                unit="share",
            )
        # the samples span only the inner part of the patch, and the light falls off further out to its edges
        worst = max(worst, float(abs(plane[1]) + abs(plane[2])) / (1 - 2 * INSET))
    if worst > _LARGEST_GRADIENT:
        raise CardUneven(
            f"The light changes by {worst:.2f} EV across the card (limit {_LARGEST_GRADIENT:.2f} EV).",
            "Turn the card, or move away from the lamp, until it is lit evenly, and check that its kind is right.",
            value=worst,
            limit=_LARGEST_GRADIENT,
            unit="EV",
        )
    return worst


_LARGEST_RATIO = 8.0  # between channels; bare tungsten through a daylight balance reaches about 5


def _require_plausible(reading: CardReading) -> None:
    grey = np.maximum(reading.linear[reading.kind.grey], 1e-6)
    ratio = float(grey.max() / grey.min())
    if ratio > _LARGEST_RATIO:
        raise CardImplausible(
            f"The grey reads {ratio:.1f} times more in one colour than in another (limit {_LARGEST_RATIO:.0f}).",
            "Use daylight or white lamps, and check that the corners lie on the grey card.",
            value=ratio,
            limit=_LARGEST_RATIO,
            unit="ratio",
        )
    reading.kind.require_plausible(reading)
