"""The whole width of the hair: straightened, its spread from clump to clump, and what a wash does not change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.bench.heads.plates import heads
from tests.scenes import ACROSS, CARD, MIDDLE, OUTLINE, PATH, marks, photograph, scene
from tests.srgb import encode
from tracker import METHOD_VERSION, errors
from tracker.maths import polyline
from tracker.maths.colorimetry import lab_to_linear, linear_to_lab
from tracker.maths.rgb_space import SRGB
from tracker.measure import Settings, measure_photo
from tracker.measure.hair import BANDS, Extent, extent, straighten_whole, stripes
from tracker.measure.hair.select import KEPT, OUTSIDE
from tracker.measure.hair.whole import stripe_spread
from tracker.measure.light import light_beside_card
from tracker.measure.reading import DAYLIGHT, LIGHTS, RIBBON, WHOLE, Marks, Point


def whole(outline: tuple[Point, ...] | None = OUTLINE, path: tuple[Point, ...] = PATH) -> Marks:
    """Marks of the whole drawn hair."""
    return replace(marks(), width=None, outline=outline, path=path)


class Everywhere:
    """Hair all over the photo."""

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """True."""
        return np.ones(np.broadcast_shapes(np.shape(x), np.shape(y)), bool)


class Drawn:
    """Hair where a mask says so."""

    def __init__(self, mask: np.ndarray) -> None:
        self.mask = mask

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Of the pixel there."""
        height, width = self.mask.shape
        return np.asarray(self.mask[np.clip(y, 0, height - 1).astype(int), np.clip(x, 0, width - 1).astype(int)])


class TestStrip:
    def test_rows_are_heights_and_columns_the_whole_width(self) -> None:
        photo = np.zeros((400, 300, 3), np.uint8)
        photo[..., 0] = np.arange(400)[:, None] // 2
        photo[..., 1] = np.arange(300)[None, :] // 2
        path = ((100.0, 50.0), (110.0, 200.0), (100.0, 350.0))
        strip = straighten_whole(photo, path, Everywhere(), Extent(-80.0, 120.0))
        # looking from root to tip, the left is the larger x
        assert (strip.x[0, 0], strip.x[0, -1]) == pytest.approx((179.5, -19.5), abs=1.0)
        np.testing.assert_allclose(strip.y - strip.y[:, :1], 0.0, atol=1e-9)  # a row is one height
        assert strip.y[0, 0] == pytest.approx(50.5, abs=1.0)
        assert strip.y[-1, 0] == pytest.approx(349.5, abs=1.0)
        np.testing.assert_array_equal(strip.codes[..., 0], np.floor(strip.y).astype(int) // 2)

    @given(turn=st.floats(-60.0, 60.0))
    def test_a_turned_photo_is_read_at_the_same_heights(self, turn: float) -> None:
        angle = np.radians(turn)
        down, across = np.array([np.sin(angle), np.cos(angle)]), np.array([-np.cos(angle), np.sin(angle)])
        root = np.array([500.0, 500.0])
        path = tuple(tuple(map(float, root + down * step)) for step in (0.0, 150.0, 300.0))
        strip = straighten_whole(np.zeros((1200, 1200, 3), np.uint8), path, Everywhere(), Extent(-90.0, 90.0))
        places = np.stack([strip.x, strip.y], -1) - root
        assert np.ptp(places @ down, axis=1).max() < 1e-6
        assert np.abs(places @ across).max() == pytest.approx(90.0, abs=1.0)

    def test_a_path_that_turns_back_is_refused(self) -> None:
        path = ((100.0, 50.0), (100.0, 350.0), (100.0, 60.0))
        with pytest.raises(errors.InvalidPath, match="turns back"):
            straighten_whole(np.zeros((400, 300, 3), np.uint8), path, Everywhere(), Extent(-50.0, 50.0))

    def test_how_far_an_outline_reaches(self) -> None:
        # by hand: the line from root to tip is x = 100, looking down; its left in the photo is at its right hand
        reach = extent(((100.0, 0.0), (100.0, 300.0)), ((40.0, 10.0), (190.0, 10.0), (150.0, 280.0)))
        assert reach.width == pytest.approx(150.0)
        assert sorted(abs(side) for side in (reach.left, reach.right)) == pytest.approx([60.0, 90.0])


class TestSpread:
    def test_against_the_standard_error_of_independent_clumps(self) -> None:
        """Clumps of random lightness: what the stripes say is the scatter of the mean over many heads."""
        rng = np.random.default_rng(3)
        means, claimed = [], []
        for _ in range(200):
            lab = np.zeros((20, 200, 3))
            lab[..., 0] = np.repeat(rng.normal(40.0, 6.0, 20), 10)[None, :]
            lab[..., 2] = 15.0
            linear = lab_to_linear(lab)
            cov, dof = stripe_spread(linear, np.full((20, 200), KEPT, np.uint8), 20)
            means.append(float(linear_to_lab(linear.mean(axis=(0, 1)))[0]))
            claimed.append(float(cov[0, 0]))
        # standard error of a mean of 20 independent clumps (GUM 4.2.3); the ratio of variances within its own 99 %
        ratio = np.var(means, ddof=1) / np.mean(claimed)
        low, high = stats.f.ppf([0.005, 0.995], 199, 200 * dof)
        assert low < ratio < high
        # and the scatter of the claims is that of as many degrees of freedom: a variance of 2 / dof (GUM E.4.3)
        assert np.var(claimed) / np.mean(claimed) ** 2 == pytest.approx(2 / dof, rel=0.35)

    def test_a_head_that_is_round_is_hardly_any_spread(self) -> None:
        across = np.linspace(-1, 1, 200)
        lab = np.zeros((20, 200, 3))
        lab[..., 0] = 45 - 12 * across**2 + 5 * across
        cov, _ = stripe_spread(lab_to_linear(lab), np.full((20, 200), KEPT, np.uint8), 20)
        scatter = float(lab[0, 5::10, 0].std(ddof=1)) / np.sqrt(20)
        # by hand: neighbours, a tenth apart, differ by 0.1 (5 - 24 x), of mean square 2.17; by two and by 20, the root
        assert float(np.sqrt(cov[0, 0])) == pytest.approx(np.sqrt(2.17 / 2 / 20), rel=0.05)
        assert float(np.sqrt(cov[0, 0])) < 0.25 * scatter

    @pytest.mark.parametrize("clumps", [8, 16, 30])
    def test_a_wider_area_never_has_the_larger_spread(self, clumps: int) -> None:
        rng = np.random.default_rng(5)
        lab = np.zeros((20, 30 * 8, 3))
        lab[..., 0] = np.repeat(40 + rng.permutation(np.linspace(-6, 6, 30)), 8)[None, :]
        linear, kept = lab_to_linear(lab), np.full((20, 240), KEPT, np.uint8)
        whole_width = float(stripe_spread(linear, kept, 30)[0][0, 0])
        part = float(
            np.mean(
                [
                    stripe_spread(linear[:, s : s + 8 * clumps], kept[:, s : s + 8 * clumps], clumps)[0][0, 0]
                    for s in range(0, 240 - 8 * clumps + 1, 8)
                ]
            )
        )
        assert whole_width <= part * 1.001

    def test_too_few_clumps_give_a_wide_guess(self) -> None:
        verdict = np.full((20, 200), OUTSIDE, np.uint8)
        verdict[:, :20] = KEPT
        cov, dof = stripe_spread(np.full((20, 200, 3), 0.2), verdict, 20)
        assert (dof, float(np.sqrt(cov[0, 0]))) == (1.0, 2.0)

    def test_as_many_stripes_as_clumps(self) -> None:
        assert stripes(Extent(-100.0, 200.0), 10.0, 700.0) == 20  # 30 cm of hair, 1.5 cm each
        assert stripes(Extent(-100.0, 200.0), None, 400.0) == 20  # as if 40 cm from root to tip
        assert stripes(Extent(-50.0, 100.0), None, 400.0) == 10
        assert stripes(Extent(-1.0, 1.0), 10.0, 400.0) == 4

    @pytest.mark.parametrize("place", range(0, 64, 9))
    def test_a_rendered_head_is_no_surer_than_half_of_it(self, place: int) -> None:
        """Hair of the bench's heads, its true outline: the whole width against its two halves, in every band."""
        shot = heads()[place].shots[0]
        codes, hair = np.round(encode(np.clip(shot.raw(), 0, 1)) * 255).astype(np.uint8), Drawn(shot.hair())
        path = tuple((float(x), float(y)) for x, y in shot.path)
        columns = np.flatnonzero(shot.hair().any(axis=0)) + 0.5
        reach = extent(path, tuple((float(x), path[0][1]) for x in (columns.min(), columns.max())))
        middle = (reach.left + reach.right) / 2
        whole, *halves = (
            self._spreads(codes, path, hair, part)
            for part in (reach, Extent(reach.left, middle), Extent(middle, reach.right))
        )
        assert np.mean(whole) < np.mean(halves)
        for one, two in zip(whole, np.mean(halves, axis=0), strict=True):
            assert one < 1.05 * two

    @staticmethod
    def _spreads(codes: np.ndarray, path: tuple[Point, ...], hair: Drawn, reach: Extent) -> list[float]:
        strip = straighten_whole(codes, path, hair, reach)
        count = stripes(reach, None, polyline.length(path))
        found = []
        for band in BANDS:
            rows = strip.rows(band.start, band.stop)
            verdict = np.where(strip.inside[rows], KEPT, OUTSIDE).astype(np.uint8)
            found.append(float(stripe_spread(SRGB.linear(strip.codes[rows]), verdict, count)[0][0, 0]))
        return found


class TestReading:
    def test_bands_are_the_mean_of_the_whole_width(self) -> None:
        linear = scene(spread=3.0)
        reading = measure_photo(photograph(linear), whole())
        assert (reading.method_version, reading.hair) == (METHOD_VERSION, WHOLE)
        assert reading.outline == OUTLINE
        rows, columns = np.mgrid[0 : linear.shape[0], 0 : linear.shape[1]]
        hair = ((columns - MIDDLE[0]) / ACROSS) ** 2 + ((rows - MIDDLE[1]) / (1100 // 2 - 40)) ** 2 < 0.98
        for region in reading.regions:
            low, high = {"root": (0.0, 0.2), "mid": (0.4, 0.6), "end": (0.8, 1.0)}[region.name]
            band = hair & (rows >= 150 + low * 790) & (rows < 150 + high * 790)
            # the drawn scene itself, averaged in linear light
            truth = linear_to_lab(linear[band].mean(axis=0))
            np.testing.assert_allclose(region.lab.lab, truth, atol=0.8)
            assert np.all(np.linalg.eigvalsh(region.repeat_cov) > 0)

    @pytest.mark.parametrize("seed", range(6))
    def test_half_the_hair_is_never_the_surer(self, seed: int) -> None:
        linear = scene(spread=2.0, seed=seed).copy()
        # clumps of 30 pixels, 1.5 cm of hair 40 cm long, each lighter or darker by a quarter; the card is beyond them
        clumps = np.exp(np.random.default_rng(seed).normal(0.0, 0.25, 20))
        linear[:, :600] *= np.repeat(clumps, 30)[None, :, None]
        narrow = tuple((MIDDLE[0] + (x - MIDDLE[0]) / 2, y) for x, y in OUTLINE)
        photo = photograph(linear)
        wide, half = (measure_photo(photo, whole(outline)) for outline in (OUTLINE, narrow))
        assert len(wide.regions) == len(half.regions) == 3
        # L* relative to L* + 16, as light that differs moves it: the mean of other clumps is another colour
        sure = [
            np.mean([region.repeat_cov[0][0] / (region.lab.lab[0] + 16) ** 2 for region in reading.regions])
            for reading in (wide, half)
        ]
        # the two are estimates: by chance they may lie a hundredth of a ± the wrong way round
        assert sure[0] < 1.02 * sure[1]

    def test_light_pieces_are_never_left_out(self) -> None:
        linear = scene((25.0, 6.0, 10.0), (25.0, 6.0, 10.0), spread=1.0)
        light = linear.copy()
        light[520:580, 260:340] = lab_to_linear((75.0, 2.0, 20.0))
        before, after = (measure_photo(photograph(one), whole()).region("mid") for one in (linear, light))
        assert before is not None
        assert after is not None
        # by hand: 60 x 80 of the 158 x about 334 pixels of the band
        share = 60 * 80 / (158 * 334)
        mixed = (1 - share) * lab_to_linear(before.lab.lab) + share * lab_to_linear((75.0, 2.0, 20.0))
        assert after.lab.lab[0] == pytest.approx(float(linear_to_lab(mixed)[0]), abs=0.5)
        assert after.dropped.not_hair == 0.0

    def test_the_card_is_no_hair(self) -> None:
        held_over = tuple((x - 240.0, y) for x, y in CARD)
        reading = measure_photo(
            photograph(scene(card=held_over, reflectance=0.18)), replace(whole(), corners=held_over)
        ).region("mid")
        plain = measure_photo(photograph(scene()), whole()).region("mid")
        assert reading is not None
        assert plain is not None
        assert reading.pixels < plain.pixels
        np.testing.assert_allclose(reading.lab.lab, plain.lab.lab, atol=0.8)

    @pytest.mark.parametrize(
        ("given", "error", "words"),
        [
            (whole((*OUTLINE[1:], (5000.0, 500.0))), errors.OutsidePhoto, "point of the outline lies 4100 pixels"),
            (whole(tuple((x, y) for x, y in CARD)), errors.HairNotFound, "nothing but the card"),
            (whole(path=(*PATH, *PATH[-2::-1])), errors.InvalidPath, "turns back"),
        ],
        ids=["outside", "all card", "there and back"],
    )
    def test_marks_that_are_not_round_the_hair(self, given: Marks, error: type[Exception], words: str) -> None:
        with pytest.raises(error, match=words):
            measure_photo(photograph(scene()), given)

    def test_no_number_where_the_wall_may_be_hair(self) -> None:
        wall = ((760.0, 80.0), (760.0, 250.0), (760.0, 400.0))
        reading = measure_photo(photograph(scene()), whole(None, wall))
        assert not reading.regions
        assert "hair_found" in [check.name for check in reading.checks if check.stopped]

    def test_both_ways_at_once_are_refused(self) -> None:
        with pytest.raises(errors.InvalidMarks, match="both a width and an outline"):
            measure_photo(photograph(scene()), replace(whole(), width=90.0))

    def test_a_set_up_check_of_ribbons_does_not_count(self) -> None:
        own = replace(Settings().repeatability, sd=(9.0, 9.0, 9.0), provisional=False)
        photo = photograph(scene())
        plain, checked = (measure_photo(photo, whole(), one) for one in (Settings(), Settings(repeatability=own)))
        assert plain.regions == checked.regions

    def test_one_of_the_whole_hair_takes_the_place_of_what_is_allowed_for_light(self) -> None:
        own = replace(Settings().repeatability, sd=(0.1, 0.1, 0.1), provisional=False, hair=WHOLE, covers_light=True)
        photo = photograph(scene())
        plain, checked = (measure_photo(photo, whole(), one) for one in (Settings(), Settings(repeatability=own)))
        for before, after in zip(plain.regions, checked.regions, strict=True):
            assert before.light_cov[0][0] > 0 == after.light_cov[0][0]
            assert after.repeat_cov[0][0] < before.repeat_cov[0][0]


class TestLight:
    def test_a_ribbon_keeps_its_limits(self) -> None:
        # half a width of 0.15 EV, rectangular: 0.15 / sqrt(3) (GUM 4.3.7)
        assert light_beside_card(RIBBON, DAYLIGHT, 0.0, Settings()).occasion == pytest.approx(0.15 / 3**0.5)
        assert light_beside_card(RIBBON, DAYLIGHT, 0.0, Settings()).photo == 0.0

    @pytest.mark.parametrize("light", [*LIGHTS, None])
    def test_a_card_that_stands_scatters_less(self, light: str | None) -> None:
        held, stood = (light_beside_card(WHOLE, light, 0.05, Settings(card_stood=stands)) for stands in (False, True))
        assert stood.photo < held.photo
        assert stood.occasion == held.occasion > 0
