"""The bench of cards itself: a drawn card lies where its corners say, answers are judged right, parts stay apart."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.bench.cards.composite import composite
from tests.bench.cards.photos import PARTS, part_of
from tests.bench.cards.report import figures
from tests.bench.cards.run import COMPOSITES, NO_CARD, Answer, Case, judged
from tests.bench.heads.cards import KINDS
from tracker.measure.reference_card import CARD_KINDS, FoundCard

WALL = np.full((600, 800, 3), 250, np.uint8)


@pytest.mark.parametrize("kind", KINDS)
def test_a_drawn_card_lies_where_its_corners_say(kind: str) -> None:
    # seeded so that the wall is far brighter than the card's rim, and nothing covers the card
    drawn = next(each for each in (composite(WALL, f"wall {k}", CARD_KINDS[kind]) for k in range(9)) if not each.traits)
    codes = np.asarray(Image.open(io.BytesIO(drawn.content)), int)
    inside = np.zeros(codes.shape[:2], np.uint8)
    cv2.fillConvexPoly(inside, np.rint((drawn.corners - 0.5) * 16).astype(np.int32), 1, cv2.LINE_8, 4)
    kernel = np.ones((7, 7), np.uint8)
    outer = (cv2.dilate(inside, kernel) > 0) & (inside == 0)
    inner = (inside > 0) & (cv2.erode(inside, kernel) == 0)
    assert codes[outer].mean() - codes[inner].mean() > 20


def test_the_drawn_outline_is_exact() -> None:
    # a large card that nothing covers: its edge is blurred, and the shadow beside it shifts where half of the step is
    drawn = composite(WALL, "wall 2", CARD_KINDS["grey18"])
    assert not drawn.traits
    codes = np.asarray(Image.open(io.BytesIO(drawn.content)).convert("L"), float)
    x, y = np.rint(drawn.corners.mean(axis=0)).astype(int)
    dark = (codes < (codes[y, x] + 250) / 2 - 20).astype(np.uint8)
    moments, true = cv2.moments(dark, True), cv2.moments(drawn.corners.astype(np.float32))
    assert moments["m00"] == pytest.approx(true["m00"], rel=0.02)
    for way in ("m10", "m01"):  # pixels are counted by their centres
        assert moments[way] / moments["m00"] + 0.5 == pytest.approx(true[way] / true["m00"], abs=0.5)


def test_the_same_name_gives_the_same_photo_and_another_name_another() -> None:
    first, again, other = (composite(WALL, name, CARD_KINDS["grey18"]) for name in ("a", "a", "b"))
    assert first.content == again.content
    assert first.content != other.content


def test_parts_are_halves_that_never_change() -> None:
    names = [f"photo {k}" for k in range(400)]
    assert {part_of(name) for name in names} == set(PARTS)
    assert 160 < sum(part_of(name) == "held" for name in names) < 240
    # frozen: a photo that changed its part would have been fitted on (sha256, computed once)
    assert [part_of(name) for name in ("head 00", "head 01", "head 02", "head 03")] == ["fit", "held", "fit", "held"]


CORNERS = np.array([[100.0, 100.0], [300.0, 100.0], [300.0, 400.0], [100.0, 400.0]])


def answer(found: FoundCard, corners: np.ndarray | None = CORNERS, kind: str = "grey18") -> Answer:
    case = Case("photo", COMPOSITES if corners is not None else NO_CARD, np.zeros((800, 1000, 3), np.uint8), corners)
    return judged(case, CARD_KINDS[kind], found, 0.1)


@pytest.mark.parametrize(
    ("state", "moved", "outcome"),
    [
        ("found", 19.0, "right and sure"),
        ("found", 21.0, "wrong and sure"),
        ("ask", 19.0, "right but asked"),
        ("ask", 21.0, "wrong but asked"),
    ],
)
def test_right_is_within_two_percent_of_the_width(state: str, moved: float, outcome: str) -> None:
    quad = tuple((x + moved, y) for x, y in CORNERS)
    assert answer(FoundCard(state, quad, 0.9)).outcome == outcome  # type: ignore[arg-type]


def test_a_plain_card_has_no_first_corner_and_a_two_part_card_has() -> None:
    turned = tuple(map(tuple, np.roll(CORNERS, 1, axis=0)))
    assert answer(FoundCard("found", turned, 0.9)).outcome == "right and sure"
    assert answer(FoundCard("found", turned, 0.9), kind="steps2").outcome == "wrong and sure"


def test_whatever_is_taken_where_there_is_no_card_is_wrong() -> None:
    quad = tuple(map(tuple, CORNERS))
    answers = [answer(FoundCard(state, quad, 0.9), None) for state in ("found", "ask")]  # type: ignore[arg-type]
    answers.append(answer(FoundCard("none", None, 0.0), None))
    assert [each.outcome for each in answers] == ["wrong and sure", "wrong but asked", "none"]
    assert figures(answers)[NO_CARD]["as it should be"] == 1
