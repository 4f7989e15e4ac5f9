"""Lengths from the card: right on rendered heads and on cards drawn by a pinhole, refused where they would not be."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.samples import SAMPLES as TRUTH
from tracker.errors import CardFarAway, CardTilted, InvalidEntry
from tracker.measure.card_scale import CardScale, card_scale

# of the cards as the renderer was told: sample_images/make/scenes.json
SIZES = {"grey18": (84.0, 116.0), "steps2": (84.0, 116.0), "steps3": (54.0, 150.0), "chart24": (116.0, 80.0)}


def of_photo(photo: dict[str, Any], size: tuple[float, float] | None = None) -> CardScale:
    kind = photo["card"]["kind"]
    corners, path = (tuple(map(tuple, points)) for points in (photo["card"]["corners"], photo["path"]))
    size = size or SIZES[kind]
    return card_scale(corners, size, tuple(photo["size"]), path, either_way_up=kind == "grey18")


# truth: the renderer's own distances along the hair, centimetres
@pytest.mark.parametrize("photo", TRUTH, ids=lambda photo: str(photo["file"]))
def test_the_marked_hair_is_as_long_as_it_was_rendered(photo: dict[str, Any]) -> None:
    found = of_photo(photo).path
    true = 10 * (photo["path_arc_cm"][-1] - photo["path_arc_cm"][0])
    assert abs(found.value - true) < 1.96 * found.u
    # and hair beside the card is known better than it has to be claimed
    assert found.value == pytest.approx(true, rel=0.08)
    assert 0.05 < found.u / found.value < 0.2


def test_a_plain_card_may_be_noted_either_way_up() -> None:
    photo = TRUTH[0]
    upright, across = of_photo(photo), of_photo(photo, (116.0, 84.0))
    assert upright == across
    with pytest.raises(CardTilted):
        of_photo(next(each for each in TRUTH if each["card"]["kind"] == "chart24"), (80.0, 116.0))


def pinhole(
    size: tuple[float, float] = (100.0, 140.0),
    *,
    yaw: float = 0.0,
    pitch: float = 0.0,
    aside: float = 200.0,
    away: float = 1000.0,
    focal: float = 3000.0,
) -> tuple[tuple[float, float], ...]:
    """Corners in a photo of 4000 x 3000 pixels: turned about its own upright and level axis (degrees), then seen."""
    a, b = np.radians([yaw, pitch])
    turn = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    nod = np.array([[1, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
    w, h = size
    card = np.array([[-w, -h, 0], [w, -h, 0], [w, h, 0], [-w, h, 0]]) / 2 @ (turn @ nod).T + [aside, 0, away]
    seen = card[:, :2] / card[:, 2:] * focal + [2000, 1500]
    return tuple((float(x), float(y)) for x, y in seen)


PATH = ((2000.0, 600.0), (2000.0, 2600.0))


@pytest.mark.parametrize("yaw", [-20, -10, 0, 10, 20])
@pytest.mark.parametrize("pitch", [-15, 0, 15])
def test_tilt_and_scale_of_a_pinhole(yaw: float, pitch: float) -> None:
    corners = pinhole(yaw=yaw, pitch=pitch)
    true = float(np.degrees(np.arccos(np.cos(np.radians(yaw)) * np.cos(np.radians(pitch)))))
    if true > 24:
        return
    found = card_scale(corners, (100.0, 140.0), (4000, 3000), PATH)  # type: ignore[arg-type]
    assert found.tilt == pytest.approx(true, abs=4)
    assert found.mm_per_pixel.value == pytest.approx(1000 / 3000, rel=0.04)
    assert abs(found.mm_per_pixel.value - 1 / 3) < 1.96 * found.mm_per_pixel.u


@pytest.mark.parametrize(("yaw", "pitch"), [(40, 0), (-40, 0), (0, 45), (30, 30)])
def test_a_card_turned_away_gives_no_lengths(yaw: float, pitch: float) -> None:
    with pytest.raises(CardTilted, match="turned away") as caught:
        card_scale(pinhole(yaw=yaw, pitch=pitch, aside=0.0), (100.0, 140.0), (4000, 3000), PATH)  # type: ignore[arg-type]
    assert caught.value.value == pytest.approx(
        np.degrees(np.arccos(np.cos(np.radians(yaw)) * np.cos(np.radians(pitch)))), abs=4
    )
    assert caught.value.limit == 25.0


def test_a_wrong_size_is_refused() -> None:
    with pytest.raises(CardTilted, match="shape of a card of 100 x 100 mm"):
        card_scale(pinhole(), (100.0, 100.0), (4000, 3000), PATH)  # type: ignore[arg-type]


def test_a_card_far_from_the_hair_gives_no_lengths() -> None:
    near = card_scale(pinhole(aside=200.0), (100.0, 140.0), (4000, 3000), PATH)  # type: ignore[arg-type]
    assert near.gap == pytest.approx(150, abs=2)  # 200 to its middle, less half of its width
    with pytest.raises(CardFarAway, match="from the hair") as caught:
        card_scale(pinhole(aside=520.0), (100.0, 140.0), (4000, 3000), PATH)  # type: ignore[arg-type]
    assert caught.value.value == pytest.approx(470, abs=5)


def test_intervals_hold_hair_nearer_or_farther_than_the_card() -> None:
    """Corners marked by hand, cards a little turned, hair up to 8 cm before or behind the card: a pinhole's truth."""
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(400):
        focal = 3000.0
        corners = np.array(pinhole(yaw=rng.uniform(-15, 15), pitch=rng.uniform(-15, 15), focal=focal))
        corners += rng.normal(0, 1.5, (4, 2))
        found = card_scale(tuple(map(tuple, corners)), (100.0, 140.0), (4000, 3000), PATH)
        true = (1000 + rng.uniform(-80, 80)) / focal
        held += abs(found.mm_per_pixel.value - true) < 1.96 * found.mm_per_pixel.u
    assert held >= 0.95 * 400


@pytest.mark.parametrize("size", [(5.0, 100.0), (100.0, 2000.0), (float("nan"), 100.0)])
def test_no_card_has_that_size(size: tuple[float, float]) -> None:
    with pytest.raises(InvalidEntry, match="ruler"):
        card_scale(pinhole(), size, (4000, 3000), PATH)  # type: ignore[arg-type]
