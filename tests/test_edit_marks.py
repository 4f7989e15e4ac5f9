"""What Python believes of what the marks editor sends."""

from __future__ import annotations

from typing import Any

import pytest
from streamlit.testing.v1 import AppTest


def mounted() -> None:
    import streamlit as st

    from tracker.ui.components.point_editor import edit_marks

    corners = [[10, 10], [30, 10], [30, 30], [10, 30]]
    result = edit_marks(
        key="marks", url="/p.jpg", size=(100, 80), corners=corners, path=[[50, 10], [50, 70]], width=12, rev=3
    )
    st.text(repr((result.corners[0], result.path, result.width)))


GIVEN = repr(((10.0, 10.0), ((50.0, 10.0), (50.0, 70.0)), 12.0))
SENT = {
    "rev": 3,
    "corners": [[11, 12], [30, 10], [30, 30], [10, 30]],
    "path": [[50, 10], [60, 40], [50, 70]],
    "width": 20,
}


def edited(sent: Any) -> str:
    running = AppTest.from_function(mounted, default_timeout=30)
    running.session_state["marks"] = {"value": sent}
    return str(running.run().text[0].value)


def test_the_persons_marks_win_while_the_revision_is_the_same() -> None:
    assert edited(SENT) == repr(((11.0, 12.0), ((50.0, 10.0), (60.0, 40.0), (50.0, 70.0)), 20.0))


@pytest.mark.parametrize(
    "sent",
    [
        None,
        {**SENT, "rev": 2},
        {**SENT, "corners": SENT["corners"][:3]},
        {**SENT, "path": [[50, 10]]},
        {**SENT, "path": [[50, 10], [50, 90]]},
        {**SENT, "width": 0},
        {**SENT, "width": "wide"},
        {**SENT, "width": float("nan")},
        {"rev": 3},
    ],
)
def test_stale_or_broken_marks_are_not_believed(sent: Any) -> None:
    assert edited(sent) == GIVEN
