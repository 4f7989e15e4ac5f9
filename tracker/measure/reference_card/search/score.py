"""How likely an outline is a card, from its traits: a logistic regression with a few limits before it."""

from __future__ import annotations

import math

import numpy as np

from tracker.measure.reference_card.search.traits import Traits

# fitted on drawn cards in public photos and on public photos without one; none of the bench's heads took part
_INTERCEPT = -8.639
_MEAN = np.array([0.4512, 1.1053, 0.7485, 0.9423, 0.8833, 2.2252, 3.655, 1.7201])
_SPREAD = np.array([0.2757, 0.7464, 0.423, 0.5574, 0.5263, 0.9051, 0.5752, 0.777])
_WEIGHT = np.array([0.2291, -2.0102, -0.6864, -0.2321, -1.4468, 1.0834, 2.5047, -1.6526])

_CODES = (25.0, 235.0)  # brightest channel of a grey that is neither crushed nor burnt out
_DARKEST = 4.0  # code of its darkest channel
_CAST = 12.0  # between channels in linear light
_OPPOSITE, _ASPECT, _COSINE = 0.8, 2.05, 0.4
_SEEN = 0.3  # of the weakest side


def log_odds(traits: Traits) -> float:
    """Log odds that an outline is an even card; minus infinity where a limit rules it out.

    Parameters
    ----------
    traits : Traits
    """
    if not (_CODES[0] <= traits.brightest <= _CODES[1] and traits.darkest >= _DARKEST and traits.cast < _CAST):
        return -math.inf
    if not _shaped(traits):
        return -math.inf
    return form(traits)


def _shaped(traits: Traits) -> bool:
    return traits.opposite > _OPPOSITE and traits.aspect < _ASPECT and traits.cosine < _COSINE and traits.seen > _SEEN


def form(traits: Traits) -> float:
    """Log odds by shape, evenness and edges alone, whatever the codes."""
    values = np.array(
        [
            traits.edge,
            math.log(traits.uneven + 0.4),
            min(traits.runs_on, 2.0),
            (1 - traits.opposite) * 10,
            traits.cosine * 5,
            math.log(min(traits.step, 40.0) + 1.5),
            math.log(min(traits.shortest, 120.0)),
            math.log(min(float(traits.rim.max()), 20.0) + 0.8),
        ]
    )
    return float(_INTERCEPT + (values - _MEAN) / _SPREAD @ _WEIGHT)


def probability(odds: float) -> float:
    """Of log odds."""
    return 0.0 if odds == -math.inf else 1 / (1 + math.exp(-min(max(odds, -40.0), 40.0)))


def fit(traits: Traits) -> float:
    """How well an outline sits on its card, for choosing among outlines of one thing; in units of log odds."""
    return 3 * (traits.edge - 0.5 * traits.ragged - 0.08 * float(traits.rim.max()))
