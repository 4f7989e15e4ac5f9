"""The words of the trade, units, and the grammar of small numbers and dates, for the screen, the papers and the core.

The core finds codes (``mid``, ``after``) and numbers; their words come from here.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

REGION_WORDS = {"root": "root", "mid": "mid-lengths", "end": "ends"}
"""A band of the hair inside a sentence, by its code."""

REGION_TITLES = {"root": "Root", "mid": "Mid-lengths", "end": "Ends"}
"""A band as a heading, or at the beginning of a sentence."""

REGION_PLURALS = {"root": "roots", "mid": "mid-lengths", "end": "ends"}
"""A band as said to the client: your roots, your ends."""

ROLE_WORDS = {"before": "Before", "after": "After", "progress": "Progress"}
"""The role of a photo in its visit."""

MADE_UP = "made up"
"""Marks a client of the demo and everything of theirs."""

DAYS_PER_MONTH = 30.4375
"""A year of 365.25 days in twelve."""

UNITS = {
    "minutes": "min",
    "grams": "g",
    "ounces": "oz",
    "waste": "%",
    "pack_size": "in the unit of the pack",
    "quantity": "in the unit of the pack",
    "price": "of one pack, in the currency named",
    "photos": "photos combined",
    "stretches": "L*, from the darkest to the lightest, root first",
    "size_mm": "mm, width and height",
    "lens_mm": "mm, as on a frame of 36 x 24 mm",
    "size": "px, width and height",
    "corners": "px, x and y",
    "outline": "px, x and y",
    "path": "px, x and y from root to tip",
    "width": "px",
    "reflectance": "0 to 1",
    "dark": "0 to 1",
    "dark_u": "0 to 1, standard uncertainty",
    "pixels": "pixels averaged",
    "kit_u": "standard uncertainty of lights, lows and dimension (L*) and of lightened (share)",
    "gradient": "EV across the card",
    "clipped": "share, 0 to 1",
    "gloss": "share, 0 to 1",
    "shadow": "share, 0 to 1",
    "not_hair": "share, 0 to 1",
    "outside": "share, 0 to 1",
    "gains": "factor on linear light, red green blue",
    "flare": "share of perfect white",
    "exponent": "power of linear light",
    "misfit": "CIELAB units (L*, a*, b*), root mean square",
    "matrix": "factor, linear RGB to linear RGB",
    "repeat_cov": "CIELAB squared",
    "light_cov": "CIELAB squared",
    "laid_cov": "CIELAB squared",
    "position": "0 root to 1 tip",
    "lab": "CIELAB L*, a*, b* (D65, 2 degrees)",
    "u_lightness": "L*, standard uncertainty",
    "sd": "L*, a*, b*",
    "shared": "L*, a*, b*",
    "shared_dof": "degrees of freedom",
    "labs": "CIELAB L*, a*, b* of each band (D65, 2 degrees)",
    "knots": "L*, a*, b*",
    "own": "L*, from and to",
    "u_dark": "CIELAB units, standard uncertainty",
    "u_own": "CIELAB units, standard uncertainty",
    "level": "level, 1 to 10",
    "warmer": "CIELAB units of warmth above what it was right after the service",
    "darkest": "level, 1 to 10",
    "lightest": "level, 1 to 10",
    "root_mm": "mm",
    "washes_per_week": "washes a week",
    "floor": "L*",
    "span": "L*",
    "rate": "per level",
    "span_levels": "level, from and to",
    "revision": "count of saved changes",
    "step": "step of the page, from 0",
}
"""Unit of each plain number in the record, by the name of its field; words where there is no unit in the strict sense.

Measured values carry their own. A new field goes out without a unit until it is listed; a test names it.
"""

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def region_is(code: str) -> str:
    """A band with its verb: `root is`, `ends are`."""
    return f"{REGION_WORDS[code]} {'is' if code == 'root' else 'are'}"


def number_word(number: int) -> str:
    """A small count as a word, a larger one in figures."""
    return _NUMBERS[number] if number < len(_NUMBERS) else str(number)


def noun(number: float, word: str, plural: str = "") -> str:
    """The noun in singular or plural, to go with a number."""
    return word if number == 1 else plural or word + "s"


def count(number: int, word: str, plural: str = "") -> str:
    """A number with its noun, as `1,200 visits`."""
    return f"{number:,} {noun(number, word, plural)}"


def pixels(length: float) -> str:
    """A length in whole pixels, as `1 pixel` or `20 pixels`."""
    size = f"{length:.0f}"
    return f"{size} pixel" if size == "1" else f"{size} pixels"


def listed(words: Iterable[str], empty: str = "") -> str:
    """Words in a row: `a, b and c`."""
    row = [word for word in words if word]
    if not row:
        return empty
    if len(row) == 1:
        return row[0]
    return f"{', '.join(row[:-1])} and {row[-1]}"


def sentence_case(text: str) -> str:
    """The text with a capital first letter and the rest unchanged."""
    return text[:1].upper() + text[1:]


def day(when: date) -> str:
    """A date as `3 March 2026`."""
    return f"{when.day} {when:%B %Y}"


def as_date(when: date | datetime) -> date:
    """The local calendar day of a date or a moment."""
    if isinstance(when, datetime):
        return when.astimezone().date()
    return when


def ago(when: date, today: date | None = None) -> str:
    """How long ago a day was, in the largest sensible unit."""
    days = ((today or date.today()) - when).days
    if days < 0:
        return f"on {day(when)}"
    if days == 0:
        return "today"
    if days == 1:
        return "yesterday"
    steps = ((14, 1, "day"), (60, 7, "week"), (730, DAYS_PER_MONTH, "month"), (10**9, 365.25, "year"))
    for limit, length, word in steps:
        if days < limit:
            return f"{count(int(days / length + 0.5), word)} ago"
    return ""


def months_words(months: float) -> str:
    """A time span such as `6.0 months`, in days below a month; empty for the same day."""
    days = round(months * DAYS_PER_MONTH)
    if days < 1:
        return ""
    return count(days, "day") if days < 30 else f"{months:.1f} months"


def weeks_words(days: int) -> str:
    """A span as `3 weeks`, to the nearest; below ten days as `9 days`."""
    return count(round(days / 7), "week") if days >= 10 else count(days, "day")


def roughly(number: int) -> int:
    """A count rounded down to its first two digits.

    >>> roughly(1278), roughly(99), roughly(0)
    (1200, 99, 0)
    """
    step: int = 10 ** max(0, len(str(number)) - 2)
    return number // step * step


def disk_size(count_of_bytes: int) -> str:
    """A size on disk in the unit a person would pick."""
    scale = ((10**9, "GB"), (10**6, "MB"), (10**3, "kB"))
    for unit, word in scale:
        if count_of_bytes >= unit:
            return f"{count_of_bytes / unit:.1f} {word}"
    return f"{count_of_bytes} bytes"


def units_in(value: Any) -> dict[str, str]:
    """Units of all fields that occur in `value`, as `json.loads` gives it, sorted by field."""
    return {name: UNITS[name] for name in sorted(set(re.findall(r'"(\w+)": ', json.dumps(value)))) if name in UNITS}
