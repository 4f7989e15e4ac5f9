"""Swatches that are being gathered for one of the studio's own scales."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from tracker import workflow
from tracker.maths.quantities import Measured
from tracker.maths.rgb_space import lab_to_hex
from tracker.maths.uncertainty import format_measured
from tracker.ui.look import Swatch as Patch
from tracker.ui.look import swatches as show_patches
from tracker.ui.parts.notices import say_on_next_page
from tracker.ui.parts.words import plain

if TYPE_CHECKING:
    from tracker.calibrate.calibration import Swatch
    from tracker.store import Store


def gathered_swatches(store: Store, kind: str, swatches: Sequence[Swatch], notes: Sequence[str] = ()) -> None:
    """The measured colours in a row, and the way to take one out.

    Parameters
    ----------
    notes : a few words for each, such as how far it lies off the curve
    """
    shown = list(notes) or [""] * len(swatches)
    show_patches(
        [
            Patch(lab_to_hex(swatch.lab.lab), swatch.name, lightness_words(swatch), note)
            for swatch, note in zip(swatches, shown, strict=True)
        ]
    )
    st.caption(f"{len(swatches)} measured, no photo kept. ± is how far repeats may lie apart, at 95 %.")
    with st.popover("Take one out"):
        for index, swatch in enumerate(swatches):
            if st.button(f"Take out {plain(swatch.name)}", key=f"{kind}-out-{index}"):
                workflow.drop_swatches(store, kind, [swatch])
                st.rerun()
        if st.button("Take all out", key=f"{kind}-out-all"):
            workflow.drop_swatches(store, kind)
            st.rerun()


def lightness_words(swatch: Swatch) -> str:
    """Its lightness with its doubt."""
    return f"L* {format_measured(Measured(swatch.lab.lab[0], swatch.lab.u[0], dof=swatch.lab.dof))}"


def say_measured(swatch: Swatch) -> None:
    """Have the next page say that a swatch was added."""
    say_on_next_page(f"Measured: {swatch.name}. The photo was not kept.")
