"""What a fade chart says, as a sentence and as notes under it."""

from __future__ import annotations

from tracker.fade import FadeFit, months_between
from tracker.record.records import PhotoRecord
from tracker.said.colour import say_graded, say_lightness
from tracker.said.wear import say_no_rate
from tracker.ui.parts.pair import compare_photos
from tracker.wear import ServiceReadings, kind_of
from tracker.words import REGION_TITLES, months_words
from tracker.workflow.learning import Learning

LIGHTNESS, WARMTH = "Lightness", "Warmth"

_BARS = (
    "Dots: as measured. Bars: ± at 95 % for comparing these photos with each other. An error that all of them share "
    "is left out here, but counts in the ± of each photo on its own."
)
_BARS_UNLIKE = "Dots: as measured, with ± at 95 %."
_BANDS = (
    "Line: where the colour most likely was and will be. Bands: where it is in 80 and in 95 of 100 cases; a band cut "
    "off at an edge goes on beyond it."
)
_WARMTH = (
    "The sentence above the chart compares the first photo with the last; how much light fell on the hair does not "
    "count there, but does in the warmth that is drawn."
)
_STRIP = "Strip along the bottom: the colour at each point of the line."


def chart_words(*, quantity: str, shared: bool, strip: bool, agreed: str) -> str:
    """What is drawn in a fade chart.

    Parameters
    ----------
    quantity : str, `LIGHTNESS` or `WARMTH`
    shared : bool, True where the bars leave out what all photos share
    strip : bool, True where the modelled colour is drawn along the lower edge
    agreed : str, what the dashed lines stand for, as `limit_words.agreed_words` says it; empty where there is none
    """
    dashed = f"Dashed: what was agreed, {agreed}." if agreed else ""
    parts = (
        _BARS if shared else _BARS_UNLIKE,
        _BANDS,
        _WARMTH if quantity == WARMTH else "",
        dashed,
        _STRIP if strip else "",
    )
    return " ".join(part for part in parts if part)


def finding(photos: tuple[PhotoRecord, ...], region: str, quantity: str) -> str:
    """The title of the chart: what happened between the first photo and the last."""
    where = REGION_TITLES[region]
    if len(photos) < 2:
        return f"{where}: one photo so far; the next one will show how it wears"
    first, last = photos[0], photos[-1]
    span = months_words(months_between(first.taken_at, last.taken_at))
    after = f"after {span}" if span else "on the same day"
    pair = compare_photos(first, last)
    change = pair.change(region)
    if change is None:
        return f"{where}: nothing to compare {after}"
    if pair.cut is not None:
        after += ", at the same distance from the root, since it was cut"
    if quantity == LIGHTNESS and change.lightness.changed:
        return f"{where}: {say_lightness(change)} {after}"
    if quantity == WARMTH and change.tone.changed:
        return f"{where}: {say_graded(change.tone)} {after}"  # its number is not the distance of two dots
    answer, what = (change.lightness, "lightness") if quantity == LIGHTNESS else (change.tone, "tone")
    return f"{where}: {'no meaningful' if answer.sure else 'no certain'} change in {what} {after}"


def rate_words(fit: FadeFit) -> str:
    """How fast it wears, or why that cannot be said."""
    if fit.half_life is None:
        return say_no_rate(fit.refusal)
    half = fit.half_life
    return (
        f"Half of the early change happens within {half.median:.1f} months "
        f"(between {half.low:.1f} and {half.high:.1f}, 95 %)."
    )


def learnt_words(known: Learning, readings: ServiceReadings, region: str, quantity: str) -> str:
    """What the studio's own services of that kind add; empty where nothing was learnt from them."""
    asked = (readings.hair, kind_of(readings.services), region, quantity)
    found = next((each for each in known.found if (each.hair, each.kind, each.region, each.quantity) == asked), None)
    if found is None or not known.on:
        return ""
    return f"Learnt from {found.services} past services of this kind in this studio."
