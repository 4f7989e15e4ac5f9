"""How one service wears: readings in, a curve with its band out, or a plain no where they cannot tell."""

from tracker.fade.across import GroupWear, Overlay, Strand, across
from tracker.fade.many import Worn
from tracker.fade.model import FadeFit, fit_fade
from tracker.fade.posterior import Priors
from tracker.fade.series import FadeSeries, months_between
from tracker.fade.series_csv import fade_from_csv
from tracker.fade.studio import FEWEST_SERVICES, studio_prior
from tracker.fade.window import HORIZON, Limit, WhyNot, Window, judge, nothing_known, refresh_window, window

__all__ = [
    "FEWEST_SERVICES",
    "HORIZON",
    "FadeFit",
    "FadeSeries",
    "GroupWear",
    "Limit",
    "Overlay",
    "Priors",
    "Strand",
    "WhyNot",
    "Window",
    "Worn",
    "across",
    "fade_from_csv",
    "fit_fade",
    "judge",
    "months_between",
    "nothing_known",
    "refresh_window",
    "studio_prior",
    "window",
]
