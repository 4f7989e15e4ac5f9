"""How likely an outline is an even grey card, from its traits: a logistic regression behind a few limits."""

from __future__ import annotations

import math

import numpy as np

from tracker.measure.reference_card.search.traits import Traits

# Fitted by penalised maximum likelihood on 390 photos: some of the bench's heads, cards drawn into public photos, and
# public photos without a card. DEVELOPERS.md says what photos with no part in it gave.
_INTERCEPT = -5.495
_MODEL = (  # trait, weight, mean and spread in the fit
    ("edge", 0.5046, 0.6071, 0.2919),
    ("uneven", -1.8571, 0.2811, 0.6895),
    ("runs on", -0.3863, 0.4845, 0.3812),
    ("opposite sides", -0.1741, 0.8391, 0.5765),
    ("corners", -0.2229, 0.6653, 0.5383),
    ("step", 0.6136, 2.2465, 0.9832),
    ("shortest side", 2.967, 3.6703, 0.5838),
    ("rim", -0.9924, 1.3593, 0.615),
    ("ragged", -0.1611, 0.9645, 0.8447),
    ("tint", -0.8548, 0.3764, 0.375),
    ("level", -0.5447, -0.0216, 0.8501),
    ("level squared", -1.0675, 0.7231, 0.8039),
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
        math.log((traits.uneven + 0.3) / (traits.grain + 0.3)),
        traits.runs_on,
        (1 - traits.opposite) * 10,
        traits.cosine * 5,
        math.log(min(traits.step, 40.0) / noise + 0.5),
        math.log(min(traits.shortest, 120.0)),
        math.log(min(float(traits.rim.max()), 20.0) / noise + 0.8),
        traits.ragged,
        math.log(tint),
        level,
        level**2,
    )
    return float(_INTERCEPT + (np.array(values) - _MEAN) / _SPREAD @ _WEIGHT)


def probability(odds: float) -> float:
    """Of log odds.

    Parameters
    ----------
    odds : float, natural logarithm of the odds
    """
    return 0.0 if odds == -math.inf else 1 / (1 + math.exp(-min(max(odds, -40.0), 40.0)))


def fit(traits: Traits) -> float:
    """How well an outline sits on its card, for choosing among outlines of one thing; in units of log odds.

    Parameters
    ----------
    traits : Traits
    """
    return 3 * (traits.edge - 0.5 * traits.ragged - 0.08 * float(traits.rim.max()))
