"""Searching for cards: rendered heads and drawn scenes with known corners, real photos without a card, hard cases."""

from __future__ import annotations

import itertools
from functools import cache
from typing import get_args

import cv2
import numpy as np
import pytest

from tests.bench.cards.composite import finger
from tests.bench.heads.cards import KINDS
from tests.bench.heads.develop import CHANGING, Developed, develop
from tests.bench.heads.plates import heads
from tests.scenes import CARD, off_balance, photograph, scene
from tracker.errors import CardAmbiguous, CardImplausible, CardNotFound
from tracker.maths.colorimetry import Floats
from tracker.measure.balance import apply
from tracker.measure.reference_card import CARD_KINDS, CardKind, CardReading, correction_from_card
from tracker.measure.reference_card.search import ASK, FOUND, NONE, FoundCard, Reason, found_corners, reduce
from tracker.measure.reference_card.search.covered import look_past
from tracker.measure.reference_card.search.geometry import (
    all_corners_of,
    all_sides,
    area,
    corner_cosine,
    each_once,
    meet,
    outward,
    outwards,
    overlap,
)
from tracker.measure.reference_card.search.light import light_on, lights_on
from tracker.measure.reference_card.search.sides import parabola, refine, refine_all
from tracker.measure.reference_card.search.traits import traits_of, traits_of_all

PLAIN, TWO, STRIP, CHART = (CARD_KINDS[name] for name in ("grey18", "steps2", "steps3", "chart24"))
REASONS = get_args(Reason)


def search(kind: CardKind, encoded: np.ndarray, near: tuple[float, float] | None = None) -> FoundCard:
    assert kind.search is not None
    return kind.search(encoded, near)


def off(found: FoundCard, corners: Floats, *, turns: bool) -> float:
    """Largest distance of a corner, pixels; a plain card may start at any of its corners."""
    assert found.corners is not None
    seen = np.array(found.corners)
    starts = range(4) if turns else (0,)
    return min(float(np.hypot(*(np.roll(seen, k, axis=0) - corners).T).max()) for k in starts)


# --- rendered heads --------------------------------------------------------------------------------------------------


@cache
def rendered(place: int, kind: str) -> Developed:
    head = heads()[place]
    return develop(head, head.shots[0], kind, CHANGING)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("place", [2, 33])
def test_finds_each_kind_beside_a_rendered_head(place: int, kind: str) -> None:
    photo = rendered(place, kind)
    found = search(CARD_KINDS[kind], photo.picture.encoded)
    assert (found.state, found.reason) == (FOUND, "")
    width = photo.picture.encoded.shape[1]
    assert off(found, np.array(photo.marks.corners), turns=kind == PLAIN.name) < 0.003 * width


@pytest.mark.parametrize("kind", ["steps2", "steps3"])
def test_one_part_of_a_card_is_not_taken_for_a_plain_card(kind: str) -> None:
    for place in (2, 33):
        assert search(PLAIN, rendered(place, kind).picture.encoded).state != FOUND


def test_a_plain_card_is_no_other_kind() -> None:
    encoded = rendered(2, PLAIN.name).picture.encoded
    assert [search(kind, encoded).state for kind in (TWO, STRIP, CHART)] == [NONE, NONE, NONE]


# --- real photos without a card --------------------------------------------------------------------------------------


# public domain and CC0, inside scikit-image
@pytest.mark.parametrize("name", ["astronaut", "chelsea", "coffee"])
def test_no_card_is_taken_in_a_real_photo_without_one(name: str) -> None:
    import skimage.data

    encoded = np.asarray(getattr(skimage.data, name)())
    assert FOUND not in {search(kind, encoded).state for kind in CARD_KINDS.values()}


# --- drawn scenes ----------------------------------------------------------------------------------------------------


def drawn(*cards: tuple[Floats, tuple[float, ...]], bits: int = 8) -> np.ndarray:
    """A scene with cards (corners, reflectances from top to bottom) in place of its own."""
    linear = scene(card=((2.0, 2.0), (3.0, 2.0), (3.0, 3.0), (2.0, 3.0)))
    for corners, steps in cards:
        for k, reflectance in enumerate(steps):
            top, bottom = k / len(steps), (k + 1) / len(steps)
            left, right = (corners[b] - corners[a] for a, b in ((0, 3), (1, 2)))
            part = [corners[0] + top * left, corners[1] + top * right]
            part += [corners[1] + bottom * right, corners[0] + bottom * left]
            fill = np.zeros(linear.shape[:2], np.uint8)
            # to a sixteenth of a pixel; the drawing counts pixel centres
            cv2.fillConvexPoly(fill, np.rint((np.array(part) - 0.5) * 16).astype(np.int32), 1, shift=4)
            linear[fill > 0] = reflectance
    return photograph(linear, bits=bits).encoded


HERE = np.array(CARD)


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("kind", [PLAIN, TWO])
def test_a_turned_photo_gives_the_same_card(kind: CardKind, turn: int) -> None:
    encoded = np.ascontiguousarray(np.rot90(drawn((HERE, (0.18, 0.05)[: len(kind.boxes)])), turn))
    corners, width, height = HERE, 900.0, 1100.0
    for _ in range(turn):
        corners = np.stack([corners[:, 1], width - corners[:, 0]], axis=1)
        width, height = height, width
    found = search(kind, encoded)
    assert found.state == FOUND
    assert off(found, corners, turns=kind.is_plain) < 1.5


def test_a_mirrored_photo_gives_the_same_card() -> None:
    encoded = np.ascontiguousarray(drawn((HERE, (0.18,)))[:, ::-1])
    found = search(PLAIN, encoded)
    mirrored = np.stack([900 - HERE[:, 0], HERE[:, 1]], axis=1)[[1, 0, 3, 2]]
    assert off(found, mirrored, turns=True) < 1.5


@pytest.mark.parametrize("scale", [0.5, 2.5])
def test_a_scaled_photo_gives_the_same_card(scale: float) -> None:
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    encoded = cv2.resize(drawn((HERE, (0.18,))), None, fx=scale, fy=scale, interpolation=how)
    found = search(PLAIN, encoded)
    assert found.state == FOUND
    assert off(found, HERE * scale, turns=True) < 1.5 * max(scale, 1)


def test_sixteen_bits_give_the_same_card() -> None:
    fine, coarse = (np.array(search(PLAIN, drawn((HERE, (0.18,)), bits=bits)).corners) for bits in (16, 8))
    assert np.abs(fine - coarse).max() < 0.3


def test_a_corner_behind_a_finger_comes_back() -> None:
    encoded = drawn((HERE, (0.18,)))
    cv2.ellipse(encoded, (800, 530), (14, 32), 40, 0, 360, (196, 142, 120), -1)
    found = search(PLAIN, encoded)
    assert found.state != NONE
    assert off(found, HERE, turns=True) < 6


def test_a_side_of_fingertips_is_never_taken_for_the_cards_own() -> None:
    encoded = drawn((HERE, (0.18,)))
    left = HERE[[0, 3]]
    for share in (0.3, 0.5, 0.7):
        x, y = left[0] + share * (left[1] - left[0])
        cv2.line(encoded, (round(x) - 60, round(y)), (round(x) + 25, round(y)), (196, 142, 120), 24)
    found = search(PLAIN, encoded)
    assert found.state == ASK or off(found, HERE, turns=True) < 0.01 * encoded.shape[1]


@pytest.mark.parametrize("width", [60, 90])
def test_a_small_card_in_a_large_photo_is_measured_on_a_finer_copy(width: int) -> None:
    card = np.array([(700.0, 900.0), (700 + width, 906), (697 + width, 906 + 1.4 * width), (697, 900 + 1.4 * width)])
    encoded = cv2.resize(drawn((np.array(HERE) * 0 - 50, (0.18,))), (1800, 2200), interpolation=cv2.INTER_CUBIC)
    fill = np.zeros(encoded.shape[:2], np.float32)
    cv2.fillConvexPoly(fill, np.rint((card - 0.5) * 16).astype(np.int32), 1.0, cv2.LINE_AA, 4)
    fill = cv2.GaussianBlur(fill, (0, 0), 0.8)[..., None]
    encoded = np.rint(encoded * (1 - fill) + 96 * fill).astype(np.uint8)
    photo = reduce(encoded)
    assert photo.finer is not None
    assert photo.finer.shrink > 1.5 * photo.shrink
    found = search(PLAIN, encoded)
    assert found.state == FOUND
    assert off(found, card, turns=True) < 0.001 * encoded.shape[1]


def test_the_halves_of_a_drawn_card_are_not_taken_for_a_plain_one() -> None:
    for steps in ((0.18, 0.05), (0.9, 0.18, 0.035)):
        assert search(PLAIN, drawn((HERE, steps))).state != FOUND


def test_searches_that_share_a_copy_answer_as_each_alone() -> None:
    encoded = drawn((HERE, (0.18, 0.05)))
    shared = reduce(encoded)
    assert reduce(shared) is shared
    for kind in CARD_KINDS.values():
        assert search(kind, shared) == search(kind, encoded)  # type: ignore[arg-type]


def test_outlines_refined_together_are_those_refined_alone() -> None:
    photo = reduce(drawn((HERE, (0.18,))))
    begin = photo.from_photo(HERE) + np.array([[[3.0, -2.0]], [[-4.0, 3.0]], [[0.0, 0.0]]])
    together = refine_all(photo, begin, (3.0, 5.0))
    for quad, moved in zip(begin, together, strict=True):
        alone = refine(photo, quad, 1.0, (3.0, 5.0))
        assert alone == pytest.approx(moved, abs=1e-3)
        assert np.abs(moved - photo.from_photo(HERE)).max() < 1.0  # the drawn truth
    for one, traits in zip(together, traits_of_all(photo, together), strict=True):
        assert traits.edge == pytest.approx(traits_of(photo, one).edge)


def test_two_cards_are_asked_about_and_a_tap_decides() -> None:
    other = HERE - np.array([0.0, 390.0])
    encoded = drawn((HERE, (0.18,)), (other, (0.18,)))
    both = search(PLAIN, encoded)
    assert (both.state, both.reason) == (ASK, "several")
    for card in (HERE, other):
        x, y = card.mean(axis=0)
        tapped = search(PLAIN, encoded, (float(x), float(y)))
        assert tapped.state == FOUND
        assert off(tapped, card, turns=True) < 1.5


def test_a_tap_on_bare_wall_finds_nothing() -> None:
    assert search(PLAIN, drawn((HERE, (0.18,))), (850.0, 60.0)).state == NONE


def test_half_a_card_in_the_frame_is_not_found() -> None:
    cut = HERE + np.array([170.0, 0.0])
    assert search(PLAIN, drawn((cut, (0.18,)))).state == NONE
    assert search(TWO, drawn((cut, (0.18, 0.05)))).state == NONE


def test_a_white_tile_is_never_taken() -> None:
    assert search(PLAIN, drawn((HERE, (0.75,)))).state != FOUND


def test_a_two_part_card_upside_down_starts_at_its_grey_end() -> None:
    found = search(TWO, drawn((HERE, (0.05, 0.18))))
    assert found.state == FOUND
    assert off(found, np.roll(HERE, 2, axis=0), turns=False) < 1.5


def test_a_strip_with_a_burnt_out_white_is_found() -> None:
    found = search(STRIP, drawn((HERE, (1.3, 0.26, 0.05))))
    assert found.state == FOUND
    assert off(found, HERE, turns=False) < 2.5


# --- what is said ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("reason", [reason for reason in REASONS if reason])
def test_each_doubt_has_a_sentence_and_advice(reason: Reason) -> None:
    asked, none = (FoundCard(state, None, 0.5, reason).error for state in (ASK, NONE))
    assert isinstance(asked, CardAmbiguous)
    assert isinstance(none, CardNotFound)
    assert asked.what.endswith(".")
    assert asked.advice.endswith(".")
    assert FoundCard(FOUND, None, 1.0).error is None


@pytest.mark.parametrize(("state", "error"), [(ASK, CardAmbiguous), (NONE, CardNotFound)])
def test_only_a_sure_card_gives_corners(state: str, error: type[Exception]) -> None:
    card = FoundCard(state, ((0, 0), (1, 0), (1, 1), (0, 1)), 0.5, "faint")  # type: ignore[arg-type]
    with pytest.raises(error):
        found_corners(lambda _encoded, _near: card, np.zeros((4, 4, 3), np.uint8))


# --- geometry, against OpenCV and by hand ----------------------------------------------------------------------------


def test_area_and_overlap_against_opencv() -> None:
    other = HERE + np.array([30.0, 12.0])
    assert area(HERE) == pytest.approx(cv2.contourArea(HERE.astype(np.float32)), rel=1e-6)
    drawings = []
    for quad in (HERE, other):
        drawing = np.zeros((1100, 900), np.uint8)
        cv2.fillConvexPoly(drawing, np.rint(quad).astype(np.int32), 1)
        drawings.append(drawing)
    shared = (drawings[0] & drawings[1]).sum() / min(drawing.sum() for drawing in drawings)
    assert overlap(HERE, other) == pytest.approx(shared, abs=0.01)


def test_lines_meet_where_they_do_and_parallels_nowhere() -> None:
    first = np.array([0.0, 1.0]), np.array([1.0, 0.0])
    assert meet(first, (np.array([3.0, 9.0]), np.array([0.6, 0.8]))) == pytest.approx([-3.0, 1.0])
    assert meet(first, (np.array([0.0, 2.0]), np.array([1.0, 0.0]))) is None
    assert corner_cosine(np.array([(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (0.0, 2.0)])) == pytest.approx(0, abs=1e-12)


def test_corners_of_all_sides_are_those_of_each_pair() -> None:
    along, lengths = all_sides(HERE[None])
    assert all_corners_of(HERE[None], along / lengths[..., None])[0] == pytest.approx(HERE)


def test_one_outline_is_measured_as_many_are() -> None:
    photo = reduce(drawn((HERE, (0.18,))))
    quads = photo.from_photo(np.stack([HERE, HERE - 200]))
    many = lights_on(photo.smooth, quads, 0.7)
    for k, quad in enumerate(quads):
        one = light_on(photo.smooth, quad, 0.7)
        assert one.plane == pytest.approx(many.plane[k], abs=1e-3)
        assert (one.unevenness, one.noise(2.0)) == pytest.approx((many.unevenness[k], many.noise(2.0)[k]), abs=1e-3)
        middle = one.at(*quad.mean(axis=0)[:, None])
        assert middle[0] == pytest.approx(one.plane[0], abs=1e-3)
        assert outward(quad[1], quad[2], quad.mean(axis=0)) == pytest.approx(outwards(quads)[k, 1])
    assert outward(HERE[0], HERE[1], HERE.mean(axis=0)) @ (HERE[0] - HERE[3]) > 0  # the top side looks upwards


def test_of_outlines_alike_the_first_is_kept_whatever_corner_it_starts_at() -> None:
    quads = np.stack([HERE, np.roll(HERE, 1, axis=0) + 1, HERE + 40])
    assert each_once(quads, np.full(3, 5.0)).tolist() == [0, 2]
    assert each_once(quads, np.full(3, 5.0), HERE[None] + 2).tolist() == [2]


def test_the_peak_of_a_parabola_is_exact() -> None:
    for top in np.linspace(-0.5, 0.5, 5):
        before, middle, after = (np.array([5 - (x - top) ** 2]) for x in (-1, 0, 1))
        assert parabola(before, middle, after)[0] == pytest.approx(top)


def test_all_kinds_are_searched_for() -> None:
    assert all(kind.search is not None for kind in CARD_KINDS.values())
    pairs = itertools.combinations([kind.search for kind in CARD_KINDS.values()], 2)
    assert all(a is not b for a, b in pairs)


# --- the two-part card -----------------------------------------------------------------------------------------------


def two_parts(contrast: float, gains: tuple[float, float, float] = (0.9, 0.7, 0.5)) -> CardReading:
    """The card as a camera renders it that raises linear light to a power."""
    seen = (TWO.reference(None, None) * np.array(gains)) ** contrast
    return CardReading(TWO, CARD, seen, np.zeros((2, 3, 3)), np.ones(2, bool), 0.0, 0.0)  # type: ignore[arg-type]


@pytest.mark.parametrize("contrast", [0.85, 1.0, 1.2])
def test_grey_and_dark_undo_a_phones_contrast_at_any_lightness(contrast: float) -> None:
    gains = (0.9, 0.7, 0.5)
    hair = np.array([[0.02, 0.015, 0.01], [0.3, 0.2, 0.1]])
    card, cast = two_parts(contrast, gains), hair @ off_balance(gains).T
    correction = correction_from_card(card)
    assert correction.exponent == pytest.approx(1 / contrast)
    np.testing.assert_allclose(apply(correction, cast**contrast), hair, rtol=1e-4)  # its matrix has four decimals


def test_a_contrast_that_no_phone_gives_is_held_and_then_refused() -> None:
    assert correction_from_card(two_parts(0.7)).exponent == 1.35
    assert correction_from_card(two_parts(1.6)).exponent == 0.75
    TWO.require_plausible(two_parts(0.7))
    for contrast, word in ((0.4, "shines"), (2.2, "shadow")):
        with pytest.raises(CardImplausible, match=word):
            correction_from_card(two_parts(contrast))


# --- fingers ---------------------------------------------------------------------------------------------------------


def test_a_side_with_fingers_lies_on_what_is_seen_of_the_card() -> None:
    truth = np.array([(300.0, 200.0), (520.0, 210.0), (515.0, 500.0), (295.0, 490.0)])
    linear = np.full((700, 800, 3), 0.45)
    cv2.fillConvexPoly(linear, np.rint(truth * 16).astype(np.int32), (0.18,) * 3, cv2.LINE_AA, 4)
    for row in (310.0, 355.0, 400.0):  # a third of the right side
        finger(linear, np.array([490.0, row]), np.array([1.0, 0.0]), 40.0, np.array([0.35, 0.2, 0.14]))
    photo = reduce(np.rint(255 * np.clip(linear, 0, 1) ** (1 / 2.2)).astype(np.uint8))
    along_fingertips = truth + np.array([(0, 0), (0, 0), (-45, -2), (0, 0)])
    (moved,) = look_past(photo, along_fingertips[None], 2.2)
    assert np.abs(moved - truth).max() < 1.0
    # the step alone is no help here
    usual = refine(photo, along_fingertips, 2.5)
    assert usual is None or np.abs(usual - truth).max() > 5.0
