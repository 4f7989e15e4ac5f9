"""What changed between two photos: the sentence, the slider, the swatches, the numbers."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from tracker.calibrate.calibration import level_of
from tracker.calibrate.warmth import possible_undertones
from tracker.compare.comparison import RegionChange
from tracker.compare.photo_set import kit_of
from tracker.record.records import PhotoRecord
from tracker.said.colour import say_change, say_level, say_lift, signed_interval
from tracker.said.cut import say_cut
from tracker.ui.components.before_after import before_after
from tracker.ui.look import swatches
from tracker.ui.parts.pair import Pair, has_number, read_unlike
from tracker.ui.parts.pictures import LARGE, aligned_url, balanced_url, photo_words, picture_ratio
from tracker.ui.parts.reading_view import band_table, region_swatch
from tracker.ui.parts.seeing import for_the_client, why_no_lengths
from tracker.ui.parts.words import plain
from tracker.ui.parts.yardstick_words import scale_words
from tracker.ui.session import in_force

_TOGETHER = " ±\N{NO-BREAK SPACE}"  # a narrow screen may break the line before it
_UNSURE = "unsure"
_BALANCED = "Both photos are balanced to the same light."
_ALIGNED = "Both photos are balanced to the same light, and the after photo is moved so that the hair lines up."
_UNBALANCED = "Not balanced to the same light, because one of them has no number: do not judge colour by this pair."


def show_pair(pair: Pair, key: str, *, to_others: bool = False) -> None:
    """The sentence, then slider, swatches and numbers; upright photos leave room for the words beside them.

    Parameters
    ----------
    to_others : bool, True where somebody other than the client sees it: there is nothing to read aloud, and notes on
        what would make the result surer are left out
    """
    _headline(pair, to_others=to_others)
    if picture_ratio(pair.after) >= 1:
        picture, said = st.container(), st.container()
    else:
        picture, said = st.columns([6, 5], gap="large")
    with picture:
        _slider(pair, key)
    with said:
        _other_sentences(pair, to_others=to_others)
        if not to_others:
            for_the_client(pair)
        _pair_swatches(pair, in_rows=picture_ratio(pair.after) < 1)
    _numbers(pair)


def no_lift_words(pair: Pair) -> str:
    """Why a pair has no lift."""
    if pair.problem is not None:
        return pair.problem.message
    missing = [word for word, photo in (("before", pair.before), ("after", pair.after)) if not has_number(photo)]
    if len(missing) == 2:
        return "No lift: neither photo has a number."
    return f"No lift: the {missing[0]} photo has no number." if missing else "No lift for this pair."


def _headline(pair: Pair, *, to_others: bool) -> None:
    headline = pair.headline
    if headline is not None:
        said = say_change(headline, to_others=to_others)
    elif to_others and read_unlike(pair):
        said = "No lift: the two photos were measured in different ways."  # the way out is not for others
    else:
        said = no_lift_words(pair)
    st.subheader(plain(said), anchor=False)


def _other_sentences(pair: Pair, *, to_others: bool) -> None:
    others = [change for change in pair.changes if change is not pair.headline]
    if others:
        st.markdown("  \n".join(plain(say_change(change, to_others=to_others)) for change in others))
    cut = say_cut(pair.cut, to_others=to_others, reason=why_no_lengths(pair))
    if cut:
        st.markdown(plain(cut))
    if pair.kit_note and not to_others:
        st.caption(plain(pair.kit_note))


def _slider(pair: Pair, key: str) -> None:
    """Before and after under one sliding edge."""
    balanced = has_number(pair.before) and has_number(pair.after)
    moved = aligned_url(pair.after, pair.before) if balanced else None
    before_after(
        key=key,
        before_url=balanced_url(pair.before, LARGE),
        after_url=moved or balanced_url(pair.after, LARGE),
        ratio=picture_ratio(pair.before if moved else pair.after),
        before_alt=photo_words(pair.before),
        after_alt=photo_words(pair.after),
        note=_ALIGNED if moved else _BALANCED if balanced else _UNBALANCED,
    )


def _pair_swatches(pair: Pair, *, in_rows: bool) -> None:
    """For each band the two measured colours side by side, with their levels."""
    rows = []
    for change in pair.changes:
        photos = (("before", pair.before), ("after", pair.after))
        rows.append(
            [
                region_swatch(region, photo, word, warmth=False)
                for word, photo in photos
                if photo.reading is not None and (region := photo.reading.region(change.name)) is not None
            ]
        )
    for items in rows if in_rows else [[item for row in rows for item in row]]:
        if items:
            swatches(items)


def _numbers(pair: Pair) -> None:
    """Level, lift and tone of each band as a small table."""
    if not pair.changes:
        return
    rows = []
    for label, write in _ROWS:
        cells = [write(pair, change).replace(" ± ", _TOGETHER) for change in pair.changes]
        if any(cell != _UNSURE for cell in cells):
            rows.append((label, cells))
    st.markdown(band_table([change.name for change in pair.changes], rows))
    st.caption(
        plain(
            f"± at 95 %, as are the intervals. {scale_words(in_force().scale)} Plus is warmer, minus is ashier. How "
            "much light fell on the hair does not count in a change of tone."
        )
        + (
            " Where one undertone ends and the next begins is our own choice. Two are named where the photos cannot "
            "decide between them, and none where more than two are possible."
        )
    )


def _lift(change: RegionChange) -> str:
    return signed_interval(change.levels) if change.levels is not None else plain(say_lift(change.lift))


def _level(photo: PhotoRecord, name: str) -> str:
    region = photo.reading.region(name) if photo.reading else None
    return say_level(level_of(region, kit_of(photo), in_force())) if region else "–"


def _undertone(photo: PhotoRecord, name: str) -> str:
    region = photo.reading.region(name) if photo.reading else None
    return (" or ".join(possible_undertones(region.lab)) if region else "") or _UNSURE


_ROWS: tuple[tuple[str, Callable[[Pair, RegionChange], str]], ...] = (
    ("Level before", lambda pair, change: _level(pair.before, change.name)),
    ("Level after", lambda pair, change: _level(pair.after, change.name)),
    ("**Lift**", lambda pair, change: f"**{_lift(change)}**"),
    ("Change of L\\*", lambda pair, change: signed_interval(change.lightness)),
    ("**Change of tone, b\\***", lambda pair, change: f"**{signed_interval(change.tone)}**"),
    ("Undertone before", lambda pair, change: _undertone(pair.before, change.name)),
    ("Undertone after", lambda pair, change: _undertone(pair.after, change.name)),
)
