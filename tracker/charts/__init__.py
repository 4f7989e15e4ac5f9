"""Charts as Vega-Lite dictionaries, each with a text that says the same to people who do not see it."""

from tracker.charts.lengths import profile_chart
from tracker.charts.wear import fade_chart

__all__ = ["fade_chart", "profile_chart"]
