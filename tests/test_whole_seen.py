"""What stood on a ribbon, on the whole hair: checks, profile, lights and lows, root, lengths, alignment, the picture.

Truth: the rendered plates of `tests/bench/heads`, exactly as rendered, without camera and JPEG; nothing there is
photographed. A few heads of each kind keep it quick; the figures of all of them are in the developers' notes.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from tests.bench.heads.develop import ONE_LOOK, Developed, develop
from tests.bench.heads.plates import Head, Shot, heads
from tests.samples import SAMPLES, sample_photo
from tests.scenes import OUTLINE, PATH, photograph, scene
from tests.test_whole import whole
from tracker.compare.alignment import align
from tracker.compare.lights_and_lows import shades, share_lightened
from tracker.compare.transition import find_blend
from tracker.maths import polyline
from tracker.maths.colorimetry import Floats, lightness, linear_to_lab, luminance
from tracker.maths.quantities import Measured
from tracker.measure import measure_photo
from tracker.measure.card_scale import card_scale, scale_of
from tracker.measure.quality.limits import largest_blur, narrowest
from tracker.measure.reading import Marks, PhotoReading, Point
from tracker.measure.sharpness import hair_blur
from tracker.photo import read_photo
from tracker.show.overlay import balanced_picture, measured_picture
from tracker.wear.regrowth import root_length

CARD_MM = (84.0, 116.0)  # of the renderer's card: tests/bench/heads/make/design.py
UNCHANGED, PAINTED, NATURAL = ("06", "26", "44"), ("01", "13", "49"), ("00", "12", "36")


def head(name: str) -> Head:
    return next(each for each in heads() if each.name == name)


def shot_of(name: str, state: int) -> Shot:
    return next(shot for shot in head(name).shots if shot.state == state)


@cache
def taken(name: str, state: int) -> Developed:
    return develop(head(name), shot_of(name, state), "grey18", ONE_LOOK)


@cache
def marked(name: str, state: int) -> Marks:
    return replace(taken(name, state).marks, width=None, size_mm=CARD_MM)


@cache
def read(name: str, state: int) -> PhotoReading:
    photo = taken(name, state)
    return measure_photo(photo.picture, marked(name, state), light=photo.noted)


@cache
def rendered(name: str, state: int) -> tuple[Floats, Floats]:
    """True linear light of every pixel of hair, (n, 3), and its place from root to tip, (n,)."""
    shot = shot_of(name, state)
    rows, columns = np.nonzero(shot.hair())
    reached = polyline.reached(shot.path)
    height = np.maximum.accumulate(shot.path[:, 1])
    place = np.interp(rows + 0.5, height, reached / reached[-1], left=-1, right=2)
    return (shot.raw()[rows, columns] @ head(name).matrix.T)[(place >= 0) & (place <= 1)], place[
        (place >= 0) & (place <= 1)
    ]


@pytest.mark.parametrize("name", [*UNCHANGED, *PAINTED])
def test_the_profile_is_that_of_the_hair(name: str) -> None:
    linear, place = rendered(name, 0)
    points = read(name, 0).profile
    bins = np.minimum((place * 40).astype(int), 39)
    true = np.array([linear_to_lab(linear[bins == round(p.position * 40 - 0.5)].mean(axis=0))[0] for p in points])
    off = np.array([p.lab[0] for p in points]) - true
    off -= off.mean()  # the light on card and hair, which is all places' alike
    u = np.array([p.u_lightness for p in points])
    # of all heads 0.25 L* at the median and 0.84 at the 90th percentile; 97 % within their interval
    assert np.quantile(np.abs(off), [0.5, 0.9]) == pytest.approx([0.0, 0.0], abs=1.7)
    assert np.mean(np.abs(off) < 1.96 * np.maximum(u, 0.2)) >= 0.85
    assert np.median(u) < 2.5  # the shading across a round head is no scatter


@pytest.mark.parametrize("name", [*UNCHANGED, *PAINTED])
def test_lights_and_lows_are_those_of_the_hair(name: str) -> None:
    found = shades(read(name, 0))
    assert found is not None
    shot = shot_of(name, 0)
    light, hair = luminance(shot.raw() @ head(name).matrix.T), shot.hair().copy()
    height = np.maximum.accumulate(shot.path[[0, -1], 1])
    hair[: int(height[0])] = hair[int(height[1]) :] = False
    side = max(2, round(np.ptp(np.nonzero(hair)[1]) / 60))  # sixty pieces across, as without a scale
    tall, wide = (size // side for size in hair.shape)

    def pieces(values: Floats) -> Floats:
        cut = values[: tall * side, : wide * side]
        return np.asarray(cut.reshape(tall, side, wide, side).sum(axis=(1, 3)))

    count = pieces(hair.astype(float))
    full = count >= side * side / 2
    values = np.sort(lightness(pieces(np.where(hair, light, 0.0))[full] / count[full]))
    quarter = len(values) // 4
    lows, lights = values[:quarter].mean(), values[-quarter:].mean()
    for measured, true in ((found.lights, lights), (found.lows, lows), (found.dimension, lights - lows)):
        assert abs(measured.value - true) < max(1.96 * measured.u, 2.0)


@pytest.mark.parametrize("name", UNCHANGED)
def test_nothing_is_lightened_where_nothing_was_done(name: str) -> None:
    share = share_lightened(read(name, 0), read(name, 1))
    assert share is not None
    assert share.value <= 1.96 * share.u + 0.01


@pytest.mark.parametrize("name", PAINTED)
def test_lightening_is_placed_where_the_plates_have_it(name: str) -> None:
    found = find_blend(read(name, 1).profile, read(name, 0).profile)
    assert found is not None
    means = []
    for state in (0, 1):
        linear, place = rendered(name, state)
        bins = np.minimum((place * 10).astype(int), 9)
        means.append([linear_to_lab(linear[bins == k].mean(axis=0))[0] for k in range(10)])
    rise = np.subtract(means[1], means[0])
    # a tenth of the rise is reached before the place of its middle, and the whole of it is seen
    middle = float(np.interp(0.5 * rise.max(), np.maximum.accumulate(rise), (np.arange(10) + 0.5) / 10))
    assert found.start.value < middle
    assert found.rise.low - 1.0 <= rise.max() - min(rise[0], 0.0) + 3.0
    assert found.rise.high >= 0.5 * rise.max()


@pytest.mark.parametrize("name", NATURAL)
def test_the_shape_of_a_head_is_no_root(name: str) -> None:
    # of all heads that nobody had coloured a root was seen on 63 of 96 photos before the shape counted, on none since
    assert root_length(read(name, 0).profile, Measured(300.0, 10.0, "mm")) is None


@pytest.mark.parametrize("file", ["noor_after_daylight.jpg", "noor_month_2_9.jpg", "noor_month_6_0.jpg"])
def test_a_root_grows_in_the_demo_photos(file: str) -> None:
    truth = next(photo for photo in SAMPLES if photo["file"] == file)
    corners, path = (tuple(map(tuple, points)) for points in (truth["card"]["corners"], truth["path"]))
    marks = Marks("grey18", corners, path, None, size_mm=CARD_MM)
    reading = measure_photo(read_photo(sample_photo(file).read_bytes()), marks)
    scale = scale_of(reading, marks, tuple(truth["size"]))
    assert scale is not None
    # truth: the renderer's own distances along the hair, centimetres; straight hair
    true = 10 * (truth["path_arc_cm"][-1] - truth["path_arc_cm"][0])
    assert scale.path.value == pytest.approx(true, rel=0.03)
    assert abs(scale.path.value - true) < 1.96 * scale.path.u
    assert scale.path.u / scale.path.value < 0.10  # by the gap to the outline, not to the line down its middle
    found = root_length(reading.profile, scale.path)
    assert found is not None
    # the paint of this head begins 150 mm down by the photo right after it; since then it grew by `regrowth_mm`
    assert abs(found.value - 150.0 - (truth["regrowth_mm"] or 0.0)) < 1.96 * np.hypot(found.u, 27.0)


@pytest.mark.parametrize("name", [*UNCHANGED, *PAINTED])
def test_dry_hair_draws_no_warning(name: str) -> None:
    warned = {check.name for check in read(name, 0).checks if not check.ok}
    assert not warned & {"gloss", "sharp", "close_enough", "hair_root", "hair_mid", "hair_end"}


def test_wet_hair_does() -> None:
    photo = taken("13", 0)
    linear = photo.picture.space.linear(photo.picture.encoded)
    rng = np.random.default_rng(8)
    wet = photo.hair & (rng.random(photo.hair.shape[1]) < 0.35)[None]
    from tracker.maths.rgb_space import SRGB

    shining = np.where(wet[..., None], 0.6 * linear + 0.25 * linear.max(axis=(0, 1)).mean(), linear)
    reading = measure_photo(replace(photo.picture, encoded=SRGB.encode(shining)), marked("13", 0), light=photo.noted)
    assert "gloss" in {check.name for check in reading.checks if not check.ok}


@pytest.mark.parametrize("name", ["00", "08", "36", "48"])
@pytest.mark.parametrize("more", [1.0, 2.0, 3.0])
def test_blur_of_the_whole_hair_is_found_again(name: str, more: float) -> None:
    photo, marks = taken(name, 0), marked(name, 0)
    outline = np.array(read(name, 0).outline)
    across = float(np.ptp(outline[:, 0]))
    linear = photo.picture.space.linear(photo.picture.encoded).astype(np.float32)
    from tracker.maths.rgb_space import SRGB

    soft = SRGB.encode(cv2.GaussianBlur(linear, (0, 0), more))
    args = marks.path, 0.25 * across, largest_blur(across, 60), marks.corners
    own, found = hair_blur(photo.picture.encoded, *args), hair_blur(soft, *args)
    assert own is not None
    assert found is not None
    # variances of Gaussian blurs add; of all heads 0.97 to 1.17 of it
    assert found == pytest.approx(np.hypot(own, more), rel=0.25)


def test_limits_by_pieces() -> None:
    # by hand: half a piece of a twelfth of 90 pixels, and three pixels for each of sixty pieces
    assert largest_blur(90.0, 12) == pytest.approx(3.6)
    assert narrowest(60) == 180.0


class TestWords:
    def test_no_check_speaks_of_a_ribbon(self) -> None:
        reading = measure_photo(photograph(scene()), whole())
        said = " ".join(f"{check.says} {check.advice}" for check in reading.checks).lower()
        assert not any(word in said for word in ("ribbon", "path", "strand", "darkest tenth"))
        assert "hair that is read is 340 pixels wide" in said  # twice 170, as drawn

    def test_a_line_that_leaves_the_hair_gives_no_number(self) -> None:
        beyond = (PATH[0], PATH[1], (300.0, 1090.0))
        short = tuple((x, min(y, 915.0)) for x, y in OUTLINE)
        reading = measure_photo(photograph(scene()), whole(short, beyond))
        [check] = [check for check in reading.checks if check.name == "hair_end"]
        # by hand: the ends are the last 188 of 940 pixels, from 902 down; the outline ends at 915
        assert check.stopped
        assert check.value < 0.1
        assert "line from root to tip" in check.advice

    def test_too_little_hair_asks_for_the_outline(self) -> None:
        from tracker.errors import TooFewPixels

        narrow: tuple[Point, ...] = ((296.0, 140.0), (304.0, 140.0), (320.0, 700.0), (322.0, 930.0), (300.0, 700.0))
        with pytest.raises(TooFewPixels, match="pixels of hair are left") as refused:
            measure_photo(photograph(scene()), whole(narrow, ((300.0, 141.0), (302.0, 200.0), (304.0, 230.0))))
        assert "outline" in str(refused.value)
        assert "wider" not in str(refused.value)


class TestLengths:
    def test_the_gap_is_to_the_outline(self) -> None:
        card = ((640.0, 520.0), (760.0, 520.0), (760.0, 680.0), (640.0, 680.0))
        square: tuple[Point, ...] = ((240.0, 100.0), (580.0, 100.0), (580.0, 1000.0), (240.0, 1000.0))
        path: tuple[Point, ...] = ((400.0, 150.0), (400.0, 950.0))
        by_line = card_scale(card, (75.0, 100.0), (900, 1100), path)
        by_hair = card_scale(card, (75.0, 100.0), (900, 1100), path, outline=square)
        # by hand: 240 and 60 pixels of 0.625 mm
        assert (by_line.gap, by_hair.gap) == pytest.approx((150.0, 37.5), rel=0.02)
        assert by_hair.path.u < by_line.path.u
        assert by_hair.path.value == by_line.path.value

    def test_a_card_held_before_the_hair_has_no_gap(self) -> None:
        card = ((340.0, 520.0), (460.0, 520.0), (460.0, 680.0), (340.0, 680.0))
        square: tuple[Point, ...] = ((240.0, 100.0), (580.0, 100.0), (580.0, 1000.0), (240.0, 1000.0))
        assert card_scale(card, (75.0, 100.0), (900, 1100), ((300.0, 150.0), (300.0, 950.0)), outline=square).gap == 0


class TestAlignment:
    """Where points of the head itself come to lie: the turning points of its outline are no part of the truth."""

    @pytest.mark.parametrize("name", ["02", "18", "30", "42"])
    def test_a_careless_line_does_not_move_the_picture(self, name: str) -> None:
        exact = [replace(marked(name, state), outline=read(name, state).outline) for state in (0, 1)]
        rng = np.random.default_rng(int(name))
        tapped = []
        for marks in exact:
            length = polyline.length(marks.path)
            taps = polyline.places(marks.path, np.array([0.0, 0.5, 1.0]) * length) + rng.normal(
                0, 0.05 * length, (3, 2)
            )
            tapped.append(replace(marks, path=tuple(map(tuple, taps.tolist()))))
        truth = align(*(replace(marks, outline=None) for marks in exact))  # the same line in both, as it was rendered
        assert truth is not None
        corners = np.array([(120.0, 120.0), (400.0, 120.0), (400.0, 420.0), (120.0, 420.0)])

        def off(how: object) -> float:
            assert how is not None
            first, second = (np.array(each.matrix) for each in (how, truth))  # type: ignore[attr-defined]
            moved = [corners @ matrix[:, :2].T + matrix[:, 2] for matrix in (first, second)]
            return float(np.sqrt(np.mean(np.sum(np.square(moved[0] - moved[1]), axis=1))))

        # pixels of heads some 250 wide
        assert off(align(*tapped)) < 18
        assert off(align(*tapped)) < off(align(*(replace(marks, outline=None) for marks in tapped)))

    @pytest.mark.parametrize(("turn", "scale"), [(0.0, 1.0), (8.0, 0.8), (-15.0, 1.4)])
    def test_a_similarity_of_outlines_is_undone(self, turn: float, scale: float) -> None:
        egg = tuple((x + 0.1 * (y - 550) * (x > 305), y) for x, y in OUTLINE)
        angle = np.radians(turn)
        matrix = scale * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        first = whole(egg)
        path, outline, corners = (
            tuple(map(tuple, (np.asarray(points) @ matrix.T + (40.0, -30.0)).tolist()))
            for points in (first.path, egg, first.corners or ())
        )
        how = align(first, replace(first, path=path, outline=outline, corners=corners))
        assert how is not None
        assert how.size == pytest.approx(1 / scale, rel=0.005)
        assert how.turn == pytest.approx(-turn, abs=0.5)
        assert how.miss < 0.005

    def test_cut_hair_keeps_the_size_of_the_card(self) -> None:
        short = tuple((x, min(y, 700.0)) for x, y in OUTLINE)
        path = (PATH[0], PATH[1], (302.0, 690.0))
        how = align(whole(), whole(short, path))
        assert how is not None
        assert how.size == pytest.approx(1.0)
        assert np.array(how.matrix)[:, 2] == pytest.approx([0.0, 0.0], abs=12.0)

    def test_a_line_the_wrong_way_round_is_refused(self) -> None:
        assert align(whole(), whole(path=PATH[::-1])) is None


class TestPicture:
    def test_nothing_beside_the_hair_is_called_left_out(self) -> None:
        photo = photograph(scene())
        reading = measure_photo(photo, whole())
        plain = balanced_picture(photo, reading.correction, 1100)
        drawn = measured_picture(photo, whole(), reading, 1100)
        grey = (drawn == 131).all(axis=-1) & ~(plain == 131).all(axis=-1)
        rows, columns = np.mgrid[0:1100, 0:900]
        beside = ((columns - 305.0) / 185.0) ** 2 + ((rows - 550.0) / 525.0) ** 2 > 1
        assert grey[beside].sum() < 40  # the soft edges of letters
        assert grey.mean() < 0.01

    def test_bands_lie_at_their_heights_and_the_outline_about_them(self) -> None:
        photo = photograph(scene())
        reading = measure_photo(photo, whole())
        drawn = measured_picture(photo, whole(), reading, 1100)
        white = (drawn == 255).all(axis=-1)
        across = white[:, 200:400].mean(axis=1)
        # by hand: the line runs from 150 to 940; its fifths end at 308, 466, 624 and 782
        for height in (150, 308, 940):
            assert across[height - 6 : height + 7].max() > 0.3
        for height in (230, 390, 545, 700):
            assert across[height - 6 : height + 7].max() < 0.1
        # the outline above and below the bands
        drawn_on = np.any(drawn != balanced_picture(photo, reading.correction, 1100), axis=-1)
        for rows in (slice(30, 85), slice(1015, 1070)):
            assert drawn_on[rows, 250:360].any(axis=0).all()
