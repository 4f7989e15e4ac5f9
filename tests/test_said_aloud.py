"""The sentences for the client: what they say follows the numbers, and they can be read aloud."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from tests.scenes import marks, photograph, scene
from tracker.compare.comparison import RegionChange, compare_readings
from tracker.compare.transition import Blend, Interval
from tracker.maths.quantities import Measured
from tracker.measure import measure_photo
from tracker.said.aloud import tell

BEFORE = measure_photo(photograph(scene(root=(27, 6, 11), tip=(34, 7, 16), spread=1.5)), marks())
AFTER = measure_photo(photograph(scene(root=(27, 6, 11), tip=(60, 5, 20), spread=1.5), seed=9), marks())
CHANGES = compare_readings(BEFORE, AFTER, same_kit=True)
BLEND = Blend(Interval(0.38, 0.33, 0.43), Interval(80.0, 65.0, 100.0), Interval(22.0, 20.0, 25.0), True)


def lifted(change: RegionChange, levels: float, u: float) -> RegionChange:
    return replace(change, levels=Interval(levels, levels - 1.96 * u, levels + 1.96 * u))


def end(levels: float, u: float) -> str:
    return tell([lifted(CHANGES[2], levels, u)])


@pytest.mark.parametrize(
    ("levels", "u", "words"),
    [
        (0.6, 0.1, "about half a level lighter, give or take a quarter of a level"),
        (1.1, 0.2, "about one level lighter, give or take half a level"),
        (1.6, 0.3, "about one and a half levels lighter, give or take half a level"),
        (2.1, 0.4, "about two levels lighter, give or take one level"),
        (2.4, 0.7, "about two and a half levels lighter, give or take one and a half levels"),
        # both are half a level when rounded, which would sound unsure
        (0.5, 0.2, "Your ends are clearly lighter."),
    ],
)
def test_levels_in_words(levels: float, u: float, words: str) -> None:
    # by hand: the reach is 1.96 u, in halves, and never told smaller than it is by more than a tenth
    assert words in end(levels, u)


def test_it_can_be_read_aloud() -> None:
    said = tell(CHANGES, blend=BLEND, length=Measured(370.0, 40.0, "mm"), lightened=Measured(0.62, 0.15, "share"))
    assert not re.search(r"[±*%°()Δ]|\d\.\d|  ", said)
    assert said.count("Your") >= 1
    assert re.fullmatch(r"([A-Z][^.]*\. ?)+", said)
    # by hand: 0.38 of 37 cm; the half interval is 0.05 of 37 cm and 1.96 x 4 cm x 0.38 together
    assert "about 14 centimetres from the root, give or take 4." in said
    assert "About six tenths of the hair we looked at is lighter than before, give or take three tenths." in said
    assert "unchanged" not in said


@pytest.mark.parametrize(
    ("share", "u", "said"),
    [
        # by hand: the reach is 1.96 u, up to the next tenth
        (0.7, 0.18, "About seven tenths of the hair we looked at is lighter than before, at least three tenths of it."),
        (0.2, 0.18, "About a fifth of the hair we looked at is lighter than before, at most six tenths of it."),
        (0.7, 0.14, "About seven tenths of the hair we looked at is lighter than before, give or take three tenths."),
        (1.0, 0.18, "About all of the hair we looked at is lighter than before, at least six tenths of it."),
    ],
)
def test_a_share_never_reaches_beyond_all_or_none_of_the_hair(share: float, u: float, said: str) -> None:
    assert said in tell(CHANGES, lightened=Measured(share, u, "share"))


@pytest.mark.parametrize(
    ("p_values", "rare"),
    [((0.0004, 0.0002), "a thousand"), ((0.0004, 0.008), "a hundred"), ((0.0004, 0.03), "twenty")],
)
def test_how_sure_follows_the_least_sure_change(p_values: tuple[float, float], rare: str) -> None:
    real = [
        replace(each, change=replace(each.change, p_value=p)) for each, p in zip(CHANGES[1:], p_values, strict=True)
    ]
    assert tell(real).endswith(f"would differ this much less than once in {rare} times.")


def test_without_a_scale_the_start_is_a_share_of_the_way() -> None:
    assert "about four tenths of the way down, give or take a tenth" in tell(CHANGES, blend=BLEND)
    at_root = replace(BLEND, start=Interval(0.0, 0.0, 0.06))
    assert "starts at the root" in tell(CHANGES, blend=at_root)


def test_a_start_is_never_told_closer_than_a_centimetre() -> None:
    # by hand: 0.38 of 37 cm is 14 cm, and 2 mm either way is less than anybody can show with a finger
    sharp = replace(BLEND, start=Interval(0.38, 0.375, 0.385))
    said = tell(CHANGES, blend=sharp, length=Measured(370.0, 0.5, "mm"))
    assert "about 14 centimetres from the root, give or take 1." in said


def test_what_is_too_unsure_is_not_said() -> None:
    wide = replace(BLEND, start=Interval(0.4, 0.1, 0.7))
    said = tell(CHANGES, blend=wide, lightened=Measured(0.5, 0.3, "share"))
    assert "starts" not in said
    assert "tenths of the hair" not in said


def test_no_change_is_said_as_such() -> None:
    again = measure_photo(photograph(scene(root=(27, 6, 11), tip=(34, 7, 16), spread=1.5), seed=4), marks())
    said = tell(compare_readings(BEFORE, again, same_kit=True), blend=BLEND)
    assert "real change" not in said
    assert "starts" not in said
    assert "too close to call" in said or "not changed in a way that shows" in said


def test_nothing_to_compare_says_nothing() -> None:
    assert tell([]) == ""
