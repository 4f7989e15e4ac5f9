"""Who is due, as a file for the studio's own calendar."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from tracker.record.records import MEASURING, now
from tracker.show.calendar import DayEvent, calendar_text, stable_uid
from tracker.store import Store
from tracker.wear import Due

Describe = Callable[[Due, str], str]


def due_calendar(
    store: Store, dues: Sequence[Due], describe: Describe, *, with_names: bool = True, with_notes: bool = False
) -> bytes:
    """A day in the calendar for each client who has a refresh window and still agrees: the middle of the window.

    Parameters
    ----------
    describe : what is said about one, given the window and the contact note or nothing
    with_names : bool, False leaves the names out
    with_notes : bool, True puts the contact notes in

    Returns
    -------
    bytes : iCalendar; the same client and service always have the same identifier in it, and anything saved in the
        studio since the last file gives all of them a higher sequence
    """
    saves = store.saves()
    names = store.importing.client_names() if with_names else {}
    events = []
    for due in dues:
        if due.middle is None or due.visit_id is None:
            continue
        if not store.consents.given(due.client_id, MEASURING):  # withdrawn, or erased, since the list was drawn
            continue
        note = store.clients.get(due.client_id).contact if with_notes else ""
        name = names.get(due.client_id, "")
        events.append(
            DayEvent(
                stable_uid(due.client_id, due.visit_id),
                due.middle,
                f"Refresh due: {name}" if name else "Refresh due",
                describe(due, note),
                sequence=saves,
            )
        )
    return calendar_text(events, now())
