"""Putting the cursor where the person will type first."""

from __future__ import annotations

import json

import streamlit as st

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


def focus_field(label: str) -> None:
    """Focus the text field with this label once, where a mouse or trackpad is used."""
    st.html(_SCRIPT.replace("LABEL", json.dumps(label)), unsafe_allow_javascript=True)
