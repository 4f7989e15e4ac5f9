"""Text as it was typed, shown as it was typed: Markdown makes nothing of it."""

from __future__ import annotations

import re

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
