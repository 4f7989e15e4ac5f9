"""How one service wears: readings in, a curve with its band out, and a plain no where they carry no answer."""

from tracker.fade.forecast import Crossing, forecast
from tracker.fade.least_squares import Comparison, LeastSquares, compare_models, least_squares
from tracker.fade.model import FadeFit, fit_fade
from tracker.fade.posterior import DEFAULT_PRIORS, PRIORS_BY_UNIT, Posterior, Priors
from tracker.fade.rate import HalfLife
from tracker.fade.series import FadeSeries, months_between
from tracker.fade.series_csv import fade_from_csv

__all__ = [
    "DEFAULT_PRIORS",
    "PRIORS_BY_UNIT",
    "Comparison",
    "Crossing",
    "FadeFit",
    "FadeSeries",
    "HalfLife",
    "LeastSquares",
    "Posterior",
    "Priors",
    "compare_models",
    "fade_from_csv",
    "fit_fade",
    "forecast",
    "least_squares",
    "months_between",
]
