"""Text shown exactly as it was typed, with no Markdown in it."""

from __future__ import annotations

import re

_PER_CENT = re.compile(r"(?<=\d) %")
_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>~$:&^=@/])")

_SEAM = ":small[]"
"""An empty piece of small print: nothing to see or copy, but it separates the texts on either side."""

# what Streamlit's Markdown still replaces in finished text, where a backslash no longer helps: bare addresses, mail
# addresses, names of pictures between colons, and arrows and signs of comparison made of several keys
_REPLACED = re.compile(
    r"(?<=:)(?=//)|(?<=www)(?=\.)|(?<=\S)(?=@)|(?<=:)(?=[\w+-]+:)|(?<=[<>=~-])(?=[<>=~-])", re.IGNORECASE
)


def plain(text: str) -> str:
    """The text so that Markdown shows every character as it was typed; ± and % stay with their number."""
    one_line = " ".join(text.split()).replace("± ", "±\N{NO-BREAK SPACE}")
    one_line = _PER_CENT.sub("\N{NO-BREAK SPACE}%", one_line)
    return _SEAM.join(_MARKDOWN.sub(r"\\\1", part) for part in _REPLACED.split(one_line))


def plain_lines(text: str) -> str:
    """Like `plain`, keeping the line breaks."""
    return "  \n".join(plain(line) for line in text.splitlines())
