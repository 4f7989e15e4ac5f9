"""Where the person carries on: the cursor in the first field, or the top of a page or step with its heading."""

from __future__ import annotations

import json
from dataclasses import dataclass

import streamlit as st

from tracker.ui.parts.held import held

# a constant script: the label is our own word. Fingers are spared the keyboard that would jump up.
_SCRIPT = """<script>
(() => {
  if (!matchMedia("(pointer: fine)").matches) return
  const seek = (left) => {
    const field = document.querySelector(`input[aria-label=${JSON.stringify(LABEL)}]`)
    if (field) field.focus({ preventScroll: true })
    else if (left > 0) setTimeout(() => seek(left - 1), 50)
  }
  seek(20)
})()
</script>"""

# a constant script but for a count. What was pressed goes with the old page and takes the focus with it, so the heading
# gets it, again and again while the new page is drawn and nothing else has taken it. A reload starts a new count.
_TOP = """<script>
(() => {
  if (COUNT === 0 || window.trackerMovedOn === COUNT) return
  window.trackerMovedOn = COUNT
  document.querySelector('[data-testid="stMain"]')?.scrollTo(0, 0)
  const seek = (left, lost) => {
    const heading = document.querySelector('[data-testid="stMain"] h1')
    if (heading && (lost || document.activeElement === document.body)) {
      heading.tabIndex = -1
      heading.focus({ preventScroll: true })
    }
    if (left > 0) setTimeout(() => seek(left - 1, false), 100)
  }
  seek(20, true)
})()
</script>"""


@dataclass
class _Moves:
    """How often the person went on to another page or step."""

    count: int = 0


def moved_on() -> None:
    """Note that the person goes on to another page or step: it begins at its top."""
    held(_Moves).count += 1


def begin_at_the_top() -> None:
    """Scroll to the top and focus the heading, once each time that the person moved on."""
    st.html(_TOP.replace("COUNT", str(held(_Moves).count)), unsafe_allow_javascript=True)


def focus_field(label: str) -> None:
    """Focus the text field with this label once, where a mouse or trackpad is used."""
    st.html(_SCRIPT.replace("LABEL", json.dumps(label)), unsafe_allow_javascript=True)
