"""The rendered sample photos: their true colours are known, so the whole measurement is checked end to end.

Source of the truth: ``sample_images/truth.json``, computed by the renderer from the scene itself, not by this package.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.samples import KEPT, ribbon_reading, sample_photo, whole_reading
from tests.samples import SAMPLES as TRUTH
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.compare.comparison import compare_readings
from tracker.maths.colorimetry import delta_e_2000
from tracker.measure import find_marks, measure_photo
from tracker.measure.hair import Outline
from tracker.measure.reading import REGIONS, Marks, PhotoReading
from tracker.photo import read_photo

PLAIN = [photo for photo in TRUTH if photo["card"]["kind"] == "grey18"]


def named(photo: dict[str, Any]) -> str:
    return str(photo["file"])


def test_there_is_the_demo_that_was_asked_for() -> None:
    roles = [photo["role"] for photo in TRUTH]
    assert len(TRUTH) >= 8
    assert roles.count("progress") >= 5
    for role in ("before", "after"):
        lights = {photo["light"] for photo in PLAIN if photo["role"] == role}
        assert len(lights) >= 2
    assert sum(sample_photo(photo["file"]).stat().st_size for photo in TRUTH) < 12e6
    for photo in TRUTH:
        width, height = read_photo(sample_photo(photo["file"]).read_bytes()).size
        assert width >= 1000
        assert height >= 1333


# the limits of the issue: 2.0 under daylight, 3.5 under the lamp
@pytest.mark.parametrize("photo", TRUTH, ids=named)
@pytest.mark.parametrize("region", REGIONS)
def test_each_band_is_near_its_true_colour(photo: dict[str, Any], region: str) -> None:
    reading = ribbon_reading(photo["file"])
    assert reading.ok, [check for check in reading.checks if not check.ok]
    found = reading.region(region)
    assert found is not None
    away = float(delta_e_2000(found.lab.lab, photo["regions"][region]["lab"]))
    assert away <= (2.0 if photo["light"] == "D65" else 3.5)


@pytest.mark.parametrize("photo", TRUTH, ids=named)
def test_the_truth_lies_inside_what_is_claimed(photo: dict[str, Any]) -> None:
    for region in ribbon_reading(photo["file"]).regions:
        away = np.abs(np.subtract(region.lab.lab, photo["regions"][region.name]["lab"]))
        assert np.all(away <= 2.6 * np.array(region.lab.u))  # 99 %


def pairs() -> list[tuple[dict[str, Any], dict[str, Any]]]:
    before = [photo for photo in PLAIN if photo["role"] == "before"]
    after = [photo for photo in PLAIN if photo["role"] in ("after", "progress")]
    return [(b, a) for b in before for a in after if b["client"] == a["client"] and b["light"] == a["light"]]


# the limit of the issue: lift within 0.4 level
@pytest.mark.parametrize(("before", "after"), pairs(), ids=named)
def test_lift_is_the_true_one(before: dict[str, Any], after: dict[str, Any]) -> None:
    for change in compare_readings(ribbon_reading(before["file"]), ribbon_reading(after["file"]), same_kit=True):
        first, second = (photo["regions"][change.name]["lab"][0] for photo in (before, after))
        true = DEFAULT_SCALE.level(second) - DEFAULT_SCALE.level(first)
        assert change.lift.value is not None
        assert abs(change.lift.value.value - true) <= 0.4


def test_the_service_is_found_at_the_ends_and_the_shadow_root_is_left_alone() -> None:
    before, after = next((b, a) for b, a in pairs() if a["role"] == "after" and a["light"] == "D65")
    changes = compare_readings(ribbon_reading(before["file"]), ribbon_reading(after["file"]), same_kit=True)
    assert changes[2].verdict == "changed"
    assert changes[2].lift.value is not None
    assert changes[2].lift.value.value > 1
    assert changes[0].verdict != "changed" or abs(changes[0].lift.value.value) < 1  # type: ignore[union-attr]


@pytest.mark.parametrize("photo", PLAIN, ids=named)
def test_card_and_hair_are_found_by_themselves(photo: dict[str, Any]) -> None:
    picture = read_photo(sample_photo(photo["file"]).read_bytes())
    found = find_marks(picture, "grey18")
    assert (found.card, found.hair) == (None, None)
    assert found.marks.corners is not None
    away = np.abs(np.subtract(found.marks.corners, photo["card"]["corners"])).max()
    assert away < 0.01 * max(picture.size)
    # and what is suggested reads like the outline that a person looked at, which was found along the true path
    suggested = measure_photo(picture, found.marks)
    for one, other in zip(suggested.regions, whole_reading(named(photo)).regions, strict=True):
        assert float(delta_e_2000(one.lab.lab, other.lab.lab)) < 0.5


@pytest.mark.parametrize("photo", PLAIN, ids=named)
def test_the_kept_marks_are_about_the_whole_hair(photo: dict[str, Any]) -> None:
    given = KEPT[named(photo)]
    assert given.outline is not None
    assert 3 <= len(given.outline) <= 16
    outline = Outline(given.outline)
    # the line whose true colours are known runs inside it, and so does the axis between the same heights: its ends are
    # at most a twentieth of the hair higher or lower than those of the line
    x, y = np.array(photo["path"]).T
    assert outline.holds(x, y).all()
    assert outline.holds(*np.array(given.path).T).all()
    assert np.abs(np.array(given.path)[[0, -1], 1] - y[[0, -1]]).max() < 0.05 * (y[-1] - y[0])
    # the card is the true one, and no part of the outline
    assert given.corners == tuple(map(tuple, photo["card"]["corners"]))
    assert not outline.holds(*np.array(given.corners).T).any()


def test_the_whole_hair_tells_the_story_of_the_line_whose_colours_are_known() -> None:
    """Painted, toned, warmer month by month: in each step the sign that the renderer's truth has."""
    told = ["noor_before_daylight.jpg", "noor_after_daylight.jpg", "noor_month_0_7.jpg", "noor_month_6_0.jpg"]
    truth = {named(photo): np.array(photo["regions"]["end"]["mean_lab"]) for photo in TRUTH}
    ends = [whole_reading(file).region("end") for file in told]
    found = np.array([end.lab.lab for end in ends if end is not None])
    steps, true = np.diff(found, axis=0), np.diff([truth[file] for file in told], axis=0)
    assert steps.shape == true.shape
    large = np.abs(true[:, [0, 2]]) > 2
    assert large.sum() >= 4
    assert (np.sign(steps[:, [0, 2]])[large] == np.sign(true[:, [0, 2]])[large]).all()


TWO_PART = [photo for photo in TRUTH if photo["card"]["kind"] == "steps2"]
LOOKS = {  # what the maker of the photos was told: sample_images/make/two_part.json
    "noor_before_two_part.jpg": 1.2,
    "noor_after_two_part.jpg": 0.2,
    "maja_two_part.jpg": 0.5,
    "orla_two_part.jpg": 0.8,
}


def toned(linear: np.ndarray, strength: float) -> np.ndarray:
    """A grey's linear light after the look that the maker gave it: sRGB code less a sine of it (camera.py)."""
    code = 1.055 * linear ** (1 / 2.4) - 0.055
    return np.asarray(((code - 0.015 * strength * np.sin(2 * np.pi * code) + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize("photo", TWO_PART, ids=named)
def test_the_two_part_card_is_found_and_shows_the_look(photo: dict[str, Any]) -> None:
    picture = read_photo(sample_photo(photo["file"]).read_bytes())
    found = find_marks(picture, "steps2")
    assert (found.card, found.hair) == (None, None)
    away = np.abs(np.subtract(found.marks.corners, photo["card"]["corners"])).max()  # type: ignore[arg-type]
    assert away < 0.003 * picture.size[0]
    # the exposure of each photo is within 6 % of the right one, which moves this by less than is allowed
    seen = toned(np.array([0.18, 0.05]), LOOKS[photo["file"]])
    wanted = np.log(0.18 / 0.05) / np.log(seen[0] / seen[1])
    assert measure_photo(picture, found.marks).correction.exponent == pytest.approx(wanted, abs=0.03)


def test_the_two_part_card_undoes_looks_that_differ_before_and_after() -> None:
    pair = [photo for photo in TWO_PART if photo["client"] == "Noor"]
    true = np.diff([[photo["regions"][name]["lab"][0] for name in REGIONS] for photo in pair], axis=0)
    readings = [(ribbon_reading(photo["file"]), grey_half(photo)) for photo in pair]
    both, grey = (
        [[region.lab.lab[0] for region in reading.regions] for reading in kind] for kind in zip(*readings, strict=True)
    )
    off, off_with_grey = (np.abs(np.diff(lightness, axis=0) - true) for lightness in (both, grey))
    assert off.max() < 0.7
    assert (off < 0.6 * off_with_grey).all()


def grey_half(photo: dict[str, Any]) -> PhotoReading:
    """The same photo, read as if the grey half were a plain card."""
    a, b, c, d = np.array(photo["card"]["corners"])
    upper = tuple(map(tuple, (a, b, (b + c) / 2, (a + d) / 2)))
    path = tuple(map(tuple, photo["path"]))
    picture = read_photo(sample_photo(photo["file"]).read_bytes())
    return measure_photo(picture, Marks("grey18", upper, path, photo["width"]))  # type: ignore[arg-type]
