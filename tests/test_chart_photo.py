"""A published photo of a chart, from its file to the colours of its patches.

Source: colour-checker-detection 0.2.3 (BSD-3-Clause), the second photo of its notebook on segmentation, cropped to the
chart, lettering painted over. The same package's tests give the patches' values in the full photo (IMG_1967 in
``chart_photos.csv``), read by other code; the true colours are the maker's table as colour-science has it.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.bench import chart_photos
from tests.golden_tables import GOLDEN
from tracker.maths.colorimetry import delta_e_2000, linear_to_lab
from tracker.maths.uncertainty import coverage_factor
from tracker.measure import measure_photo
from tracker.measure.balance import apply
from tracker.measure.reading import Marks, Point
from tracker.measure.reference_card import CARD_KINDS, CardReading, correction_from_card, read_card
from tracker.measure.reference_card.kinds.chart24 import chart_reference
from tracker.photo import Photo, read_photo

# the four crosses about the patches
CORNERS: tuple[Point, Point, Point, Point] = ((16.0, 4.0), (510.0, 21.0), (495.0, 339.0), (9.0, 323.0))
# middles of four patches; each is about 70 pixels wide
NEUTRAL_5, DARK_SKIN, LIGHT_SKIN, BLUISH_GREY = (297.0, 295.0), (55.0, 43.0), (138.0, 46.0), (221.0, 49.0)


@cache
def photo() -> Photo:
    return read_photo((GOLDEN / "chart_photo.png").read_bytes())


@cache
def card() -> CardReading:
    return read_card(photo().encoded, photo().space, CARD_KINDS["chart24"], CORNERS)


def square(middle: Point, half: float) -> tuple[Point, Point, Point, Point]:
    x, y = middle
    return ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))


def test_the_patches_read_what_another_program_read() -> None:
    published = chart_photos.photos()["IMG_1967"]
    assert card().linear == pytest.approx(published, rel=0.04, abs=0.002)
    assert np.median(card().linear / published) == pytest.approx(1, abs=0.02)


def test_the_chart_corrects_its_own_photo() -> None:
    found = linear_to_lab(apply(correction_from_card(card()), card().linear))
    size = delta_e_2000(found, linear_to_lab(chart_reference()))
    grey_alone = linear_to_lab(card().linear * chart_reference()[21] / card().linear[21])
    assert np.mean(size) < 2.5
    assert np.mean(size) < 0.6 * np.mean(delta_e_2000(grey_alone, linear_to_lab(chart_reference())))


def test_one_grey_of_it_measures_other_patches_within_what_is_claimed() -> None:
    true = linear_to_lab(chart_reference())
    ratios = []
    for patch, (x, y) in ((0, DARK_SKIN), (1, LIGHT_SKIN), (2, BLUISH_GREY)):
        marks = Marks("grey18", square(NEUTRAL_5, 30), ((x, y - 31), (x, y + 31)), 40.0, 0.1906)
        reading = measure_photo(photo(), marks)
        assert reading.ok, [check.says for check in reading.checks if not check.ok]
        for region in reading.regions:
            off = np.abs(np.subtract(region.lab.lab, true[patch]))
            ratios.append(off / (coverage_factor(region.lab.dof) * np.array(region.lab.u)))
    # 27 intervals of 95 %: one or two may miss, by little
    assert np.mean(np.array(ratios) <= 1) >= 0.92
    assert np.max(ratios) < 1.5
