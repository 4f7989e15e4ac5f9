from __future__ import annotations

import io
import struct
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageCms

from tests.photo_samples import (
    D50,
    NAMES,
    SRGB_PARA,
    curv,
    grey_profile,
    lightness_profile,
    matrix_profile,
    named_profile,
    para,
    profile,
    rgb_to_pcs,
    xyz,
)
from tracker.maths.rgb_space import NAMED_SPACES, SRGB, ParametricCurve, RgbSpace, SampledCurve
from tracker.photo.profile import build_profile, parse_profile

WAVY = tuple(int(65535 * (x**2.1 * 0.9 + x * 0.1)) for x in np.linspace(0, 1, 37))
CURVES = {
    "identity": (curv(),),
    "gamma 1.8": (curv(461),),
    "sampled": (curv(*WAVY),),
    "two samples": (curv(0, 65535),),
    "para 0": (para(0, (2.2,)),),
    "para 1": (para(1, (2.2, 1.1, -0.1)),),
    "para 2": (para(2, (2.0, 0.9, -0.05, 0.02)),),
    "para 3": (para(*SRGB_PARA),),
    "para 4": (para(4, (2.4, 0.92, 0.05, 0.07, 0.05, 0.003, 0.001)),),
    "one each": (curv(461), curv(*WAVY), para(0, (2.4,))),
}


def engine(icc: bytes) -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(io.BytesIO(icc))


def by_engine(codes: NDArray[np.uint8], icc: bytes) -> NDArray[np.uint8]:
    """sRGB codes by LittleCMS, an independent reading of the same profile."""
    out = ImageCms.profileToProfile(
        Image.fromarray(codes),
        engine(icc),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.NOOPTIMIZE,
    )
    assert out is not None
    return np.asarray(out)


def parsed(icc: bytes) -> RgbSpace:
    space = parse_profile(icc)
    assert space is not None
    return space


def codes_everywhere() -> NDArray[np.uint8]:
    steps = np.linspace(0, 255, 16).astype(np.uint8)
    return np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(64, 64, 3)


class TestAgainstLittleCms:
    @pytest.mark.parametrize("curves", CURVES)
    @pytest.mark.parametrize("name", NAMES)
    def test_colours_agree_within_rounding(self, name: str, curves: str) -> None:
        icc = matrix_profile(name, *CURVES[curves])
        ours = SRGB.encode(parsed(icc).linear(codes_everywhere()))
        difference = np.abs(ours.astype(int) - by_engine(codes_everywhere(), icc))
        assert difference.max() <= 1
        # Most codes are equal; the rest round the other way.
        assert np.mean(difference) < 0.05

    @pytest.mark.parametrize("space", NAMED_SPACES, ids=lambda space: space.name)
    def test_our_profiles_mean_the_same_to_it(self, space: RgbSpace) -> None:
        icc = build_profile(space)
        ours = SRGB.encode(space.linear(codes_everywhere()))
        assert np.abs(ours.astype(int) - by_engine(codes_everywhere(), icc)).max() <= 1

    @pytest.mark.parametrize("space", NAMED_SPACES, ids=lambda space: space.name)
    def test_it_reads_our_header_and_primaries(self, space: RgbSpace) -> None:
        read = engine(build_profile(space)).profile
        assert read.profile_description == "tracker RGB"
        assert read.copyright == "CC0"
        assert read.xcolor_space.strip() == "RGB"
        assert read.is_matrix_shaper
        columns = [read.red_colorant, read.green_colorant, read.blue_colorant]
        assert all(column is not None for column in columns)
        stored = np.array([column[0] for column in columns if column is not None]).T
        # s15Fixed16 has steps of 1/65536, one more so that white is exact; primaries by colour-science
        np.testing.assert_allclose(stored, rgb_to_pcs(space.name), atol=2 / 65536)
        np.testing.assert_array_equal(np.rint(stored.sum(axis=1) * 65536), np.rint(D50 * 65536))

    def test_its_own_srgb_is_recognised(self) -> None:
        assert parse_profile(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()) is SRGB


class TestParse:
    @pytest.mark.parametrize(("name", "space"), list(zip(NAMES, NAMED_SPACES, strict=True)))
    def test_named_spaces_are_recognised(self, name: str, space: RgbSpace) -> None:
        assert parse_profile(named_profile(name)) is space

    def test_srgb_primaries_with_another_curve_have_no_name(self) -> None:
        space = parsed(matrix_profile("sRGB", curv(563)))
        assert space.name == "matrix profile"
        assert space.curves[0] == ParametricCurve(563 / 256)
        np.testing.assert_allclose(space.to_xyz, SRGB.to_xyz, atol=1e-4)

    def test_version_4_is_read(self) -> None:
        icc = bytearray(named_profile("Display P3"))
        icc[8] = 4
        assert parsed(bytes(icc)).name == "Display P3"

    @pytest.mark.parametrize("white", [(0.95047, 1.0, 1.08883), (0.9, 1.0, 0.6)])
    def test_own_adaptation_is_undone_only_from_d65(self, white: tuple[float, float, float]) -> None:
        # An adaptation by plain XYZ scaling, unlike Bradford, so that which one is undone shows.
        scaling = np.diag(D50 / np.array(white))
        chad = b"sf32\0\0\0\0" + struct.pack(">9i", *(round(v * 65536) for v in scaling.ravel()))
        to_pcs = scaling @ np.array(SRGB.to_xyz)
        columns = {tag: xyz(to_pcs[:, i]) for i, tag in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))}
        curves = dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), para(*SRGB_PARA))
        space = parse_profile(profile({**columns, **curves, b"chad": chad}))
        assert (space is SRGB) == (white[0] == 0.95047)

    @pytest.mark.parametrize(
        "icc",
        [
            b"",
            b"x" * 500,
            lightness_profile(b"RGB "),
            lightness_profile(b"CMYK"),
            grey_profile(461),
            profile({b"rXYZ": xyz([1, 1, 1])}),
            matrix_profile("sRGB", b"junk" * 4),
            matrix_profile("sRGB", para(9, (1.0,))),
            matrix_profile("sRGB", para(1, (2.0, 0.0, 0.1))),
            matrix_profile("sRGB", para(0, (-1.0,))),
            matrix_profile("sRGB", curv(0)),
            profile({tag: xyz([0, 0, 0]) for tag in (b"rXYZ", b"gXYZ", b"bXYZ")}),
        ],
    )
    def test_other_kinds_and_damage_give_none(self, icc: bytes) -> None:
        assert parse_profile(icc) is None

    @pytest.mark.parametrize("name", NAMES)
    def test_no_cut_is_fatal(self, name: str) -> None:
        icc = named_profile(name)
        for length in range(len(icc)):
            assert parse_profile(icc[:length]) is None

    @given(st.binary(max_size=64), st.integers(0, 400))
    def test_no_damage_is_fatal(self, junk: bytes, at: int) -> None:
        icc = named_profile("Display P3")
        space = parse_profile(icc[:at] + junk + icc[at + len(junk) :])
        assert space is None or np.isfinite(space.linear(codes_everywhere())).all()


class TestBuild:
    def spaces(self) -> list[RgbSpace]:
        curves: list[Any] = [
            (ParametricCurve(461 / 256),) * 3,
            (ParametricCurve(2.2),) * 3,
            (ParametricCurve(1.0), SampledCurve(tuple(v / 65535 for v in WAVY)), ParametricCurve(2.4)),
        ]
        return [*NAMED_SPACES, *(RgbSpace("matrix profile", NAMED_SPACES[1].to_xyz, three) for three in curves)]

    def test_comes_back_as_the_same_space(self) -> None:
        for space in self.spaces():
            back = parsed(build_profile(space))
            assert back.name == space.name
            # 16-bit samples: half a step of light, and the chord of 1024 of them
            codes = codes_everywhere()
            np.testing.assert_allclose(back.linear(codes), space.linear(codes), atol=1e-4)

    def test_named_spaces_come_back_identical(self) -> None:
        for space in NAMED_SPACES:
            assert parse_profile(build_profile(space)) is space

    def test_same_bytes_however_often_it_is_stored(self) -> None:
        for space in self.spaces():
            once = build_profile(space)
            assert build_profile(space) == once
            assert build_profile(parsed(once)) == once

    def test_equal_curves_are_stored_once(self) -> None:
        assert len(build_profile(NAMED_SPACES[1])) < 3000
        assert len(build_profile(NAMED_SPACES[2])) < 600

    def test_size_and_alignment(self) -> None:
        for space in self.spaces():
            icc = build_profile(space)
            assert struct.unpack_from(">I", icc)[0] == len(icc)
            offsets = [struct.unpack_from(">I", icc, 136 + 12 * i)[0] for i in range(9)]
            assert all(offset % 4 == 0 for offset in offsets)  # ICC.1:2022, 7.1.2

    @given(st.floats(0.5, 3.5))
    def test_any_gamma_survives(self, gamma: float) -> None:
        space = RgbSpace("matrix profile", SRGB.to_xyz, (ParametricCurve(gamma),) * 3)
        codes = np.repeat(np.arange(256, dtype=np.uint8)[:, np.newaxis], 3, axis=1)
        difference = parsed(build_profile(space)).linear(codes) - space.linear(codes)
        # Steep curves bend most between the first samples; away from black the light agrees closely.
        assert np.abs(difference[8:]).max() < 1e-4
