"""Cards with a dark patch, from the marks to the kit: what is known of it, and strips whose white burnt out."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.command_line import entry, run, write_marks
from tests.photo_samples import jpeg
from tests.scenes import CARD, Drawn, marks, off_balance, photograph, scene
from tracker.errors import CardClipped, CardImplausible, InvalidMarks
from tracker.maths.colorimetry import linear_to_lab
from tracker.measure import CARD_KINDS, measure_photo
from tracker.measure.balance import apply
from tracker.measure.dark_half import GIVEN, contrast_left
from tracker.measure.kit import Kit, match_kits
from tracker.measure.marks_file import parse_marks
from tracker.measure.reading import CardSummary, Marks, PhotoReading
from tracker.measure.reference_card import CardReading, camera_error, correction_from_card
from tracker.record.records import from_json, to_json

TWO, STRIP, PLAIN = (CARD_KINDS[name] for name in ("steps2", "steps3", "grey18"))
GAINS = (0.9, 0.7, 0.5)
HAIR = np.array([[0.02, 0.015, 0.01], [0.3, 0.2, 0.1]])


def seen(dark: float, contrast: float, gains: tuple[float, float, float] = GAINS) -> CardReading:
    """A two-part card as a camera renders it that raises linear light to a power."""
    linear = (TWO.reference(None, dark) * np.array(gains)) ** contrast
    return CardReading(TWO, CARD, linear, np.zeros((2, 3, 3)), np.ones(2, bool), 0.0, 0.0)  # type: ignore[arg-type]


def steps(linear: np.ndarray, *reflectances: float) -> np.ndarray:
    """The scene with a card of equal steps, the first at its top."""
    out = linear.copy()
    (a, b, c, d), count = np.asarray(CARD), len(reflectances)
    for place, reflectance in enumerate(reflectances):
        (top, bottom), mask = (place / count, (place + 1) / count), np.zeros(linear.shape[:2], np.uint8)
        part = [a + top * (d - a), b + top * (c - b), b + bottom * (c - b), a + bottom * (d - a)]
        cv2.fillConvexPoly(mask, np.rint(part).astype(np.int32), 1)
        out[mask > 0] = reflectance
    return out


def taken(linear: np.ndarray, contrast: float = 1.0, exposure: float = 1.0) -> Drawn:
    """By a camera that raises linear light to a power, about the grey."""
    return photograph(0.18 * (exposure * linear / 0.18) ** contrast)


# --- what is known of the dark half ----------------------------------------------------------------------------------


@given(st.floats(0.012, 0.12), st.floats(0.8, 1.25))
def test_a_given_dark_half_undoes_its_own_bias(dark: float, contrast: float) -> None:
    # the power is the truth that was put in
    correction = correction_from_card(seen(dark, contrast), dark=dark)
    assert correction.exponent == pytest.approx(1 / contrast)
    found = apply(correction, (HAIR @ off_balance(GAINS).T) ** contrast)
    np.testing.assert_allclose(found, HAIR, rtol=2e-4)  # the matrix has four decimals


@given(st.floats(0.042, 0.058), st.floats(0.9, 1.1), st.floats(0.9, 1.1))
def test_a_dark_half_that_nobody_knows_leans_alike_in_every_photo(dark: float, one: float, other: float) -> None:
    first, second = (correction_from_card(seen(dark, contrast)).exponent for contrast in (one, other))
    assert first / second == pytest.approx(other / one)


@pytest.mark.parametrize("dark", [0.012, 0.12])
def test_what_can_be_is_judged_by_the_dark_half_that_was_given(dark: float) -> None:
    assert correction_from_card(seen(dark, 1.0), dark=dark).exponent == pytest.approx(1.0)
    with pytest.raises(CardImplausible):
        correction_from_card(seen(dark, 1.0), dark=0.12 if dark < 0.05 else 0.012)


@pytest.mark.parametrize(
    ("kind", "reflectance", "dark", "word"),
    [
        ("steps2", None, 0.009, "cannot reflect 0.009"),
        ("steps2", None, 0.13, "0.01 to 0.12"),
        ("steps2", 0.1, 0.08, "0.01 to 0.07"),
        ("steps3", None, 0.5, "cannot reflect 0.5"),
        ("grey18", None, 0.05, "has no dark patch"),
        ("chart24", None, 0.05, "has no dark patch"),
    ],
)
def test_a_dark_half_that_cannot_be_is_refused(kind: str, reflectance: float | None, dark: float, word: str) -> None:
    with pytest.raises(InvalidMarks, match=word):
        measure_photo(photograph(scene()), replace(marks(kind), reflectance=reflectance, dark=dark))


def test_a_better_known_dark_half_makes_single_colours_surer() -> None:
    photo = taken(steps(scene(), 0.18, 0.046), contrast=1.1)

    def measured(dark: float | None, u: float | None = None) -> PhotoReading:
        return measure_photo(photo, replace(marks("steps2"), dark=dark, dark_u=u), light="daylight")

    nominal, given_, learnt = measured(None), measured(0.046), measured(0.046, 0.002)
    assert (nominal.card.dark, nominal.card.dark_u) == (pytest.approx(0.05), None)
    assert (given_.card.dark, given_.card.dark_u) == (0.046, pytest.approx(GIVEN * 0.046))
    assert (learnt.card.dark, learnt.card.dark_u) == (0.046, 0.002)
    contrasts = [camera_error(reading.card, "daylight").contrast for reading in (given_, learnt, nominal)]
    assert contrasts == sorted(contrasts)
    # derivative of 1 / ln(grey / dark), by a finite difference
    slope = abs(np.log(np.log(0.18 / 0.0461) / np.log(0.18 / 0.0459))) / 0.0002
    curve = contrast_left(0.18, 0.046, 0.0)
    assert contrasts[1] == pytest.approx(np.hypot(curve, 0.002 * slope), rel=1e-3)
    for name in ("root", "end"):
        surer, less = (reading.region(name).lab.u[0] for reading in (given_, learnt))  # type: ignore[union-attr]
        assert surer < less


# --- a strip whose white burnt out -----------------------------------------------------------------------------------


@pytest.mark.parametrize("contrast", [1.0, 1.15])
def test_a_strip_without_its_white_counts_as_a_two_part_card(contrast: float) -> None:
    linear = scene(tip=(45.0, 6.0, 24.0))
    bright = measure_photo(taken(steps(linear, 0.90, 0.18, 0.035), contrast, exposure=1.6), marks("steps3"))
    two = replace(marks("steps2"), dark=0.035)
    as_two = measure_photo(taken(steps(linear, 0.18, 0.035), contrast, exposure=1.6), two)
    plain = measure_photo(taken(linear), marks())  # the truth: exposed well, and without any contrast
    assert bright.ok, bright.failure
    assert bright.card.patch_left_out
    note = next(check for check in bright.checks if check.name == "card_spare")
    assert note.ok
    assert "white step of the card burnt out" in note.says
    for name in ("root", "mid", "end"):
        found, other, true = (reading.region(name) for reading in (bright, as_two, plain))
        assert found is not None
        assert other is not None
        assert true is not None
        assert found.lab.lab == pytest.approx(other.lab.lab, abs=0.3)
        assert found.lab.lab == pytest.approx(true.lab.lab, abs=0.6)
    assert STRIP.undone_without is not None
    assert camera_error(bright.card, None) == STRIP.undone_without.under(None, 0.18)
    whole = replace(bright.card, patch_left_out=False)
    assert camera_error(bright.card, None).contrast > 2 * camera_error(whole, None).contrast


def test_a_white_that_is_not_burnt_out_still_counts() -> None:
    reading = measure_photo(taken(steps(scene(), 0.90, 0.18, 0.035), 1.15, exposure=0.8), marks("steps3"))
    assert reading.ok, reading.failure
    assert not reading.card.patch_left_out
    assert not any(check.name == "card_spare" for check in reading.checks)
    assert camera_error(reading.card, None) == STRIP.undone.under(None, 0.18)


@pytest.mark.parametrize(("exposure", "word"), [(7.0, "grey step is burnt out"), (0.001, "white step is crushed")])
def test_a_strip_needs_its_other_steps(exposure: float, word: str) -> None:
    with pytest.raises(CardClipped, match=word):
        measure_photo(taken(steps(scene(), 0.90, 0.18, 0.035), exposure=exposure), marks("steps3"))


def test_a_strip_balances_a_camera_whose_sensors_are_off() -> None:
    # the truth is what the camera was off by, undone where a camera does it (CAT16, from colour-science)
    linear = (STRIP.reference(None, None) @ off_balance(GAINS).T)[None]
    card = CardReading(STRIP, CARD, linear[0], np.zeros((3, 3, 3)), np.ones(3, bool), 0.0, 0.0)  # type: ignore[arg-type]
    found = apply(correction_from_card(card), HAIR @ off_balance(GAINS).T)
    assert np.abs(linear_to_lab(found) - linear_to_lab(HAIR)).max() < 0.05


# --- marks, records, results, kits -----------------------------------------------------------------------------------


def test_a_marks_file_may_say_what_the_dark_half_reflects() -> None:
    def parsed(card: dict[str, Any]) -> Marks:
        photo = {"photo": "a.jpg", "card": {"kind": "steps2", **card}, "path": [[1, 2], [3, 4]], "width": 20}
        found = parse_marks(json.dumps({"photos": [photo]}))
        assert found.ignored == ()
        return found.photos[0].marks

    assert parsed({"dark": 0.046}).dark == 0.046
    assert parsed({"dark": None}).dark is None
    assert parsed({}).dark is None
    for wrong in ("5 %", True, [0.05], 1e9):
        with pytest.raises(InvalidMarks, match=r"photos\[0\]\.card\.dark"):
            parsed({"dark": wrong})


def test_the_command_line_takes_a_dark_half_and_says_what_it_used(tmp_path: Path) -> None:
    content = jpeg(taken(steps(scene(), 0.18, 0.046)).encoded)
    (tmp_path / "a.jpg").write_bytes(content)
    card = {"kind": "steps2", "corners": CARD}
    photos = [entry("a.jpg", card={**card, "dark": 0.046}), entry("a.jpg", card=card)]
    photos += [entry("a.jpg", card={**card, "dark": 0.4}), entry("a.jpg", card={"kind": "grey18", "dark": 0.05})]
    out = tmp_path / "result.json"
    status, _, err = run("measure", write_marks(tmp_path, *photos), "--out", out)
    assert err == "", err
    found = json.loads(out.read_text("utf-8"))["photos"]
    assert status == 1
    assert [photo["ok"] for photo in found] == [True, True, False, False]
    assert [photo["card"]["dark"] for photo in found[:2]] == pytest.approx([0.046, 0.05])
    assert found[0]["card"]["reflectance"] == 0.18
    for photo, word in zip(found[2:], ("0.01 to 0.12", "has no dark patch"), strict=True):
        assert photo["error"]["code"] == "invalid_marks"
        assert word in photo["error"]["message"]


def test_records_of_before_still_open_and_new_ones_keep_what_was_known() -> None:
    known = replace(marks("steps2"), dark=0.046, dark_u=0.002)
    assert from_json(Marks, to_json(known)) == known
    earlier = json.loads(to_json(marks("steps3")))
    for name in ("dark", "dark_u"):
        del earlier[name]
    opened = from_json(Marks, json.dumps(earlier))
    assert (opened.dark, opened.dark_u, opened.dark_half) == (None, None, None)
    card = CardSummary("steps3", CARD, (49.5, 0.0, 0.0), 0.0, 0.0)  # type: ignore[arg-type]
    kept = json.loads(to_json(card))
    for name in ("dark", "dark_u", "patch_left_out"):
        del kept[name]
    assert from_json(CardSummary, json.dumps(kept)) == card
    assert camera_error(card, None) == STRIP.undone.under(None, 0.18)


def test_another_dark_half_is_another_card() -> None:
    kit = Kit("Maker Model", "steps2", "daylight", reflectance=0.18, dark=0.05)
    assert match_kits(kit, kit).same
    assert match_kits(kit, replace(kit, dark=0.046)).unlike == ("card",)
    assert match_kits(kit, replace(kit, dark=None)).same  # a record of before says nothing of it
