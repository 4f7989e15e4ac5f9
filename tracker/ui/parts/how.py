"""How a number was made, in words, for those who want to know."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from tracker.maths.uncertainty import format_measured, format_measured_share, format_number, format_share
from tracker.measure import CARD_KINDS
from tracker.measure.reading import RIBBON, WHOLE, PhotoReading, RegionReading
from tracker.ui.parts.reading_view import band_table
from tracker.ui.parts.words import plain
from tracker.ui.parts.yardstick_words import locus_words, scale_words, spread_words
from tracker.ui.session import in_force

_WAYS = {
    RIBBON: (
        "A narrow ribbon along the hair was read, without the lightest and the darkest tenth of each band.",
        "how much patches of hair inside one band differ",
    ),
    WHOLE: (
        "All of the hair inside its outline was read. Each band is the hair between two heights of the line from root "
        "to tip: the root its first fifth, the mid-lengths its third, the ends its last. Light and low pieces all "
        "count; what is not hair does not.",
        "how much clumps of hair side by side differ, how the hair falls each time",
    ),
}
"""How the hair was read, and what that adds to the ±."""

_BUDGET = (
    "Each ± holds the true value in 95 of 100 cases, as far as its parts are known: {spread}, how well the card was "
    "read and how true its grey is, light that differs between card and hair, how exactly the marks were placed, and "
    "how the camera renders colours."
)

YARDSTICK = (
    "For scale, from dental work, as no figure for hair is published: half of all observers notice a difference of "
    "0.8 ΔE00, and half still accept 1.8 (Paravina 2015)."
)
"""What a colour difference means to an eye."""

_LEAST_SHARE = 0.005  # less is nothing to the digit shown


def how_it_was_measured(*readings: PhotoReading, extra: tuple[str, ...] = ()) -> None:
    """The expander with the method behind these readings."""
    if not readings:
        return
    with st.expander("How this was measured"):
        for kind in dict.fromkeys(reading.correction.kind for reading in readings):
            if kind in CARD_KINDS:
                st.markdown(CARD_KINDS[kind].corrected)
        for hair in dict.fromkeys(reading.hair for reading in readings):
            read, spread = _WAYS[hair]
            st.markdown(read)
            st.markdown(_BUDGET.format(spread=spread))
        own = in_force()
        for sentence in (scale_words(own.scale), locus_words(own.locus), spread_words(own.spread)):
            st.markdown(plain(sentence))
        for sentence in extra:
            st.markdown(sentence)
        for name, reading in zip(_names(len(readings)), readings, strict=True):
            _figures(name, reading)


def _names(number: int) -> tuple[str, ...]:
    return ("Before photo", "After photo") if number == 2 else tuple("Photo" for _ in range(number))


def _figures(name: str, reading: PhotoReading) -> None:
    """The figures of one photo as a table: L*, a*, b*, lights and lows, what was left out."""
    red, green, blue = (format_number(gain, 2) for gain in reading.correction.gains)
    st.markdown(
        f"**{name}.** Method version {reading.method_version}. "
        f"Light corrected by red × {red}, green × {green}, blue × {blue}."
    )
    if not reading.regions:
        return
    rows = [(label, [write(region) for region in reading.regions]) for label, write in _ROWS]
    st.markdown(band_table([region.name for region in reading.regions], rows))


def _left_out(region: RegionReading) -> str:
    dropped = region.dropped
    found = (
        ("not hair", dropped.not_hair),
        ("burnt out or black", dropped.clipped),
        ("outside the photo", dropped.outside),
    )
    seen = [f"{format_share(share)} {word}" for word, share in found if share >= _LEAST_SHARE]
    if dropped.gloss or dropped.shadow:
        by_rule = f"lightest {format_share(dropped.gloss)} and darkest {format_share(dropped.shadow)}, by rule"
        seen.insert(0, by_rule)
    return plain("; ".join(seen) or "nothing")


_ROWS: tuple[tuple[str, Callable[[RegionReading], str]], ...] = (
    ("L\\* lightness", lambda region: format_measured(region.lab.axes[0])),
    ("a\\* green to red", lambda region: format_measured(region.lab.axes[1])),
    ("b\\* blue to yellow", lambda region: format_measured(region.lab.axes[2])),
    ("Lights, L\\*", lambda region: format_measured(region.lights)),
    ("Lows, L\\*", lambda region: format_measured(region.lows)),
    ("Lights minus lows", lambda region: format_measured(region.dimension)),
    (
        "Lighter than the root",
        lambda region: plain(format_measured_share(region.lightened)) if region.lightened else "–",
    ),
    ("Left out", _left_out),
    ("Pixels averaged", lambda region: f"{region.pixels:,}"),
)
