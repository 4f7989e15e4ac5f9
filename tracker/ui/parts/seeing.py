"""Seeing the change: the sentence for the client, lightness from root to tip, and how light and dark the hair is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import streamlit as st

from tracker.compare.alignment import on_the_later_way
from tracker.compare.lights_and_lows import Shades, distribution, is_lightened, shades, share_lightened
from tracker.compare.transition import Blend, Interval, find_blend
from tracker.errors import TrackerError
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import format_measured, format_measured_share
from tracker.measure.card_scale import in_cm, scale_of
from tracker.measure.reading import ProfilePoint
from tracker.record.records import PhotoRecord
from tracker.said.aloud import tell
from tracker.ui.parts.charts_view import is_dark, show_chart
from tracker.ui.parts.pair import Pair, has_number
from tracker.ui.parts.words import plain

_NAMES = ("before", "after")
_PROFILE_BAND = "The band around a line holds 95 % of what reading this photo again and again would give."
_ALONE = "From this photo alone, so the shape of the head counts in it too."
_SPREAD_BAND = "Bands hold 95 %: the light may differ a little from photo to photo, and the hair seen is a sample."


@dataclass(frozen=True, slots=True)
class Lengths:
    """How far the hair hangs down from root to tip by the card, or why that is not known.

    Attributes
    ----------
    path : Measured or None, that length, mm
    reason : str, why it is not known; empty where nobody noted the size of the card
    """

    path: Measured | None = None
    reason: str = ""


def lengths(photo: PhotoRecord) -> Lengths:
    """What the card says about lengths in a photo."""
    if photo.marks is None or photo.reading is None:
        return Lengths()
    try:
        scale = scale_of(photo.reading, photo.marks, photo.size)
        return Lengths(scale.path if scale else None)
    except TrackerError as error:
        return Lengths(reason=error.message)


def why_no_lengths(pair: Pair) -> str:
    """Why a card gives no lengths in one of the photos; empty where it does, or nobody noted its size."""
    return next((reason for photo in (pair.before, pair.after) if (reason := lengths(photo).reason)), "")


def for_the_client(pair: Pair) -> None:
    """What changed and how sure it is, in words to be read aloud."""
    if not pair.changes:
        return
    first, second = pair.readings
    said = tell(
        pair.changes,
        blend=_blend(pair),
        length=lengths(pair.after).path,
        lightened=share_lightened(first, second),
        cut=pair.cut,
    )
    with st.container(key="read-aloud"):
        st.caption("To read aloud")
        st.markdown(plain(said))


def change_charts(pair: Pair, *, to_others: bool = False) -> None:
    """Root to tip, then lights and lows, of before and after; `to_others` without what the photo lacks."""
    if not pair.changes or len(pair.readings) != 2:
        return
    earlier, later = _on_the_same_way(pair)
    if earlier and later:
        found = lengths(pair.after)
        blend = _blend(pair)
        title = "Lightness from root to tip" if blend is None else _finding("Lighter than before", blend, found.path)
        _profile((earlier, later), blend, title, _blend_words(blend, found, to_others=to_others))
    _spread(pair.before, pair.after)


def photo_charts(photo: PhotoRecord) -> None:
    """The same of one photo."""
    if photo.reading is None or not has_number(photo):
        return
    if photo.reading.profile:
        found = lengths(photo)
        blend = find_blend(photo.reading.profile)
        title = "Lightness from root to tip" if blend is None else _finding("Lighter", blend, found.path)
        said = [*_blend_words(blend, found), _ALONE] if blend is not None else []
        _profile((photo.reading.profile,), blend, title, said)
    _spread(photo)


def _spread(*photos: PhotoRecord) -> None:
    """How much of the hair has which lightness, of one photo or of before and after."""
    from tracker.charts import spread_chart

    readings = [photo.reading for photo in photos if photo.reading is not None and has_number(photo)]
    curves = {name: distribution(reading) for name, reading in zip(_NAMES, readings, strict=False)}
    found = {name: shades(reading) for name, reading in zip(_NAMES, readings, strict=False)}
    curves_seen = {name: curve for name, curve in curves.items() if curve is not None}
    found_seen = {name: each for name, each in found.items() if each is not None}
    if len(curves_seen) != len(photos) or len(found_seen) != len(photos):
        return
    share = share_lightened(*readings) if len(readings) == 2 else None
    if len(readings) == 1:
        title = f"Lights and lows lie {format_measured(found_seen['before'].dimension)} apart in lightness"
    elif share is None or not is_lightened(share):
        title = "Lights and lows, before and after"
    else:
        title = f"{format_measured_share(share)} of the hair is lighter than before"
    spec, words = spread_chart(curves_seen, found_seen, is_dark(), title=title)
    show_chart(spec, words, key="spread")
    st.caption(plain(" ".join([*_shade_words(found_seen), _SPREAD_BAND])))


def _profile(profiles: Sequence[Sequence[ProfilePoint]], blend: Blend | None, title: str, said: Sequence[str]) -> None:
    from tracker.charts import profile_chart

    first, second = profiles[0], profiles[1] if len(profiles) > 1 else None
    spec, words = profile_chart(first, second, is_dark(), title=title, start=None if blend is None else blend.start)
    show_chart(spec, words, key="profile")
    st.caption(plain(" ".join([*said, _PROFILE_BAND])))


def _on_the_same_way(pair: Pair) -> tuple[tuple[ProfilePoint, ...], tuple[ProfilePoint, ...]]:
    """Both profiles along the way of the after photo: hair that was cut keeps its distance from the root."""
    first, second = pair.readings
    if pair.before.marks is None or pair.after.marks is None:
        return first.profile, second.profile
    left = pair.cut.left.value if pair.cut is not None and pair.cut.left is not None else None
    return on_the_later_way(first.profile, pair.before.marks, pair.after.marks, left), second.profile


def _blend(pair: Pair) -> Blend | None:
    """The rise of lightness that came with the service; nothing where no band got lighter for sure."""
    if not any(change.lightness.low > 0 for change in pair.changes):
        return None
    earlier, later = _on_the_same_way(pair)
    return find_blend(later, earlier)


def _finding(what: str, blend: Blend, path: Measured | None) -> str:
    if blend.from_the_root:
        return f"{what} from the root on"
    if path is None:
        return f"{what} from {_share(blend.start)} of the way down"
    return f"{what} from {_range(blend.start_cm(path), 0)} cm below the root"


def _blend_words(blend: Blend | None, found: Lengths, *, to_others: bool = False) -> list[str]:
    """Start and softness with their intervals, and what the card says about lengths."""
    if blend is None:
        return []
    if found.path is None:
        start = f"The lightening starts at {_share(blend.start)} of the way from root to tip."
        steep = f"{_range(blend.per_tenth, 1)} in a tenth of the way"
        why = found.reason or "Note the size of your card on the Studio page to get centimetres."
        why = "" if to_others else why
    else:
        start = f"The lightening starts {_range(blend.start_cm(found.path), 1)} cm below the root."
        steep = f"{_range(blend.per_cm(found.path), 1)} in a centimetre"
        why = f"By the card’s size the hair hangs {format_measured(in_cm(found.path))} cm down from root to tip."
    return [
        start,
        f"Where it is steepest, lightness rises by {steep}: the smaller, the softer the blend.",
        *([why] if why else []),
    ]


def _share(interval: Interval) -> str:
    percent = interval.times(100)
    return f"{percent.value:.0f} % ({percent.low:.0f} to {percent.high:.0f} %)"


def _range(interval: Interval, digits: int) -> str:
    return f"{interval.value:.{digits}f} ({interval.low:.{digits}f} to {interval.high:.{digits}f})"


def _shade_words(shades: Mapping[str, Shades]) -> list[str]:
    said = []
    for name, each in shades.items():
        lights, lows, apart = (format_measured(value) for value in (each.lights, each.lows, each.dimension))
        start = f"{name.capitalize()}: lightness" if len(shades) > 1 else "Lightness"
        said.append(f"{start} of the lights {lights}, of the lows {lows}, {apart} apart.")
    return [*said, "Lightness is L*: 0 is black, 100 is white."]
