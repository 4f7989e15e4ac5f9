from __future__ import annotations

import io
import struct
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import ExifTags, Image

from tests.photo_samples import (
    curv,
    exif,
    jpeg,
    lightness_profile,
    matrix_profile,
    named_profile,
    save,
    scene,
    stored_as,
)
from tracker.errors import Unreadable, UnsupportedFormat
from tracker.maths.rgb_space import ADOBE_RGB, DISPLAY_P3, NAMED_SPACES, SRGB, ParametricCurve, RgbSpace
from tracker.photo import Photo, clean_jpeg, read_photo, scaled_jpeg
from tracker.photo.profile import build_profile

GAMMA_18 = RgbSpace("matrix profile", DISPLAY_P3.to_xyz, (ParametricCurve(461 / 256),) * 3)
TOKENS = [b"PLANTMAKE", b"PLANTMODEL", b"PLANTGPS", b"PLANTNOTE", b"PLANTXMP", b"PLANTCOMMENT", b"PLANTTHUMB"]
TOKENS += [b"PLANTTAIL", b"tokenprofile", b"Exif", b"http://ns.adobe.com"]


def photo_of(encoded: NDArray[Any], space: RgbSpace = SRGB) -> Photo:
    return Photo(encoded, space, None, None, "0" * 64)


def segments(content: bytes) -> list[int]:
    """Marker codes of a JPEG up to the start of its scan (ITU-T T.81, annex B)."""
    codes, at = [], 2
    while True:
        marker, length = struct.unpack_from(">HH", content, at)
        codes.append(marker)
        if marker == 0xFFDA:
            return codes
        at += 2 + length


def planted_exif() -> bytes:
    tags = Image.Exif()
    tags[ExifTags.Base.Make], tags[ExifTags.Base.Model] = "PLANTMAKE", "PLANTMODEL"
    tags.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSAreaInformation] = b"ASCII\0\0\0PLANTGPS"
    tags.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.UserComment] = b"ASCII\0\0\0PLANTNOTE"
    return tags.tobytes()


def planted_jpeg() -> bytes:
    xmp = b'<x:xmpmeta xmlns:x="http://ns.adobe.com/x/">PLANTXMP</x:xmpmeta>'
    icc = named_profile("Display P3")
    content = jpeg(scene(), exif=planted_exif(), xmp=xmp, comment=b"PLANTCOMMENT", icc_profile=icc)
    thumbnail = b"JFXX\0\x10PLANTTHUMB"  # JFIF 1.02 thumbnail extension
    extra = b"\xff\xe0" + struct.pack(">H", len(thumbnail) + 2) + thumbnail
    return content[:20] + extra + content[20:] + b"PLANTTAIL"


def planted_heic() -> bytes:
    xmp = b'<x:xmpmeta xmlns:x="http://ns.adobe.com/x/">PLANTXMP</x:xmpmeta>'
    return save(scene(128, 96), "HEIF", exif=planted_exif(), xmp=xmp, icc_profile=named_profile("Display P3"))


class TestCleanJpeg:
    @pytest.mark.parametrize("make", [planted_jpeg, planted_heic])
    def test_nothing_of_the_file_survives(self, make: Any) -> None:
        content = make()
        planted = [token for token in TOKENS if token in content]
        assert len(planted) >= 7
        photo = read_photo(content)
        assert photo.camera == "PLANTMAKE PLANTMODEL"
        for clean in (clean_jpeg(photo), scaled_jpeg(clean_jpeg(photo), 32)):
            assert not [token for token in TOKENS if token in clean]

    def test_only_the_segments_of_a_plain_picture(self) -> None:
        plain = {0xFFE0, 0xFFDB, 0xFFC0, 0xFFC4, 0xFFDA}  # JFIF, quantisation, frame, Huffman, scan
        photo = read_photo(planted_jpeg())
        assert set(segments(clean_jpeg(photo))) == plain | {0xFFE2}  # with its profile
        assert set(segments(clean_jpeg(replace(photo, space=SRGB)))) == plain
        assert set(segments(scaled_jpeg(clean_jpeg(photo), 32))) == plain

    @pytest.mark.parametrize("space", [*NAMED_SPACES, GAMMA_18], ids=lambda space: space.name)
    def test_same_space_and_pixels_come_back(self, space: RgbSpace) -> None:
        back = read_photo(clean_jpeg(photo_of(scene(), space)))
        assert build_profile(back.space) == build_profile(space)
        assert back.warnings == ()
        assert np.abs(back.encoded.astype(int) - scene()).max() <= 6  # rounding of JPEG at quality 95

    def test_is_upright_and_whole_in_colour(self) -> None:
        turned = read_photo(save(stored_as(scene(), 6), "PNG", exif=exif(orientation=6)))
        with Image.open(io.BytesIO(clean_jpeg(turned))) as image:
            assert image.size == (64, 48)
            assert [component[1:3] for component in image.layer] == [(1, 1)] * 3  # type: ignore[attr-defined]

    def test_16_bit_is_rounded(self) -> None:
        deep = np.full((8, 8, 3), 257 * 100 + 200, np.uint16)  # nearer to 101 than to 100
        assert np.abs(read_photo(clean_jpeg(photo_of(deep))).encoded.astype(int) - 101).max() == 0


class TestScaledJpeg:
    def test_fits_the_edge(self) -> None:
        content = clean_jpeg(photo_of(scene(640, 480)))
        for edge, size in ((320, (320, 240)), (100, (100, 75)), (1000, (640, 480))):
            assert read_photo(scaled_jpeg(content, edge)).size == size

    @pytest.mark.parametrize("space", [DISPLAY_P3, ADOBE_RGB, GAMMA_18], ids=lambda space: space.name)
    def test_browsers_need_no_profile(self, space: RgbSpace) -> None:
        codes = np.full((32, 32, 3), (150, 120, 100), np.uint8)
        shown = read_photo(scaled_jpeg(clean_jpeg(photo_of(codes, space)), 32, quality=100))
        assert shown.space is SRGB
        expected = SRGB.encode(space.linear(codes[:1, :1]))  # tested against LittleCMS in test_photo_profile
        assert np.abs(shown.encoded.astype(int) - expected).max() <= 2

    def test_other_profiles_go_through_the_engine(self) -> None:
        codes = np.full((32, 32, 3), 128, np.uint8)
        shown = read_photo(scaled_jpeg(jpeg(codes, icc_profile=lightness_profile(b"RGB ")), 32))
        assert np.abs(shown.encoded.astype(float) - 119.5).max() <= 1.5  # L* 50.2 by the profile: code 119.5

    def test_srgb_and_damaged_profiles_change_nothing(self) -> None:
        plain = scaled_jpeg(jpeg(scene()), 64)
        for profile in (named_profile("sRGB"), b"damaged" * 30):
            assert scaled_jpeg(jpeg(scene(), icc_profile=profile), 64) == plain

    def test_grey_is_taken(self) -> None:
        icc = matrix_profile("sRGB", curv(461))
        assert read_photo(scaled_jpeg(jpeg(scene()[..., 0], icc_profile=icc), 32)).size == (32, 24)

    @pytest.mark.parametrize("content", [b"", b"GIF89a", save(scene(), "PNG"), jpeg(Image.new("CMYK", (8, 8)))])
    def test_other_content_is_refused(self, content: bytes) -> None:
        with pytest.raises(UnsupportedFormat):
            scaled_jpeg(content, 32)

    def test_cut_off_is_unreadable(self) -> None:
        content = clean_jpeg(photo_of(scene(640, 480)))
        for length in (3, 200, len(content) // 2, len(content) - 40):
            with pytest.raises(Unreadable):
                scaled_jpeg(content[:length], 32)
