"""Hair that was cut: bands at like distance from the root, on a known profile and on rendered heads without tips."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from tests.bench.heads.develop import ONE_LOOK, Developed, develop
from tests.bench.heads.plates import heads
from tests.command_line import entry, run, write_marks
from tests.scenes import CARD, PATH, marks, photograph, scene
from tracker.compare.comparison import compare_readings
from tracker.compare.cut import Cut, at_like_distance, cut_between, holds_cut
from tracker.maths import polyline
from tracker.maths.colorimetry import lab_to_linear, linear_to_lab
from tracker.maths.quantities import LabMeasured, Measured
from tracker.measure import measure_photo
from tracker.measure.card_scale import scale_of
from tracker.measure.hair import BANDS, HairMask
from tracker.measure.reading import Marks, PhotoReading, ProfilePoint
from tracker.said.aloud import tell
from tracker.said.cut import say_cut, tell_cut

ROOT, TIP = np.array([20.0, 5.0, 8.0]), np.array([60.0, 5.0, 24.0])
NO_U = ((1e-4, 0.0, 0.0), (0.0, 1e-4, 0.0), (0.0, 0.0, 1e-4))


def mean_between(start: float, stop: float) -> np.ndarray:
    """Truth: Lab of the mean light between two shares of a length along which Lab goes evenly from root to tip."""
    at = np.linspace(start, stop, 2001)[:, None]
    return linear_to_lab(lab_to_linear(ROOT + at * (TIP - ROOT)).mean(axis=0))


@cache
def measured() -> PhotoReading:
    return measure_photo(photograph(scene()), marks())


def drawn(u_profile: float = 0.0) -> PhotoReading:
    """A reading of that even hair."""
    at = (np.arange(40) + 0.5) / 40
    points = [ProfilePoint(float(s), tuple((ROOT + s * (TIP - ROOT)).tolist()), u_profile) for s in at]
    bands = {band.name: tuple(mean_between(band.start, band.stop).tolist()) for band in BANDS}
    regions = [replace(r, lab=LabMeasured(bands[r.name], NO_U), repeat_cov=NO_U) for r in measured().regions]
    stretches = [tuple(np.linspace(20 + 40 * s / 10, 20 + 40 * (s + 1) / 10, 21).tolist()) for s in range(10)]
    return replace(measured(), profile=tuple(points), regions=tuple(regions), stretches=tuple(stretches))


def mm(value: float, u: float = 0.0) -> Measured:
    return Measured(value, u, "mm")


class TestAKnownCut:
    def test_bands_are_read_where_they_lie_after_it(self) -> None:
        # 10 of 40 cm cut off: the ends of 30 cm are 24 to 30 cm from the root, 60 to 75 % of the old length
        moved = at_like_distance(drawn(), cut_between(mm(400), mm(300)))
        for name, start, stop in (("root", 0.0, 0.15), ("mid", 0.3, 0.45), ("end", 0.6, 0.75)):
            region = moved.region(name)
            assert region is not None
            np.testing.assert_allclose(region.lab.lab, mean_between(start, stop), atol=0.3)

    def test_stretches_are_those_that_are_left(self) -> None:
        # by hand: lightness goes evenly from 20 to 60, so three quarters of the length end at 50
        moved = at_like_distance(drawn(), cut_between(mm(400), mm(300)))
        # a stretch of the old length is one piece, and 4 L* deep
        assert moved.stretches[0][0] == pytest.approx(20.0, abs=0.1)
        assert moved.stretches[9][-1] == pytest.approx(50.0, abs=2.1)
        assert moved.stretches[4][10] == pytest.approx(20 + 40 * 0.75 * 0.45, abs=2.1)

    def test_unsure_lengths_count_by_the_slope(self) -> None:
        # by hand: lengths 5 % unsure each are 7.1 % together; the ends lie at 0.675 of the length, where a step of
        # 7.1 % of that is 0.048 of the length, at 40 L* over all of it
        moved = at_like_distance(drawn(), cut_between(mm(400, 20), mm(300, 15)))
        end = moved.region("end")
        assert end is not None
        assert end.lab.u[0] == pytest.approx(0.0477 * 40, rel=0.05)
        assert end.repeat_lightness.u == pytest.approx(0.0477 * 40, rel=0.05)

    def test_a_profile_that_scatters_counts_too(self) -> None:
        quiet, loud = (at_like_distance(drawn(u), cut_between(mm(400), mm(300))) for u in (0.0, 2.0))
        first, second = quiet.region("end"), loud.region("end")
        assert first is not None
        assert second is not None
        # two stretches of 15 and 20 % of the length, a few clumps' lengths each: less than one place alone, not nothing
        assert first.lab.u[0] < 0.05 < 0.7 < second.lab.u[0] < 2.0

    def test_grown_hair_lay_nearer_to_the_root(self) -> None:
        # by hand: 4 months at 11 mm are 44 mm; the ends of 300 mm, 240 to 300 from the root, lay at 196 to 256 of 400
        cut = cut_between(mm(400), mm(300), noted=True, months=4.0)
        assert cut is not None
        assert cut.away is not None
        assert cut.away.value == pytest.approx(144.0)
        moved = at_like_distance(drawn(), cut)
        end, root = moved.region("end"), moved.region("root")
        assert end is not None
        assert root is not None
        np.testing.assert_allclose(end.lab.lab, mean_between(0.49, 0.64), atol=0.3)
        np.testing.assert_allclose(root.lab.lab, mean_between(0.0, 0.15), atol=0.3)


class TestWhetherHairWasCut:
    def test_lengths_tell_where_they_differ_by_more_than_their_interval(self) -> None:
        # by hand: 1.96 times the root of 10² + 10² is 27.7
        assert cut_between(mm(400, 10), mm(370, 10)) is not None
        assert cut_between(mm(400, 10), mm(375, 10)) is None

    def test_longer_hair_keeps_its_shares(self) -> None:
        assert cut_between(mm(300, 10), mm(400, 10)) is None
        assert cut_between(mm(300, 10), mm(300, 10), months=6.0) is not None  # it should be 66 mm longer: it was cut
        noted = cut_between(mm(300, 10), mm(320, 10), noted=True)
        assert at_like_distance(drawn(), noted).region("end").lab.lab == pytest.approx(  # type: ignore[union-attr]
            drawn().region("end").lab.lab  # type: ignore[union-attr]
        )

    def test_without_lengths_only_a_note_tells(self) -> None:
        assert cut_between(None, mm(300)) is None
        noted = cut_between(None, mm(300), noted=True)
        assert noted is not None
        assert noted.away is None
        assert at_like_distance(drawn(), noted) == drawn()

    @pytest.mark.parametrize(
        ("services", "steps", "cut"),
        [
            (("cut",), (), True),
            (("toner", "Dry cut and style"), (), True),
            ((), ("cut",), True),
            (("trim",), (), True),
            (("toner",), ("lightener",), False),
            (("shortcut to blond",), (), False),
        ],
    )
    def test_what_a_visit_says(self, services: tuple[str, ...], steps: tuple[str, ...], cut: bool) -> None:
        assert holds_cut(services, steps) is cut

    @given(before=st.floats(100, 800), after=st.floats(50, 900), u=st.floats(0.0, 0.1), months=st.floats(0, 24))
    def test_a_cut_never_makes_a_reading_surer_nor_darker_hair_lighter(
        self, before: float, after: float, u: float, months: float
    ) -> None:
        reading = drawn(1.0)
        cut = cut_between(mm(before, u * before), mm(after, u * after), noted=True, months=months)
        moved = at_like_distance(reading, cut)
        for name in ("root", "mid", "end"):
            old, new = reading.region(name), moved.region(name)
            assert old is not None
            assert new is not None
            # nearer to the root the hair is darker here
            assert new.lab.lab[0] <= old.lab.lab[0] + 1e-6
            assert new.lab.u[0] >= old.lab.u[0] - 1e-9
            assert np.all(np.linalg.eigvalsh(new.lab.cov) > 0)


def without_its_tip(photo: Developed) -> tuple[np.ndarray, Marks]:
    """The photo with the wall where the last third of the hair was, and marks about what is left."""
    whole, encoded = bench_marks(photo), photo.picture.encoded.copy()
    length = polyline.length(whole.path)
    path = tuple((float(x), float(y)) for x, y in polyline.places(whole.path, np.linspace(0, 2 / 3 * length, 7)))
    root, tip = np.array(path[0]), np.array(path[-1])
    rows, columns = np.indices(photo.hair.shape)
    heights = (np.stack([columns, rows], -1) + 0.5 - root) @ (tip - root)
    below = heights > (tip - root) @ (tip - root)
    encoded[photo.hair & below] = encoded[60:70, 20:40].reshape(-1, 3).mean(axis=0)
    outline = HairMask(photo.hair & ~below, 1.0).outline().points
    return encoded, replace(whole, path=path, outline=outline)


def bench_marks(photo: Developed) -> Marks:
    # the size of the renderer's card, tests/bench/heads/make/design.py
    return replace(photo.marks, width=None, size_mm=(84.0, 116.0))


@pytest.mark.parametrize("name", ["42", "08"])
def test_unchanged_hair_without_its_tip_is_unchanged(name: str) -> None:
    """Truth: nothing was done to these rendered heads but laying the hair anew; a third was then masked away."""
    head = next(head for head in heads() if head.name == name)
    shots = {shot.state: shot for shot in head.shots if shot.number == 2}
    first, second = (develop(head, shots[state], "grey18", ONE_LOOK) for state in (0, 1))
    before = measure_photo(first.picture, bench_marks(first), light=first.noted)
    codes, short = without_its_tip(second)
    after = measure_photo(replace(second.picture, encoded=codes), short, light=second.noted)
    lengths = [
        scale.path
        for reading, at in ((before, bench_marks(first)), (after, short))
        if (scale := scale_of(reading, at, (540, 720))) is not None
    ]
    cut = cut_between(*lengths)
    assert cut is not None
    assert cut.away is not None
    assert abs(cut.away.value - lengths[0].value / 3) < 1.96 * cut.away.u
    by_share, by_distance = (
        {change.name: change for change in compare_readings(earlier, after, same_kit=True)}
        for earlier in (before, at_like_distance(before, cut))
    )
    assert "changed" in {by_share["mid"].verdict, by_share["end"].verdict}
    assert "changed" not in {by_distance["mid"].verdict, by_distance["end"].verdict}
    off = [sum(abs(each[band].change.delta[0]) for band in ("mid", "end")) for each in (by_share, by_distance)]
    assert off[1] < 0.6 * off[0]


class TestWords:
    def test_what_was_cut_off_is_said_with_its_margin(self) -> None:
        noted = Cut(mm(400, 8), mm(340, 6), True)
        # by hand: 6 cm, and 1.96 times a centimetre
        assert say_cut(noted) == (
            "About 6 cm (± 2) were cut off; the ends compare with what lay at the same distance from the root before."
        )
        assert say_cut(replace(noted, noted=False)).startswith("The hair is about 6 cm (± 2) shorter than before; ")
        assert tell_cut(noted) == (
            "We cut off about six centimetres, give or take two. Your ends are compared with what hung at the same "
            "distance from the root before."
        )

    def test_ends_without_lengths_are_other_hair(self) -> None:
        unknown = Cut(None, mm(300), True)
        assert say_cut(unknown) == (
            "The ends were cut, so the ends of the two photos are not the same hair. Note the card's size to compare "
            "at the same distance from the root."
        )
        assert say_cut(unknown, to_others=True).endswith("not the same hair.")
        assert say_cut(unknown, reason="No lengths: the card is turned away.").endswith("turned away.")
        assert "not the same hair" in tell_cut(unknown)

    def test_a_cut_barely_more_than_its_margin_is_told_by_its_bound(self) -> None:
        # by hand: 7.2 cm, and 1.96 times 3.6 cm more, which rounds to as much
        assert tell_cut(Cut(mm(400, 28.8), mm(328, 21.6), True)).startswith("We cut off at most 14 centimetres. ")

    def test_a_trim_within_the_margin(self) -> None:
        trimmed = Cut(mm(400, 8), mm(395, 6), True)
        # by hand: half a centimetre and two more
        assert "less than 2 cm" in say_cut(trimmed)
        assert tell_cut(trimmed) == ""

    def test_nothing_without_a_cut(self) -> None:
        assert say_cut(None) == tell_cut(None) == ""

    def test_it_is_read_aloud_after_what_changed(self) -> None:
        changes = compare_readings(measured(), measured(), same_kit=True)
        assert tell(changes, cut=Cut(mm(400, 8), mm(340, 6), True)).endswith("from the root before.")
        assert "cut" not in tell(changes)


class TestCommandLine:
    """It cannot know of a cut, only of lengths."""

    @staticmethod
    def measured_again(folder: Path, size: list[float] | None, tip: tuple[float, float]) -> Path:
        """A RESULT of one drawn photo whose hair is marked down to `tip`."""
        card = {"kind": "grey18", "corners": CARD, **({} if size is None else {"size_mm": size})}
        Image.fromarray(photograph(scene()).encoded).save(folder / "hair.png")
        path = write_marks(folder, entry("hair.png", card=card, path=[*PATH[:2], tip]))
        result = folder / f"{tip[1]:.0f}.json"
        status, _, err = run("measure", path, "--out", result)
        assert (status, err) == (0, "")
        return result

    def test_known_lengths_are_enough(self, tmp_path: Path) -> None:
        long, short = (self.measured_again(tmp_path, [100.0, 118.0], (305.0, y)) for y in (940.0, 620.0))
        status, out, _ = run("compare", long, short, "--json")
        [pair] = json.loads(out)["pairs"]
        assert status == 0
        # by hand: 320 pixels, where 159 are 100 mm
        assert pair["cut"]["away_mm"]["value"] == pytest.approx(320 * 100 / 159, rel=0.05)
        # the same photo: at like distance from the root it is the same hair
        assert all(abs(region["delta"]["lab"][0]) < 1.0 for region in pair["regions"].values())
        _, said, _ = run("compare", long, short)
        assert "shorter than before; the ends compare" in said
        _, out, _ = run("compare", short, long, "--json")
        assert json.loads(out)["pairs"][0]["cut"] is None

    def test_without_a_size_nothing_is_moved(self, tmp_path: Path) -> None:
        long, short = (self.measured_again(tmp_path, None, (305.0, y)) for y in (940.0, 620.0))
        _, out, _ = run("compare", long, short, "--json")
        [pair] = json.loads(out)["pairs"]
        assert pair["cut"] is None
        # by hand: the drawn hair rises by 27 L* over 900 pixels, and the ends end 320 pixels sooner
        assert pair["regions"]["end"]["delta"]["lab"][0] < -4
