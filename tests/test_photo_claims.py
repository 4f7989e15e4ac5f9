"""Claims of healthy files that come near the limits, and of hostile ones that pass them by a little."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np
import pytest
from PIL import Image, features

from tests.hostile_photos import giant_tile, overlapping_profile
from tests.photo_samples import (
    curv,
    jpeg,
    matrix_profile,
    named_profile,
    png_chunk,
    profile,
    rgb_to_pcs,
    save,
    scene,
    xyz,
)
from tracker.errors import TooLarge, Unreadable
from tracker.maths.rgb_space import SampledCurve
from tracker.photo import clean_jpeg, decode_photo, read_kept
from tracker.photo.av1_size import coded_sizes
from tracker.photo.claims import check_claims, check_profile
from tracker.photo.profile import build_profile, parse_profile


class TestProfiles:
    @staticmethod
    def of_curve(samples: np.ndarray[Any, Any]) -> bytes:
        """A profile of that curve, whose numbers go through numpy: eleven million take no time."""
        block = b"curv\0\0\0\0" + struct.pack(">I", len(samples)) + samples.astype(">u2").tobytes()
        to_pcs = rgb_to_pcs("Display P3")
        columns = {name: xyz(to_pcs[:, i]) for i, name in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))}
        return profile({**columns, b"rTRC": block, b"gTRC": block, b"bTRC": block})

    @staticmethod
    def smooth(count: int, exponent: float = 2.6) -> np.ndarray[Any, Any]:
        return np.rint(65535 * np.linspace(0, 1, count) ** exponent)

    @pytest.mark.parametrize("count", [256, 1_024, 1_022, 4_096, 4_097, 65_536])
    def test_curves_of_every_length_keep_their_light(self, count: int) -> None:
        icc = self.of_curve(self.smooth(count))
        check_profile(icc)
        space = parse_profile(icc)
        assert space is not None
        assert all(isinstance(curve, SampledCurve) and len(curve.samples) <= 4_096 for curve in space.curves)
        kept = parse_profile(build_profile(space))
        assert kept is not None
        codes = np.repeat(np.linspace(0, 1, 20_001)[:, None], 3, axis=1)
        true = codes**2.6  # off by the chords of 256 samples, and by rounding to 16 bits when it came in and when kept
        chord = 2.6 * 1.6 / 8 / (count - 1) ** 2
        assert np.abs(space.decode(codes) - true).max() < 8e-6 + chord + 2e-7
        assert np.abs(kept.decode(codes) - space.decode(codes)).max() < 2e-5 + chord

    def test_no_curve_is_kept_as_it_came_in(self) -> None:
        planted = b"PLANTED IN A CURVE, WHERE NOBODY EVER LOOKS FOR ANY WRITTEN WORD"
        samples = self.smooth(1_024)
        samples[200:232] = np.frombuffer(planted, ">u2")
        content = jpeg(scene(), icc_profile=self.of_curve(samples))
        assert planted in content
        clean = clean_jpeg(decode_photo(content))
        pairs = [planted[at : at + 4] for at in range(0, len(planted), 4)]
        assert not [pair for pair in pairs if pair in clean]
        assert clean_jpeg(read_kept(clean)) is not None
        assert build_profile(read_kept(clean).space) in clean  # and stays what it is from then on

    def test_a_long_curve_makes_no_large_copy(self) -> None:
        content = jpeg(scene(), icc_profile=self.of_curve(self.smooth(65_536)))
        assert len(content) > 390_000
        assert len(clean_jpeg(decode_photo(content))) < 20_000

    def test_one_step_more_is_refused(self) -> None:
        with pytest.raises(TooLarge, match=r"65,537 steps \(limit 65,536\)"):
            check_profile(self.of_curve(self.smooth(65_537)))

    def test_the_largest_size_and_one_byte_more(self) -> None:
        check_profile(named_profile("sRGB").ljust(4 * 1024**2, b"\0"))
        with pytest.raises(TooLarge, match=r"profile has 4\.0 MB \(limit 4\)"):
            check_profile(named_profile("sRGB").ljust(4 * 1024**2 + 1, b"\0"))

    def test_parts_that_overlap_are_refused_and_shared_ones_are_not(self) -> None:
        with pytest.raises(Unreadable, match="overlap"):
            check_profile(overlapping_profile(1024**2))
        check_profile(matrix_profile("Display P3", curv(*range(0, 65_000, 13))))

    @pytest.mark.parametrize("length", [0, 1, 127, 128, 131, 132, 140])
    def test_cut_off_ones_are_left_to_the_reader(self, length: int) -> None:
        check_profile(named_profile("sRGB")[:length])


class TestPieces:
    def test_tiles_as_programs_write_them(self) -> None:
        for edge in (16, 256, 1_024):
            check_claims(giant_tile(edge), "TIFF")
            check_claims(giant_tile(edge, big=True), "TIFF")
        with pytest.raises(TooLarge, match=r"One piece of the photo has 4\.2 megapixels"):
            check_claims(giant_tile(2_049), "TIFF")

    @pytest.mark.parametrize("big", [False, True])
    def test_a_photo_in_one_strip_is_read(self, big: bool) -> None:
        content = save(scene(), "TIFF", big_tiff=big, tiffinfo={278: 48})
        assert np.array_equal(decode_photo(content).encoded, scene())

    @pytest.mark.parametrize("form", ["<", ">"])
    def test_both_orders_of_bytes_are_understood(self, form: str) -> None:
        entries = [(256, 64), (257, 48), (322, 60_000), (323, 60_000)]
        body = struct.pack(form + "H", len(entries))
        body += b"".join(struct.pack(form + "HHII", tag, 4, 1, value) for tag, value in entries)
        head = b"II*\0" if form == "<" else b"MM\0*"
        with pytest.raises(TooLarge):
            check_claims(head + struct.pack(form + "I", 8) + body + bytes(4), "TIFF")

    @pytest.mark.parametrize(
        "content", [b"II*\0", b"II*\0\xff\xff\xff\xff", b"II+\0" + bytes(12), b"MM\0*" + b"\xff" * 40]
    )
    def test_damaged_directories_are_left_to_the_decoder(self, content: bytes) -> None:
        check_claims(content, "TIFF")

    def test_chunks_at_the_limit(self) -> None:
        png = save(scene(), "PNG")
        own = png.count(b"IDAT") + 2
        full = png[:33] + png_chunk(b"noNe", b"") * (50_000 - own) + png[33:]
        check_claims(full, "PNG")
        with pytest.raises(TooLarge, match="50,001 parts"):
            check_claims(full[:33] + png_chunk(b"noNe", b"") + full[33:], "PNG")

    def test_scans_in_the_metadata_do_not_count(self) -> None:
        noise = b"\xff\xda" * 30_000
        content = jpeg(scene(), comment=noise)
        assert content.count(b"\xff\xda") > 100
        assert decode_photo(content).size == (64, 48)


@pytest.mark.skipif(not features.check("avif"), reason="Pillow has no AVIF here")
class TestPicturesInAnAvif:
    @pytest.mark.parametrize("size", [(16, 16), (101, 67), (1_000, 40), (640, 480)])
    @pytest.mark.parametrize("how", [{}, {"subsampling": "4:4:4"}, {"range": "limited"}, {"quality": 100}])
    def test_their_own_header_says_their_size(self, size: tuple[int, int], how: dict[str, Any]) -> None:
        content = save(Image.new("RGB", size, (90, 60, 30)), "AVIF", **how)
        found = set(coded_sizes(content))
        assert found == {size}

    def test_a_sequence_says_it_too(self) -> None:
        frames = [Image.new("RGB", (120, 80), (shade, 0, 0)) for shade in (0, 90, 180)]
        content = save(frames[0], "AVIF", save_all=True, append_images=frames[1:])
        assert (120, 80) in set(coded_sizes(content))

    def test_no_damage_is_fatal(self) -> None:
        content, random = save(scene(), "AVIF"), np.random.default_rng(1)
        for _ in range(500):
            damaged = bytearray(content[: random.integers(1, len(content) + 1)])
            for at in random.integers(0, len(damaged), 4):
                damaged[at] = random.integers(0, 256)
            list(coded_sizes(bytes(damaged)))
