"""What went into the bowl from the studio's own price list, and what was left over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import streamlit as st

from tracker.record.mixing import MILLILITRE, Charge, PriceLine, developer_grams
from tracker.record.records import Step
from tracker.ui.navigation import link
from tracker.ui.parts.held import held
from tracker.ui.parts.step_words import cost_words
from tracker.ui.parts.words import plain

_UNIT_WORDS = {"g": "Grams", "ml": "Millilitres"}


@dataclass
class _Followed:
    """The quantity that a field was last filled in with."""

    quantity: float | None = None


def step_cost(step: Step, first: Step, prices: Sequence[PriceLine], key: str) -> Step:
    """The step with what it cost; lines that left the price list stay with the price they had."""
    kept = {charge.price_id: charge for charge in first.charges}
    lines = {line.id: line for line in prices}
    if not lines and not kept:
        link("prices", "Fill in your price list to see what a step costs")
        return step
    names = {**{charge.price_id: charge.name for charge in kept.values()}, **{n: p.name for n, p in lines.items()}}
    chosen = st.multiselect(
        "From my price list", list(names), default=list(kept), format_func=names.__getitem__, key=f"{key}-charged"
    )
    charges = [
        _charge(place, step, lines.get(line_id), kept.get(line_id), f"{key}-quantity-{line_id}")
        for place, line_id in enumerate(chosen)
    ]
    if not chosen:
        return replace(step, charges=(), waste=None)
    if any(charge.pack_unit == MILLILITRE for charge in charges):
        st.caption("Where only grams are known, one gram is counted as one millilitre.")
    waste = st.number_input(
        "Left over and thrown away, %",
        0.0,
        100.0,
        value=first.waste,
        step=5.0,
        format="%g",
        key=f"{key}-waste",
        placeholder="0",
    )
    step = replace(step, charges=tuple(charges), waste=waste)
    st.caption(plain(f"Cost of this step: {cost_words([step])}."))
    return step


def _charge(place: int, step: Step, line: PriceLine | None, kept: Charge | None, key: str) -> Charge:
    """One product with its quantity; an earlier price stays, a new one is today's."""
    unit = kept.pack_unit if kept is not None else line.pack_unit if line is not None else ""
    name = kept.name if kept is not None else line.name if line is not None else ""
    begins = kept.quantity if kept is not None else _usual_quantity(place, step)
    _follow(begins, key)
    typed = st.number_input(
        f"{_UNIT_WORDS.get(unit, unit)} of {plain(name)}, as mixed",
        0.0,
        5000.0,
        value=None,
        step=5.0,
        format="%g",
        key=key,
    )
    quantity = typed or 0.0
    if kept is not None:
        return replace(kept, quantity=quantity)
    if line is None:
        raise AssertionError("a chosen product is on the list or was charged before")
    return line.charge(quantity)


def _follow(begins: float | None, key: str) -> None:
    """Let an untouched quantity follow what was noted above it; one that was typed stays."""
    followed = held(_Followed, key)
    if st.session_state.get(key) in (None, followed.quantity):
        st.session_state[key] = begins
    followed.quantity = begins


def _usual_quantity(place: int, step: Step) -> float | None:
    """The first product as much as was noted above, the second as much as the ratio gives of developer."""
    if step.amount is None:
        return None
    if place == 0:
        return round(step.amount.grams, 1)
    beside = developer_grams(step.amount.grams, step.ratio) if place == 1 else None
    return None if beside is None else round(beside, 1)
