"""Photos that an earlier version of the method measured: what that means, and measuring them again in one go."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from tracker import METHOD_VERSION, workflow
from tracker.errors import TrackerError
from tracker.measure.reading import RIBBON
from tracker.record.records import PhotoRecord
from tracker.store import LeftPhoto, OlderReadings, Store
from tracker.ui.measuring_again import Run, begin, latest
from tracker.ui.navigation import go_to, link
from tracker.ui.parts.consent_view import remembered_recorder
from tracker.ui.parts.more import ask_for_more, shown
from tracker.ui.parts.notices import say_on_next_page, sorry, told
from tracker.ui.parts.pictures import small_picture
from tracker.ui.parts.rows import thumb
from tracker.ui.parts.words import plain
from tracker.words import as_date, count, day, noun, sentence_case

SHOWN = 6
"""Photos that need somebody, shown before more are asked for."""

_LOOK_AGAIN_SECONDS = 1.0
_PICTURE = "picture"


def older_words(found: OlderReadings, *, of_client: bool = False) -> str:
    """How many photos were measured by an earlier method; empty where none was."""
    if not found.all:
        return ""
    of = " of this client" if of_client else ""
    return f"{count(found.all, 'photo')}{of} {noun(found.all, 'was', 'were')} measured by an earlier method."


def older_readings(store: Store, client_id: str | None = None) -> None:
    """What is left to be measured again, of one client or of all, with the way to do it; nothing where none is.

    Parameters
    ----------
    client_id : str or None, None for the whole studio, under a heading of its own
    """
    found = store.remeasuring.older(METHOD_VERSION, client_id)
    run = latest(store)
    going_on = run is not None and run.going_on
    if not found.all and not (going_on and client_id is None):
        return
    if client_id is None:
        st.header("Photos measured by an earlier method", anchor=False)
    if found.all:
        st.markdown(
            f"**{plain(older_words(found, of_client=client_id is not None))}** It read a narrow ribbon along the hair; "
            "now the whole hair is read. The two are never compared. Measured again, they compare with every new "
            "photo; the earlier readings stay in the log."
        )
    if run is not None and going_on:
        _how_far(run)
    elif found.waiting:
        _offer(store, client_id, found, run)
    left = store.remeasuring.left(METHOD_VERSION, client_id) if found.left else []
    if left:
        _to_mark(store, [each for each in left if each.why != _PICTURE], client_id)
        _unreadable(store, [each for each in left if each.why == _PICTURE], client_id)
        these = noun(len(left), "this one", f"these {len(left)}")
        if not going_on and st.button(f"Try {these} again", key="measure-again-retry"):
            with told():
                store.remeasuring.try_again(client_id)
                begin(store, client_id, remembered_recorder())
                st.rerun()
    if found.withdrawn:
        st.caption(_withdrawn_words(found, of_client=client_id is not None))


def read_otherwise(hair: str, number: int, what: str) -> None:
    """What is left out of a mean because its hair was read another way than that of the rest; nothing where none is.

    Parameters
    ----------
    hair : str, how the hair of what counts was read
    number : int, how many are left out
    what : str, what they are
    """
    if not number:
        return
    way = "over the whole hair" if hair == RIBBON else "along a ribbon, by the earlier method"
    st.caption(
        plain(
            f"Left out: {count(number, what)} read {way}. The two are never put into one mean. Once the older photos "
            "are measured again, all count."
        )
    )
    link("data", "Measure them again")


def _offer(store: Store, client_id: str | None, found: OlderReadings, run: Run | None) -> None:
    """The button, and what ended the last run before all was done."""
    if run is not None and run.problem is not None and run.client_id == client_id:
        sorry(run.problem)
    label = f"Measure {count(found.waiting, 'photo')} again"
    if st.button(label, key="measure-again"):
        with told():
            begin(store, client_id, remembered_recorder())
            st.rerun()
    st.caption(
        "It takes a second or two for each photo and goes on if you leave this page. You can cancel at any time: what "
        "is measured by then is kept, and the rest waits."
    )


@st.fragment(run_every=_LOOK_AGAIN_SECONDS)
def _how_far(run: Run) -> None:
    """The progress of the run that is going on; this part of the page looks again by itself."""
    tally = run.tally
    if not run.going_on:
        say_on_next_page(_ended_words(run))
        st.rerun()
    words = f"Measuring again: {tally.done} of {count(tally.total, 'photo')}"
    st.progress(tally.done / max(tally.total, 1), words)
    if run.stop.is_set():
        st.caption("Stops after the photo in hand.")
    else:
        st.button("Cancel", key="measure-again-cancel", on_click=run.stop.set)


def _ended_words(run: Run) -> str:
    tally = run.tally
    lead = "Measuring again is finished" if tally.done == tally.total else "Measuring again has stopped"
    parts = [f"{tally.measured} of {count(tally.total, 'photo')} {noun(tally.measured, 'has', 'have')} a new reading"]
    if tally.left:
        parts.append(f"{tally.left} {noun(tally.left, 'keeps its', 'keep their')} earlier one")
    return f"{lead}: {', '.join(parts)}."


def _to_mark(store: Store, left: Sequence[LeftPhoto], client_id: str | None) -> None:
    """Photos whose hair a person has to mark, each with the way there."""
    if not left:
        return
    st.markdown(
        f"**{count(len(left), 'photo')} {noun(len(left), 'needs', 'need')} you to mark the hair.** Until then "
        f"{noun(len(left), 'it keeps its', 'they keep their')} earlier {noun(len(left), 'reading')}."
    )
    of = ("older", client_id or "")
    most = shown(SHOWN, *of)
    for each in left[:most]:
        with told():
            _line(store, each, with_name=client_id is None)
    if len(left) > most:
        ask_for_more(f"Show more ({len(left) - most})", 5 * SHOWN, *of)


def _line(store: Store, left: LeftPhoto, *, with_name: bool) -> None:
    photo = store.photos.get(left.photo_id)
    name = f"{plain(store.clients.get(photo.client_id).name)}: " if with_name else ""
    with st.container(key=f"older-{photo.id}", horizontal=True, vertical_alignment="center", wrap=False, gap="medium"):
        thumb(small_picture(photo))
        with st.container(gap="xsmall"):
            st.markdown(f"{name}{_called(photo, within=with_name)}")
            st.caption(plain(left.said))
            if st.button("Mark the hair", key=f"mark-{photo.id}"):
                with told():
                    draft = workflow.mark_anew(store, photo.id)
                    go_to("new_visit", draft=draft.id)


def _called(photo: PhotoRecord, *, within: bool) -> str:
    words = f"{photo.role} photo of {day(as_date(photo.taken_at))}"
    return words if within else sentence_case(words)


def _unreadable(store: Store, left: Sequence[LeftPhoto], client_id: str | None) -> None:
    if not left:
        return
    named = []
    for each in left[:SHOWN]:
        try:
            photo = store.photos.get(each.photo_id)
            name = f"{plain(store.clients.get(photo.client_id).name)}, " if client_id is None else ""
        except TrackerError:  # deleted in another window, or damaged
            continue
        named.append(f"{name}{day(as_date(photo.taken_at))}")
    more = f" and {len(left) - SHOWN} more" if len(left) > SHOWN else ""
    st.markdown(
        f"**{count(len(left), 'photo')} cannot be read back** and {noun(len(left), 'keeps its', 'keep their')} earlier "
        f"{noun(len(left), 'reading')}: {'; '.join(named)}{more}. A backup may still hold "
        f"{noun(len(left), 'the picture', 'the pictures')}."
    )


def _withdrawn_words(found: OlderReadings, *, of_client: bool) -> str:
    photos = f"{count(found.withdrawn, 'photo')} {noun(found.withdrawn, 'keeps its', 'keep their')} earlier "
    reading = noun(found.withdrawn, "reading")
    if of_client:
        return f"{photos}{reading}: the client does not agree to being measured."
    who = f"{count(found.clients_withdrawn, 'client')} {noun(found.clients_withdrawn, 'does', 'do')}"
    return f"{photos}{reading}: {who} not agree to being measured."
