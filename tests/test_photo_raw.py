"""Raw files: DNGs of known scenes made here. No compressed raw file can be made here, so none is tested."""

from __future__ import annotations

import hashlib
import struct
import warnings
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.photo_samples import lab, save, scene, stored_as
from tests.raw_samples import BLACK, PLAIN_CAMERA, REAL_CAMERA, RGGB, SIX, WHITE, camera_codes, dng, neutral
from tests.scenes import CARD, hair_outline
from tests.scenes import scene as drawn_scene
from tracker.errors import PhotoError, TooLarge, Unreadable, UnsupportedFormat
from tracker.maths.rgb_space import LINEAR, SRGB, RgbSpace
from tracker.measure import find_marks, measure_photo
from tracker.measure.hair import Outline, clipped_codes
from tracker.photo import Limits, Photo, clean_jpeg, raw
from tracker.photo import decode_photo as read_photo
from tracker.photo.raw_clipping import saturation_level
from tracker.photo.raw_container import check_whole, is_raw

pytest.importorskip("rawpy", reason="the raw extra is not installed")

PATCHES = np.array(
    [
        [0.18, 0.18, 0.18],  # the card
        [0.022, 0.012, 0.008],  # black-brown hair
        [0.060, 0.031, 0.018],  # brown hair
        [0.120, 0.060, 0.030],  # copper
        [0.460, 0.330, 0.190],  # blond
        [0.016, 0.014, 0.050],  # a blue dye
    ]
)
EDGE = 40


def patches(values: NDArray[Any] = PATCHES, across: int = 3) -> NDArray[np.float64]:
    rows = np.asarray(values, np.float64).reshape(-1, across, 3)
    return np.asarray(rows.repeat(EDGE, axis=0).repeat(EDGE, axis=1))


def middles(photo: Photo) -> NDArray[np.float64]:
    """Mean linear light of the middle of each patch."""
    light = photo.space.linear(photo.encoded).astype(float)
    blocks = light.reshape(light.shape[0] // EDGE, EDGE, -1, EDGE, 3)[:, 8:-8, :, 8:-8]
    return np.asarray(blocks.mean(axis=(1, 3)).reshape(-1, 3))


def sample(**options: Any) -> bytes:
    return dng(camera_codes(patches(), options.get("xyz_to_camera", REAL_CAMERA)), **options)


def outcome(content: bytes) -> Photo | PhotoError:
    try:
        return read_photo(content, Limits(max_pixels=1_000_000))
    except PhotoError as error:
        return error


class TestColour:
    @pytest.mark.parametrize("mosaic", [RGGB, RGGB[::-1], SIX, None], ids=["rggb", "gbrg", "6 x 6", "linear"])
    @pytest.mark.parametrize("camera", [PLAIN_CAMERA, REAL_CAMERA], ids=["plain", "real"])
    def test_scene_comes_back_in_linear_light(self, camera: NDArray[Any], mosaic: NDArray[Any] | None) -> None:
        photo = read_photo(sample(xyz_to_camera=camera, mosaic=mosaic))
        found = middles(photo)
        # sensor values are whole numbers of 1/15871: a half of one is 0.8 % of the darkest value here
        np.testing.assert_allclose(found, PATCHES, rtol=0.01, atol=1e-4)
        np.testing.assert_allclose(lab(found), lab(PATCHES), atol=0.3)
        assert photo.encoded.dtype == np.uint16
        assert photo.space.is_linear
        assert photo.warnings == ("raw_developed",)

    def test_white_of_the_space_is_d65(self) -> None:
        space = read_photo(sample()).space
        np.testing.assert_allclose(np.array(space.to_xyz).sum(axis=1), np.array(SRGB.to_xyz).sum(axis=1), atol=1e-9)

    def test_nothing_brightens_or_bends(self) -> None:
        for light in (0.002, 0.02, 0.2, 0.7):
            photo = read_photo(dng(camera_codes(np.full((EDGE, EDGE, 3), light))))
            assert middles(photo) == pytest.approx(light, rel=0.01, abs=1e-4)

    def test_camera_balance_is_used(self) -> None:
        # light with half the blue: the camera says so, and its neutral comes out neutral
        codes = BLACK + 0.2 * neutral() * [1.0, 1.0, 0.5] * (WHITE - BLACK)
        content = np.tile(np.rint(codes).astype(np.uint16), (EDGE, EDGE, 1))
        balanced = middles(read_photo(dng(content, as_shot=neutral() * [1.0, 1.0, 0.5])))[0]
        assert np.ptp(balanced) < 0.002
        plain = middles(read_photo(dng(content)))[0]
        assert plain[2] < 0.75 * plain[0]

    @pytest.mark.parametrize("as_shot", [None, (0.0, 0.0, 0.0)])
    def test_daylight_where_the_camera_gives_no_balance(self, as_shot: Any) -> None:
        found = middles(read_photo(sample(as_shot=as_shot)))
        np.testing.assert_allclose(found / found[0, 1] * 0.18, PATCHES, rtol=0.02, atol=2e-4)

    def test_card_and_hair_keep_their_ratio_under_any_exposure(self) -> None:
        photos = [read_photo(dng(camera_codes(patches() * stops))) for stops in (0.5, 1.0, 1.8)]
        ratios = [middles(photo)[4] / middles(photo)[0] for photo in photos]
        np.testing.assert_allclose(ratios, [PATCHES[4] / PATCHES[0]] * 3, rtol=0.004)


class TestClipping:
    @pytest.mark.parametrize("channel", range(3))
    @pytest.mark.parametrize("mosaic", [RGGB, None], ids=["rggb", "linear"])
    def test_one_saturated_channel_shows_in_all_three(self, channel: int, mosaic: NDArray[Any] | None) -> None:
        codes = camera_codes(np.full((EDGE, EDGE, 3), 0.2))
        codes[16:24, 16:24, channel] = WHITE
        photo = read_photo(dng(codes, mosaic=mosaic))
        assert (photo.encoded[17:23, 17:23] == 65535).all()
        outside = np.ones((EDGE, EDGE), bool)
        outside[14:26, 14:26] = False
        assert not clipped_codes(photo.encoded)[outside].any()

    def test_single_saturated_value_takes_its_neighbours_along(self) -> None:
        codes = camera_codes(np.full((EDGE, EDGE, 3), 0.2))
        codes[20, 20] = WHITE
        assert clipped_codes(read_photo(dng(codes)).encoded).sum() == 9

    def test_saturation_below_the_stated_white_level(self) -> None:
        light = np.linspace(0.1, 1.0, 200)[np.newaxis, :, np.newaxis] * np.ones((80, 1, 3))
        codes = np.minimum(camera_codes(light), 14_000)
        clipped = clipped_codes(read_photo(dng(codes)).encoded)
        assert clipped[:, -10:].all()
        assert not clipped[:, :100].any()

    def test_light_end_that_thins_out_is_no_saturation(self) -> None:
        noise = np.random.default_rng(1).normal(14_000, 60, (400, 400)).astype(np.uint16)
        assert saturation_level(noise, WHITE, None) == WHITE
        assert saturation_level(np.minimum(noise, 14_050), WHITE, None) == 14_050
        assert saturation_level(noise, WHITE, [15_000, 15_200, 15_100]) == 15_000
        assert saturation_level(noise, WHITE, [3, 3, 3]) == WHITE

    def test_clipping_survives_in_the_clean_copy(self) -> None:
        codes = camera_codes(np.full((EDGE, EDGE, 3), 0.2))
        codes[8:32, 8:32, 2] = WHITE
        copy = read_photo(clean_jpeg(read_photo(dng(codes))))
        assert clipped_codes(copy.encoded)[10:30, 10:30].all()
        assert not clipped_codes(copy.encoded)[:4].any()


class TestFacts:
    @pytest.mark.parametrize("orientation", range(1, 9))
    def test_turned_once(self, orientation: int) -> None:
        light = scene(64, 48) / 400.0
        upright = middles_of(read_photo(dng(camera_codes(light))))
        turned = read_photo(dng(camera_codes(stored_as(light, orientation)), orientation=orientation))
        assert turned.size == (64, 48)
        # the mosaic falls differently, so a smooth scene agrees closely but not exactly
        np.testing.assert_allclose(middles_of(turned), upright, atol=0.004)

    def test_camera_time_and_digest(self) -> None:
        content = sample()
        photo = read_photo(content)
        assert photo.camera == "Test Camera"
        assert photo.taken_at == datetime(2026, 3, 4, 10, 20, 30, tzinfo=UTC)
        assert photo.sha256 == hashlib.sha256(content).hexdigest()
        assert not photo.encoded.flags.writeable

    def test_same_bytes_same_photo(self) -> None:
        np.testing.assert_array_equal(read_photo(sample()).encoded, read_photo(sample()).encoded)

    def test_ordinary_tiffs_are_not_raw(self) -> None:
        content = save(scene(), "TIFF")
        assert not is_raw(content)
        assert read_photo(content).space is SRGB


def middles_of(photo: Photo) -> NDArray[np.float64]:
    return np.asarray(photo.space.linear(photo.encoded)[2:-2, 2:-2], np.float64)


class TestCutOff:
    @pytest.mark.parametrize("mosaic", [RGGB, None], ids=["rggb", "linear"])
    def test_at_any_length(self, mosaic: NDArray[Any] | None) -> None:
        content = sample(mosaic=mosaic)
        last = [len(content) - back for back in (1, 2, 3, 240, 241)]
        for length in [*np.linspace(1, len(content) - 300, 50).astype(int), *last]:
            assert isinstance(outcome(content[:length]), Unreadable), length

    def test_a_decoder_that_reads_past_the_end_is_found_out(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(raw, "check_whole", lambda _: None)  # as where the lists of the file cannot be trusted
        content = sample()
        for length in np.linspace(2_000, len(content) - 2, 20).astype(int):
            assert isinstance(outcome(content[:length]), Unreadable), length
        # the decoder itself notices those; half a number at the end it makes up and says nothing
        with pytest.raises(Unreadable, match=r"The raw photo is cut off\."):
            read_photo(content[:-1])

    def test_bytes_behind_the_end_are_no_harm(self) -> None:
        np.testing.assert_array_equal(read_photo(sample() + bytes(500)).encoded, read_photo(sample()).encoded)

    def test_a_tail_that_was_never_filled(self) -> None:
        content = sample()
        read_photo(content[:-480] + bytes(480))  # two rows of 120 pixels
        for rows in (4, 30, 70):
            with pytest.raises(Unreadable, match=f"{rows} rows are empty"):
                read_photo(content[: -240 * rows] + bytes(240 * rows))

    def test_missing_lower_directory_does_not_pass_for_a_photo(self) -> None:
        content = bytearray(save(scene(), "TIFF", tiffinfo={330: len(save(scene(), "TIFF")) + 10_000}))
        with pytest.raises(Unreadable, match="cut off"):
            read_photo(bytes(content))

    def test_preview_container(self) -> None:
        header = b"FUJIFILMCCD-RAW ".ljust(84, b"\0")
        whole = header + struct.pack(">6I", 108, 50, 158, 20, 178, 22) + bytes(92)
        assert is_raw(whole)
        check_whole(whole)
        for length in (20, 90, 107, 150, len(whole) - 1):
            with pytest.raises(Unreadable):
                check_whole(whole[:length])

    def test_boxes(self) -> None:
        names = {b"ftyp": b"crx " + bytes(8), b"moov": bytes(40), b"mdat": bytes(100)}
        whole = b"".join(struct.pack(">I4s", 8 + len(body), name) + body for name, body in names.items())
        assert is_raw(whole)
        check_whole(whole)
        for length in range(12, len(whole)):
            with pytest.raises(Unreadable):
                check_whole(whole[:length])


class TestHostile:
    @pytest.mark.parametrize("mosaic", [RGGB, None], ids=["rggb", "linear"])
    def test_no_other_exception_escapes(self, mosaic: NDArray[Any] | None) -> None:
        content = sample(mosaic=mosaic)
        random = np.random.default_rng(11)
        for turn in range(200):
            damaged = bytearray(content)
            reach = 700 if turn % 4 else len(damaged)  # the directory is where flips do most
            for at in random.integers(0, reach, random.integers(1, 8)):
                damaged[at] = random.integers(0, 256)
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                assert isinstance(outcome(bytes(damaged)), Photo | PhotoError)

    @pytest.mark.parametrize(
        "start", [b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"II*\0\x10\0\0\0CR\2\0", b"FUJIFILMCCD-RAW "]
    )
    def test_signatures_with_nothing_behind(self, start: bytes) -> None:
        assert is_raw(start + bytes(60))
        assert isinstance(outcome(start + bytes(60)), PhotoError)
        assert isinstance(outcome(start + b"\xff" * 600), PhotoError)

    def test_directories_in_a_circle(self) -> None:
        content = bytearray(sample())
        (count,) = struct.unpack_from("<H", content, 8)
        struct.pack_into("<I", content, 10 + 12 * count, 8)
        assert isinstance(outcome(bytes(content)), Photo)

    def test_float_pixels(self) -> None:
        with pytest.raises(UnsupportedFormat, match="float"):
            read_photo(sample(extra={339: ("H", [3])}))

    def test_impossible_matrix(self) -> None:
        content = dng(camera_codes(patches()), xyz_to_camera=np.ones((3, 3)), as_shot=(0.5, 1.0, 0.7))
        assert isinstance(outcome(content), PhotoError)


class TestLimits:
    def test_raw_has_its_own_limit_of_bytes(self) -> None:
        content = sample()
        assert read_photo(content, Limits(max_bytes=1000, max_raw_bytes=len(content))).size == (120, 80)
        with pytest.raises(TooLarge, match="MB"):
            read_photo(content, Limits(max_raw_bytes=len(content) - 1))
        with pytest.raises(TooLarge, match=r"limit 25"):
            read_photo(save(scene(), "PNG").ljust(26 * 1024**2, b"\0"))

    def test_pixels_are_counted_before_decoding(self) -> None:
        content = sample()
        assert read_photo(content, Limits(max_pixels=9600)).size == (120, 80)
        with pytest.raises(TooLarge) as caught:
            read_photo(content, Limits(max_pixels=9599))
        assert caught.value.unit == "megapixels"

    def test_without_the_library(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(raw, "find_spec", lambda _: None)
        with pytest.raises(UnsupportedFormat, match=r"pip install -e '\.\[raw\]'"):
            read_photo(sample())


class TestCleanCopy:
    def test_dark_hair_keeps_its_lightness(self) -> None:
        dark = np.array([[0.004, 0.003, 0.0025], [0.008, 0.006, 0.005], [0.016, 0.010, 0.007]])
        light = patches(np.concatenate([dark, PATCHES[1:4]]))
        # strands differ by a tenth and more; a patch without any grain meets the rounding of JPEG instead
        strands = np.random.default_rng(4).normal(1.0, 0.15, (*light.shape[:2], 1))
        photo = read_photo(dng(camera_codes(light * strands)))
        copy = read_photo(clean_jpeg(photo))
        assert copy.space is SRGB
        assert copy.encoded.dtype == np.uint8
        assert np.abs(lab(middles(copy))[:, 0] - lab(middles(photo))[:, 0]).max() < 0.3

    def test_other_primaries_and_what_is_outside(self) -> None:
        space = RgbSpace("wide", read_photo(sample()).space.to_xyz, (LINEAR,) * 3)
        codes = np.full((16, 16, 3), (60_000, 2_000, 2_000), np.uint16)
        copy = read_photo(clean_jpeg(Photo(codes, space, None, None, "")))
        expected = SRGB.encode(np.clip(space.linear(codes), 0, 1))
        assert np.abs(copy.encoded.astype(int) - expected).max() <= 2


class TestHowItWasTaken:
    def test_flash_and_zoom(self) -> None:
        # CIPA DC-008 (Exif 3.0): Flash, bit 0 = fired; DigitalZoomRatio, a rational number
        tags = {0x9209: ("H", [1]), 0xA404: ("R", [20_000])}
        assert read_photo(sample(extra=tags)).warnings == ("raw_developed", "flash_fired", "digital_zoom 2.00")


class TestTwoPartCard:
    def test_a_raw_photo_goes_all_the_way(self) -> None:
        """Linear light has no look to undo: the dark half finds none, and the hair reads as it was drawn."""
        light, (a, b, c, d) = drawn_scene(), np.array(CARD)
        below = np.array([(a + d) / 2, (b + c) / 2, c, d])
        lower = cv2.fillConvexPoly(np.zeros(light.shape[:2], np.uint8), np.rint(below).astype(np.int32), 1)
        light[lower > 0] = 0.05
        photo = read_photo(dng(camera_codes(0.7 * light)))
        found = find_marks(photo, "steps2")
        assert (found.card, found.hair) == (None, None)
        assert found.marks.corners is not None
        assert np.abs(np.subtract(found.marks.corners, CARD)).max() < 3  # 0.3 % of the width
        reading = measure_photo(photo, found.marks)
        assert reading.ok, reading.failure
        assert measure_photo(photo, replace(found.marks, corners=None)) == reading  # the card is searched for alike
        assert reading.correction.exponent == pytest.approx(1.0, abs=0.02)
        hair = Outline(hair_outline(len(light)))
        (_, top), *_, (_, bottom) = found.marks.path
        for region, (start, stop) in zip(reading.regions, ((0.0, 0.2), (0.4, 0.6), (0.8, 1.0)), strict=True):
            true = mean_lab(light, hair, top + start * (bottom - top), top + stop * (bottom - top))
            np.testing.assert_allclose(region.lab.lab, true, atol=0.5)


def mean_lab(light: NDArray[Any], hair: Outline, top: float, bottom: float) -> NDArray[np.float64]:
    """CIELAB of the mean light of the drawn hair between two heights."""
    y, x = np.mgrid[round(top) : round(bottom), : light.shape[1]]
    return lab(light[y, x][hair.holds(x.ravel() + 0.5, y.ravel() + 0.5).reshape(x.shape)].mean(axis=0))
