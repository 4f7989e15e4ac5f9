"""Charts made with Altair, as dictionaries, each with a text that says the same in words."""

from tracker.charts.across import MOST_STRANDS, across_chart
from tracker.charts.cases import CasePoint, cases_chart
from tracker.charts.lengths import profile_chart
from tracker.charts.picture import FORMATS, MIME, chart_picture
from tracker.charts.spread import spread_chart
from tracker.charts.wear import axis_end, fade_chart
from tracker.charts.yardsticks import neutral_chart, photos_chart, scale_chart

__all__ = [
    "FORMATS",
    "MIME",
    "MOST_STRANDS",
    "CasePoint",
    "across_chart",
    "axis_end",
    "cases_chart",
    "chart_picture",
    "fade_chart",
    "neutral_chart",
    "photos_chart",
    "profile_chart",
    "scale_chart",
    "spread_chart",
]
