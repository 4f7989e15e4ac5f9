"""Bring in a list: clients or past visits from a spreadsheet, looked at first."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from tracker.errors import TrackerError
from tracker.store import Store
from tracker.ui.navigation import link
from tracker.ui.parts.held import held
from tracker.ui.parts.notices import say_on_next_page, sorry, told
from tracker.ui.parts.offer import offer_file
from tracker.ui.parts.opening import begin
from tracker.ui.parts.words import plain
from tracker.ui.session import open_store
from tracker.words import count, day, listed
from tracker.workflow.bring_in import bring_in, plan_files, refused_csv
from tracker.workflow.csv_file import LARGEST_BYTES, UTF16, WESTERN
from tracker.workflow.import_plan import TABLES, ImportPlan

_SHOWN = 20
_CODINGS = {
    WESTERN: "The file is not UTF-8; it was read as Windows-1252. Check that letters such as é and ü are right.",
    UTF16: "The file was read as 16-bit text (UTF-16).",
}
_DAYS, _MONTHS = "day first: 3 April", "month first: 4 March"


@dataclass
class _Round:
    """How many lists were brought in: each has a field of its own, so that the next one begins empty."""

    number: int = 0


def page() -> None:
    """The page."""
    begin()
    st.title("Bring in a list", anchor=False)
    with told():
        store = open_store()
        _columns()
        handed = st.file_uploader(
            "The list, as a CSV file",
            type=["csv", "txt"],
            accept_multiple_files=True,
            max_upload_size=LARGEST_BYTES // 1024**2,
            key=f"list-{held(_Round).number}",
        )
        if handed:
            _look(store, [file.getvalue() for file in handed])
        link("data", "Back to My data")


def _columns() -> None:
    st.markdown(
        "From a spreadsheet, saved as **CSV UTF-8**; other encodings are read too, and the page says so. The first "
        "line names the columns. Nothing is kept until you have seen what would be added and why any line is left out."
    )
    st.markdown(
        "- **Clients:** a column *name* (or *first name* and *last name*), and *note* and *contact* if you like.\n"
        "- **Past visits:** columns *client*, *date*, and *services*, *notes*, *next time* if you like. "
        "Bring their clients in first, with a list of their own.\n"
        "- **Tables written by this program:** *client.csv*, *visit.csv* and *visit_steps.csv* from the folder "
        "*tables*, all at once. Clients who are already here stay as they are."
    )
    st.caption(
        "Clients from a list have agreed to nothing yet: ask them before the first photo. Past visits come without "
        "photos, readings or product costs: no table holds those."
    )


def _look(store: Store, contents: list[bytes]) -> None:
    """What would be added, what not, and the button that does it."""
    try:
        plan = plan_files(store, contents)
        if plan.dates_unclear:
            chosen = st.radio("What is 03/04 in this list?", [_DAYS, _MONTHS], index=None, key="day-order")
            if chosen is None:
                st.markdown("The list does not show whether days or months come first. Choose one to go on.")
                return
            plan = plan_files(store, contents, day_first=chosen == _DAYS)
    except TrackerError as error:
        sorry(error)
        return
    _what_comes(plan)
    _what_stays_out(plan)
    if not (plan.clients or plan.visits):
        st.markdown("**Nothing in this list can be added.**")
        return
    both = (count(len(plan.clients), "client"), count(len(plan.visits), "visit"))
    what = listed(words for words, some in zip(both, (plan.clients, plan.visits), strict=True) if some)
    if st.button(f"Add {what}", type="primary", key="bring-in"):
        with told():
            bring_in(store, plan)
            left = f" {count(len(plan.refused), 'line')} left out." if plan.refused else ""
            say_on_next_page(f"{what} added.{left}")
            held(_Round).number += 1
            st.rerun()


def _what_comes(plan: ImportPlan) -> None:
    if plan.coding in _CODINGS:
        st.caption(_CODINGS[plan.coding])
    if plan.kind == TABLES:
        st.caption("Tables do not bring in agreements or photos. Restoring a backup brings those back.")
    if plan.clients:
        st.header(f"{count(len(plan.clients), 'client')} to add", anchor=False)
        rows = [f"**{plain(client.name)}** {plain(client.note[:80])}" for client in plan.clients[:_SHOWN]]
        _rows(rows, len(plan.clients))
    if plan.visits:
        st.header(f"{count(len(plan.visits), 'visit')} to add", anchor=False)
        rows = [
            f"**{plain(name)}** {day(visit.on)}: {listed(map(plain, visit.services), empty='no service noted')}"
            for name, visit in plan.visits[:_SHOWN]
        ]
        _rows(rows, len(plan.visits))
    if plan.left_out:
        columns = listed(f"“{plain(name)}”" for name in plan.left_out)
        st.caption(f"Not brought in, because there is no place for it here: {columns}.")


def _what_stays_out(plan: ImportPlan) -> None:
    if not plan.refused:
        return
    st.header(f"{count(len(plan.refused), 'line')} left out", anchor=False)
    _rows([f"Line {refusal.line}: {plain(refusal.why)}" for refusal in plan.refused[:_SHOWN]], len(plan.refused))
    offer_file(
        "All lines left out, with the reasons",
        lambda: refused_csv(plan),
        "lines-left-out.csv",
        "text/csv",
        key="refused",
    )


def _rows(rows: list[str], number: int) -> None:
    st.markdown("\n".join(f"- {row}" for row in rows))
    if number > len(rows):
        st.caption(f"And {number - len(rows)} more.")
