"""A calendar file of days that somebody else's calendar reads (iCalendar).

References
----------
[5545] RFC 5545, Internet Calendaring and Scheduling Core Object Specification, 2009: section 3.1 lines and their
       folding, 3.3.4 dates, 3.3.11 text, 3.6.1 events, 3.8.7.2 DTSTAMP.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5

LINE_OCTETS = 75
"""Octets of a line without its end [5545, 3.1]."""

_NAMES = uuid5(NAMESPACE_URL, "tag:hair-colour-tracker,2026:refresh")
_BREAK = "\r\n"


@dataclass(frozen=True, slots=True)
class DayEvent:
    """One event that takes whole days.

    Attributes
    ----------
    uid : str, the same each time the same event is written, so that a calendar replaces it
    day : date, the first day
    summary : str
    description : str, may have several lines
    days : int, >= 1
    """

    uid: str
    day: date
    summary: str
    description: str = ""
    days: int = 1


def stable_uid(*names: str) -> str:
    """An identifier that is always the same for these names and tells nothing of them.

    Examples
    --------
    >>> stable_uid("a", "b") == stable_uid("a", "b") != stable_uid("ab")
    True
    """
    return str(uuid5(_NAMES, "\n".join(names)))


def calendar_text(events: Iterable[DayEvent], made_at: datetime) -> bytes:
    """The calendar as the bytes of a file.

    Parameters
    ----------
    events : any number
    made_at : datetime, aware; written as the time of each event's making

    Returns
    -------
    bytes : UTF-8, lines end in CRLF

    Raises
    ------
    ValueError : a time without a zone, or an event of less than a day
    """
    if made_at.tzinfo is None:
        raise ValueError("the time of making needs a zone")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Hair colour tracker//Who is due//EN", "CALSCALE:GREGORIAN"]
    for event in events:
        lines += _event(event, made_at)
    lines.append("END:VCALENDAR")
    return "".join(f"{folded}{_BREAK}" for line in lines for folded in fold(line)).encode()


def escape_text(text: str) -> str:
    """A text as a property's value [5545, 3.3.11]: backslash, semicolon, comma and line breaks are escaped.

    Control characters, which no text may have, are left out.
    """
    whole = text.replace("\r\n", "\n").replace("\r", "\n")
    allowed = "".join(letter for letter in whole if letter in "\n\t" or not (ord(letter) < 32 or ord(letter) == 127))
    escaped = allowed.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return escaped.replace("\n", "\\n")


def fold(line: str) -> Iterator[str]:
    """A content line as lines of at most 75 octets, each but the first begun by a space [5545, 3.1].

    No letter is cut in two, though the standard would allow it.
    """
    held, octets = "", 0
    for letter in line:
        size = len(letter.encode())
        if octets + size > LINE_OCTETS:
            yield held
            held, octets = " ", 1
        held += letter
        octets += size
    yield held


def _event(event: DayEvent, made_at: datetime) -> list[str]:
    if event.days < 1:
        raise ValueError(f"an event takes at least a day, not {event.days}")
    after = event.day + timedelta(days=event.days)  # the end is the first day that is no more part of it
    lines = [
        "BEGIN:VEVENT",
        f"UID:{event.uid}",
        f"DTSTAMP:{made_at.astimezone(UTC):%Y%m%dT%H%M%SZ}",
        f"DTSTART;VALUE=DATE:{event.day:%Y%m%d}",
        f"DTEND;VALUE=DATE:{after:%Y%m%d}",
        f"SUMMARY:{escape_text(event.summary)}",
    ]
    if event.description:
        lines.append(f"DESCRIPTION:{escape_text(event.description)}")
    return [*lines, "CLASS:PRIVATE", "TRANSP:TRANSPARENT", "END:VEVENT"]
