"""Damaged and hostile files: a photo or one of three errors, whatever the bytes."""

from __future__ import annotations

import struct
import sys
import warnings
import zlib
from collections.abc import Callable
from typing import Any, Literal

import cv2
import numpy as np
import pillow_heif.options
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageFile, features

from tests.photo_samples import exif, jpeg, lightness_profile, named_profile, png_with, save, scene
from tracker.errors import PhotoError, TooCostly, TooLarge, Unreadable, UnsupportedFormat
from tracker.photo import Limits, Photo
from tracker.photo import decode_photo as read_photo
from tracker.photo.container import guarded

TAGS = exif(
    orientation=6, base={ExifTags.Base.Make: "Acme"}, photo={ExifTags.Base.DateTimeOriginal: "2026:01:01 0:0:0"}
)
P3 = named_profile("Display P3")


def deep(kind: str) -> bytes:
    done, content = cv2.imencode(kind, scene().astype(np.uint16) * 257)
    assert done
    return content.tobytes()


SAMPLES: dict[str, Callable[[], bytes]] = {
    "jpeg": lambda: jpeg(scene(), exif=TAGS, icc_profile=P3),
    "jpeg cmyk": lambda: jpeg(Image.new("CMYK", (32, 32), (9, 9, 9, 99)), icc_profile=lightness_profile(b"CMYK")),
    "png": lambda: save(scene(), "PNG", exif=TAGS, icc_profile=P3),
    "png tags": lambda: png_with({"cICP": (9, 1, 0, 1), "gAMA": 0.5, "cHRM": (0.3, 0.3, 0.6, 0.3, 0.3, 0.6, 0.1, 0.1)}),
    "png look-up": lambda: save(scene(), "PNG", icc_profile=lightness_profile(b"RGB ")),
    "png 16": lambda: deep(".png"),
    "tiff": lambda: save(scene(), "TIFF", exif=TAGS, icc_profile=P3),
    "tiff 16": lambda: deep(".tiff"),
    "webp": lambda: save(scene(), "WEBP", exif=TAGS, icc_profile=P3),
    "heif": lambda: save(scene(), "HEIF", exif=TAGS, icc_profile=P3),
}
if features.check("avif"):
    SAMPLES["avif"] = lambda: save(scene(), "AVIF", exif=TAGS, icc_profile=P3)
FUZZ_LIMITS = Limits(max_pixels=1_000_000)


def outcome(content: bytes) -> Photo | PhotoError:
    try:
        return read_photo(content, FUZZ_LIMITS)
    except PhotoError as error:
        return error


def png_header(width: int, height: int) -> bytes:
    header = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = b"IDAT" + zlib.compress(b"\0" * 64)
    chunks = (struct.pack(">I", len(c) - 4) + c + struct.pack(">I", zlib.crc32(c)) for c in (header, body, b"IEND"))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


def webp_header(width: int, height: int) -> bytes:
    extended = b"VP8X" + struct.pack("<IB3x", 10, 0) + (width - 1).to_bytes(3, "little")
    chunks = extended + (height - 1).to_bytes(3, "little") + save(scene(), "WEBP")[12:]
    return b"RIFF" + struct.pack("<I", 4 + len(chunks)) + b"WEBP" + chunks


def claim_jpeg(width: int, height: int) -> bytes:
    content = jpeg(scene())
    at = content.index(b"\xff\xc0") + 5  # precision, then height and width (ITU-T T.81, B.2.2)
    return content[:at] + struct.pack(">HH", height, width) + content[at + 4 :]


def claim_tiff(width: int, height: int) -> bytes:
    content = save(scene(), "TIFF")
    assert content[:4] == b"II*\0"
    for tag, old, new in ((256, 64, width), (257, 48, height)):  # ImageWidth, ImageLength (TIFF 6.0)
        entry = struct.pack("<HHI", tag, 4, 1) + struct.pack("<I", old)
        short = struct.pack("<HHI", tag, 3, 1) + struct.pack("<HH", old, 0)
        found = entry if entry in content else short
        assert found in content
        content = content.replace(found, struct.pack("<HHII", tag, 4, 1, new))
    return content


def claim_heif(kind: str, width: int, height: int) -> bytes:
    content = save(scene(), kind)
    at = content.index(b"ispe") + 8  # version and flags, then width and height (ISO/IEC 23008-12, 6.5.3)
    return content[:at] + struct.pack(">II", width, height) + content[at + 8 :]


class TestLimits:
    def test_one_byte_over_is_refused_before_anything(self) -> None:
        limits = Limits()
        content = jpeg(scene()).ljust(limits.max_bytes + 1, b"\0")
        with pytest.raises(TooLarge, match=r"25\.0 MB \(limit 25\)") as caught:
            read_photo(content, limits)
        assert (caught.value.limit, caught.value.unit) == (25, "MB")
        assert read_photo(content[:-1], limits).size == (64, 48)

    def test_pixels_at_and_over_the_limit(self) -> None:
        content = save(scene(), "PNG")
        assert read_photo(content, Limits(max_pixels=64 * 48)).size == (64, 48)
        with pytest.raises(TooLarge) as caught:
            read_photo(content, Limits(max_pixels=64 * 48 - 1))
        assert caught.value.value == pytest.approx(64 * 48 / 1e6)
        assert caught.value.unit == "megapixels"

    @pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
    @pytest.mark.parametrize(("width", "height"), [(10_000, 10_000), (30_000, 30_000), (8_000, 6_251)])
    def test_claimed_sizes_cost_no_memory(self, width: int, height: int) -> None:
        resource = pytest.importorskip("resource")
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        claims = [png_header(width, height), claim_jpeg(width, height), claim_tiff(width, height)]
        claims += [claim_heif("HEIF", width, height)]
        if max(width, height) <= 16_384:
            claims.append(webp_header(width, height))
        if features.check("avif") and max(width, height) <= 16_384:
            claims.append(claim_heif("AVIF", width, height))
        for content in claims:
            with pytest.raises(TooLarge):
                read_photo(content)
        grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        unit = 1 if sys.platform == "darwin" else 1024  # getrusage(2): bytes there, kibibytes on Linux
        assert grown * unit < 50e6  # one decoded picture of the smallest claim would take 150 MB

    def test_bomb_warnings_raised_as_errors_are_too_large(self) -> None:
        with pytest.raises(TooLarge):
            read_photo(png_header(10_000, 10_000))

    def test_small_crop_of_a_huge_picture_is_too_large(self) -> None:
        # The encoder pads 48 rows to 64 and crops them back; the claim replaces only the size before the crop.
        content = save(scene(64, 48), "HEIF")
        assert b"clap" in content
        with pytest.raises(TooLarge):
            read_photo(claim_heif("HEIF", 30_000, 30_000))

    def test_small_claims_of_large_pictures_are_unreadable(self) -> None:
        assert isinstance(outcome(claim_heif("HEIF", 16, 16)), Unreadable)

    @pytest.mark.parametrize("mode", ["lossy", "lossless", "extended"])
    def test_webp_size_is_read_from_each_kind_of_header(self, mode: str) -> None:
        options: dict[str, dict[str, Any]] = {"lossy": {}, "lossless": {"lossless": True}, "extended": {"exif": TAGS}}
        content = save(scene(100, 70), "WEBP", **options[mode])
        with pytest.raises(TooLarge):
            read_photo(content, Limits(max_pixels=6_999))
        assert read_photo(content, Limits(max_pixels=7_000)).encoded.size == 21_000

    def test_edges_that_a_jpeg_cannot_hold(self) -> None:
        with pytest.raises(TooLarge, match="pixels long"):
            read_photo(save(np.zeros((1, 65_501, 3), np.uint8), "PNG"))
        assert read_photo(save(np.zeros((1, 65_500, 3), np.uint8), "PNG")).size == (65_500, 1)

    def test_library_limits_stay_on(self) -> None:
        read_photo(SAMPLES["heif"]())
        assert pillow_heif.options.DISABLE_SECURITY_LIMITS is False
        assert ImageFile.LOAD_TRUNCATED_IMAGES is False
        assert Image.MAX_IMAGE_PIXELS is not None


class TestFormats:
    @pytest.mark.parametrize(
        "content",
        [
            save(scene(), "GIF"),
            save(scene(), "BMP"),
            save(scene(), "EPS"),
            save(scene(), "ICO"),
            save(scene(), "JPEG2000"),
            save(scene(), "PDF"),
            b"PK\x03\x04" + b"\0" * 60,
            b'<svg xmlns="http://www.w3.org/2000/svg"></svg>',
            b"just a text, not a photo at all",
            b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom" + b"\0" * 60,
            b"RIFF\x40\0\0\0WAVEfmt " + b"\0" * 60,
        ],
    )
    def test_other_formats_are_refused_by_content(self, content: bytes) -> None:
        with pytest.raises(UnsupportedFormat, match="format"):
            read_photo(content)

    def test_empty(self) -> None:
        with pytest.raises(Unreadable, match="empty"):
            read_photo(b"")

    def test_avif_without_a_decoder_is_unsupported(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(features, "check", lambda _: False)
        with pytest.raises(UnsupportedFormat):
            read_photo(b"\0\0\0\x14ftypavif\0\0\0\0avif" + b"\0" * 60)

    def test_webp_with_an_unknown_first_chunk(self) -> None:
        with pytest.raises(Unreadable):
            read_photo(b"RIFF\x40\0\0\0WEBPJUNK" + b"\0" * 60)


class TestDamage:
    @pytest.mark.parametrize("name", SAMPLES)
    def test_sample_itself_is_a_photo(self, name: str) -> None:
        assert isinstance(outcome(SAMPLES[name]()), Photo)

    @pytest.mark.parametrize("name", SAMPLES)
    def test_cut_off_is_never_a_photo(self, name: str) -> None:
        content = SAMPLES[name]()
        # Directory and metadata may stand last: only cuts into the picture itself must fail.
        for share in (0.002, 0.01, 0.05, 0.1, 0.2, 0.35, 0.5):
            cut = content[: int(share * len(content))]
            assert isinstance(outcome(cut), Unreadable), share

    @pytest.mark.parametrize("size", [1, 40, 400])
    def test_a_jpeg_without_its_end(self, size: int) -> None:
        content = jpeg(np.random.default_rng(2).integers(0, 256, (200, 200, 3), dtype=np.uint8))
        assert isinstance(outcome(content[: -2 - size]), Unreadable)

    @pytest.mark.parametrize("warnings_are", ["error", "ignore"])
    @pytest.mark.parametrize("name", SAMPLES)
    def test_no_other_exception_escapes(self, name: str, warnings_are: Literal["error", "ignore"]) -> None:
        random, content = np.random.default_rng(len(name)), SAMPLES[name]()
        for _ in range(150):
            damaged = bytearray(content)
            for at in random.integers(0, len(damaged), random.integers(1, 12)):
                damaged[at] = random.integers(0, 256)
            if random.random() < 0.3:
                del damaged[random.integers(0, len(damaged)) :]
            with warnings.catch_warnings():
                warnings.simplefilter(warnings_are)
                assert isinstance(outcome(bytes(damaged)), Photo | PhotoError)

    @given(
        st.binary(max_size=300), st.sampled_from([b"", b"\xff\xd8\xff", b"II*\0", b"\x89PNG\r\n\x1a\n", b"\0\0\0 ftyp"])
    )
    def test_any_bytes(self, content: bytes, start: bytes) -> None:
        assert isinstance(outcome(start + content), PhotoError)

    @pytest.mark.parametrize(
        ("raised", "error"),
        [
            (MemoryError(), TooCostly),
            (Image.DecompressionBombError(), TooLarge),
            (struct.error(), Unreadable),
            (zlib.error(), Unreadable),
            (OverflowError(), Unreadable),
            (UnsupportedFormat("as it is"), UnsupportedFormat),
        ],
    )
    def test_errors_of_libraries_become_ours(self, raised: Exception, error: type[PhotoError]) -> None:
        with pytest.raises(error), guarded():
            raise raised

    @pytest.mark.parametrize("name", ["jpeg", "png 16"])
    def test_messages_say_what_to_do(self, name: str) -> None:
        error = outcome(SAMPLES[name]()[:200])
        assert isinstance(error, Unreadable)
        assert error.advice
        assert error.code == "unreadable"
