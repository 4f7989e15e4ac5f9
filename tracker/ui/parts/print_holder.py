"""The holder for a grey card, to save and to print."""

from __future__ import annotations

from functools import partial

import streamlit as st

from tracker.report.papers import HOLDER_PAPERS, holder_pdf
from tracker.ui.parts.offer import offer_file


def print_holder() -> None:
    """A sheet for each paper, and what to do with it."""
    st.subheader("Print a holder", anchor=False)
    st.markdown(
        "A sheet with a window for your grey card, a dark patch and four markers by which the program finds it and "
        "knows its size. Print it on matt paper at actual size, and check the 100 mm line on it with a ruler."
    )
    with st.container(horizontal=True):
        for name, paper in HOLDER_PAPERS.items():
            offer_file(
                paper.title,
                partial(holder_pdf, name),
                f"holder-{name}.pdf",
                "application/pdf",
                key=f"holder-{name}",
            )
    st.caption(
        "The large one can be farther from the camera. The pocket one takes a card the size of a bank card, and goes "
        "into an apron. A holder that you print anew has another dark patch, so keep to one for photos to be compared."
    )
