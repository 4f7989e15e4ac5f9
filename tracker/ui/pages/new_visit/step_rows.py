"""The steps of a service as rows to fill in: where, what, with what, how long."""

from __future__ import annotations

import streamlit as st

from tracker.records import ZONES, Step

_MOST = 20


def step_rows(steps: tuple[Step, ...], key: str) -> tuple[Step, ...]:
    """The rows, one for each step and one more on request; rows without words are left out."""
    number_key = f"{key}-number"
    number = st.session_state.setdefault(number_key, max(len(steps), 0))
    st.markdown("**Steps**")
    if not number:
        st.caption("What was put where, and for how long: for your own memory next time.")
    filled = [_row(index, steps[index] if index < len(steps) else None, key) for index in range(number)]
    if number < _MOST and st.button("Add a step", key=f"{key}-add"):
        st.session_state[number_key] = number + 1
        st.rerun()
    return tuple(step for step in filled if step is not None)


def _row(index: int, step: Step | None, key: str) -> Step | None:
    """One step; None while it says nothing."""
    with st.container(border=True):
        zone = st.selectbox(
            "Where",
            ZONES,
            index=ZONES.index(step.zone) if step is not None and step.zone in ZONES else 0,
            key=f"{key}-{index}-zone",
        )
        what = st.text_input(
            "What was done",
            value=step.what if step is not None else "",
            max_chars=200,
            placeholder="for example: fine weave, open air",
            key=f"{key}-{index}-what",
        )
        left, right = st.columns([2, 1])
        product = left.text_input(
            "Product and mix, in your own words",
            value=step.product if step is not None else "",
            max_chars=200,
            key=f"{key}-{index}-product",
        )
        minutes = right.number_input(
            "Minutes",
            min_value=0.0,
            max_value=600.0,
            value=step.minutes if step is not None else None,
            step=5.0,
            format="%.0f",
            key=f"{key}-{index}-minutes",
        )
    words = (what or "").strip(), (product or "").strip()
    if not any(words):
        return None
    return Step(zone, words[0], words[1], minutes, step.note if step is not None else "")
