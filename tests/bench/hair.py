"""Hair with known truth: colours from melanin and dyes, drawn as strands with gaps, shade and gloss."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.ndimage import gaussian_filter

from tests.bench.spectra import dye, hair_reflectance, melanin, to_linear
from tracker.maths.colorimetry import Floats, linear_to_lab, luminance
from tracker.measure.hair import BANDS
from tracker.measure.reading import REGIONS

ROWS, COLUMNS = 520, 140
PATH_ROWS = (20, 500)
PATH_COLUMNS = (40, 100)
"""The drawn hair, and which part of it lies under the marked ribbon."""

_STRANDS = np.linspace(-3, 3, 13)  # how much darker than its lock a strand is, in standard deviations
_SPREAD = 0.30  # of the logarithm of the melanin from strand to strand: a choice of our own


@dataclass(frozen=True, slots=True)
class Colour:
    """Melanin concentrations, and dyes as (amount, centre nm, width nm). Amounts of dye are invented."""

    eumelanin: float
    pheomelanin: float
    dyes: tuple[tuple[float, float, float], ...] = ()


# natural 1 to 10: eumelanin that gives the lightness of a level (facts computed with the same formula), with some
# pheomelanin; the rest as in sample_images/make/scenes.json and between
COLOURS = {
    "black": Colour(2.5, 0.5),
    "level 2": Colour(1.0, 0.15),
    "level 3": Colour(0.72, 0.15),
    "level 4": Colour(0.55, 0.16),
    "level 5": Colour(0.42, 0.12),
    "level 6": Colour(0.31, 0.10),
    "level 7": Colour(0.21, 0.09),
    "level 8": Colour(0.13, 0.06),
    "level 9": Colour(0.075, 0.05),
    "level 10": Colour(0.040, 0.03),
    "lifted orange": Colour(0.14, 0.30),
    "lifted yellow": Colour(0.05, 0.14),
    "toned beige": Colour(0.045, 0.12, ((0.026, 575, 42), (0.014, 615, 40))),
    "toned ash": Colour(0.08, 0.05, ((0.06, 590, 50),)),
    "ashy brown": Colour(0.30, 0.06, ((0.10, 600, 45),)),
    "copper": Colour(0.10, 0.30, ((0.25, 500, 35),)),
    "silver": Colour(0.025, 0.02, ((0.020, 570, 45),)),
}

# colours of root, mid and end before and after a service
HEADS = (
    (("level 4", "level 4", "level 5"), ("level 4", "level 7", "toned beige")),
    (("level 2", "level 2", "level 3"), ("level 2", "level 4", "lifted orange")),
    (("level 6", "level 7", "level 7"), ("level 6", "lifted yellow", "level 10")),
    (("level 5", "level 5", "copper"), ("level 5", "ashy brown", "toned ash")),
    (("level 8", "level 9", "level 9"), ("level 8", "level 10", "silver")),
    (("black", "level 3", "level 3"), ("black", "level 5", "copper")),
    (("level 7", "lifted orange", "lifted yellow"), ("level 7", "toned ash", "toned beige")),
    (("level 3", "toned beige", "silver"), ("level 3", "level 8", "lifted yellow")),
    (("level 9", "level 10", "level 10"), ("level 6", "level 8", "level 9")),
)


@lru_cache(maxsize=64)
def palette(name: str) -> Floats:
    """Reflectances of a lock's strands from light to dark, (13, wavelengths)."""
    colour = COLOURS[name]
    natural = melanin(colour.eumelanin, colour.pheomelanin)
    dyed = sum((dye(*each) for each in colour.dyes), np.zeros_like(natural))
    return np.stack([hair_reflectance(natural * np.exp(_SPREAD * strand) + dyed) for strand in _STRANDS])


@dataclass(frozen=True, slots=True, eq=False)
class Texture:
    """How one lock lies, all (rows, columns).

    Attributes
    ----------
    strand : position among the palette's strands, 0..12
    shade : share of the light that reaches a place, 0..1.3
    gloss : the lamp's own light reflected from the surface, in units of perfect white
    """

    strand: Floats
    shade: Floats
    gloss: Floats


@lru_cache(maxsize=64)
def texture(seed: tuple[int, ...]) -> Texture:
    """A lock drawn at random: fine strands and broad pieces, gaps between them, soft shade, streaks of gloss."""
    rng = np.random.default_rng(seed)

    def noise(along: float, across: float) -> Floats:
        field = gaussian_filter(rng.standard_normal((ROWS, COLUMNS), np.float32), (along, across), mode="reflect")
        return np.asarray((field - field.mean()) / field.std())

    strand = 0.9 * noise(45, 0.8) + 0.3 * noise(90, 5)
    gaps = np.clip(noise(25, 0.7) - 1.4, 0, 1)
    shade = 2 ** (0.06 * noise(60, 25)) * (1 - 0.6 * gaps)
    streaks = np.clip(noise(18, 0.8) + 0.6 * noise(25, 12) - 1.5, 0, 2)
    position = np.interp(strand, _STRANDS, np.arange(len(_STRANDS)))
    return Texture(position.astype(np.float32), shade.astype(np.float32), (0.04 * streaks).astype(np.float32))


@lru_cache(maxsize=1)
def band_shares() -> Floats:
    """Share of root, mid and end in each row, (rows, 3): whole within a band, blended between bands."""
    start, stop = PATH_ROWS
    at = (np.arange(ROWS) + 0.5 - start) / (stop - start)
    edges = [edge for band in BANDS for edge in (band.start, band.stop)]
    shares = [np.interp(at, edges, np.repeat(np.eye(3)[k], 2)) for k in range(3)]
    return np.stack(shares, -1).astype(np.float32)


def lock(colours: tuple[str, str, str], how: Texture, weights: Floats) -> Floats:
    """Linear response of every pixel, (rows, columns, channels), without gloss.

    Parameters
    ----------
    weights : (wavelengths, channels), from reflectance to the response
    """
    below = np.minimum(how.strand.astype(np.intp), len(_STRANDS) - 2)
    part = (how.strand - below)[..., None]
    total = np.zeros((*how.strand.shape, weights.shape[1]), np.float32)
    for name, share in zip(colours, band_shares().T, strict=True):
        rows = np.flatnonzero(share)
        seen = (palette(name) @ weights).astype(np.float32)
        here = below[rows]
        total[rows] += share[rows, None, None] * ((1 - part[rows]) * seen[here] + part[rows] * seen[here + 1])
    return total * how.shade[..., None]


@lru_cache(maxsize=128)
def truth(colours: tuple[str, str, str], seed: tuple[int, ...]) -> dict[str, Floats]:
    """True CIELAB of root, mid and end under the ribbon; see the package's docstring for the definition."""
    linear = lock(colours, texture(seed), to_linear())[slice(*PATH_ROWS), slice(*PATH_COLUMNS)].astype(float)
    found = {}
    for band in BANDS:
        pixels = linear[round(band.start * len(linear)) : round(band.stop * len(linear))].reshape(-1, 3)
        light = luminance(pixels)
        low, high = np.quantile(light, [0.1, 0.9])
        found[band.name] = linear_to_lab(pixels[(light >= low) & (light <= high)].mean(axis=0))
    return {name: found[name] for name in REGIONS}
