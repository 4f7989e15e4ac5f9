"""Calendar files against RFC 5545's own worked examples and a strict reading of its grammar."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.show.calendar import DayEvent, calendar_text, stable_uid

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


def described(description: str) -> bytes:
    """A calendar with one event of that description."""
    return calendar_text([DayEvent("u", date(2026, 3, 1), "x", description)], MADE)


def test_text_is_escaped_as_in_the_standards_example() -> None:
    # RFC 5545, 3.3.11: "the following would be a valid TEXT value"
    plain = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    [found] = parsed(described(plain))
    assert found["DESCRIPTION"] == "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."
    [found] = parsed(described("a;b,c\\d\\N"))
    assert found["DESCRIPTION"] == "a\\;b\\,c\\\\d\\\\N"


def test_a_calendar_is_published_and_tells_how_often_it_was_revised() -> None:
    # RFC 5545, 3.7.2 and 3.8.7.4: METHOD stands in the calendar, SEQUENCE in the event as a plain integer
    content = calendar_text([DayEvent("u", date(2026, 3, 1), "x", sequence=7)], MADE)
    lines = unfolded(content)
    assert lines.count("METHOD:PUBLISH") == 1
    assert lines.index("METHOD:PUBLISH") < lines.index("BEGIN:VEVENT")
    assert parsed(content)[0]["SEQUENCE"] == "7"


def test_an_event_of_days_ends_on_the_day_after_as_in_the_standards_example() -> None:
    # RFC 5545, 3.6.1: a festival from 28 June to 8 July has DTSTART 20070628 and DTEND 20070709
    event = DayEvent("1", date(2007, 6, 28), "Festival International de Jazz de Montreal", days=11)
    [found] = parsed(calendar_text([event], MADE))
    assert (found["DTSTART;VALUE=DATE"], found["DTEND;VALUE=DATE"]) == ("20070628", "20070709")
    assert found["DTSTAMP"] == "20261125T083000Z"


@pytest.mark.parametrize("text", ["x" * 300, "é" * 200, "€" * 200, "\U0001f5d3" * 99, "a€" * 150])
def test_a_line_is_folded_after_75_octets_and_never_within_a_letter(text: str) -> None:
    # RFC 5545, 3.1: lines of 75 octets at most, without their end; a line that goes on begins with a space
    lines = described(text).removesuffix(b"\r\n").split(b"\r\n")
    assert max(map(len, lines)) <= 75
    first = next(number for number, line in enumerate(lines) if line.startswith(b"DESCRIPTION:"))
    following = [line.decode() for line in lines[first + 1 : first + 3]]  # each is whole letters
    assert all(line.startswith(" ") for line in following)


@given(
    st.lists(
        st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"]), min_size=20, max_size=60), max_size=8
    ).map("".join)
)
def test_lines_are_short_and_come_together_again(text: str) -> None:
    content = described(text)
    assert all(len(line) <= 75 and line.decode() for line in content.removesuffix(b"\r\n").split(b"\r\n"))
    assert unescaped(parsed(content)[0].get("DESCRIPTION", "")) == text


@given(st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"]), max_size=200), st.text("aN;,\\\n", max_size=60))
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
