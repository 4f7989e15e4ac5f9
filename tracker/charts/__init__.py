"""Charts as Vega-Lite dictionaries, each with a text that says the same to people who do not see it."""

from tracker.charts.cases import CasePoint, cases_chart
from tracker.charts.lengths import profile_chart
from tracker.charts.spread import spread_chart
from tracker.charts.wear import fade_chart
from tracker.charts.yardsticks import neutral_chart, photos_chart, scale_chart

__all__ = [
    "CasePoint",
    "cases_chart",
    "fade_chart",
    "neutral_chart",
    "photos_chart",
    "profile_chart",
    "scale_chart",
    "spread_chart",
]
