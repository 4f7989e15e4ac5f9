"""How likely the readings of one service are under some priors, by a plain sum over four thousand rates."""

from __future__ import annotations

import math

import numpy as np

from tracker.fade import FadeSeries, Priors
from tracker.fade.posterior import design, linear_part


def log_evidence(series: FadeSeries, priors: Priors) -> float:
    """Log of that probability; the flat prior of y0 leaves a constant that differences between priors do not have."""
    standard = np.linspace(-5, 5, 4001)
    rates = priors.rate_median * np.exp(priors.rate_spread * standard)
    evidence, _, _ = linear_part(series, priors, design(np.asarray(series.months), rates))
    best = float(evidence.max())
    prior = np.exp(-0.5 * standard**2) / math.sqrt(2 * math.pi) * (standard[1] - standard[0])
    return best + math.log(float(np.exp(evidence - best) @ prior))
