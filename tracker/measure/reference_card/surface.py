"""What lies on a card besides its own greys: print, fingers, gloss, a bend. An even, flat, matt card shows none of it.

Each patch that must be sound is sampled in linear light. A plane of light through it is what a flat card shows; what is
left over is told apart by its colour and shape: a lamp that shines on a matt grey adds light of the lamp's own colour,
which is the colour that the grey already has, so the patch gets lighter there and keeps its hue. Print and fingers are
darker, or of another hue. A bend turns the card away from the light little by little, as a parabola.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracker.maths.colorimetry import Floats, luminance
from tracker.maths.rgb_space import RgbSpace
from tracker.maths.robust import robust_sd
from tracker.measure.reference_card.edges import bow_of
from tracker.measure.reference_card.kind import CardKind, Corners
from tracker.measure.reference_card.read import INSET, of_another_hue, sample
from tracker.measure.reference_card.surround import framed_sides

_BLOCKS = 8  # at most, across and down; each is the mean of its samples
_STRANGE = 0.12  # EV from the plane of light, the least at which a pixel can be something else
_LEAST_SIDE = 3  # samples across a block
_FAR = 0.6  # EV from the middle of a patch: no change of light
_SPREADS = 4.0  # standard deviations of the patch's own noise
_CHANCE = 3.0  # standard deviations that the largest of all blocks stands above the others by chance


@dataclass(frozen=True, slots=True)
class Surface:
    """What a card's patches show besides their own values, each of the worst patch.

    Attributes
    ----------
    strange : float, share of a patch's pixels that are something else than the patch, 0..1
    shine : float, EV, how much lighter a part of a patch is than the light on the rest of it, at least
    bend : float, EV, by which the light falls from the middle of the patch to its edges, or rises, at least
    bow : float, share of its length by which two opposite sides bulge in their middle, at least
    framed : int or None, sides along which a dark frame of even width runs, 0 to 4; None for a card of several patches
    dark_shine : float or None, EV, by which the light on the dark patch changes otherwise than on the grey one, at
        least; None for a card without a dark patch
    """

    strange: float
    shine: float
    bend: float
    bow: float = 0.0
    framed: int | None = None
    dark_shine: float | None = None


def surface_of(encoded: np.ndarray, space: RgbSpace, kind: CardKind, corners: Corners) -> Surface:
    """What lies on a card.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    space : what the codes mean
    kind : CardKind, of the card in the photo
    corners : four points, pixels, clockwise from the card's own top left
    """
    patches = {
        index: np.asarray(space.linear(sample(encoded, corners, kind.boxes[index], kind)), float)
        for index in {*(index for index, _ in kind.sound), kind.grey}
    }
    looks = {index: _look(values) for index, values in patches.items()}
    dark = None
    if kind.dark in looks:
        dark = _against(looks[kind.dark], looks[kind.grey])
    return Surface(
        max(look.strange for look in looks.values()),
        max(look.shine for look in looks.values()),
        max(look.bend for look in looks.values()),
        bow_of(encoded, corners),
        framed_sides(encoded, space, corners) if kind.is_plain else None,
        dark,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    strange: float
    shine: float
    bend: float
    blocks: Floats  # (n, n), EV
    noise: float  # EV, of a block


def _look(values: Floats) -> _Look:
    ev = np.log2(np.maximum(luminance(values), 1e-5))
    rest = ev - _surface(ev, 1)[0]
    most = max(_SPREADS * float(robust_sd(rest.ravel())), _STRANGE)
    strange = (rest < -most) | of_another_hue(values)
    blocks = _means(np.where(strange, np.nan, ev))
    curved, bend, u_bend = _surface(blocks, 2)
    noise = float(robust_sd((blocks - curved)[np.isfinite(blocks)]))
    shine = float(np.nanmax(blocks - _surface(blocks, 1)[0]))
    return _Look(
        float(strange.mean()),
        max(shine - _CHANCE * noise, 0.0),
        max(bend - _CHANCE * u_bend, 0.0),
        blocks,
        noise,
    )


def _means(values: Floats) -> Floats:
    """Means of blocks, (n, n), of what is finite; NaN for a block without half of its pixels."""
    count = min(_BLOCKS, len(values) // _LEAST_SIDE)
    rows = np.array_split(values, count, axis=0)
    cut = [block for row in rows for block in np.array_split(row, count, axis=1)]
    means = [np.nanmean(block) if np.isfinite(block).mean() >= 0.5 else np.nan for block in cut]
    return np.array(means).reshape(count, count)


def _surface(values: Floats, degree: int) -> tuple[Floats, float, float]:
    """A plane or a parabola through values, its bend and the standard uncertainty of that, in the values' unit.

    Strangers among the values count for nothing. The bend is by how much the middle stands above or below the edges of
    the patch, across the way in which that is most.
    """
    v, u = ((np.indices(values.shape) + 0.5) / values.shape[0] - 0.5) * (1 - 2 * INSET)
    terms = [np.ones_like(u), u, v, u * u, u * v, v * v][: 3 if degree == 1 else 6]
    design = np.stack([term.ravel() for term in terms], -1)
    flat = values.ravel()
    keep = np.isfinite(flat) & (np.abs(flat - np.nanmedian(flat)) <= _FAR)
    for _ in range(4):
        found, *_ = np.linalg.lstsq(design[keep], flat[keep], rcond=None)
        rest = flat - design @ found
        spread = float(robust_sd(rest[keep]))
        keep = np.isfinite(flat) & (np.abs(rest) <= max(_SPREADS * spread, 0.02))
    shown = (design @ found).reshape(values.shape)
    if degree == 1:
        return shown, 0.0, 0.0
    bends = np.linalg.eigvalsh(np.array([[found[3], found[4] / 2], [found[4] / 2, found[5]]])) / 4
    cov = np.linalg.inv(design[keep].T @ design[keep]) * spread**2
    return shown, float(np.abs(bends).max()), float(np.sqrt(max(cov[3, 3], cov[5, 5]))) / 4


def _against(dark: _Look, grey: _Look) -> float:
    """How otherwise the light changes across the dark patch than across the grey one, EV, at least."""
    apart = dark.blocks - grey.blocks
    apart = apart - np.nanmedian(apart)
    noise = float(np.hypot(dark.noise, grey.noise))
    lightest, darkest = np.nanquantile(apart, (0.95, 0.05))
    return max(float(lightest - darkest) - 2 * 1.645 * noise, 0.0)
