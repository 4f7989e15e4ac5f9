"""The studio's own yardsticks: swatches being gathered for one, and its versions, with undoing."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from tracker import workflow
from tracker.calibrate.calibration import Swatch, Yardstick
from tracker.maths.rgb_space import lab_to_hex
from tracker.maths.uncertainty import format_measured
from tracker.store import Store
from tracker.ui.look import Swatch as Patch
from tracker.ui.look import swatches as show_patches
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.words import plain
from tracker.ui.parts.yardstick_words import counts_no_more
from tracker.words import as_date, day


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
    return f"L* {format_measured(swatch.lab.axes[0])}"


def say_measured(name: str) -> None:
    """Have the next page say that this swatch or hair was added."""
    say_on_next_page(f"Measured: {name}. The photo was not kept.")


def versions(store: Store, kind: str, built_in: str) -> None:
    """Every version with its date and what it rests on; the newest one in force can be undone.

    Parameters
    ----------
    kind : str, one of `yardsticks.KINDS_OF_YARDSTICK`
    built_in : str, what is in force without any: a sentence
    """
    kept = store.yardsticks.versions(kind)
    standing = _standing(kept)
    st.header("Versions", anchor=False)
    for version in kept:
        force = "in force" if not _along_ribbon(version) else "counts for photos read along a ribbon"
        state = force if version is standing else "replaced" if version.undone_at is None else "undone"
        when = f", {day(as_date(version.undone_at))}" if version.undone_at is not None else ""
        st.markdown(f"**{day(as_date(version.made_at))}** · {state}{when}  \n{plain(about(version))}")
        if version.undone_at is not None and st.button("Use it again", key=f"stand-{version.id}"):
            with told():
                store.yardsticks.stand(version.id, stands=True)
                st.rerun()
    in_force = standing is None or _along_ribbon(standing)
    st.markdown(f"**Built in** · {'in force' if in_force else 'replaced'}  \n{built_in}")
    if standing is not None and st.button("Undo the newest", key=f"undo-{kind}"):
        with told():
            workflow.undo_yardstick(store, kind)
            say_on_next_page("Undone. The version before is in force again.")
            st.rerun()


def swatches_in_force(store: Store, kind: str) -> tuple[Swatch, ...]:
    """The swatches that the yardstick in force rests on; none where it is the built-in one."""
    version = _standing(store.yardsticks.versions(kind))
    return version.swatches if version is not None else ()


def go_on_from(store: Store, kind: str, label: str, key: str) -> None:
    """Offer to add to the swatches in force; nothing where there are none."""
    version = _standing(store.yardsticks.versions(kind))
    if version is not None and st.button(label, key=key):
        workflow.start_from(store, version)
        st.rerun()


def _standing(kept: Sequence[Yardstick]) -> Yardstick | None:
    return next((version for version in kept if version.undone_at is None), None)


def _along_ribbon(version: Yardstick) -> bool:
    return version.spread is not None and counts_no_more(version.spread)


def about(version: Yardstick) -> str:
    """What a version rests on."""
    if version.spread is not None:
        return version.spread.source + (" Made on a ribbon, by the earlier method." if _along_ribbon(version) else "")
    if version.scale is not None:
        return version.scale.source
    return version.locus.source if version.locus is not None else ""
