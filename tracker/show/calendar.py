"""A file of days for other calendar programs (iCalendar).

References
----------
[5545] RFC 5545, Internet Calendaring and Scheduling Core Object Specification, 2009: section 3.1 lines, 3.3.11 text,
       3.6.1 events, 3.7.2 METHOD, 3.8.7.2 DTSTAMP, 3.8.7.4 SEQUENCE.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from tracker import NAME

_NAMES = uuid5(NAMESPACE_URL, "tag:hair-colour-tracker,2026:refresh")
_NOT_IN_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_MARK = "\x01"  # occurs in no text, see `_text`


@dataclass(frozen=True, slots=True)
class DayEvent:
    """One all-day event.

    Attributes
    ----------
    uid : str, always the same for the same event, so that a calendar replaces it
    day : date, the first day
    summary : str
    description : str, may have several lines
    days : int, >= 1
    sequence : int, >= 0, higher than in the last file if anything has changed since [5545, 3.8.7.4]
    """

    uid: str
    day: date
    summary: str
    description: str = ""
    days: int = 1
    sequence: int = 0


def stable_uid(*names: str) -> str:
    """An identifier that is always the same for these names and reveals nothing about them.

    Examples
    --------
    >>> stable_uid("a", "b") == stable_uid("a", "b") != stable_uid("ab")
    True
    """
    return str(uuid5(_NAMES, "\n".join(names)))


def calendar_text(events: Iterable[DayEvent], made_at: datetime) -> bytes:
    """The calendar as the bytes of a file, published for others to import [5545, 3.7.2].

    Parameters
    ----------
    events : any number
    made_at : datetime, aware, when each event was made

    Returns
    -------
    bytes : UTF-8, lines end in CRLF

    Raises
    ------
    ValueError : a time without a zone, or an event of less than a day
    """
    from icalendar import Calendar  # imported late: only who saves a calendar needs it

    if made_at.tzinfo is None:
        raise ValueError("the time of making needs a zone")
    calendar = Calendar()
    calendar.add("prodid", f"-//{NAME}//Who is due//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    for event in events:
        calendar.add_component(_event(event, made_at))
    return bytes(calendar.to_ical()).replace(_MARK.encode(), b"")


def _event(event: DayEvent, made_at: datetime) -> Any:
    from icalendar import Event

    if event.days < 1:
        raise ValueError(f"an event takes at least a day, not {event.days}")
    made = Event()
    made.add("uid", event.uid)
    made.add("dtstamp", made_at.astimezone(UTC))
    made.add("dtstart", event.day)
    made.add("dtend", event.day + timedelta(days=event.days))  # the first day after the event
    made.add("sequence", event.sequence)
    made.add("summary", _text(event.summary))
    if event.description:
        made.add("description", _text(event.description))
    made.add("class", "PRIVATE")
    made.add("transp", "TRANSPARENT")
    return made


def _text(text: str) -> str:
    r"""The text without control characters, which are not allowed; the library would break it at a typed ``\N``."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    return _NOT_IN_TEXT.sub("", lines).replace(r"\N", rf"\{_MARK}N")
