"""Lines of a list: a small photo, a name that opens something, a few quiet words; of visits, clients and finds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import streamlit as st

from tracker.record.records import AFTER, BEFORE, PhotoRecord, Visit
from tracker.said.colour import say_change
from tracker.store import ClientSummary, Found, Store
from tracker.ui.look import no_photo
from tracker.ui.look import photo as show_photo
from tracker.ui.navigation import link
from tracker.ui.parts.pair import compare_states, state_in_force
from tracker.ui.parts.pictures import SMALL, small_picture
from tracker.ui.parts.words import plain
from tracker.words import MADE_UP, ago, count, day, listed, sentence_case

THUMB = 84
"""Width of the small photo, pixels."""

_FOUND_SHOWN = 20
_PLACES = 3  # places named for each visit found; more would say the same


def thumb(picture: tuple[str, str] | None) -> None:
    """A photo shown small, by its address and words; an empty frame where there is none."""
    with st.container(width=THUMB):
        if picture is None:
            no_photo()
        else:
            show_photo(*picture, ratio=1)


def row(picture: tuple[str, str] | None, key: str, page: str, title: str, about: str, **identifiers: str) -> None:
    """One line of a list; a tap anywhere on it opens the page.

    Parameters
    ----------
    picture : address and words of a photo shown small at the left, or nothing
    key : str, different from that of any other line on the page
    page : str, the page that opens, with `identifiers` in its address
    title : str, as typed by a person; shown character for character
    about : str, quiet words under it, our own or already made plain
    """
    with st.container(key=f"line-{key}", horizontal=True, vertical_alignment="center", wrap=False, gap="medium"):
        thumb(picture)
        with st.container(gap="xsmall"):
            link(page, plain(title), **identifiers)
            st.caption(about)


def visit_row(store: Store, visit: Visit, photos: Sequence[PhotoRecord], finding: str = "") -> None:
    """A visit as a line of a list, under its client's name; a tap opens it."""
    client = store.clients.get(visit.client_id)
    about = visit_words(visit, date.today(), made_up=client.demo)
    said = f"{about}  \n{finding}" if finding else about
    row(small_picture(photo_of(photos)), visit.id, "compare", client.name, said, visit=visit.id)


def visit_words(visit: Visit, today: date, *, made_up: bool = False) -> str:
    """Services and day of a visit, ready for Markdown, marked where it belongs to the demo."""
    services = sentence_case(listed((plain(service) for service in visit.services), empty="no service noted"))
    span = ago(visit.on, today)
    when = f"{day(visit.on)}, {span}" if visit.on <= today else day(visit.on)
    return " · ".join([services, when, *([MADE_UP] if made_up else [])])


def lift_words(visit: Visit, photos: Sequence[PhotoRecord]) -> str:
    """What the visit changed, ready for Markdown; nothing where there is no pair with numbers."""
    before, after = state_in_force(photos, BEFORE), state_in_force(photos, AFTER)
    if before is None or after is None:
        return ""
    headline = compare_states(before, after, visit).headline
    return plain(say_change(headline)) if headline is not None else ""


def photo_of(photos: Sequence[PhotoRecord]) -> PhotoRecord | None:
    """The photo that represents a visit: after, else before."""
    for role in (AFTER, BEFORE):
        found = role_photo(photos, role)
        if found is not None:
            return found
    return None


def role_photo(photos: Sequence[PhotoRecord], role: str) -> PhotoRecord | None:
    """The photo that represents the state in that role, with the reading of all its photos together."""
    state = state_in_force(photos, role)
    return state.standing if state is not None else None


def client_line(store: Store, summary: ClientSummary, page: str) -> None:
    """Last photo, name, last service and how long ago; a tap opens `page` for this client."""
    about = "no visit yet"
    if summary.visits:
        last = store.visits.last_of(summary.client.id)
        done = last.services if last is not None else ()
        services = sentence_case(listed((plain(name) for name in done), empty="visit"))
        when = f", {ago(summary.last_visit)}" if summary.last_visit is not None else ""
        about = f"{services}{when} · {count(summary.visits, 'visit')}"
    if summary.client.demo:
        about += f" · {MADE_UP}"
    picture = None
    if summary.last_photo_id is not None:
        picture = (f"/picture/{summary.last_photo_id}/{SMALL}.jpg", "The last photo of this client’s hair")
    row(picture, summary.client.id, page, summary.client.name, about, client=summary.client.id)


def found_visits(store: Store, search: str) -> int:
    """Visits that hold every word, newest first; returns how many there are."""
    found, total = store.visits.find(search, _FOUND_SHOWN)
    if not total:
        return 0
    st.header("In visits", anchor=False)
    st.caption(count(total, "visit") + (f", the newest {_FOUND_SHOWN} shown" if total > _FOUND_SHOWN else ""))
    for each in found:
        picture = None
        if each.photo_id is not None:
            picture = (f"/picture/{each.photo_id}/{SMALL}.jpg", "Photo of the hair at this visit")
        about = "  \n".join([visit_words(each.visit, date.today()), *_places(each)])
        row(picture, each.visit.id, "compare", each.client.name, about, visit=each.visit.id)
    return total


def _places(found: Found) -> list[str]:
    return [f"{sentence_case(name)}: {plain(text)}" for name, text in found.where[:_PLACES]]
