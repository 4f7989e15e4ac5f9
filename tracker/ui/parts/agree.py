"""Agreeing with the client how far the colour may go: one tap for each limit, none of them needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import streamlit as st

from tracker.calibrate.level import HALF_LEVELS
from tracker.fade.posterior import WASHES_RANGE
from tracker.measure.reading import WHOLE
from tracker.record.agreed import LONGEST_ROOT_MM, MOST_WARMER, AgreedLimits
from tracker.ui.parts.fields import region_field
from tracker.ui.parts.held import held
from tracker.ui.parts.limit_words import agreed_sentences
from tracker.ui.parts.words import plain

# Loose choices of our own: what is offered first. Any other number can be typed.
_WARMER = {2.0: "a touch (2)", 4.0: "a little (4)", 6.0: "clearly (6)", 10.0: "a lot (10)"}
_ROOT_MM = (10.0, 15.0, 20.0, 30.0, 45.0)
WASHES = (1.0, 2.0, 3.0, 4.0, 5.0, 7.0)

Choice = tuple[AgreedLimits, float | None]
_OTHER = "other"


@dataclass
class _Begun:
    """What the fields began with, and how often they did so anew."""

    choice: Choice | None = None
    turn: int = 0


def agree(choice: Choice, key: str, last: Choice | None = None, hair: str = WHOLE) -> Choice:
    """The fields of what is agreed.

    Parameters
    ----------
    choice : what they begin with
    key : str, different from that of any other such fields
    last : what was agreed the last time, offered as a whole, or None
    hair : str, how the hair is read of which limits are agreed anew; those left as they were keep what they have

    Returns
    -------
    limits, washes a week : as they now read
    """
    begun = held(_Begun, key)
    begun.choice = begun.choice or choice
    if last is not None and last != begun.choice and st.button("As last time", key=f"{key}-last"):
        begun.choice = last
        begun.turn += 1  # fields of another name, so that they begin anew
    if last is not None:
        st.caption(plain(f"Last time: {agreed_sentences(*last) or 'Nothing was agreed.'}"))
    limits, washes = begun.choice
    own = f"{key}-{begun.turn}"
    region = region_field("Where to watch warmth and level", limits.region, f"{own}-region")
    warmer = _one_of("Warmer by no more than", _WARMER, limits.warmer, f"{own}-warmer", 0.5, MOST_WARMER, 0.5)
    offered_root = {each: f"{each:g} mm" for each in _ROOT_MM}
    root = _one_of("Root no longer than", offered_root, limits.root_mm, f"{own}-root", 1.0, LONGEST_ROOT_MM, 1.0)
    left, right = st.columns(2)
    with left:
        darkest = _level("No darker than level", limits.darkest, f"{own}-darkest")
    with right:
        lightest = _level("No lighter than level", limits.lightest, f"{own}-lightest")
    often = {each: f"{each:g}" for each in WASHES}
    told = _one_of("Washes a week, as the client says", often, washes, f"{own}-washes", *WASHES_RANGE, 0.25)
    read = AgreedLimits(warmer, darkest, lightest, root, region, limits.hair)
    return read if read == limits else replace(read, hair=hair), told


def _one_of(
    label: str, offered: dict[float, str], value: float | None, key: str, low: float, high: float, step: float
) -> float | None:
    """One tap for a usual number, a field for any other; a second tap clears it."""
    options: Sequence[float | str] = [*offered, _OTHER]
    first: float | str | None = value if value is None or value in offered else _OTHER
    chosen = st.pills(
        label,
        options,
        default=first,
        format_func=lambda option: option if isinstance(option, str) else offered[option],
        key=key,
    )
    if chosen != _OTHER:
        return float(chosen) if chosen is not None else None
    typed = st.number_input(f"{label}: number", low, high, value, step, key=f"{key}-number")
    return float(typed) if typed is not None else None


def _level(label: str, value: float | None, key: str) -> float | None:
    options = sorted({*HALF_LEVELS, *([value] if value is not None else [])})
    chosen = st.selectbox(
        label,
        options,
        index=options.index(value) if value is not None else None,
        format_func=lambda level: f"{level:g}",
        placeholder="not agreed",
        key=key,
    )
    return float(chosen) if chosen is not None else None
