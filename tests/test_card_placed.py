"""Whether corners lie on a card: rendered heads and drawn scenes with known corners, moved off them on purpose."""

from __future__ import annotations

import itertools
from functools import cache

import cv2
import numpy as np
import pytest

from tests.bench.heads.cards import KINDS
from tests.bench.heads.develop import CHANGING, Developed, develop
from tests.bench.heads.plates import heads
from tests.scenes import CARD, MIDDLE, Drawn, photograph, scene
from tracker.errors import CardError, CardImplausible, CardMisplaced, CardTooSmall
from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card import CARD_KINDS, CardKind, Corners, read_as
from tracker.measure.reference_card.search.reduced import reduce

PLAIN, TWO, STRIP, CHART = (CARD_KINDS[name] for name in ("grey18", "steps2", "steps3", "chart24"))
HERE = np.array(CARD)


def as_corners(quad: Floats) -> Corners:
    a, b, c, d = ((float(x), float(y)) for x, y in quad)
    return a, b, c, d


def fault(kind: CardKind, encoded: np.ndarray, quad: Floats) -> CardError | None:
    return read_as(kind, encoded, as_corners(quad))


def size(quad: Floats) -> float:
    return float(np.sqrt(cv2.contourArea(quad.astype(np.float32))))


def by_a_tenth(quad: Floats) -> list[Floats]:
    """The corners moved by a tenth of the card, in eight directions."""
    turns = np.arange(8) * np.pi / 4
    return [quad + 0.1 * size(quad) * np.array([np.cos(turn), np.sin(turn)]) for turn in turns]


# --- rendered heads: the corners are those that the card was rendered with ------------------------------------------


@cache
def rendered(place: int, kind: str) -> tuple[Developed, Floats]:
    head = heads()[place]
    photo = develop(head, head.shots[0], kind, CHANGING)
    return photo, np.array(photo.marks.corners)


@pytest.mark.parametrize("kind", [CARD_KINDS[name] for name in KINDS], ids=KINDS)
@pytest.mark.parametrize("place", [2, 10, 33])
def test_true_corners_lie_on_the_card_and_corners_off_by_a_tenth_do_not(kind: CardKind, place: int) -> None:
    photo, corners = rendered(place, kind.name)
    encoded = photo.picture.encoded
    assert fault(kind, encoded, corners) is None
    rng = np.random.default_rng(place)
    for _ in range(4):
        near = corners + rng.uniform(-1, 1, (4, 2)) * 0.005 * size(corners)
        assert fault(kind, encoded, near) is None
    for moved in by_a_tenth(corners):
        assert fault(kind, encoded, moved) is not None
    larger = corners.mean(axis=0) + 1.1 * (corners - corners.mean(axis=0))
    assert fault(kind, encoded, larger) is not None


@pytest.mark.parametrize("place", [2, 33])
def test_hair_wall_and_clothing_are_no_card(place: int) -> None:
    photo, corners = rendered(place, PLAIN.name)
    height, width = photo.picture.encoded.shape[:2]
    card, copy = size(corners), reduce(photo.picture.encoded)
    outline = corners - corners.mean(axis=0)
    for x, y in itertools.product(np.linspace(card, width - card, 5), np.linspace(card, height - card, 6)):
        if np.hypot(*(corners.mean(axis=0) - [x, y])) > 1.6 * card:
            assert read_as(PLAIN, copy, as_corners(outline + np.array([x, y]))) is not None


@pytest.mark.parametrize("kind", [TWO, STRIP, CHART])
def test_one_kind_does_not_read_as_another(kind: CardKind) -> None:
    photo, corners = rendered(2, kind.name)
    others = [other for other in CARD_KINDS.values() if other is not kind]
    assert None not in [fault(other, photo.picture.encoded, corners) for other in others]
    assert fault(kind, photo.picture.encoded, np.roll(corners, 2, axis=0)) is not None, "upside down"


def test_the_dark_half_above_is_said() -> None:
    photo, corners = rendered(2, TWO.name)
    wrong = fault(TWO, photo.picture.encoded, np.roll(corners, 2, axis=0))
    assert isinstance(wrong, CardImplausible)
    assert "not above the dark one" in wrong.what


# --- drawn scenes: by hand -------------------------------------------------------------------------------------------


@cache
def drawn() -> np.ndarray:
    return photograph(scene()).encoded


def test_what_is_said_of_a_plain_card() -> None:
    assert fault(PLAIN, drawn(), HERE) is None
    # the left side lies 14 pixels further left, outside the card
    wide = HERE - [[14, 0], [0, 0], [0, 0], [14, 0]]
    off = fault(PLAIN, drawn(), wide)
    assert isinstance(off, CardMisplaced)
    assert off.what.startswith("The left side of the outline lies ")
    assert off.value == pytest.approx(14, abs=2)
    assert "Drag each corner" in off.advice
    hair = fault(PLAIN, drawn(), HERE - HERE.mean(axis=0) + [MIDDLE[0], MIDDLE[1]])
    assert hair is not None
    assert hair.what == "The corners do not lie on the card: what lies inside them is not even."


def test_an_outline_that_covers_most_of_the_card_will_do_and_a_smaller_one_will_not() -> None:
    middle = HERE.mean(axis=0)
    assert fault(PLAIN, drawn(), middle + 0.96 * (HERE - middle)) is None
    small = fault(PLAIN, drawn(), middle + 0.8 * (HERE - middle))
    assert small is not None
    assert "off the edge of the card" in small.what


def test_a_card_of_four_sides_that_show_no_edge_is_not_believed() -> None:
    even = photograph(np.full((1100, 900, 3), 0.18)).encoded
    wall = fault(PLAIN, even, HERE)
    assert wall is not None
    assert wall.what.startswith("No edge of a card runs along the ")
    # a wall like the card along one side: the other three tell
    linear = scene()
    linear[400:800, 796:] = 0.18
    cv2.fillConvexPoly(linear, np.rint(HERE).astype(np.int32), (0.18,) * 3)
    assert fault(PLAIN, photograph(linear).encoded, HERE) is None


def test_a_finger_over_a_corner_does_not_hide_the_card_and_print_on_it_does() -> None:
    held = drawn().copy()
    cv2.ellipse(held, (800, 530), (14, 32), 40, 0, 360, (196, 142, 120), -1)
    assert fault(PLAIN, held, HERE) is None
    printed = drawn().copy()
    cv2.rectangle(printed, (665, 570), (770, 670), (30, 30, 30), 14)
    wrong = fault(PLAIN, printed, HERE)
    assert wrong is not None
    assert "is not even" in wrong.what


def test_a_coloured_card_is_not_grey() -> None:
    linear = scene()
    cv2.fillConvexPoly(linear, np.rint(HERE).astype(np.int32), (0.05, 0.12, 0.45))
    wrong = fault(PLAIN, photograph(linear).encoded, HERE)
    assert wrong is not None
    assert "coloured, not grey" in wrong.what


def test_the_dark_half_of_another_card_stands_out() -> None:
    """Grey of 18 % above 15 %: 0.18 to 0.05 are 1.28 apart in log, these 0.18, which is under 0.4 of it."""
    linear = scene()
    lower = np.array([(HERE[0] + HERE[3]) / 2, (HERE[1] + HERE[2]) / 2, HERE[2], HERE[3]])
    for reflectance, passes in ((0.15, False), (0.05, True)):
        cv2.fillConvexPoly(linear, np.rint(lower).astype(np.int32), (reflectance,) * 3)
        assert (fault(TWO, photograph(linear).encoded, HERE) is None) is passes


def test_corners_that_cross_and_cards_of_a_few_pixels_are_named() -> None:
    assert isinstance(fault(PLAIN, drawn(), HERE[[0, 2, 1, 3]]), CardMisplaced)
    assert isinstance(fault(PLAIN, drawn(), HERE[::-1]), CardMisplaced)
    assert isinstance(fault(PLAIN, drawn(), 700 + 0.02 * (HERE - 700)), CardTooSmall)


def test_the_search_copy_and_sixteen_bits_give_the_same_answer() -> None:
    fine = photograph(scene(), bits=16).encoded
    for quad in (HERE, HERE + 16.0, HERE - [0, 12.0]):
        said = {str(one and one.what) for one in (fault(PLAIN, drawn(), quad), fault(PLAIN, fine, quad))}
        said.add(str((one := read_as(PLAIN, reduce(drawn()), as_corners(quad))) and one.what))
        assert len(said) == 1


def test_a_large_photo_gives_the_same_answer() -> None:
    large = cv2.resize(drawn(), None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
    assert fault(PLAIN, Drawn(large).encoded, 3 * HERE) is None
    assert None not in [fault(PLAIN, large, 3 * moved) for moved in by_a_tenth(HERE)]
