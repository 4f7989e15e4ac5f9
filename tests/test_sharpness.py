"""Blur at the hair and at the card, found again after blurring sharp photos by a known Gaussian.

The truth is the blur put on by OpenCV's GaussianBlur: nothing of the measurement makes it. The photos are the rendered
heads, whose hair runs from black to light blonde and from straight to wavy.
"""

from __future__ import annotations

import io
from functools import cache, lru_cache
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.samples import SAMPLES, sample_photo
from tests.scenes import CARD, PATH, WIDTH, photograph, scene
from tracker.measure.sharpness import card_blur, hair_blur

PHOTOS: list[dict[str, Any]] = [photo for photo in SAMPLES if photo["card"]["kind"] == "grey18"]
LIMIT = 0.04 * 58.1  # of the ribbon's width: the limit in force, pixels


@cache
def loaded(file: str) -> np.ndarray:
    return np.asarray(Image.open(sample_photo(file)))


def blurred(codes: np.ndarray, sigma: float) -> np.ndarray:
    return cv2.GaussianBlur(codes, (0, 0), sigma) if sigma else codes


def as_jpeg(codes: np.ndarray, quality: int) -> np.ndarray:
    stream = io.BytesIO()
    Image.fromarray(codes).save(stream, "JPEG", quality=quality)
    return np.asarray(Image.open(stream))


@lru_cache(maxsize=1)
def noise(shape: tuple[int, ...], spread: float) -> np.ndarray:
    return np.random.default_rng(1).normal(0, spread, shape)


def noisy(codes: np.ndarray, spread: float) -> np.ndarray:
    return np.clip(np.rint(codes + noise(codes.shape, spread)), 0, 255).astype(np.uint8)


def at_hair(codes: np.ndarray, photo: dict[str, Any]) -> float | None:
    return hair_blur(codes, tuple(map(tuple, photo["path"])), photo["width"], LIMIT, photo["card"]["corners"])


@pytest.mark.parametrize("photo", PHOTOS, ids=lambda photo: str(photo["file"]))
class TestRenderedHeads:
    def test_blur_is_found_again(self, photo: dict[str, Any]) -> None:
        grown = {s: at_hair(blurred(loaded(photo["file"]), s), photo) for s in (0.0, 0.7, 1.5, 2.3, 3.5)}
        assert grown[0.0] is not None
        assert grown[0.0] < 1.2
        for sigma in (1.5, 2.3, 3.5):
            assert grown[sigma] is not None
            assert grown[sigma] == pytest.approx(np.hypot(sigma, 0.8), rel=0.55)
        assert [*grown.values()] == sorted(grown.values())  # type: ignore[type-var]

    def test_sharp_is_sharp_and_blurred_is_blurred(self, photo: dict[str, Any]) -> None:
        sharp = loaded(photo["file"])
        grainy = noisy(sharp, 4)
        for codes in (sharp, as_jpeg(sharp, 60), grainy, as_jpeg(grainy, 80)):
            assert (at_hair(codes, photo) or 99) < LIMIT
        soft = blurred(sharp, 3.5)
        # the noise of a phone at night and a strongly compressed file: neither passes for sharp hair
        grainy = noisy(soft, 4)
        for codes in (soft, as_jpeg(soft, 60), grainy, as_jpeg(grainy, 80)):
            found = at_hair(codes, photo)
            assert found is None or found > LIMIT

    def test_the_cards_border_too(self, photo: dict[str, Any]) -> None:
        for sigma in (1.5, 2.3, 3.5, 5.0):
            codes = blurred(loaded(photo["file"]), sigma)
            assert card_blur(codes, photo["card"]["corners"]) == pytest.approx(np.hypot(sigma, 0.5), rel=0.08)
            assert card_blur(as_jpeg(codes, 60), photo["card"]["corners"]) == pytest.approx(sigma, rel=0.3)


def test_the_background_does_not_count() -> None:
    photo = PHOTOS[0]
    sharp = loaded(photo["file"])
    mask = np.zeros(sharp.shape[:2], np.uint8)
    cv2.polylines(mask, [np.rint(photo["path"]).astype(np.int32)], False, 255, 220)
    only_hair = np.where(mask[..., None] > 0, blurred(sharp, 3.5), sharp)
    found = at_hair(only_hair, photo)
    assert found is not None
    assert found > LIMIT
    assert card_blur(only_hair, photo["card"]["corners"]) == pytest.approx(0.53, abs=0.1)


def test_a_larger_photo_is_held_against_its_own_limit() -> None:
    photo = PHOTOS[2]
    large = cv2.resize(loaded(photo["file"]), None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
    bigger = {
        **photo,
        "path": [[3 * x, 3 * y] for x, y in photo["path"]],
        "card": {"corners": [[3 * x, 3 * y] for x, y in photo["card"]["corners"]]},
    }
    args = tuple(map(tuple, bigger["path"])), 3 * photo["width"], 3 * LIMIT, bigger["card"]["corners"]
    own, soft = hair_blur(large, *args), hair_blur(blurred(large, 3 * 3.5), *args)
    assert own is not None
    assert own < 3 * 1.2
    assert soft is not None
    assert soft > 3 * LIMIT


def test_sixteen_bits_read_as_eight() -> None:
    linear = scene(spread=4.0)
    for sigma in (0.0, 4.0):
        eight, sixteen = (blurred(photograph(linear, bits=bits).encoded, sigma) for bits in (8, 16))
        first, second = (hair_blur(codes, PATH, WIDTH, 3.6, CARD) for codes in (eight, sixteen))
        assert first == pytest.approx(second, rel=0.15)


def test_where_nothing_can_be_told() -> None:
    flat = np.full((900, 1100, 3), 90, np.uint8)
    assert hair_blur(noisy(flat, 3), PATH, WIDTH, 3.6, CARD) is None
    assert card_blur(flat, CARD) is None
    # a path along the very edge leaves no squares to look at
    assert hair_blur(flat, ((1.0, 100.0), (1.0, 800.0)), WIDTH, 3.6, CARD) is None
