"""Portfolio: measured lift to show a new client, never whose hair it is."""

from __future__ import annotations

import streamlit as st

from tracker.compare.change import CHANGED
from tracker.fade import months_between
from tracker.record.records import AFTER, BEFORE, PROGRESS
from tracker.said.colour import say_change
from tracker.store import PortfolioEntry, Store
from tracker.ui.look import empty
from tracker.ui.look import photo as show_photo
from tracker.ui.navigation import address, link
from tracker.ui.parts.change_view import show_pair
from tracker.ui.parts.details import pair_details
from tracker.ui.parts.more import ask_for_more, shown
from tracker.ui.parts.notices import told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.pair import Pair, compare_states, only, state_in_force
from tracker.ui.parts.pictures import MEDIUM, balanced_url, photo_words
from tracker.ui.parts.reading_view import no_number
from tracker.ui.parts.words import plain
from tracker.ui.session import asked_for, open_store
from tracker.words import as_date, listed, months_words, sentence_case

ALL = "all services"
ABREAST = 2
PAGE = 12
"""Pairs that are shown before "Show more"."""


def page() -> None:
    """The page."""
    begin(undo=False)
    st.title("Portfolio", anchor=False)
    with told():
        store = open_store()
        wanted = asked_for("visit")
        large = next(iter(store.portfolio.entries([wanted])), None) if wanted is not None else None
        if large is not None:
            _large(store, large)
        else:
            _gallery(store, missing=wanted is not None)


def _gallery(store: Store, *, missing: bool) -> None:
    """A page of pairs; only those that are shown are read."""
    if missing:
        st.info("That pair is not in the portfolio now.")
    visits = store.portfolio.visits()
    if not visits:
        empty(
            "empty portfolio",
            "The portfolio shows clients who agreed to it, before and after. There are no pairs yet: a pair needs the "
            "client’s agreement and a visit with measured photos before and after.",
        )
        link("clients", "All clients")
        return
    services = sorted({service for visit in visits for service in visit.services})
    wanted = st.pills(
        "Show",
        [ALL, *services],
        default=ALL,
        required=True,
        format_func=lambda name: plain(sentence_case(name)),
        key="portfolio-service",
    )
    chosen = [visit.visit_id for visit in visits if wanted == ALL or wanted in visit.services]
    most = shown(PAGE, "portfolio")
    entries = store.portfolio.entries(chosen[:most])
    for start in range(0, len(entries), ABREAST):
        places = st.columns(ABREAST, gap="large")
        for place, entry in zip(places, entries[start : start + ABREAST], strict=False):
            with place:
                _tile(store, entry)
    if len(chosen) > most:
        ask_for_more("Show more", PAGE, "portfolio")


def _tile(store: Store, entry: PortfolioEntry) -> None:
    href = address("portfolio", visit=entry.visit.id)
    for place, photo in zip(st.columns(2, gap="small", wrap=False), (entry.before, entry.after), strict=True):
        with place:
            word = "Before" if photo is entry.before else "After"
            show_photo(balanced_url(photo, MEDIUM), photo_words(photo), ratio=3 / 4, caption=word, href=href)
    headline = _pair(entry).headline
    if headline is not None:
        st.markdown(f"**{plain(say_change(headline, to_others=True))}**")
    st.caption(_about(store, entry))
    # a link to the page already shown leaves the browser's address unchanged, so Back would leave the portfolio
    st.button("Look closer", key=f"closer-{entry.visit.id}", on_click=_show, args=(entry.visit.id,))


def _large(store: Store, entry: PortfolioEntry) -> None:
    st.button("Back to the portfolio", key="portfolio-back", on_click=_show)
    pair = _pair(entry)
    show_pair(pair, key="portfolio-slider", to_others=True)
    st.caption(_about(store, entry))
    pair_details(pair, to_others=True)


def _show(visit_id: str = "") -> None:
    """One pair large, or all of them; a separate step in the browser's history."""
    st.query_params.from_dict({"visit": visit_id} if visit_id else {})


def _pair(entry: PortfolioEntry) -> Pair:
    """Both states by all their photos."""
    before, after = state_in_force(entry.photos, BEFORE), state_in_force(entry.photos, AFTER)
    return compare_states(before or only(entry.before), after or only(entry.after), entry.visit)


def _about(store: Store, entry: PortfolioEntry) -> str:
    """What was done, how it wore, and whether it was made up for the demo."""
    made_up = "Made up for the demo." if store.clients.get(entry.client_id).demo else ""
    return " ".join(part for part in (_services(entry), _wear_words(store, entry), made_up) if part)


def _services(entry: PortfolioEntry) -> str:
    services = sentence_case(listed(plain(service) for service in entry.visit.services))
    return f"{services}, {entry.visit.on:%B %Y}." if services else f"{entry.visit.on:%B %Y}."


def _wear_words(store: Store, entry: PortfolioEntry) -> str:
    """The change from the photo after the service to the last one before the next service, or nothing."""
    next_visits = [visit.on for visit in store.visits.of_client(entry.client_id) if visit.on > entry.visit.on]
    photos = [
        photo
        for photo in store.photos.find(client_id=entry.client_id, role=PROGRESS, taken_from=entry.after.taken_at)
        if photo.taken_at > entry.after.taken_at
        and not no_number(photo)
        and (not next_visits or as_date(photo.taken_at) < min(next_visits))
    ]
    if not photos:
        return ""
    last = max(photos, key=lambda photo: photo.taken_at)
    after = state_in_force(entry.photos, AFTER) or only(entry.after)
    headline = compare_states(after, only(last)).headline
    if headline is None:
        return ""
    span = months_words(months_between(entry.after.taken_at, last.taken_at))
    later = f"{span} later" if span else "the same day"
    if headline.verdict != CHANGED:
        return f"Measured again {later}, with no certain change."
    return f"Measured again {later}. {plain(say_change(headline))}"
