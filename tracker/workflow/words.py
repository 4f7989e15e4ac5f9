"""Words as a person typed them: made safe to store, and no longer than allowed."""

from __future__ import annotations

import unicodedata

import regex

from tracker.errors import InvalidEntry

NAME_LIMIT = 120
NOTE_LIMIT = 4000
"""Most characters of a name, and of any longer text."""

# line breaks, and the two joiners that some scripts and symbols need
_KEPT = ("\n", "\t", "\u200c", "\u200d")

# Something to see: no control, blank or unassigned character, no mark without a letter to sit on, none that Unicode
# draws as nothing (Default_Ignorable_Code_Point: joiners, fillers, selectors), and none of the three signs that are
# blank by their name or purpose: braille pattern blank, musical symbol null notehead, object replacement character.
_SEEN = regex.compile(r"[^\p{C}\p{Z}\p{M}\p{Default_Ignorable_Code_Point}\u2800\U0001D159\uFFFC]")


def clean_line(text: str, what: str, limit: int = NAME_LIMIT) -> str:
    """One line of text: trimmed, with single spaces, without control characters.

    Parameters
    ----------
    text : str, as typed
    what : str, what it is, for the sentence, such as ``"The name"``
    limit : int, most characters

    Raises
    ------
    InvalidEntry : too long
    """
    return _within(" ".join(_visible(text).split()), what, limit)


def clean_note(text: str, what: str) -> str:
    """Text of several lines: trimmed, without control characters; parameters and errors as for `clean_line`."""
    return _within(_visible(text.replace("\r\n", "\n")).strip(), what, NOTE_LIMIT)


def _visible(text: str) -> str:
    """Text in composed form without control characters (Cc), halves of characters (Cs) and invisible ones (Cf).

    Empty where none of it can be seen, so that whoever asks for a name gets one.
    """
    if not _SEEN.search(text):
        return ""
    kept = (letter for letter in text if letter in _KEPT or unicodedata.category(letter) not in ("Cc", "Cf", "Cs"))
    return unicodedata.normalize("NFC", "".join(kept))


def _within(text: str, what: str, limit: int) -> str:
    if len(text) > limit:
        raise InvalidEntry(
            f"{what} has {len(text)} characters (limit {limit}).",
            "Shorten it.",
            value=len(text),
            limit=limit,
            unit="characters",
        )
    return text
