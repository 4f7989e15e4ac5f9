"""Limits that were agreed when photos were read along a ribbon: shown once, to be kept or agreed anew."""

from __future__ import annotations

import streamlit as st

from tracker import workflow
from tracker.record.agreed import AgreedLimits
from tracker.said.colour import say_warmer
from tracker.store import Store
from tracker.ui.navigation import go_to
from tracker.ui.parts.consent_view import remembered_recorder
from tracker.ui.parts.limit_words import agreed_words
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.reading_view import level_words
from tracker.ui.parts.words import plain
from tracker.wear import ServiceReadings, limits_in_force
from tracker.words import REGION_WORDS, listed
from tracker.workflow.wearing import client_wear


def limits_to_confirm(store: Store, client_id: str) -> None:
    """What was agreed, what the hair reads now, and both ways on."""
    visit, limits = limits_in_force(store.visits.of_client(client_id))
    _, services = client_wear(store, client_id)
    readings = next((each for each in services if visit is not None and each.visit_id == visit.id), None)
    if readings is None:
        return
    now = now_words(store, readings, limits)
    st.markdown(
        plain(
            f"These limits were agreed when photos were read along a ribbon: {agreed_words(limits)}. "
            f"{f'{now} ' if now else ''}They hold until you keep them or agree anew."
        )
    )
    with st.container(horizontal=True):
        if st.button("Keep them", key=f"limits-keep-{client_id}"):
            with told():
                workflow.confirm_limits(store, client_id, by=remembered_recorder())
                say_on_next_page("The limits are kept, now for the whole hair.")
                st.rerun()
        if st.button("Agree anew", key=f"limits-anew-{client_id}"):
            go_to("client", client=client_id, agree="anew")


def now_words(store: Store, readings: ServiceReadings, limits: AgreedLimits) -> str:
    """What the whole hair reads now where the limits are about, as a sentence; empty where that band has no number."""
    place = readings.place(limits.region)
    photo = store.photos.get(readings.photo_ids[-1])
    band = photo.reading.region(limits.region) if photo.reading is not None else None
    if place is None or band is None:
        return ""
    where = REGION_WORDS[limits.region]
    levels = limits.darkest is not None or limits.lightest is not None
    read = "reads" if limits.region == "root" else "read"
    said = [f"the {where} {read} {level_words(band, photo)} now" if levels else ""]
    if limits.warmer is not None and (gained := place.gained) is not None:
        subject = "" if levels else f"the {where} "
        verb = "is" if limits.region == "root" else "are"
        said.append(f"{subject}{verb} {'' if levels else 'now '}{say_warmer(gained)} than right after the service")
    return f"Over the whole hair, {listed(said)}." if any(said) else ""
