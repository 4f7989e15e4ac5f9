"""What is no good card: a sentence that says what is wrong, and what to do; never a number without a word.

All photos are drawn here or rendered by the bench of heads, so what is wrong with each card is known.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable
from functools import cache

import cv2
import numpy as np
import pytest

from tests.bench.cards.composite import finger
from tests.bench.heads.cards import KINDS
from tests.bench.heads.develop import CHANGING, Developed, develop
from tests.bench.heads.plates import heads
from tests.printed_holders import any_view, take
from tests.scenes import CARD, Drawn, marks, photograph, scene
from tracker.errors import CardError, TrackerError
from tracker.maths.colorimetry import Floats
from tracker.measure import measure_photo
from tracker.measure.reading import PhotoReading
from tracker.measure.reference_card import CARD_KINDS, CardKind, look_for
from tracker.measure.reference_card.surface import surface_of

PLAIN, TWO = CARD_KINDS["grey18"], CARD_KINDS["steps2"]
HERE = np.array(CARD)
SKIN = np.array([0.45, 0.27, 0.19])
FINE = 4  # samples across a pixel

Paint = Callable[[Floats, Floats], Floats]
"""What a card reflects at places of its unit square, (h, w, 3)."""


def steps(*reflectances: float) -> Paint:
    """Equal steps from top to bottom."""

    def paint(_u: Floats, v: Floats) -> Floats:
        at = np.clip((v * len(reflectances)).astype(int), 0, len(reflectances) - 1)
        return np.repeat(np.array(reflectances)[at][..., None], 3, axis=2)

    return paint


def lay(linear: Floats, quad: Floats, paint: Paint, bow: float = 0.0) -> Floats:
    """Draw a card into a scene, in place: `bow` is by how much of its height it bulges upwards in its middle."""
    left, top = np.maximum(np.floor(quad.min(axis=0)).astype(int) - 20, 0)
    right, bottom = np.minimum(np.ceil(quad.max(axis=0)).astype(int) + 20, linear.shape[1::-1])
    ranges = ((left, right), (top, bottom))
    xs, ys = (first + (np.arange((last - first) * FINE) + 0.5) / FINE for first, last in ranges)
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    onto = cv2.getPerspectiveTransform(quad.astype(np.float32), square)
    places = np.stack(np.meshgrid(xs, ys), axis=-1)
    u, v = np.moveaxis(cv2.perspectiveTransform(places.reshape(1, -1, 2), onto).reshape(places.shape), -1, 0)
    v = v + bow * 4 * u * (1 - u)
    covers = ((u >= 0) & (u < 1) & (v >= 0) & (v < 1)).astype(float)[..., None]
    layer = np.concatenate([paint(u, v) * covers, covers], axis=-1)
    layer = layer.reshape(bottom - top, FINE, right - left, FINE, 4).mean(axis=(1, 3))
    part = linear[top:bottom, left:right]
    part *= 1 - layer[..., 3:]
    part += layer[..., :3]
    return linear


def bare() -> Floats:
    """The scene of hair before a wall, without a card."""
    return scene(card=((2.0, 2.0), (3.0, 2.0), (3.0, 3.0), (2.0, 3.0)), spread=1.0)


def with_card(paint: Paint, quad: Floats = HERE, bow: float = 0.0) -> Drawn:
    return photograph(lay(bare(), quad, paint, bow))


def off(corners: object, truth: Floats, kind: CardKind) -> float:
    """Largest distance of a corner, pixels; a plain card may start at any of its corners."""
    seen = np.array(corners)
    turns = range(4) if kind.is_plain else (0,)
    return min(float(np.hypot(*(np.roll(seen, k, axis=0) - truth).T).max()) for k in turns)


def measured(photo: Drawn, kind: CardKind = PLAIN, corners: Floats = HERE) -> PhotoReading:
    where = tuple((float(x), float(y)) for x, y in corners)
    return measure_photo(photo, dataclasses.replace(marks(), card_kind=kind.name, corners=where))  # type: ignore[arg-type]


def words(photo: Drawn, kind: CardKind = PLAIN, corners: Floats = HERE) -> dict[str, tuple[str, str]]:
    """What measuring says of the card: sentence and advice by the name of the check or of the error."""
    try:
        reading = measured(photo, kind, corners)
    except TrackerError as error:
        said = {type(error).__name__: (error.what, error.advice)}
    else:
        said = {check.name: (check.says, check.advice) for check in reading.checks if not check.ok}
    for what, advice in said.values():
        assert is_said(what, advice)
    return said


def is_said(what: str, advice: str) -> bool:
    """A sentence and an advice, as a person can read them."""
    return what[0] == what[0].upper() and what.endswith(".") and advice[0].isupper() and advice.endswith(".")


def asked(encoded: np.ndarray, kind: CardKind) -> CardError:
    """What the search says instead of finding a card."""
    error = look_for(encoded, kind).error
    assert error is not None
    assert is_said(error.what, error.advice)
    return error


@cache
def rendered(place: int, kind: str) -> Developed:
    head = heads()[place]
    return develop(head, head.shots[1], kind, CHANGING)


# --- a good card says nothing ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [PLAIN, TWO])
@pytest.mark.parametrize("turn", range(4))
def test_a_card_on_its_side_is_as_good_as_any(kind: CardKind, turn: int) -> None:
    corners = np.roll(HERE, turn, axis=0)
    photo = with_card(steps(*(0.18, 0.05)[: len(kind.boxes)]), corners)
    sought = look_for(photo.encoded, kind)
    found, error = sought.corners, sought.error
    assert error is None
    assert off(found, corners, kind) < 2
    assert words(photo, kind, corners) == {}


@pytest.mark.parametrize("kind", ["grey18", "steps2"])
@pytest.mark.parametrize("place", range(1, 64, 9))
def test_good_cards_of_the_rendered_heads_are_not_warned_of(kind: str, place: int) -> None:
    photo = rendered(place, kind)
    corners = tuple((float(x), float(y)) for x, y in photo.marks.corners or ())
    reading = measure_photo(photo.picture, dataclasses.replace(photo.marks, corners=corners))  # type: ignore[arg-type]
    assert not {check.name for check in reading.warnings} & CARD_CHECKS


CARD_CHECKS = {"card_whole", "card_clean", "card_shine", "card_flat", "card_dark_shine", "card_screen"}


# --- where the card is -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [PLAIN, TWO])
def test_half_a_card_in_the_frame(kind: CardKind) -> None:
    cut = HERE + np.array([170.0, 0.0])
    photo = with_card(steps(*(0.18, 0.05)[: len(kind.boxes)]), cut)
    assert asked(photo.encoded, kind)
    seen = np.minimum(cut, [900.0, 1100.0])
    assert "cut off" in words(photo, kind, seen)["card_whole"][0]
    assert "outside the photo" in words(photo, kind, cut)["CardMisplaced"][0]


@pytest.mark.parametrize("kind", [PLAIN, TWO])
@pytest.mark.parametrize(("corner", "deep"), [(2, 0.15), (1, 0.45)])
def test_a_hand_over_a_corner(kind: CardKind, corner: int, deep: float) -> None:
    linear = lay(bare(), HERE, steps(*(0.18, 0.05)[: len(kind.boxes)]))
    inwards = HERE.mean(axis=0) - HERE[corner]
    tip = HERE[corner] + deep * inwards
    finger(linear, tip, -inwards / np.hypot(*inwards), 45.0, SKIN)
    photo = photograph(linear)
    sought = look_for(photo.encoded, kind)
    found, error = sought.corners, sought.error
    assert error is not None or off(found, HERE, kind) < 0.02 * 900
    said = words(photo, kind)
    if not said:
        clean = with_card(steps(*(0.18, 0.05)[: len(kind.boxes)]))
        assert same_numbers(measured(photo, kind), measured(clean, kind))


def same_numbers(one: PhotoReading, other: PhotoReading) -> bool:
    """What lies on the card did not move the numbers by more than half a unit of L*, a*, b*."""
    pairs = zip(one.regions, other.regions, strict=True)
    return all(np.abs(np.subtract(a.lab.lab, b.lab.lab)).max() < 0.5 for a, b in pairs)


def test_two_cards() -> None:
    linear = lay(bare(), HERE, steps(0.18))
    error = asked(photograph(lay(linear, HERE - np.array([0.0, 390.0]), steps(0.18))).encoded, PLAIN)
    assert "More than one thing" in error.what


@pytest.mark.parametrize(
    ("shown", "chosen"), [pair for pair in itertools.product(KINDS, CARD_KINDS) if len({*pair}) > 1]
)
def test_a_card_of_another_kind_than_chosen(shown: str, chosen: str) -> None:
    photo, kind = rendered(2, shown), CARD_KINDS[chosen]
    assert CARD_KINDS[shown].title in asked(photo.picture.encoded, kind).what
    with pytest.raises(CardError) as caught:
        measure_photo(photo.picture, dataclasses.replace(photo.marks, card_kind=chosen))
    assert is_said(caught.value.what, caught.value.advice)


@pytest.mark.parametrize("chosen", ["steps2", "steps3", "chart24"])
def test_a_printed_holder_where_another_card_was_chosen(chosen: str) -> None:
    encoded = take(any_view(1, 60.0)).encoded
    assert CARD_KINDS["markers4"].title in asked(encoded, CARD_KINDS[chosen]).what


# --- what is no card -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bezel", [0.03, 0.06])
@pytest.mark.parametrize("shape", [2.1, 1.4])
def test_a_phones_or_a_tablets_screen(bezel: float, shape: float) -> None:
    width, middle = 130.0, np.array([740.0, 600.0])
    half = np.array([width, width * shape]) / 2
    screen = middle + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    body = middle + (half + bezel * width) * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    linear = lay(lay(bare(), body, steps(0.015)), screen, lambda u, _v: np.full((*u.shape, 3), (0.17, 0.18, 0.21)))
    assert "screen" in words(photograph(linear), corners=screen)["card_screen"][0]


def test_a_tile_of_a_tiled_wall() -> None:
    linear = bare()
    for x, y in itertools.product(range(540, 860, 105), range(400, 800, 105)):
        tile = np.array([[x, y], [x + 98, y], [x + 98, y + 98], [x, y + 98]], float)
        lay(linear, tile, steps(0.2))
    assert asked(photograph(linear).encoded, PLAIN)


# --- what lies on the card -------------------------------------------------------------------------------------------


def printed(colour: tuple[float, float, float], radius: float) -> Paint:
    """A plain card with a round logo in its middle."""

    def paint(u: Floats, v: Floats) -> Floats:
        values = np.full((*u.shape, 3), 0.18)
        values[np.hypot(u - 0.5, v - 0.45) < radius] = colour
        return values

    return paint


INKS = [(0.02, 0.02, 0.02), (0.85, 0.85, 0.85), (0.05, 0.1, 0.4), (0.30, 0.15, 0.15)]


@pytest.mark.parametrize("colour", INKS)
def test_a_large_printed_logo(colour: tuple[float, float, float]) -> None:
    said = words(with_card(printed(colour, 0.16)))  # a fifth of the part that is read
    assert set(said) == {"CardCovered"}


@pytest.mark.parametrize("colour", INKS)
def test_a_small_printed_logo_is_named_or_harmless(colour: tuple[float, float, float]) -> None:
    photo = with_card(printed(colour, 0.09))  # 6 % of the part that is read
    assert set(words(photo)) & {"card_clean", "card_shine"}
    assert same_numbers(measured(photo), measured(with_card(steps(0.18))))


def shining(ev: float, reflectances: tuple[float, ...], v0: float, wide: float = 0.18) -> Paint:
    """A lamp that shines on a part of the card: light of its own colour, `ev` above the grey at its brightest."""

    def paint(u: Floats, v: Floats) -> Floats:
        blob = np.exp(-((u - 0.62) ** 2 + (v - v0) ** 2) / (2 * wide**2))
        return steps(*reflectances)(u, v) + (0.18 * (2**ev - 1) * blob)[..., None]

    return paint


@pytest.mark.parametrize("ev", [0.3, 0.6, 1.2])
@pytest.mark.parametrize("wide", [0.06, 0.12, 0.2])
def test_gloss_on_a_part_of_the_card(ev: float, wide: float) -> None:
    said = words(with_card(shining(ev, (0.18,), 0.4, wide)))
    assert set(said) & {"card_shine", "card_flat", "even_light", "CardCovered", "CardUneven"}


@pytest.mark.parametrize("ev", [0.12, 0.3, 0.6])
def test_gloss_on_the_dark_half(ev: float) -> None:
    # 0.12 EV of the grey's light are 0.4 EV on the dark half: what hardly shows on the one spoils the other
    said = words(with_card(shining(ev, (0.18, 0.05), 0.75, 0.15)), TWO)
    assert set(said) & {"card_dark_shine", "CardCovered", "CardUneven", "CardImplausible"}


def test_a_bent_card_by_its_sides() -> None:
    photo = with_card(steps(0.18), bow=0.05)
    sought = look_for(photo.encoded, PLAIN)
    found, error = sought.corners, sought.error
    assert error is not None or off(found, HERE, PLAIN) < 0.02 * 900
    assert "sides are curved" in words(photo)["card_flat"][0]


def test_a_bent_card_by_the_light_on_it() -> None:
    def paint(u: Floats, _v: Floats) -> Floats:
        # a cylinder of 60 degrees under light from its middle: Lambert's cosine
        return np.repeat((0.18 * np.cos(np.radians(60) * (u - 0.5)))[..., None], 3, axis=2)

    assert "between the middle of the card and its edges" in words(with_card(paint))["card_flat"][0]


def test_a_shadows_edge_on_the_card() -> None:
    linear = lay(bare(), HERE, steps(0.18))
    linear[:, :735] *= 0.5  # the hair and a half of the card lie in it
    assert set(words(photograph(linear))) & {"CardCovered", "CardUneven"}


@pytest.mark.parametrize(("slope", "name"), [(0.0016, "light_at_hair"), (0.004, "CardUneven")])
def test_light_that_falls_off_towards_the_hair(slope: float, name: str) -> None:
    columns = 2.0 ** (slope * (np.arange(900) - 717))
    assert name in words(photograph(lay(bare(), HERE, steps(0.18)) * columns[None, :, None]))


# --- the measures, against what was drawn ----------------------------------------------------------------------------


def test_the_share_of_print_is_the_share_that_was_drawn() -> None:
    photo = with_card(printed((0.02, 0.02, 0.02), 0.1))
    surface = surface_of(photo.encoded, photo.space, PLAIN, CARD)  # type: ignore[arg-type]
    assert surface.strange == pytest.approx(np.pi * 0.1**2 / 0.64**2, rel=0.15)


@pytest.mark.parametrize("bow", [0.03, 0.06])
def test_the_bow_is_what_was_drawn(bow: float) -> None:
    photo = with_card(steps(0.18), bow=bow)
    surface = surface_of(photo.encoded, photo.space, PLAIN, CARD)  # type: ignore[arg-type]
    # drawn in heights of the card, measured in lengths of its upper and lower sides
    assert surface.bow == pytest.approx(bow * 185 / 160, rel=0.2)


def test_the_bend_is_what_was_drawn() -> None:
    def paint(u: Floats, _v: Floats) -> Floats:
        return np.repeat((0.18 * 2 ** (-0.3 * (2 * u - 1) ** 2))[..., None], 3, axis=2)

    photo = with_card(paint)
    surface = surface_of(photo.encoded, photo.space, PLAIN, CARD)  # type: ignore[arg-type]
    assert surface.bend == pytest.approx(0.3, abs=0.03)
