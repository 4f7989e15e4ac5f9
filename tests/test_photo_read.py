from __future__ import annotations

import hashlib
import io
import struct
import zlib
from datetime import UTC, datetime
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import ExifTags, Image, features
from PIL.TiffImagePlugin import IFDRational

from tests.photo_samples import (
    colour,
    curv,
    exif,
    grey_profile,
    jpeg,
    lab,
    lightness_profile,
    matrix_profile,
    named_profile,
    png_chunk,
    png_with,
    save,
    scene,
    stored_as,
)
from tracker.errors import Unreadable, UnsupportedFormat
from tracker.maths.colorimetry import D65_XY
from tracker.maths.rgb_space import ADOBE_RGB, DISPLAY_P3, SRGB, ParametricCurve, RgbSpace
from tracker.photo import clean_jpeg, read_kept, read_photo

needs_avif = pytest.mark.skipif(not features.check("avif"), reason="this Pillow has no AVIF")
LOSSLESS = {"PNG": {}, "TIFF": {}, "WEBP": {"lossless": True, "exact": True}}
PHOTO = BASE = ExifTags.Base


def deep_scene() -> NDArray[np.uint16]:
    """16-bit code values whose low bytes matter."""
    low = np.random.default_rng(3).integers(0, 256, (*scene().shape,))
    return np.asarray(scene().astype(int) * 256 + low, np.uint16)


def deep_file(kind: str, samples: NDArray[Any]) -> bytes:
    """A 16-bit file by OpenCV, which wants blue first."""
    order = samples if samples.ndim == 2 else samples[..., [2, 1, 0, *range(3, samples.shape[2])]]
    done, content = cv2.imencode(kind, np.ascontiguousarray(order))
    assert done
    return content.tobytes()


def plain(space: RgbSpace, exponent: float) -> RgbSpace:
    return RgbSpace("matrix profile", space.to_xyz, (ParametricCurve(exponent),) * 3)


# x, y of white, red, green, blue: ITU-R BT.709-6, SMPTE EG 432-1, Adobe RGB (1998) 4.3.1, ITU-R BT.2020-2
BT709 = (0.3127, 0.3290, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06)
P3 = (0.3127, 0.3290, 0.680, 0.320, 0.265, 0.690, 0.150, 0.060)
ADOBE = (0.3127, 0.3290, 0.64, 0.33, 0.21, 0.71, 0.15, 0.06)
BT2020 = (0.3127, 0.3290, 0.708, 0.292, 0.170, 0.797, 0.131, 0.046)


class TestFormats:
    @pytest.mark.parametrize("kind", LOSSLESS)
    def test_lossless_formats_keep_every_code(self, kind: str) -> None:
        photo = read_photo(save(scene(), kind, **LOSSLESS[kind]))
        np.testing.assert_array_equal(photo.encoded, scene())
        assert photo.encoded.dtype == np.uint8
        assert photo.size == (64, 48)
        assert photo.space is SRGB
        assert photo.warnings == ()

    def test_jpeg(self) -> None:
        content = jpeg(scene())
        photo = read_photo(content)
        assert np.abs(photo.encoded.astype(int) - scene()).max() <= 6  # rounding of JPEG at quality 95
        assert photo.sha256 == hashlib.sha256(content).hexdigest()
        assert (photo.taken_at, photo.camera) == (None, None)
        assert not photo.encoded.flags.writeable

    @pytest.mark.parametrize("kind", ["HEIF", pytest.param("AVIF", marks=needs_avif)])
    def test_phone_formats(self, kind: str) -> None:
        photo = read_photo(save(scene(), kind, quality=95))
        assert np.abs(photo.encoded.astype(int) - scene()).mean() < 2  # 4:2:0 chroma
        assert photo.space is SRGB

    def test_first_picture_of_several(self) -> None:
        second = Image.fromarray(255 - scene())
        for kind in ("TIFF", "WEBP"):
            content = save(scene(), kind, save_all=True, append_images=[second], **LOSSLESS[kind])
            np.testing.assert_array_equal(read_photo(content).encoded, scene())

    def test_main_picture_of_a_multi_picture_jpeg(self) -> None:
        content = save(scene(), "MPO", save_all=True, append_images=[Image.fromarray(255 - scene())], quality=95)
        assert np.abs(read_photo(content).encoded.astype(int) - scene()).mean() < 2


class TestOrientation:
    @pytest.mark.parametrize("orientation", range(1, 9))
    @pytest.mark.parametrize("kind", LOSSLESS)
    def test_equals_upright_twin(self, kind: str, orientation: int) -> None:
        content = save(stored_as(scene(), orientation), kind, exif=exif(orientation=orientation), **LOSSLESS[kind])
        np.testing.assert_array_equal(read_photo(content).encoded, scene())

    @pytest.mark.parametrize("orientation", range(1, 9))
    @pytest.mark.parametrize("kind", ["JPEG", "HEIF", pytest.param("AVIF", marks=needs_avif)])
    def test_lossy_formats_turn_once(self, kind: str, orientation: int) -> None:
        content = save(stored_as(scene(), orientation), kind, exif=exif(orientation=orientation), quality=95)
        photo = read_photo(content)
        assert photo.size == (64, 48)
        assert np.abs(photo.encoded.astype(int) - scene()).mean() < 2

    @pytest.mark.parametrize("orientation", range(1, 9))
    def test_deep_tiff_and_png(self, orientation: int) -> None:
        stored = stored_as(deep_scene(), orientation)
        tiff = bytearray(deep_file(".tiff", stored))
        _set_tiff_orientation(tiff, orientation)
        png = deep_file(".png", stored)
        png = png[:33] + png_chunk(b"eXIf", exif(orientation=orientation).removeprefix(b"Exif\0\0")) + png[33:]
        for content in (bytes(tiff), png):
            np.testing.assert_array_equal(read_photo(content).encoded, deep_scene())

    @pytest.mark.parametrize("senseless", [0, 9, 65535])
    def test_senseless_orientation_is_upright(self, senseless: int) -> None:
        content = save(scene(), "PNG", exif=exif(orientation=senseless))
        np.testing.assert_array_equal(read_photo(content).encoded, scene())


def _set_tiff_orientation(content: bytearray, orientation: int) -> None:
    """Overwrite an entry that is not needed (PlanarConfiguration, 284, at its default) by an orientation (274)."""
    (start,) = struct.unpack_from("<I", content, 4)
    (count,) = struct.unpack_from("<H", content, start)
    entries = [bytes(content[start + 2 + 12 * i : start + 14 + 12 * i]) for i in range(count)]
    entries = [entry for entry in entries if struct.unpack_from("<H", entry)[0] not in (274, 284)]
    dropped = count - len(entries)
    entries.append(struct.pack("<HHIHH", 274, 3, 1, orientation, 0))
    # Entries stand in rising order of their tags (TIFF 6.0, section 2); spare room is filled by a private tag.
    entries += [struct.pack("<HHII", 65000 + i, 4, 1, 0) for i in range(dropped - 1)]
    entries.sort(key=lambda entry: struct.unpack_from("<H", entry)[0])
    assert len(entries) == count
    content[start + 2 : start + 2 + 12 * count] = b"".join(entries)


class TestDepth:
    @pytest.mark.parametrize("kind", [".png", ".tiff"])
    def test_16_bit_colour_is_kept(self, kind: str) -> None:
        photo = read_photo(deep_file(kind, deep_scene()))
        assert photo.encoded.dtype == np.uint16
        np.testing.assert_array_equal(photo.encoded, deep_scene())

    @pytest.mark.parametrize("kind", [".png", ".tiff"])
    def test_16_bit_grey_is_kept(self, kind: str) -> None:
        grey = deep_scene()[..., 0]
        np.testing.assert_array_equal(read_photo(deep_file(kind, grey)).encoded, np.dstack([grey] * 3))

    @pytest.mark.parametrize("options", [{"byteorder": ">"}, {"compression": "zlib"}, {"bigtiff": True}])
    def test_other_layouts_of_16_bit_tiff(self, options: dict[str, Any]) -> None:
        out = io.BytesIO()
        tifffile.imwrite(out, deep_scene(), photometric="rgb", **options)
        np.testing.assert_array_equal(read_photo(out.getvalue()).encoded, deep_scene())

    def test_16_bit_tiff_with_colours_apart_is_refused(self) -> None:
        out = io.BytesIO()  # its two decoders do not agree on one
        tifffile.imwrite(out, np.moveaxis(deep_scene(), -1, 0), photometric="rgb", planarconfig="separate")
        with pytest.raises(UnsupportedFormat, match="unusual kind of pixels"):
            read_photo(out.getvalue())

    def test_16_bit_grey_with_alpha(self) -> None:
        grey = deep_scene()[..., 0]
        for alpha, opaque in ((65535, True), (65534, False)):
            rows = np.dstack([grey, np.full_like(grey, alpha)]).astype(">u2")
            header = struct.pack(">IIBBBBB", 64, 48, 16, 4, 0, 0, 0)  # colour type 4: grey and alpha (PNG 11.2.2)
            body = zlib.compress(b"".join(b"\0" + row.tobytes() for row in rows))
            chunks = png_chunk(b"IHDR", header) + png_chunk(b"IDAT", body) + png_chunk(b"IEND", b"")
            if opaque:
                photo = read_photo(b"\x89PNG\r\n\x1a\n" + chunks)
                np.testing.assert_array_equal(photo.encoded, np.dstack([grey] * 3))
            else:
                with pytest.raises(UnsupportedFormat, match="transparent"):
                    read_photo(b"\x89PNG\r\n\x1a\n" + chunks)

    def test_16_bit_grey_with_key_colour_is_refused(self) -> None:
        png = deep_file(".png", deep_scene()[..., 0])
        with pytest.raises(UnsupportedFormat, match="transparent"):
            read_photo(png[:33] + png_chunk(b"tRNS", b"\x12\x34") + png[33:])

    @pytest.mark.parametrize(("photometric", "bits"), [(0, 16), (1, 12)])  # TIFF 6.0: 0 is white, 1 is black
    def test_inverted_and_12_bit_grey_are_refused(self, photometric: int, bits: int) -> None:
        content = bytearray(save(Image.fromarray(deep_scene()[..., 0]), "TIFF"))
        for tag, value in ((262, photometric), (258, bits)):
            struct.pack_into("<H", content, content.index(struct.pack("<HHI", tag, 3, 1)) + 8, value)
        with pytest.raises(UnsupportedFormat, match="unusual kind of pixels"):
            read_photo(bytes(content))

    def test_16_bit_opaque_alpha_is_dropped(self) -> None:
        with_alpha = np.dstack([deep_scene(), np.full((48, 64), 65535, np.uint16)])
        np.testing.assert_array_equal(read_photo(deep_file(".png", with_alpha)).encoded, deep_scene())

    def test_16_bit_alpha_one_step_below_opaque_is_refused(self) -> None:
        alpha = np.full((48, 64), 65535, np.uint16)
        alpha[3, 4] = 65534
        with pytest.raises(UnsupportedFormat, match="transparent"):
            read_photo(deep_file(".png", np.dstack([deep_scene(), alpha])))

    def test_float_and_32_bit_grey_are_refused(self) -> None:
        for mode in ("F", "I"):
            with pytest.raises(UnsupportedFormat, match="unusual kind of pixels"):
                read_photo(save(Image.fromarray(scene()).convert("L").convert(mode), "TIFF"))


class TestKindsOfPixels:
    def test_grey_is_repeated(self) -> None:
        grey = scene()[..., 0]
        np.testing.assert_array_equal(read_photo(save(grey, "PNG")).encoded, np.dstack([grey] * 3))

    def test_palette_and_two_levels(self) -> None:
        palette = Image.fromarray(scene()).quantize(32)
        np.testing.assert_array_equal(read_photo(save(palette, "PNG")).encoded, np.asarray(palette.convert("RGB")))
        levels = Image.fromarray(scene()).convert("1")
        np.testing.assert_array_equal(read_photo(save(levels, "PNG")).encoded, np.asarray(levels.convert("RGB")))

    @pytest.mark.parametrize("mode", ["RGBA", "LA"])
    @pytest.mark.parametrize("kind", ["PNG", "TIFF"])
    def test_opaque_alpha_is_dropped(self, mode: str, kind: str) -> None:
        image = Image.fromarray(scene()).convert(mode)
        np.testing.assert_array_equal(read_photo(save(image, kind)).encoded, np.asarray(image.convert("RGB")))

    @pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP", "HEIF", pytest.param("AVIF", marks=needs_avif)])
    def test_transparent_corner_is_refused(self, kind: str) -> None:
        image = Image.fromarray(scene()).convert("RGBA")
        image.paste((0, 0, 0, 0), (0, 0, 16, 16))
        with pytest.raises(UnsupportedFormat, match="transparent"):
            read_photo(save(image, kind))

    def test_transparent_key_colour_is_refused(self) -> None:
        key = tuple(int(value) for value in scene()[0, 0])
        with pytest.raises(UnsupportedFormat, match="transparent"):
            read_photo(save(scene(), "PNG", transparency=key))

    def test_lab_pixels_are_refused(self) -> None:
        with pytest.raises(UnsupportedFormat, match="unusual kind of pixels"):
            read_photo(save(Image.new("LAB", (8, 8)), "TIFF"))


def dithered(values: NDArray[np.float64], seed: int) -> NDArray[np.uint8]:
    """32 x 32 pixels per colour whose mean code is exact, as the noise of a camera makes it."""
    noise = np.random.default_rng(seed).random((32, 32, len(values), 3))
    codes = np.clip(np.floor(255 * values + noise), 0, 255).astype(np.uint8)
    return codes.transpose(2, 0, 1, 3).reshape(32 * len(values), 32, 3)


class TestColourSpaces:
    COLOURS = np.array([[0.1, 0.07, 0.05], [0.35, 0.25, 0.18], [0.75, 0.6, 0.42], [0.9, 0.88, 0.8], [0.6, 0.2, 0.1]])

    @pytest.mark.parametrize(("name", "space"), [("Display P3", DISPLAY_P3), ("Adobe RGB (1998)", ADOBE_RGB)])
    def test_same_lab_as_srgb_twin(self, name: str, space: object) -> None:
        # safety row 9 asks for 0.2; pixel values of the twins by colour-science
        source, target = colour.RGB_COLOURSPACES["sRGB"], colour.RGB_COLOURSPACES[name]
        wide = colour.RGB_to_RGB(self.COLOURS, source, target, None, apply_cctf_decoding=True, apply_cctf_encoding=True)
        twin = read_photo(save(dithered(self.COLOURS, 1), "PNG", icc_profile=named_profile("sRGB")))
        photo = read_photo(save(dithered(wide, 2), "PNG", icc_profile=named_profile(name)))
        assert photo.space is space
        assert twin.space is SRGB
        means = [p.space.linear(p.encoded).reshape(5, -1, 3).mean(axis=1) for p in (photo, twin)]
        assert np.linalg.norm(lab(means[0]) - lab(means[1]), axis=1).max() < 0.2

    def test_gamma_1_8_profile(self) -> None:
        codes = np.full((4, 4, 3), 128, np.uint8)
        profile = matrix_profile("sRGB", curv(461))  # 461/256 = 1.8008
        photo = read_photo(save(codes, "TIFF", icc_profile=profile))
        assert photo.space.name == "matrix profile"
        np.testing.assert_allclose(photo.space.linear(photo.encoded), (128 / 255) ** (461 / 256), atol=1e-4)
        assert photo.warnings == ()

    @pytest.mark.parametrize("kind", ["JPEG", "WEBP", "HEIF", pytest.param("AVIF", marks=needs_avif)])
    def test_profile_is_found_in_every_format(self, kind: str) -> None:
        assert read_photo(save(scene(), kind, icc_profile=named_profile("Display P3"))).space is DISPLAY_P3

    def test_16_bit_with_profile(self) -> None:
        compressed = b"icc\0\0" + zlib.compress(named_profile("Adobe RGB (1998)"))
        png = deep_file(".png", deep_scene())
        photo = read_photo(png[:33] + png_chunk(b"iCCP", compressed) + png[33:])
        assert photo.space is ADOBE_RGB
        np.testing.assert_array_equal(photo.encoded, deep_scene())

    def test_look_up_profile_goes_through_the_engine(self) -> None:
        codes = np.full((4, 4, 3), 128, np.uint8)
        for content in (
            save(codes, "PNG", icc_profile=lightness_profile(b"RGB ")),
            save(codes[..., 0], "PNG", icc_profile=lightness_profile(b"RGB ")),
        ):
            photo = read_photo(content)
            assert photo.warnings == ("profile_converted",)
            # L* 50.2 by the profile; CIE 1976: Y = 0.1858; sRGB code 119.5
            assert np.abs(photo.encoded.astype(float) - 119.5).max() <= 1

    def test_grey_profile(self) -> None:
        photo = read_photo(save(np.full((4, 4), 128, np.uint8), "PNG", icc_profile=grey_profile(461)))
        assert photo.warnings == ("profile_converted",)
        light = SRGB.linear(photo.encoded)
        np.testing.assert_allclose(light, (128 / 255) ** (461 / 256), atol=0.004)  # one code of sRGB

    def test_printing_inks_with_profile(self) -> None:
        inks = np.zeros((16, 16, 4), np.uint8)
        inks[..., 3] = 128
        image = Image.frombytes("CMYK", (16, 16), inks.tobytes())
        profile = lightness_profile(b"CMYK")
        for content in (save(image, "TIFF", icc_profile=profile), jpeg(image, icc_profile=profile)):
            photo = read_photo(content)
            assert photo.warnings == ("profile_converted",)
            assert np.abs(photo.encoded.astype(float) - 118.4).max() <= 2  # L* 49.8 by the profile

    @pytest.mark.parametrize("profile", [None, b"damaged" * 40, lightness_profile(b"RGB ")])
    def test_printing_inks_without_usable_profile(self, profile: bytes | None) -> None:
        with pytest.raises(UnsupportedFormat, match="CMYK"):
            read_photo(jpeg(Image.new("CMYK", (8, 8)), icc_profile=profile))

    @pytest.mark.parametrize("profile", [b"x" * 200, named_profile("Display P3")[:300], grey_profile(461)])
    def test_damaged_or_foreign_profile_is_read_as_srgb(self, profile: bytes) -> None:
        photo = read_photo(save(scene(), "PNG", icc_profile=profile))
        assert photo.space is SRGB
        assert photo.warnings == ("profile_unreadable",)
        np.testing.assert_array_equal(photo.encoded, scene())

    def test_camera_mark_of_adobe_rgb(self) -> None:
        # DCF 2.0 (CIPA DC-009): interoperability index R03
        tags = exif(photo={ExifTags.IFD.Interop: {ExifTags.Interop.InteropIndex: "R03"}})
        assert read_photo(jpeg(scene(), exif=tags)).space is ADOBE_RGB
        assert read_photo(jpeg(scene(), exif=tags, icc_profile=named_profile("sRGB"))).space is SRGB

    # ITU-T H.273: primaries 1 BT.709, 9 BT.2020, 12 P3; transfers 1 BT.709, 8 linear, 13 sRGB, 16 PQ, 18 HLG
    @pytest.mark.parametrize(
        ("primaries", "transfer", "name", "warnings"),
        [
            (1, 13, "sRGB", ()),
            (12, 13, "Display P3", ()),
            (12, 1, "Display P3", ()),
            (9, 1, "sRGB", ("profile_assumed",)),
            (1, 8, "matrix profile", ()),
        ],
    )
    @pytest.mark.parametrize("kind", ["HEIF", pytest.param("AVIF", marks=needs_avif)])
    def test_colour_codes(self, kind: str, primaries: int, transfer: int, name: str, warnings: tuple[str, ...]) -> None:
        photo = read_photo(coded(kind, primaries, transfer))
        assert photo.space.name == name
        assert photo.warnings == warnings

    @pytest.mark.parametrize("transfer", [16, 18])
    @pytest.mark.parametrize("kind", ["HEIF", pytest.param("AVIF", marks=needs_avif)])
    def test_high_dynamic_range_is_refused(self, kind: str, transfer: int) -> None:
        with pytest.raises(UnsupportedFormat, match="dynamic range"):
            read_photo(coded(kind, 9, transfer))

    @pytest.mark.parametrize(
        ("chunks", "space", "warnings"),
        [
            ({"sRGB": 0}, SRGB, ()),
            ({"sRGB": 0, "gAMA": 1.0, "cHRM": P3}, SRGB, ()),
            ({"gAMA": 0.45455}, SRGB, ()),
            ({"gAMA": 0.45455, "cHRM": BT709}, SRGB, ()),
            ({"cHRM": P3}, DISPLAY_P3, ()),
            ({"gAMA": 0.45455, "cHRM": P3}, DISPLAY_P3, ()),
            ({"gAMA": 0.4547, "cHRM": ADOBE}, ADOBE_RGB, ()),
            ({"gAMA": 1.0}, plain(SRGB, 1.0), ()),
            ({"gAMA": 0.55556}, plain(SRGB, 1 / 0.55556), ()),
            ({"gAMA": 0.5, "cHRM": P3}, plain(DISPLAY_P3, 2.0), ()),
            ({"gAMA": 0.0}, SRGB, ("profile_assumed",)),
            ({"gAMA": 2.2}, SRGB, ("profile_assumed",)),
            ({"cHRM": BT2020}, SRGB, ("profile_assumed",)),
            ({"gAMA": 0.5, "cHRM": (*BT709[:4], *BT709[2:4], *BT709[6:])}, SRGB, ("profile_assumed",)),
            ({"gAMA": 0.5, "cHRM": (0.3127, 0.0, *BT709[2:])}, SRGB, ("profile_assumed",)),
            ({"gAMA": 0.5, "cHRM": (*BT709[:3], 0.0, *BT709[4:])}, SRGB, ("profile_assumed",)),
            ({"cICP": (1, 13, 0, 1)}, SRGB, ()),
            ({"cICP": (12, 13, 0, 1)}, DISPLAY_P3, ()),
            ({"cICP": (12, 13, 0, 1), "sRGB": 0, "gAMA": 0.45455}, DISPLAY_P3, ()),
            ({"cICP": (12, 8, 0, 1)}, plain(DISPLAY_P3, 1.0), ()),
            ({"cICP": (9, 1, 0, 1)}, SRGB, ("profile_assumed",)),
            ({"cICP": (12, 13, 0, 0)}, SRGB, ("profile_assumed",)),
            ({"cICP": (9, 1, 0, 1), "cHRM": P3}, DISPLAY_P3, ()),
        ],
    )
    def test_colour_tags_of_png(self, chunks: dict[str, Any], space: RgbSpace, warnings: tuple[str, ...]) -> None:
        photo = read_photo(png_with(chunks))
        assert (photo.space, photo.warnings) == (space, warnings)
        np.testing.assert_array_equal(photo.encoded, scene())

    @pytest.mark.parametrize(
        ("white", "primaries"), [(D65_XY, BT2020), ((0.3457, 0.3585), (0.7347, 0.2653, 0.1596, 0.8404, 0.0366, 0.0001))]
    )
    def test_primaries_without_a_name_are_those_stated(self, white: Any, primaries: tuple[float, ...]) -> None:
        # by colour-science: own matrix, then Bradford to D65
        stated = (*white, *primaries[-6:])
        space = read_photo(png_with({"gAMA": 0.5, "cHRM": stated})).space
        own = colour.normalised_primary_matrix(np.reshape(stated[2:], (3, 2)), np.array(white))
        adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
            colour.xy_to_XYZ(white), colour.xy_to_XYZ(D65_XY), transform="Bradford"
        )
        np.testing.assert_allclose(space.to_xyz, adapt @ own, atol=1e-4)
        assert space.curves == (ParametricCurve(2.0),) * 3

    def test_a_profile_counts_before_primaries_and_after_code_points(self) -> None:
        compressed = b"p3\0\0" + zlib.compress(named_profile("Display P3"))
        assert read_photo(png_with({"iCCP": compressed, "gAMA": 1.0})).space is DISPLAY_P3
        assert read_photo(png_with({"iCCP": compressed, "cICP": (9, 1, 0, 1)})).space is DISPLAY_P3
        assert read_photo(png_with({"iCCP": compressed, "cICP": (1, 13, 0, 1)})).space is SRGB

    @pytest.mark.parametrize(
        "chunks",
        [
            {"cICP": (9, 16, 0, 1)},
            {"cICP": (9, 18, 0, 1)},
            {"cICP": (12, 16, 0, 1), "iCCP": b"p3\0\0" + zlib.compress(named_profile("Display P3"))},
            {"sRGB": 0, "cICP": (9, 18, 9, 0)},
            {"iCCP": b"ITUR_2100_PQ_FULL\0\0" + zlib.compress(named_profile("Display P3"))},
        ],
    )
    def test_high_dynamic_range_of_png_is_refused(self, chunks: dict[str, Any]) -> None:
        with pytest.raises(UnsupportedFormat, match="dynamic range"):
            read_photo(png_with(chunks))

    @pytest.mark.parametrize("chunk", [b"cICP\x09\x10", b"gAMA\0\0", b"cHRM" + b"\0" * 20, b"sRGB"])
    def test_cut_colour_tags_are_no_photo_or_say_nothing(self, chunk: bytes) -> None:
        png = save(scene(), "PNG")
        content = png[:33] + png_chunk(chunk[:4], chunk[4:]) + png[33:]
        if chunk.startswith(b"cICP"):
            assert read_photo(content).space is SRGB
        else:
            with pytest.raises(Unreadable):
                read_photo(content)


def coded(kind: str, primaries: int, transfer: int) -> bytes:
    content = save(scene(), kind)
    at = content.index(b"colrnclx") + 8
    return content[:at] + struct.pack(">HH", primaries, transfer) + content[at + 4 :]


class TestMetadata:
    def test_time_with_offset_is_utc(self) -> None:
        tags = exif(photo={PHOTO.DateTimeOriginal: "2026:03:01 00:30:00", PHOTO.OffsetTimeOriginal: "+02:00"})
        assert read_photo(jpeg(scene(), exif=tags)).taken_at == datetime(2026, 2, 28, 22, 30, tzinfo=UTC)

    def test_time_without_offset_is_the_camera_clock(self) -> None:
        tags = exif(base={BASE.DateTime: "2026:03:01 10:20:30"})
        assert read_photo(jpeg(scene(), exif=tags)).taken_at == datetime(2026, 3, 1, 10, 20, 30, tzinfo=UTC)

    def test_the_shutter_counts_before_the_file(self) -> None:
        tags = exif(base={BASE.DateTime: "2026:09:09 09:09:09"}, photo={PHOTO.DateTimeOriginal: "2026:03:01 10:20:30"})
        assert read_photo(jpeg(scene(), exif=tags)).taken_at == datetime(2026, 3, 1, 10, 20, 30, tzinfo=UTC)

    @pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF", "HEIF", pytest.param("AVIF", marks=needs_avif)])
    def test_every_format_carries_time_and_camera(self, kind: str) -> None:
        tags = exif(
            base={BASE.Make: "Acme", BASE.Model: "Acme One"}, photo={PHOTO.DateTimeOriginal: "2026:03:01 10:20:30"}
        )
        photo = read_photo(save(scene(), kind, exif=tags))
        assert photo.taken_at == datetime(2026, 3, 1, 10, 20, 30, tzinfo=UTC)
        assert photo.camera == "Acme One"

    @pytest.mark.parametrize("time", ["0000:00:00 00:00:00", "2026:13:01 10:00:00", "    :  :     :  :  ", "yesterday"])
    def test_senseless_time_is_none(self, time: str) -> None:
        assert read_photo(jpeg(scene(), exif=exif(photo={PHOTO.DateTimeOriginal: time}))).taken_at is None

    @pytest.mark.parametrize("offset", ["+99:00", "noon", "+14:30"])
    def test_senseless_offset_is_ignored(self, offset: str) -> None:
        tags = exif(photo={PHOTO.DateTimeOriginal: "2026:03:01 10:20:30", PHOTO.OffsetTimeOriginal: offset})
        assert read_photo(jpeg(scene(), exif=tags)).taken_at == datetime(2026, 3, 1, 10, 20, 30, tzinfo=UTC)

    def test_first_moment_of_time_with_an_offset_is_none(self) -> None:
        tags = exif(photo={PHOTO.DateTimeOriginal: "0001:01:01 00:00:00", PHOTO.OffsetTimeOriginal: "+02:00"})
        assert read_photo(jpeg(scene(), exif=tags)).taken_at is None

    def test_camera_is_joined_cleaned_and_cut(self) -> None:
        tags = exif(base={BASE.Make: "  Acme\x07 ", BASE.Model: "One\n" + "x" * 300})
        name = read_photo(jpeg(scene(), exif=tags)).camera
        assert name is not None
        assert name.startswith("Acme One" + "x")
        assert len(name) == 80

    @pytest.mark.filterwarnings("ignore:.*orrupt EXIF")  # Pillow says so while it opens the file
    @pytest.mark.parametrize("garbage", [b"", b"II*\0\xff\xff\xff\xff", b"MM\0*" + b"\xee" * 60, b"\0" * 30])
    def test_garbage_exif_is_not_fatal(self, garbage: bytes) -> None:
        photo = read_photo(jpeg(scene(), exif=b"Exif\0\0" + garbage))
        assert (photo.taken_at, photo.camera) == (None, None)
        assert photo.size == (64, 48)


# values by CIPA DC-008 (Exif 3.0): Flash bit 0 = fired; DigitalZoomRatio, 0 in the numerator = not used;
# SceneCaptureType 1 landscape, 2 portrait, 3 night scene; Contrast and Saturation 1 soft or low, 2 hard or high.
# CustomRendered 7 and 8, blurred background, 3 = several exposures in one: a phone maker's published list
TOLD: list[tuple[dict[int, Any], tuple[str, ...]]] = [
    ({PHOTO.Flash: 0b1}, ("flash_fired",)),
    ({PHOTO.Flash: 0b11001}, ("flash_fired",)),  # fired, by itself
    ({PHOTO.Flash: 0b11000}, ()),  # not fired, left to itself
    ({PHOTO.Flash: 0b10000}, ()),  # switched off
    ({PHOTO.DigitalZoomRatio: IFDRational(5, 2)}, ("digital_zoom 2.50",)),
    ({PHOTO.DigitalZoomRatio: IFDRational(1, 1)}, ()),
    ({PHOTO.DigitalZoomRatio: IFDRational(0, 100)}, ()),
    ({PHOTO.DigitalZoomRatio: IFDRational(0, 0)}, ()),
    ({PHOTO.DigitalZoomRatio: IFDRational(7, 0)}, ()),
    ({PHOTO.CustomRendered: 7}, ("portrait_mode",)),
    ({PHOTO.CustomRendered: 8}, ("portrait_mode",)),
    ({PHOTO.CustomRendered: 0}, ()),
    ({PHOTO.CustomRendered: 3}, ()),  # how phones take most photos
    ({PHOTO.SceneCaptureType: 0}, ()),
    ({PHOTO.SceneCaptureType: 1}, ("scene landscape",)),
    ({PHOTO.SceneCaptureType: 2}, ("scene portrait",)),
    ({PHOTO.SceneCaptureType: 3}, ("scene night",)),
    ({PHOTO.SceneCaptureType: 4}, ()),  # not in the standard
    ({PHOTO.Contrast: 2, PHOTO.Saturation: 0}, ("look contrast",)),
    ({PHOTO.Contrast: 0, PHOTO.Saturation: 1}, ("look saturation",)),
    ({PHOTO.Flash: 1, PHOTO.CustomRendered: 8, PHOTO.SceneCaptureType: 3},
     ("flash_fired", "portrait_mode", "scene night")),
]  # fmt: skip


def with_depth_map() -> bytes:
    """A HEIC whose second picture is a depth map: ISO/IEC 23008-12 calls alpha ``auxid:1`` and depth ``auxid:2``."""
    alpha = np.full((*scene().shape[:2], 1), 200, np.uint8)
    content = save(np.dstack([scene(), alpha]), "HEIF", quality=95)
    assert content.count(b"urn:mpeg:hevc:2015:auxid:1") == 1
    return content.replace(b"urn:mpeg:hevc:2015:auxid:1", b"urn:mpeg:hevc:2015:auxid:2")


class TestHowItWasTaken:
    @pytest.mark.parametrize(("tags", "told"), TOLD)
    def test_what_the_tags_say(self, tags: dict[int, Any], told: tuple[str, ...]) -> None:
        assert read_photo(jpeg(scene(), exif=exif(photo=tags))).warnings == told

    @pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF", "HEIF", pytest.param("AVIF", marks=needs_avif)])
    def test_every_format_tells(self, kind: str) -> None:
        tags = exif(photo={PHOTO.Flash: 1, PHOTO.DigitalZoomRatio: IFDRational(2, 1)})
        assert read_photo(save(scene(), kind, exif=tags)).warnings == ("flash_fired", "digital_zoom 2.00")

    @pytest.mark.parametrize("tag", [0x9209, 0xA405, 0xA404, 0xA401, 0xA406, 0xA408, 0xA409])
    def test_a_word_where_a_number_belongs_says_nothing(self, tag: int) -> None:
        tags = Image.Exif()
        tags.get_ifd(ExifTags.IFD.Exif)[tag] = "on"
        photo = read_photo(jpeg(scene(), exif=_as_words(tags)))
        assert (photo.warnings, photo.lens_mm) == ((), None)

    def test_a_depth_map_tells_of_portrait_mode(self) -> None:
        photo = read_photo(with_depth_map())
        assert photo.warnings == ("depth_map",)
        assert np.abs(photo.encoded.astype(int) - scene()).mean() < 2  # and the photo itself is the one that is read

    # CIPA DC-008 (Exif 3.0): FocalLengthIn35mmFilm, a whole number of millimetres, 0 = unknown
    @pytest.mark.parametrize(("stated", "kept"), [(26, 26), (77, 77), (0, None), (65_535, None)])
    def test_the_lens(self, stated: int, kept: int | None) -> None:
        tags = exif(photo={PHOTO.FocalLengthIn35mmFilm: stated})
        assert read_photo(jpeg(scene(), exif=tags)).lens_mm == kept
        assert read_photo(jpeg(scene())).lens_mm is None

    def test_nothing_of_it_is_left_in_the_kept_copy(self) -> None:
        photo = read_photo(jpeg(scene(), exif=exif(photo={PHOTO.Flash: 1})))
        assert photo.warnings == ("flash_fired",)
        assert read_kept(clean_jpeg(photo)).warnings == ()


def _as_words(tags: Image.Exif) -> bytes:
    """Those tags as text (ASCII, type 2), whatever type the standard gives them."""
    ((tag, word),) = tags.get_ifd(ExifTags.IFD.Exif).items()
    body = word.encode() + bytes(4 - len(word))
    main = struct.pack("<HHHIII", 1, 0x8769, 4, 1, 26, 0)
    return b"Exif\0\0II*\0" + struct.pack("<I", 8) + main + struct.pack("<HHHI4sI", 1, tag, 2, 4, body, 0)
