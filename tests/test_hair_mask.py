"""The mask of the whole hair against drawn heads whose every place is known."""

from functools import lru_cache

import cv2
import numpy as np
import pytest

from tests import scenes
from tracker.errors import HairNotFound
from tracker.maths.colorimetry import lab_to_linear
from tracker.measure.hair import doubt, looks, shape
from tracker.measure.hair.mask import HairMask, find_hair, hair_within, suggest_axis
from tracker.measure.hair.outline import MOST, Outline

SIZE = (1100, 900)
Y, X = np.mgrid[: SIZE[0], : SIZE[1]] + 0.5
LIGHT = (84.0, 2.0, 30.0)  # the wall's light stripes reach L* 77, and are grey
THREE_TAPS = (scenes.PATH[0], scenes.PATH[1], scenes.PATH[-1])


def true_hair() -> np.ndarray:
    """The ellipse that `scenes.scene` draws, without the card."""
    hair = np.zeros(SIZE, np.uint8)
    cv2.ellipse(hair, (305, 550), (170, 510), 0, 0, 360, 1, -1)
    return (hair > 0) & ~card_area()


def card_area() -> np.ndarray:
    area = np.zeros(SIZE, np.uint8)
    cv2.fillConvexPoly(area, np.rint(scenes.CARD).astype(np.int32), 1)
    return area > 0


def drawn_outline(grow: float = 1.0) -> Outline:
    """Twelve points round the drawn hair, as a person might set them."""
    angles = 2 * np.pi * np.arange(12) / 12
    # a polygon within an ellipse cuts its bends short: 1.02 makes up for it
    x, y = 305 + 170 * 1.02 * grow * np.cos(angles), 550 + 510 * 1.02 * grow * np.sin(angles)
    return Outline(tuple((float(a), float(b)) for a, b in zip(x, y, strict=True)))


def overlap(mask: HairMask | np.ndarray, true: np.ndarray | None = None) -> float:
    found = mask.at(X, Y) if isinstance(mask, HairMask) else mask
    true = true_hair() if true is None else true
    return float((found & true).sum() / (found | true).sum())


@lru_cache(maxsize=4)
def photo(bits: int = 8, seed: int = 1) -> np.ndarray:
    return scenes.photograph(scenes.scene(seed=seed), bits=bits).encoded


def with_piece(centre: tuple[int, int], axes: tuple[int, int] = (22, 160), lab=LIGHT) -> tuple[np.ndarray, np.ndarray]:
    """The drawn head with one painted piece, and where the piece lies."""
    linear = scenes.scene()
    piece = np.zeros(SIZE, np.uint8)
    cv2.ellipse(piece, centre, axes, 0, 0, 360, 1, -1)
    where = (piece > 0) & true_hair()
    strands = np.random.default_rng(5).normal(0, 3, SIZE)[where][:, None] * [1, 0, 0]
    linear[where] = lab_to_linear(np.asarray(lab) + strands)
    return scenes.photograph(linear).encoded, where


@pytest.mark.parametrize(
    "path", [scenes.PATH, THREE_TAPS, (scenes.PATH[0], scenes.PATH[-1])], ids=["path", "taps", "two"]
)
def test_hair_along_a_path_is_the_drawn_hair(path):
    assert overlap(find_hair(photo(), scenes.CARD, path)) > 0.93


def test_hair_is_found_without_a_path_and_without_a_card():
    # the drawn head stands a third of the way across and fills the photo from top to bottom
    assert overlap(find_hair(photo(), scenes.CARD)) > 0.9
    assert overlap(find_hair(photo())) > 0.9


def test_a_clear_head_leaves_no_doubt_and_a_wall_of_hair_does():
    clear = find_hair(photo(), scenes.CARD, scenes.PATH)
    assert clear.doubt < doubt.LIMIT
    assert not clear.reason
    wall = np.random.default_rng(3).integers(60, 120, (*SIZE, 3), np.uint8)
    unclear = find_hair(wall, None, scenes.PATH)
    assert unclear.doubt >= doubt.LIMIT
    assert unclear.reason


def test_a_bare_wall_is_refused_or_doubted():
    try:
        found = find_hair(np.full((*SIZE, 3), 128, np.uint8))
    except HairNotFound:
        return
    assert found.doubt >= doubt.LIMIT


@pytest.mark.parametrize("seed", range(12))
def test_whatever_is_in_the_photo_the_answer_is_a_mask_or_a_refusal(seed):
    rng = np.random.default_rng(seed)
    size = [(240, 180), (90, 400), (33, 20), (300, 300)][seed % 4]
    clouds = cv2.GaussianBlur(rng.normal(size=(*size, 3)), (0, 0), 1 + 3 * (seed % 3))
    encoded = np.clip(128 + 60 * clouds / clouds.std(), 0, 255).astype(np.uint8)
    paths = (None, ((1.0, 1.0), (size[1] - 1.0, size[0] - 1.0)), ((size[1] / 2, 2.0), (size[1] / 2, size[0] - 2.0)))
    for path in paths:
        try:
            found = find_hair(encoded, None, path)
        except HairNotFound:
            continue
        assert found.hair.any()
        assert 0 <= found.doubt <= 1
        assert np.isfinite(suggest_axis(found)).all()


@pytest.mark.parametrize("centre", [(305, 650), (150, 550)], ids=["inside", "at the rim"])
@pytest.mark.parametrize("lab", [LIGHT, (8.0, 1.0, 1.0)], ids=["light", "low"])
@pytest.mark.parametrize("drawn", [True, False], ids=["drawn", "found"])
def test_painted_pieces_are_never_left_out(centre, lab, drawn):
    encoded, piece = with_piece(centre, lab=lab)
    if drawn:
        mask = hair_within(encoded, drawn_outline(), scenes.PATH, scenes.CARD)
        # the drawing itself leaves a sliver of the piece out, and the small copy rounds its edge
        within = cv2.distanceTransform(np.uint8(drawn_outline().holds(X, Y)), cv2.DIST_L2, 5) > 1 / mask.shrink
        piece &= within
    else:
        mask = find_hair(encoded, scenes.CARD, scenes.PATH)
    assert mask.at(X, Y)[piece].mean() > (0.98 if drawn or centre[0] == 305 else 0.75)


@pytest.mark.parametrize("side", ["ends", "left"])
def test_painted_hair_of_two_colours_is_one_head(side):
    linear = scenes.scene()
    light = true_hair() & ((Y > 620) if side == "ends" else (X < 290))
    strands = scenes._strands(SIZE[1], SIZE[0], 9)[light][:, None] * [4, 0, 0]
    linear[light] = lab_to_linear(np.array([68.0, 6.0, 24.0]) + strands)
    assert overlap(find_hair(scenes.photograph(linear).encoded, scenes.CARD)) > 0.93


def test_of_several_looks_the_one_that_is_clear_and_borne_out_is_taken():
    small = cv2.resize(photo(), (196, 240), interpolation=cv2.INTER_AREA)
    whole = cv2.resize(np.uint8(true_hair()), (196, 240), interpolation=cv2.INTER_AREA) > 0
    half, nearly = whole.copy(), cv2.erode(np.uint8(whole), np.ones((3, 3))) > 0
    half[120:] = False
    taken, support = looks.chosen(small, (half, whole, nearly))
    assert np.array_equal(taken, whole)
    assert support == pytest.approx(looks.overlap(whole, nearly))
    # of two that are nearly the same the first, whatever a grain of noise says
    for first, second in ((whole, nearly), (nearly, whole)):
        assert np.array_equal(looks.chosen(small, (first, second))[0], first)


def test_an_outline_that_no_other_look_bears_out_is_doubted_more():
    small = cv2.resize(photo(), (196, 240), interpolation=cv2.INTER_AREA)
    whole = cv2.resize(np.uint8(true_hair()), (196, 240), interpolation=cv2.INTER_AREA) > 0
    doubts = [doubt.of_mask(small, whole, support)[0] for support in (1.0, 0.8, 0.5, 0.0)]
    assert doubts == sorted(doubts)
    assert doubts[0] < doubt.LIMIT < doubts[-1]


def test_the_fullness_of_an_ellipse_is_one_and_of_a_cross_less():
    disc, cross = np.zeros((200, 200), np.uint8), np.zeros((200, 200), bool)
    cv2.ellipse(disc, (100, 100), (60, 80), 0, 0, 360, 1, -1)
    cross[90:110, 20:180] = cross[20:180, 90:110] = True
    assert shape.fullness(disc > 0) == pytest.approx(1, abs=0.03)
    # arms of 20 in 160 across: area 6000 of an octagon of 160 squared less four corners of 70 squared halved
    assert shape.fullness(cross) == pytest.approx(6000 / (160**2 - 4 * 70**2 / 2), abs=0.02)


def test_what_a_person_drew_stays_but_for_the_wall_at_its_rim():
    generous = drawn_outline(1.08)
    before = overlap(generous.holds(X, Y))
    after = overlap(hair_within(photo(), generous, scenes.PATH, scenes.CARD))
    assert before < 0.87
    assert after > 0.93


def test_nothing_further_in_than_the_rim_goes():
    encoded, _ = with_piece((305, 500), (60, 300), lab=(60.0, 3.0, 8.0))  # of about the wall's colour
    outline = drawn_outline()
    kept = hair_within(encoded, outline, scenes.PATH, scenes.CARD).at(X, Y)
    deep = cv2.distanceTransform(np.uint8(outline.holds(X, Y)), cv2.DIST_L2, 5) > 0.13 * 340
    assert kept[deep].all()


@pytest.mark.parametrize("shift", [0.0, -200.0])
def test_the_card_is_never_hair(shift):
    corners = tuple((x + shift, y) for x, y in scenes.CARD)
    encoded = scenes.photograph(scenes.scene(card=corners)).encoded
    on_card = np.zeros(SIZE, np.uint8)
    cv2.fillConvexPoly(on_card, np.rint(corners).astype(np.int32), 1)
    for mask in (find_hair(encoded, corners, scenes.PATH), hair_within(encoded, drawn_outline(), scenes.PATH, corners)):
        assert not mask.at(X, Y)[on_card > 0].any()


def test_eight_and_sixteen_bit_give_the_same_hair():
    assert overlap(find_hair(photo(16), scenes.CARD), find_hair(photo(8), scenes.CARD).at(X, Y)) > 0.99
    drawn = [hair_within(photo(bits), drawn_outline(1.05), scenes.PATH).at(X, Y) for bits in (8, 16)]
    assert overlap(drawn[1], drawn[0]) > 0.99


def test_a_photo_of_half_the_size_gives_the_same_outline():
    half = cv2.resize(photo(), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    card = tuple((x / 2, y / 2) for x, y in scenes.CARD)
    small, large = find_hair(half, card).outline(), find_hair(photo(), scenes.CARD).outline()
    assert overlap(small.holds(X / 2, Y / 2), large.holds(X, Y)) > 0.98
    assert small.area * 4 == pytest.approx(large.area, rel=0.01)


def test_the_same_photo_gives_the_same_mask_whatever_ran_before():
    first = find_hair(photo(), scenes.CARD)
    cv2.setRNGSeed(77)
    find_hair(photo(seed=4), scenes.CARD)
    assert np.array_equal(first.hair, find_hair(photo(), scenes.CARD).hair)


def test_the_outline_has_few_points_inside_the_photo_and_keeps_the_hair():
    mask = find_hair(photo(), scenes.CARD, scenes.PATH)
    outline = mask.outline()
    assert 3 <= len(outline.points) <= MOST
    assert all(0 <= x <= SIZE[1] and 0 <= y <= SIZE[0] for x, y in outline.points)
    assert overlap(mask, outline.holds(X, Y)) > 0.96


def test_an_outline_of_a_ragged_mask_does_not_cross_itself():
    rng = np.random.default_rng(8)
    for _ in range(20):
        blobs = cv2.GaussianBlur(rng.normal(size=(120, 90)), (0, 0), 6)
        outline = HairMask(blobs > np.quantile(blobs, 0.6), 0.1).outline()  # Outline refuses a crossing
        assert len(outline.points) <= MOST


def test_an_empty_mask_has_neither_outline_nor_axis():
    empty = HairMask(np.zeros((40, 30), bool), 0.1)
    with pytest.raises(HairNotFound):
        empty.outline()
    with pytest.raises(HairNotFound):
        suggest_axis(empty)
    assert not empty.at(np.array([5.0, -5.0, 1e6]), np.array([5.0, 5.0, 5.0])).any()


def test_the_axis_runs_down_the_middle_inside_the_outline():
    mask = find_hair(photo(), scenes.CARD)
    axis = np.asarray(suggest_axis(mask))
    assert 3 <= len(axis) <= 5
    assert mask.outline().holds(*axis.T).all()
    assert np.all(np.diff(axis[:, 1]) > 100)
    assert np.abs(axis[:, 0] - 305).max() < 0.1 * 340
    assert 40 < axis[0, 1] < 300
    assert 900 < axis[-1, 1] < 1060


def test_a_neck_under_short_hair_is_no_hair():
    linear = np.full((*SIZE, 3), 0.5)
    linear[:, :] += np.random.default_rng(1).normal(0, 0.01, (*SIZE, 1))
    cv2.ellipse(linear, (450, 1150), (420, 330), 0, 0, 360, (0.03, 0.03, 0.05), -1)  # clothes
    linear[600:860, 380:520] = (0.45, 0.28, 0.2)  # neck
    hair = np.zeros(SIZE, np.uint8)
    cv2.ellipse(hair, (450, 420), (210, 280), 0, 0, 360, 1, -1)
    where = hair > 0
    strands = scenes._strands(SIZE[1], SIZE[0], 9)[where][:, None] * [4, 0, 0]
    linear[where] = lab_to_linear(np.array([30.0, 6.0, 12.0]) + strands)
    mask = find_hair(scenes.photograph(linear).encoded)
    assert overlap(mask, where) > 0.9
    assert 560 < suggest_axis(mask)[-1][1] < 720


def test_a_card_over_the_whole_photo_leaves_no_hair():
    everything = ((0.0, 0.0), (120.0, 0.0), (120.0, 160.0), (0.0, 160.0))
    with pytest.raises(HairNotFound):
        find_hair(np.full((160, 120, 3), 90, np.uint8), everything)
