"""Pictures of what was measured."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scenes import CARD, marks, photograph, ribbon, scene
from tracker.maths.colorimetry import linear_to_lab
from tracker.maths.rgb_space import SRGB
from tracker.measure import measure_photo
from tracker.show.overlay import balanced_picture, measured_picture


@pytest.mark.parametrize("gains", [(1.0, 1.0, 1.0), (1.5, 1.0, 0.6)])
def test_balanced_picture_shows_the_card_as_neutral_grey_under_any_light(gains: tuple[float, float, float]) -> None:
    photo = photograph(scene(), gains=gains)
    picture = balanced_picture(photo, measure_photo(photo, marks()).correction, 550)
    assert picture.shape == (550, 450, 3)
    x, y = (int(v / 2) for v in np.mean(CARD, axis=0))
    lab = linear_to_lab(SRGB.decode(picture[y - 20 : y + 20, x - 20 : x + 20] / 255).mean(axis=(0, 1)))
    # an 18 % grey is L* 49.5 (CIELAB)
    np.testing.assert_allclose(lab, [49.5, 0, 0], atol=0.7)


def test_reduction_happens_in_linear_light() -> None:
    photo = photograph(scene(), noise=0)
    checker = np.indices((400, 400)).sum(axis=0) % 2 * 150 + 50
    board = type(photo)(np.repeat(checker[..., None], 3, axis=2).astype(np.uint8))
    from tracker.measure.reading import Correction

    small = balanced_picture(board, Correction("grey18", (1.0, 1.0, 1.0)), 200)
    # codes 50 and 200 in equal parts are L* 62.1 (by hand); a picture of every second pixel would show 50 or 200
    assert float(linear_to_lab(SRGB.decode(small.mean(axis=(0, 1)) / 255))[0]) == pytest.approx(62.1, abs=0.3)


def test_measured_picture_of_a_ribbon_draws_on_the_bands_only() -> None:
    photo = photograph(scene())
    reading = measure_photo(photo, ribbon())
    plain = balanced_picture(photo, reading.correction, 1100)
    drawn = measured_picture(photo, ribbon(), reading, 1100)
    changed = np.any(plain != drawn, axis=-1)
    assert 0.005 < changed.mean() < 0.15
    # the names of the bands stand on the side where the card is not
    assert changed[:, 100:255].any()
    assert not changed[:, :100].any()
    assert not changed[:, 375:630].any()
    # left-out pixels are painted mid-grey inside the root band
    root = drawn[160:300, 262:342]
    assert (root == 131).all(axis=-1).mean() == pytest.approx(0.2, abs=0.06)
