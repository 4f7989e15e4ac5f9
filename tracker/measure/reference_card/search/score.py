"""How likely an outline is an even grey card, from its traits: a logistic regression behind a few limits."""

from __future__ import annotations

import math

import numpy as np

from tracker.measure.reference_card.search.traits import Traits

# Fitted by penalised maximum likelihood on 1,511 photos: some of the bench's heads, cards drawn into public photos, and
# 1,000 public photos without a card. DEVELOPERS.md says what photos with no part in it gave.
_INTERCEPT = -10.337
_MODEL = (  # trait, weight, mean and spread in the fit
    ("edge", 2.649, 0.561, 0.292),
    ("edges", 0.616, -1.602, 0.707),
    ("covered", -0.328, 0.281, 0.237),
    ("goes on", -1.027, 0.317, 0.363),
    ("blotches", -0.891, -0.248, 0.652),
    ("uneven", -0.772, 0.481, 0.571),
    ("runs on", -1.193, 0.701, 0.407),
    ("opposite sides", -1.648, 0.996, 0.567),
    ("corners", -0.203, 0.879, 0.516),
    ("step", 0.405, 1.810, 1.014),
    ("shortest side", 1.314, 3.658, 0.553),
    ("rim", -0.506, 1.546, 0.631),
    ("ragged", 0.602, 0.054, 0.710),
    ("tint", -0.901, 0.400, 0.441),
    ("level", 0.174, 0.340, 0.968),
    ("level squared", -2.453, 1.053, 1.050),
    ("aspect", -0.173, 0.311, 0.201),
)
_WEIGHT, _MEAN, _SPREAD = (np.array([row[k] for row in _MODEL]) for k in (1, 2, 3))

_CODES = (25.0, 235.0)  # brightest channel of a grey that is neither crushed nor burnt out
_DARKEST = 4.0  # code of its darkest channel
_CAST = 12.0  # between channels in linear light
_OPPOSITE, _ASPECT, _COSINE = 0.8, 2.05, 0.4
_SEEN = 0.3  # of the weakest side


def log_odds(traits: Traits) -> float:
    """Log odds that an outline is one plain grey card; minus infinity where a limit rules it out.

    Parameters
    ----------
    traits : Traits
    """
    grey = _CODES[0] <= traits.brightest <= _CODES[1] and traits.darkest >= _DARKEST and traits.cast < _CAST
    shaped = traits.opposite > _OPPOSITE and traits.aspect < _ASPECT and traits.cosine < _COSINE
    if not (grey and shaped and traits.seen > _SEEN):
        return -math.inf
    return _odds(traits, (traits.brightest - 120) / 60, traits.tint)


def form(traits: Traits) -> float:
    """Log odds by shape, evenness and edges alone, as if it were a neutral grey of middling code.

    Parameters
    ----------
    traits : Traits
    """
    return _odds(traits, 0.0, 1.0)


def _odds(traits: Traits, level: float, tint: float) -> float:
    noise = max(traits.grain, 0.5)
    values = (
        traits.edge,
        math.log(1 - min(traits.edges, 1.0) + 0.05),
        traits.covered,
        traits.goes_on,
        math.log((traits.blotches + 0.15) / (traits.grain + 0.3)),
        math.log((traits.uneven + 0.3) / (traits.grain + 0.3)),
        traits.runs_on,
        (1 - traits.opposite) * 10,
        traits.cosine * 5,
        math.log(min(traits.step, 40.0) / noise + 0.5),
        math.log(min(traits.shortest, 120.0)),
        math.log(min(float(traits.rim.max()), 20.0) / noise + 0.8),
        math.log(traits.ragged + 0.1),
        math.log(tint),
        level,
        level**2,
        math.log(traits.aspect),
    )
    return float(_INTERCEPT + (np.array(values) - _MEAN) / _SPREAD @ _WEIGHT)


def probability(odds: float) -> float:
    """Of log odds.

    Parameters
    ----------
    odds : float, natural logarithm of the odds
    """
    return 0.0 if odds == -math.inf else 1 / (1 + math.exp(-min(max(odds, -40.0), 40.0)))


def fit(traits: Traits, most: float = math.inf) -> float:
    """How well an outline sits on its card, for choosing among outlines of one thing; in units of log odds.

    Parameters
    ----------
    traits : Traits
    most : float, codes, the largest rim that counts
    """
    return 3 * (traits.edge - 0.5 * traits.ragged - 0.08 * min(float(traits.rim.max()), most) - traits.goes_on)
