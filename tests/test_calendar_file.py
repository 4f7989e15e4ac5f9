"""Calendar files against RFC 5545's own worked examples and a strict reading of its grammar."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.calendar_file import DayEvent, calendar_text, escape_text, fold, stable_uid

MADE = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)


def unfolded(content: bytes) -> list[str]:
    """Content lines again, as RFC 5545, 3.1 says: CRLF and one white space are taken out."""
    text = content.decode("utf-8")
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    return text.replace("\r\n ", "").replace("\r\n\t", "").split("\r\n")[:-1]


def unescaped(value: str) -> str:
    """A TEXT value again (RFC 5545, 3.3.11)."""
    return re.sub(r"\\(.)", lambda found: "\n" if found[1] in "nN" else found[1], value)


def parsed(content: bytes) -> list[dict[str, str]]:
    """Events of a calendar; anything that the grammar does not allow fails."""
    lines = unfolded(content)
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert lines.count("VERSION:2.0") == 1
    assert sum(line.startswith("PRODID:") for line in lines) == 1
    events: list[dict[str, str]] = []
    begun: list[str] = []
    for line in lines:
        name, _, value = line.partition(":")
        assert re.fullmatch(r"[A-Z-]+(;[A-Z-]+=[A-Z-]+)*", name), line
        if name == "BEGIN":
            begun.append(value)
            if value == "VEVENT":
                events.append({})
        elif name == "END":
            assert value == begun.pop()
        elif begun == ["VCALENDAR", "VEVENT"]:
            assert name not in events[-1]
            events[-1][name] = value
        else:
            assert begun == ["VCALENDAR"]
    assert begun == []
    # RFC 5545, 3.6.1: both are required in every event
    assert all(event.get("UID") and event.get("DTSTAMP") for event in events)
    return events


def test_text_is_escaped_as_in_the_standards_example() -> None:
    # RFC 5545, 3.3.11: "the following would be a valid TEXT value"
    plain = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert escape_text(plain) == "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."
    assert escape_text("a;b,c\\d") == "a\\;b\\,c\\\\d"


def test_an_event_of_days_ends_on_the_day_after_as_in_the_standards_example() -> None:
    # RFC 5545, 3.6.1: a festival from 28 June to 8 July has DTSTART 20070628 and DTEND 20070709
    event = DayEvent("1", date(2007, 6, 28), "Festival International de Jazz de Montreal", days=11)
    [found] = parsed(calendar_text([event], MADE))
    assert (found["DTSTART;VALUE=DATE"], found["DTEND;VALUE=DATE"]) == ("20070628", "20070709")
    assert found["DTSTAMP"] == "20261125T083000Z"


@pytest.mark.parametrize(
    ("line", "parts"), [("x" * 75, 1), ("x" * 76, 2), ("é" * 200, 6), ("€" * 200, 9), ("\U0001f5d3" * 99, 6)]
)
def test_a_line_is_folded_after_75_octets_and_never_within_a_letter(line: str, parts: int) -> None:
    # octets by hand: 75 in the first line, 74 beside the space in the others, whole letters only
    found = list(fold(line))
    assert len(found) == parts
    assert max(len(part.encode()) for part in found) <= 75


@given(
    st.lists(
        st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"]), min_size=20, max_size=60), max_size=8
    ).map("".join)
)
def test_lines_are_short_and_come_together_again(line: str) -> None:
    parts = list(fold(line))
    assert all(len(part.encode()) <= 75 for part in parts)
    assert parts[0] + "".join(part[1:] for part in parts[1:]) == line
    assert all(part.startswith(" ") for part in parts[1:])


@given(st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"]), max_size=200), st.text("ab;,\\\n", max_size=60))
def test_what_is_written_is_read_again(summary: str, description: str) -> None:
    content = calendar_text([DayEvent("u", date(2026, 3, 1), summary, description)], MADE)
    [found] = parsed(content)
    assert unescaped(found["SUMMARY"]) == summary
    assert unescaped(found.get("DESCRIPTION", "")) == description


def test_nothing_typed_can_add_a_line_of_its_own() -> None:
    nasty = "x\r\nATTENDEE:mailto:a@example.org\rEND:VEVENT\x00"
    [found] = parsed(calendar_text([DayEvent("u", date(2026, 3, 1), nasty, nasty)], MADE))
    assert "ATTENDEE" not in found
    assert unescaped(found["SUMMARY"]) == "x\nATTENDEE:mailto:a@example.org\nEND:VEVENT"


def test_the_same_event_has_the_same_name_and_tells_nothing() -> None:
    assert stable_uid("client", "visit") == stable_uid("client", "visit")
    assert stable_uid("client", "visit") != stable_uid("clientvisit", "")
    assert "client" not in stable_uid("client", "visit")


def test_impossible_events_are_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        calendar_text([], datetime(2026, 1, 1))
    with pytest.raises(ValueError, match="at least a day"):
        calendar_text([DayEvent("u", date(2026, 1, 1), "x", days=0)], MADE)
