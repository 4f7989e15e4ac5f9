"""What Python believes of what the marks editor sends."""

from __future__ import annotations

from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from tracker.measure.hair.outline import FEWEST, MOST


def mounted() -> None:
    import streamlit as st

    from tracker.ui.components.point_editor import edit_marks

    corners = [[10, 10], [30, 10], [30, 30], [10, 30]]
    outline = [[40, 5], [60, 5], [60, 75], [40, 75]]
    result = edit_marks(
        key="marks", url="/p.jpg", size=(100, 80), corners=corners, path=[[50, 10], [50, 70]], outline=outline, rev=3
    )
    st.text(repr((result.corners[0], result.path, result.outline, result.asks_for_outline)))
    if result.near is not None:
        st.text(repr(result.near))


GIVEN = repr(
    (
        (10.0, 10.0),
        ((50.0, 10.0), (50.0, 70.0)),
        ((40.0, 5.0), (60.0, 5.0), (60.0, 75.0), (40.0, 75.0)),
        False,
    )
)
SENT: dict[str, Any] = {
    "rev": 3,
    "corners": [[11, 12], [30, 10], [30, 30], [10, 30]],
    "path": [[50, 10], [60, 40], [50, 70]],
    "outline": [[41, 5], [62, 5], [60, 75]],
}
ABOUT = [[50, i] for i in range(MOST + 1)]


def edited(sent: Any) -> str:
    running = AppTest.from_function(mounted, default_timeout=30)
    running.session_state["marks"] = {"value": sent}
    return str(running.run().text[0].value)


def tapped(sent: Any) -> str:
    running = AppTest.from_function(mounted, default_timeout=30)
    running.session_state["marks"] = {"value": sent}
    return "\n".join(text.value for text in running.run().text[1:])


def test_a_tap_in_the_card_comes_with_the_marks_and_never_late() -> None:
    assert tapped(SENT) == ""
    assert tapped({**SENT, "near": [40, 50.5]}) == "(40.0, 50.5)"
    assert tapped({**SENT, "near": [40, 50.5], "rev": 2}) == ""


def test_the_persons_marks_win_while_the_revision_is_the_same() -> None:
    axis = (50.0, 10.0), (60.0, 40.0), (50.0, 70.0)
    assert edited(SENT) == repr(((11.0, 12.0), axis, ((41.0, 5.0), (62.0, 5.0), (60.0, 75.0)), False))


def test_an_outline_may_have_as_many_points_as_an_outline_may_have() -> None:
    for number in (FEWEST, MOST):
        assert edited({**SENT, "outline": ABOUT[:number]}).count("(50.0, 1.0)") == 1


def test_marks_started_again_have_neither_path_nor_outline() -> None:
    assert edited({**SENT, "path": [], "outline": None}) == repr(((11.0, 12.0), (), None, False))


def test_a_path_without_an_outline_asks_for_one() -> None:
    axis = (50.0, 10.0), (60.0, 40.0), (50.0, 70.0)
    assert edited({**SENT, "outline": None}) == repr(((11.0, 12.0), axis, None, True))


@pytest.mark.parametrize(
    "sent",
    [
        None,
        "marks",
        {**SENT, "rev": 2},
        {**SENT, "corners": SENT["corners"][:3]},
        {**SENT, "path": [[50, 10]]},
        {**SENT, "path": []},
        {**SENT, "path": [[50, 10], [50, 90]]},
        {**SENT, "path": ABOUT},
        {**SENT, "path": [[50, 10], None]},
        {**SENT, "outline": ABOUT[: FEWEST - 1]},
        {**SENT, "outline": ABOUT},
        {**SENT, "outline": []},
        {**SENT, "outline": [[40, 5], [101, 5], [60, 75]]},
        {**SENT, "outline": [[40, 5], [60, -1], [60, 75]]},
        {**SENT, "outline": [[40, 5], [60, 5], [float("nan"), 75]]},
        {**SENT, "outline": [[40, 5], [60, 5], [float("inf"), 75]]},
        {**SENT, "outline": [[40, 5], [60, 5], [10**400, 75]]},
        {**SENT, "outline": [[40, 5], [60, 5], [60]]},
        {**SENT, "outline": "round"},
        {**SENT, "near": [40, 81]},
        {**SENT, "near": [40]},
        {**SENT, "near": 40},
        {**SENT, "near": [float("nan"), 40]},
        {key: value for key, value in SENT.items() if key != "outline"},
        {"rev": 3},
    ],
)
def test_stale_or_broken_marks_are_not_believed(sent: Any) -> None:
    assert edited(sent) == GIVEN
