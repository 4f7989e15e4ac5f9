"""A name needs something visible, and what is visible stays as it was typed."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker import workflow
from tracker.errors import InvalidEntry
from tracker.record.records import MEASURING, Visit, new_id, now
from tracker.store import Store
from tracker.workflow.bring_in import plan_files
from tracker.workflow.steps import clean_visit
from tracker.workflow.words import clean_line, clean_note

# Unicode 16, DerivedCoreProperties.txt, Default_Ignorable_Code_Point, with what else is drawn as nothing
INVISIBLE = {
    "zero width joiner": "\u200d",
    "zero width non-joiner": "\u200c",
    "two joiners": "\u200d\u200c\u200d",
    "zero width space": "\u200b",
    "word joiner": "\u2060",
    "soft hyphen": "\u00ad",
    "byte order mark": "\ufeff",
    "right-to-left mark": "\u200f",
    "right-to-left override": "\u202e",
    "combining grapheme joiner": "\u034f",
    "Hangul filler": "\u3164",
    "Hangul choseong filler": "\u115f",
    "halfwidth Hangul filler": "\uffa0",
    "braille pattern blank": "\u2800",
    "Mongolian vowel separator": "\u180e",
    "variation selector": "\ufe0f",
    "Khmer inherent vowel": "\u17b4",
    "tag letters": "\U000e0061\U000e0062",
    "musical null notehead": "\U0001d159",
    "object replacement": "\ufffc",
    "control": "\x00\x07\x1b",
    "line breaks": "\n\r\u2028\u2029\x85",
    "blanks": " \t\u00a0\u1680\u2000\u2003\u2009\u202f\u205f\u3000",
    "accent alone": "\u0301",
    "spacing mark alone": "\u0903",
    "enclosing circle alone": "\u20dd",
    "noncharacter": "\ufdd0",
    "private use": "\ue000",
    "half a character": "\ud83d",
    "all together": "\u200d \u3164\u2800\u0301\u00a0\ufe0f",
}
VISIBLE = [
    "A",
    "é",
    "7",
    "?",
    "–",
    "👩🏽‍🦱",
    "❤️",
    "👨‍👩‍👧",
    "می‌خواهم",  # Persian, with a non-joiner
    "क्‍ष",  # Devanagari, with a joiner
    "ශ්‍රී",  # Sinhala
    "김민지",
    "李小龍",
    "محمد",
    "נועה",
    "ณัฐ",
]


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def price(store: Store, name: str) -> Any:
    return workflow.keep_price(store, name, 100.0, "g", 9.0, "EUR")


def client(store: Store, name: str) -> Any:
    return workflow.add_client(store, name, "", {MEASURING: True}, "me")


def asked(store: Store, name: str) -> Any:
    return workflow.add_client(store, "Ada", "", {MEASURING: True}, name)


def renamed(store: Store, name: str) -> Any:
    kept = client(store, "Ada")
    return workflow.edit_client(store, kept, name, "")


@pytest.mark.parametrize("make", [client, asked, renamed, price])
@pytest.mark.parametrize("name", INVISIBLE.values(), ids=INVISIBLE)
def test_a_name_of_nothing_to_see_is_refused(store: Store, make: Callable[[Store, str], Any], name: str) -> None:
    with pytest.raises(InvalidEntry):
        make(store, name)
    assert [summary.client.name for summary in store.clients.summaries()] in ([], ["Ada"])
    assert store.prices.all() == []


@pytest.mark.parametrize("name", INVISIBLE.values(), ids=INVISIBLE)
def test_no_service_and_no_line_of_a_list_is_called_nothing(store: Store, name: str) -> None:
    visit = Visit(new_id(), new_id(), now().date(), (name, "toner"), (), name, name, now())
    assert clean_visit(visit).services == ("toner",)
    assert clean_visit(visit).note == ""
    if not set(name) & set("\r\n\x00\u2028\u2029\x85\ud83d"):
        plan = plan_files(store, [f'name,note\n"{name}",x\nAda,"{name}"\n'.encode()])
        assert [refusal.why for refusal in plan.refused] == ["There is no name."]
        assert [(each.name, each.note) for each in plan.clients] == [("Ada", "")]


@pytest.mark.parametrize("name", VISIBLE)
def test_a_name_with_something_to_see_stays_as_it_was_typed(store: Store, name: str) -> None:
    assert client(store, name).name == unicodedata.normalize("NFC", name)
    assert price(store, name).name == unicodedata.normalize("NFC", name)


@given(st.text(max_size=60))
def test_what_is_clean_stays_so(text: str) -> None:
    line, note = clean_line(text, "It"), clean_note(text, "It")
    assert (clean_line(line, "It"), clean_note(note, "It")) == (line, note)
    # the standard library's own idea of what is printable and no blank, as a second opinion; its Unicode is an older
    # one, which does not know some letters yet
    unknown = [letter for letter in line if unicodedata.category(letter) == "Cn"]
    seen = [letter for letter in line if letter.isprintable() and not letter.isspace()] + unknown
    assert bool(line) <= bool(seen)
