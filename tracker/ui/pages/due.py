"""Who is due: clients by their refresh window, each with the reason. Sends nothing to anybody."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Callable
from datetime import date
from functools import partial

import streamlit as st

from tracker.said.wear import say_no_date
from tracker.store import Store
from tracker.ui.catching_up import caught_up
from tracker.ui.look import empty
from tracker.ui.navigation import go_to, link
from tracker.ui.parts.due_view import due_row
from tracker.ui.parts.due_words import calendar_description
from tracker.ui.parts.learning_view import learning_switch
from tracker.ui.parts.limits_to_confirm import limits_to_confirm
from tracker.ui.parts.more import ask_for_more, shown
from tracker.ui.parts.notices import still_worked_out, told
from tracker.ui.parts.offer import offer_file
from tracker.ui.parts.opening import begin
from tracker.ui.parts.words import plain
from tracker.ui.session import open_store
from tracker.wear import Due
from tracker.words import count
from tracker.workflow.calendar import due_calendar
from tracker.workflow.learning import stamp_now

SHOWN = 12
"""Clients shown before more are asked for."""

_OPEN = 2  # limits to confirm that are shown without being asked for
_EVERYBODY = "everybody"


def page() -> None:
    """The page."""
    begin()
    st.title("Who is due", anchor=False)
    with told():
        store = open_store()
        left = caught_up()
        stamp = stamp_now(store)
        months = store.wear.months_due(stamp)
        without = store.wear.without_date(stamp)
        _still_working(left)
        _limits_to_confirm(store, store.wear.limits_to_confirm(stamp))
        if not months and not without and not left:
            _nobody(store)
            return
        if months:
            _list(store, stamp, months)
        else:
            _no_dates()
        _without_date(store, without)
        learning_switch(store)
        link("services_wear", "How services wear in this studio")


def _limits_to_confirm(store: Store, dues: list[Due]) -> None:
    """Clients whose limits were agreed when photos were read along a ribbon."""
    if not dues:
        return
    words = f"Limits to keep or agree anew: {count(len(dues), 'client')}"
    with st.expander(words, expanded=len(dues) <= _OPEN):
        most = shown(SHOWN, "limits")
        for due in dues[:most]:
            with st.container(key=f"limits-{due.client_id}"), told():
                link("client", plain(store.clients.get(due.client_id).name), client=due.client_id)
                limits_to_confirm(store, due.client_id)
        if len(dues) > most:
            ask_for_more(f"Show more of the {len(dues)} clients", SHOWN, "limits")


def _still_working(left: int) -> None:
    still_worked_out(left, "client")
    if left and st.button("Look again", key="due-again"):
        st.rerun()


def _nobody(store: Store) -> None:
    empty(
        "wearing",
        "Agree with a client how warm the ends or how long the root may get, and this page will tell you when they "
        "are due.",
    )
    with st.container(horizontal=True, horizontal_alignment="center"):
        if store.is_empty():
            if st.button("Add a client", type="primary", key="add-client"):
                go_to("clients", add="1")
        elif st.button("New visit", type="primary", key="new-visit"):
            go_to("new_visit")
    if not store.is_empty():
        where = "The fields are in the last step of a visit and on each client’s page."
        st.caption(where, text_alignment="center")


def _no_dates() -> None:
    st.markdown(
        "Nobody has a date yet. A date needs an agreed limit, a photo taken right after the service, and usually one "
        "or two later ones."
    )


def _list(store: Store, stamp: str, months: dict[str, int]) -> None:
    st.markdown("Nothing is sent to anybody: you decide whom to write to, and when.")
    chosen = st.selectbox(
        "Month",
        [_EVERYBODY, *months],
        format_func=lambda month: _month_words(month, months),
        key="due-month",
    )
    within = None if chosen in (None, _EVERYBODY) else _days(str(chosen))
    find = partial(store.wear.dues, stamp, within)
    dues = find()
    most = shown(SHOWN, "due")
    for due in dues[:most]:
        with told():
            due_row(store, due)
    if len(dues) > most:
        ask_for_more(f"Show more of the {len(dues)} clients", SHOWN, "due")
    _calendar(store, find, len(dues), "" if within is None else f"-{chosen}")


def _calendar(store: Store, find: Callable[[], list[Due]], clients: int, of: str) -> None:
    with st.expander("Put these in my calendar"):
        st.markdown(
            "A file that any calendar can import: one all-day entry for each client, in the middle of the window. "
            "Import it again later and it moves the same entries instead of adding new ones."
        )
        st.caption("It holds names. An online calendar takes them onto the internet.")
        names = st.checkbox("With the clients’ names", value=True, key="calendar-names")
        notes = st.checkbox("With the contact notes", value=False, key="calendar-notes")
        offer_file(
            f"Save the calendar file ({count(clients, 'client')})",
            lambda: due_calendar(store, find(), calendar_description, with_names=names, with_notes=notes),
            f"who-is-due{of}.ics",
            "text/calendar",
            key="calendar",
        )


def _without_date(store: Store, without: list[Due]) -> None:
    """The clients with no date, each with the reason."""
    if not without:
        return
    agreed = [due for due in without if due.state != "nothing agreed"]
    with st.expander(f"No date: {count(len(without), 'client')}"):
        names = store.importing.client_names()
        lines = [
            f"- {plain(names.get(due.client_id, ''))}: {plain(say_no_date(due.why_not, due.region))}"
            for due in agreed[:_MOST_LINES]
        ]
        if lines:
            st.markdown("\n".join(lines))
        unagreed = [due for due in without if due.state == "nothing agreed"]
        if unagreed:
            st.markdown(plain(f"Nothing has been agreed with {count(len(unagreed), 'client')}:"))
            for due in unagreed[:_MOST_LINES]:
                link("client", plain(names.get(due.client_id, "")), client=due.client_id)
        if max(len(agreed), len(unagreed)) > _MOST_LINES:
            st.caption(f"The first {_MOST_LINES} of each.")


_MOST_LINES = 20


def _month_words(month: str, months: dict[str, int]) -> str:
    if month == _EVERYBODY:
        return f"Everybody ({sum(months.values())})"
    first, _ = _days(month)
    past = ", past" if first < date.today().replace(day=1) else ""
    return f"{first:%B %Y} ({months[month]}{past})"


def _days(month: str) -> tuple[date, date]:
    year, number = (int(part) for part in month.split("-"))
    return date(year, number, 1), date(year, number, monthrange(year, number)[1])
