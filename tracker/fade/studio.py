"""What this studio's own past services of one kind say about the next one: partial pooling.

Every past service has its own fast part, slow part and rate, drawn from a distribution for that kind. Its means and
spreads are found from all services together (empirical Bayes by expectation-maximisation). The published assumptions
count as one more service, so a few services move them a little and many move them a lot.

References
----------
- Gelman et al. 2013, Bayesian Data Analysis, 3rd edition, ch. 5 (hierarchical models), 13.4 (expectation-maximisation).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracker.fade.many import Many, Service
from tracker.fade.posterior import DEFAULT_PRIORS, PRIORS_BY_UNIT, Priors
from tracker.maths.uncertainty import Array

FEWEST_SERVICES = 5
"""Fewest past services of a kind to learn from."""

# services that the published assumptions count as. In simulated studios with 5 to 40 services, a half, one and two
# predict about equally well; with one, windows hold the truth 79 to 82 % of the time where heads differ as widely as
# published, and up to 90 % where they are much alike
_PUBLISHED_COUNT = 1.0
_ROUNDS = 300
_SETTLED = 1e-4  # share of a spread: smaller steps count as converged
_LEAST = 0.05  # smallest credible share of the published spread


@dataclass(frozen=True, slots=True)
class StudioPrior:
    """Priors for the next client, and where they come from.

    Attributes
    ----------
    priors : for `fit_fade`; the published ones where nothing was learnt
    services : int, past services that count: those with photos at two times or more
    learnt : bool, True where they moved the priors
    """

    priors: Priors
    services: int
    learnt: bool


def studio_prior(past: Sequence[Service], unit: str = "") -> StudioPrior:
    """Priors learnt from past services of one kind; never from fewer than five.

    Parameters
    ----------
    past : services of one kind, one quantity and region, without the one to be forecast
    unit : str, of the quantity, to choose the published assumptions when there is no service

    Raises
    ------
    ValueError : services in different units
    """
    units = {each.series.unit for each in past} | ({unit} if unit else set())
    if len(units) > 1:
        raise ValueError(f"services of unlike units cannot be pooled: {sorted(units)}")
    start = PRIORS_BY_UNIT.get(next(iter(units), ""), DEFAULT_PRIORS)
    counted = [each for each in past if each.series.occasions > 1]
    n = len(counted)
    if n < FEWEST_SERVICES:
        return StudioPrior(start, n, False)
    found = pool(counted, start, _PUBLISHED_COUNT)
    # the means themselves are known no better than that many services allow
    wider = math.sqrt(1 + 1 / (n + _PUBLISHED_COUNT))
    learnt = replace(
        found,
        amplitude=found.amplitude * wider,
        slope=found.slope * wider,
        rate_spread=found.rate_spread * wider,
    )
    return StudioPrior(learnt, n, True)


def pool(services: Sequence[Service], published: Priors, count: float) -> Priors:
    """Means and spreads of fast part, slow part and rate that make the readings of all services most probable.

    Parameters
    ----------
    services : sequence of Service, the studio's own
    published : Priors, to begin from
    count : float, >= 0, services that the published assumptions count as; with 0 only the readings count
    """
    many, priors = Many(services, published), published
    base = _Usual.of(published)
    for _ in range(_ROUNDS):
        parts = many.under(priors)
        usual = _Usual.of(priors)
        w = parts.weights
        log_rates = np.broadcast_to(many.log_rates, w.shape)
        firsts = [(w * part).sum(axis=1) for part in (parts.fast, parts.slow, log_rates)]
        seconds = [
            (w * (part**2 + variance)).sum(axis=1)
            for part, variance in ((parts.fast, parts.var_fast), (parts.slow, parts.var_slow), (log_rates, 0.0))
        ]
        moved = _Usual(*(_weigh(*each, count) for each in zip(firsts, seconds, base.pairs, strict=True)))
        priors = moved.priors(published)
        if moved.settled(usual):
            break
    return priors


@dataclass(frozen=True, slots=True)
class _Usual:
    """Mean and spread of the fast part, the slow part and the natural log of the rate."""

    fast: tuple[float, float]
    slow: tuple[float, float]
    rate: tuple[float, float]

    @classmethod
    def of(cls, priors: Priors) -> _Usual:
        rate = math.log(priors.rate_median), priors.rate_spread
        return cls((priors.amplitude_mean, priors.amplitude), (priors.slope_mean, priors.slope), rate)

    @property
    def pairs(self) -> tuple[tuple[float, float], ...]:
        return self.fast, self.slow, self.rate

    def priors(self, published: Priors) -> Priors:
        return replace(
            published,
            amplitude_mean=self.fast[0],
            amplitude=self.fast[1],
            slope_mean=self.slow[0],
            slope=self.slow[1],
            rate_median=math.exp(self.rate[0]),
            rate_spread=self.rate[1],
        )

    def settled(self, before: _Usual) -> bool:
        return all(
            abs(new[0] - old[0]) < _SETTLED * old[1] and abs(new[1] - old[1]) < _SETTLED * old[1]
            for new, old in zip(self.pairs, before.pairs, strict=True)
        )


def _weigh(first: Array, second: Array, published: tuple[float, float], count: float) -> tuple[float, float]:
    """Mean and spread from the moments of each service, with the published ones counted as that many more."""
    middle, sd = published
    n = first.size + count
    mean = (count * middle + float(first.sum())) / n
    square = count * (sd**2 + (mean - middle) ** 2) + float((second - 2 * mean * first + mean**2).sum())
    return mean, max(math.sqrt(square / n), _LEAST * sd)
