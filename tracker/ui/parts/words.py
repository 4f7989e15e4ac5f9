"""The words of the pages: dates, spans, regions and numbers as a colourist says them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, datetime

REGION_WORDS = {"root": "Root", "mid": "Mid-lengths", "end": "Ends"}
MADE_UP = "made up"
"""Marks a client of the demo, and all that is theirs."""

ROLE_WORDS = {"before": "Before", "after": "After", "progress": "Progress"}

_PER_CENT = re.compile(r"(?<=\d) %")
_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>~$:&^=@/])")

_SEAM = ":small[]"
"""An empty piece of small print: nothing to see or to copy, but what is before it and behind it are two texts."""

# what Streamlit's Markdown replaces in a finished text, where a backslash before a sign has done its work already: bare
# addresses, mail addresses, names of pictures between colons, and arrows and signs of comparison made of several keys
_REPLACED = re.compile(
    r"(?<=:)(?=//)|(?<=www)(?=\.)|(?<=\S)(?=@)|(?<=:)(?=[\w+-]+:)|(?<=[<>=~-])(?=[<>=~-])", re.IGNORECASE
)


def plain(text: str) -> str:
    """The text so that Markdown shows every sign of it as it was typed; ± and % stay with their number."""
    one_line = " ".join(text.split()).replace("± ", "±\N{NO-BREAK SPACE}")
    one_line = _PER_CENT.sub("\N{NO-BREAK SPACE}%", one_line)
    return _SEAM.join(_MARKDOWN.sub(r"\\\1", part) for part in _REPLACED.split(one_line))


def plain_lines(text: str) -> str:
    """Like `plain`, keeping the line breaks."""
    return "  \n".join(plain(line) for line in text.splitlines())


def day(when: date) -> str:
    """A date as `3 March 2026`."""
    return f"{when.day} {when:%B %Y}"


def as_date(when: date | datetime) -> date:
    """The local calendar day of a date or a moment."""
    if isinstance(when, datetime):
        return when.astimezone().date()
    return when


def ago(when: date, today: date | None = None) -> str:
    """How long ago a day was, in the largest unit that still says something."""
    days = ((today or date.today()) - when).days
    if days < 0:
        return f"on {day(when)}"
    if days == 0:
        return "today"
    if days == 1:
        return "yesterday"
    steps = ((14, 1, "day"), (60, 7, "week"), (730, 30.4375, "month"), (10**9, 365.25, "year"))
    for limit, length, word in steps:
        if days < limit:
            return f"{count(int(days / length + 0.5), word)} ago"
    return ""


def months_words(months: float) -> str:
    """A span as `6.0 months`, in days where it is shorter than a month; empty for the same day."""
    days = round(months * 30.4375)
    if days < 1:
        return ""
    return count(days, "day") if days < 30 else f"{months:.1f} months"


def count(number: int, word: str, plural: str = "") -> str:
    """A number with its noun in the right form."""
    return f"{number} {word if number == 1 else plural or word + 's'}"


def listed(words: Iterable[str], empty: str = "") -> str:
    """Words in a row: `a, b and c`."""
    row = [word for word in words if word]
    if not row:
        return empty
    if len(row) == 1:
        return row[0]
    return f"{', '.join(row[:-1])} and {row[-1]}"


def sentence_case(text: str) -> str:
    """The text with its first letter large and the rest untouched."""
    return text[:1].upper() + text[1:]


def disk_size(count_of_bytes: int) -> str:
    """A size on disk in the unit a person would pick."""
    scale = ((10**9, "GB"), (10**6, "MB"), (10**3, "kB"))
    for unit, word in scale:
        if count_of_bytes >= unit:
            return f"{count_of_bytes / unit:.1f} {word}"
    return f"{count_of_bytes} bytes"
