"""The steps of a service in order: one open as a form, the others as lines to change, move or remove."""

from __future__ import annotations

from dataclasses import dataclass, field

import streamlit as st

from tracker import workflow
from tracker.record.mixing import PriceLine
from tracker.record.records import Step, Visit
from tracker.store import Store
from tracker.ui.pages.new_visit.step_form import step_form
from tracker.ui.parts.held import drop, found, put
from tracker.ui.parts.step_words import cost_words, step_words
from tracker.ui.parts.words import plain
from tracker.words import day
from tracker.workflow.steps import MOST_STEPS

_EMPTY = Step("", "")


@dataclass
class _Row:
    """A step while it is edited.

    Attributes
    ----------
    number : int, different from any other row's
    step : Step, as it is now
    first : Step, what the form began with
    opened : int, how often the form was opened: each time it starts afresh
    """

    number: int
    step: Step
    first: Step = _EMPTY
    opened: int = 0


@dataclass
class _Editing:
    """The rows of one visit, kept by this window while its page is open."""

    rows: list[_Row]
    open_row: int | None = None
    used: int = field(default=0)

    def add(self, step: Step) -> _Row:
        """One more row at the end."""
        row = _Row(self.used, step)
        self.used += 1
        self.rows.append(row)
        return row

    def open(self, row: _Row | None) -> None:
        """Show this row as a form, or none."""
        self.rows = [other for other in self.rows if other is row or other.step != _EMPTY]
        self.open_row = row.number if row is not None else None
        if row is not None:
            row.first = row.step
            row.opened += 1

    def move(self, row: _Row, by: int) -> None:
        """One place up or down."""
        place = self.rows.index(row)
        other = place + by
        if 0 <= other < len(self.rows):
            self.rows[place], self.rows[other] = self.rows[other], self.rows[place]


def steps_editor(store: Store, visit: Visit, key: str, *, fresh: bool) -> tuple[Step, ...]:
    """The steps as they are now; an empty step is left out.

    Parameters
    ----------
    visit : Visit, its steps are what the editing begins with
    key : str, of this visit on this page
    fresh : bool, True where the page was opened anew: fields have forgotten what was typed, the draft has not
    """
    if fresh:
        drop(_Editing, key)
    editing = _editing(visit.steps, key)
    prices = store.prices.all()
    st.markdown("**Steps, in the order they were done**")
    actions = [
        _form(row, place, key, prices) if row.number == editing.open_row else _line(editing, row, place, key)
        for place, row in enumerate(editing.rows)
    ]
    with st.container(horizontal=True):
        adding = len(editing.rows) < MOST_STEPS and st.button("Add a step", key=f"{key}-add")
        copied = _offer_copy(store, visit, key) if not editing.rows else None
    _apply(editing, next(filter(None, actions), None), adding=adding, copied=copied)
    steps = tuple(row.step for row in editing.rows if row.step != _EMPTY)
    total = cost_words(steps)
    if total:
        st.markdown(plain(f"Products: {total}."))
    return steps


def _editing(steps: tuple[Step, ...], key: str) -> _Editing:
    editing = found(_Editing, key)
    if editing is None:
        editing = _Editing([])
        for step in steps:
            editing.add(step)
        put(editing, key)
    return editing


def _apply(
    editing: _Editing, action: tuple[str, _Row] | None, *, adding: bool, copied: tuple[Step, ...] | None
) -> None:
    """Do what was tapped, then redraw the page."""
    if action is None and not adding and copied is None:
        return
    if copied is not None:
        for step in copied:
            editing.add(step)
    elif adding:
        editing.open(editing.add(_EMPTY))
    elif action is not None:
        _act(editing, *action)
    st.rerun()


def _act(editing: _Editing, what: str, row: _Row) -> None:
    if what == "open":
        editing.open(row)
    elif what == "close":
        editing.open(None)
    elif what == "remove":
        editing.rows.remove(row)
        if editing.open_row == row.number:
            editing.open_row = None
    else:
        editing.move(row, -1 if what == "up" else 1)


def _form(row: _Row, place: int, key: str, prices: list[PriceLine]) -> tuple[str, _Row] | None:
    """The open step; returns what was tapped."""
    with st.container(border=True, key=f"{key}-form"):
        st.markdown(f"**Step {place + 1}**")
        row.step = step_form(row.first, prices, f"{key}-{row.number}-{row.opened}")
        with st.container(horizontal=True):
            if st.button("Done with this step", key=f"{key}-{row.number}-done"):
                return "close", row
            if st.button("Remove", key=f"{key}-{row.number}-remove"):
                return "remove", row
    return None


def _line(editing: _Editing, row: _Row, place: int, key: str) -> tuple[str, _Row] | None:
    """A step that is not open; returns what was tapped."""
    with st.container(key=f"step-line-{key}-{row.number}", gap="small"):
        st.markdown(f"{place + 1}\\. {step_words(row.step)}")
        cost = cost_words([row.step])
        if cost:
            st.caption(plain(cost))
        with st.container(horizontal=True, gap="xsmall"):
            if st.button("Change", key=f"{key}-{row.number}-open"):
                return "open", row
            if st.button("Up", key=f"{key}-{row.number}-up", disabled=place == 0):
                return "up", row
            last = place == len(editing.rows) - 1
            if st.button("Down", key=f"{key}-{row.number}-down", disabled=last):
                return "down", row
            if st.button("Remove", key=f"{key}-{row.number}-remove"):
                return "remove", row
    return None


def _offer_copy(store: Store, visit: Visit, key: str) -> tuple[Step, ...] | None:
    """The steps of the last visit as a start, where there are any."""
    last = workflow.last_steps(store, visit.client_id, besides=visit.id)
    if last is None or not st.button(f"Copy the steps of {day(last.on)}", key=f"{key}-copy"):
        return None
    return workflow.copied_steps(store, last.steps)
