"""Damaged files are refused or give no number; healthy ones of every encoder pass."""

from __future__ import annotations

import io
import struct
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.damage_bench import DAMAGES, emptied, filled, flipped, moved, outcome, shortened
from tests.photo_samples import exif, save
from tests.scenes import marks as drawn_marks
from tests.scenes import photograph
from tests.scenes import scene as drawn
from tracker import workflow
from tracker.errors import PhotoError, Unreadable
from tracker.measure import measure_photo
from tracker.measure.quality.gates import _note
from tracker.photo import read_photo
from tracker.photo.damage import hevc
from tracker.photo.damage.boxes import coded_items
from tracker.photo.damage.steps import find_step
from tracker.record.records import BEFORE, MEASURING, PORTFOLIO
from tracker.store import Store


def scene(width: int = 640, height: int = 480, seed: int = 0) -> Image.Image:
    """A picture with soft shades, an edge and grain, as photos have them."""
    grain = np.random.default_rng(seed).normal(0, 2.5, (height, width, 1))
    y, x = np.mgrid[0:height, 0:width]
    shade = 90 + 60 * np.sin(x / 90 + seed) * np.cos(y / 70) + 40 * (x + y > 500 + 40 * seed)
    tones = np.dstack([shade, 0.8 * shade + 10, 0.6 * shade + 25]) + grain
    return Image.fromarray(np.clip(np.rint(tones), 0, 255).astype(np.uint8))


JPEGS = {
    "plain": {"quality": 90},
    "whole colour": {"quality": 95, "subsampling": 0},
    "progressive": {"quality": 85, "progressive": True},
    "optimized": {"quality": 85, "optimize": True},
    "restarts by row": {"quality": 90, "restart_marker_rows": 1},
    "restarts by block": {"quality": 90, "restart_marker_blocks": 7},
    "grey": {"quality": 90, "mode": "L"},
}
OTHERS = {
    "PNG": ("PNG", {}),
    "deflate": ("TIFF", {"compression": "tiff_adobe_deflate"}),
    "deflate, foretold": ("TIFF", {"compression": "tiff_adobe_deflate", "tiffinfo": {317: 2}}),
    "LZW": ("TIFF", {"compression": "tiff_lzw"}),
    "PackBits": ("TIFF", {"compression": "packbits"}),
    "uncompressed": ("TIFF", {}),
    "WebP": ("WEBP", {"quality": 90}),
    "WebP, lossless": ("WEBP", {"lossless": True}),
    "AVIF": ("AVIF", {"quality": 80, "speed": 9}),
    "HEIC": ("HEIF", {"quality": 80, "enc_params": {"preset": "ultrafast"}}),
    "HEIC, tiles": ("HEIF", {"quality": 80, "tile_size": 256, "enc_params": {"preset": "ultrafast"}}),
}


@cache
def jpeg(name: str, seed: int = 0) -> bytes:
    options = dict(JPEGS[name])
    return save(scene(seed=seed).convert(options.pop("mode", "RGB")), "JPEG", **options)


@cache
def other(name: str, seed: int = 0) -> bytes:
    kind, options = OTHERS[name]
    return save(scene(seed=seed), kind, **options)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("name", JPEGS)
def test_a_healthy_jpeg_passes_and_reads_as_pillow_reads_it(name: str, seed: int) -> None:
    content = jpeg(name, seed)
    photo = read_photo(content)
    assert photo.warnings == ()
    with Image.open(io.BytesIO(content)) as image:
        assert np.array_equal(photo.encoded, np.asarray(image.convert("RGB")))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("name", OTHERS)
def test_a_healthy_photo_of_another_format_passes(name: str, seed: int) -> None:
    assert read_photo(other(name, seed)).warnings == ()


@pytest.mark.parametrize("image", [Image.new("RGB", (640, 480), shade) for shade in ("black", "white", (70, 60, 50))])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF", "AVIF"])
def test_a_photo_of_one_colour_is_no_damage(image: Image.Image, kind: str) -> None:
    assert read_photo(save(image, kind)).size == (640, 480)


def test_a_frame_or_a_caption_is_no_damage() -> None:
    pixels = np.asarray(scene()).copy()
    pixels[:64] = pixels[400:] = 0
    for content in (save(Image.fromarray(pixels), "JPEG", quality=q) for q in (70, 90, 95)):
        assert read_photo(content).warnings == ()


@pytest.mark.parametrize(
    "behind", [b"\0" * 5000, b"\0\0\0\x18ftypmp42" + bytes(3000), jpeg("plain", 1), b"SEFHk\0\0\0"]
)
def test_what_phones_put_behind_a_jpeg_is_no_damage(behind: bytes) -> None:
    assert read_photo(jpeg("plain") + behind).warnings == ()


def test_a_photo_with_tags_and_a_small_picture_passes() -> None:
    tags = exif(orientation=6)
    assert read_photo(save(scene(), "JPEG", exif=tags)).size == (480, 640)
    assert read_photo(save(scene(), "HEIF", thumbnails=[128], tile_size=256)).warnings == ()


@pytest.mark.parametrize("damage", [shortened, filled])
@pytest.mark.parametrize("name", [*JPEGS, "PNG", "deflate", "LZW", "PackBits", "WebP", "HEIC", "HEIC, tiles"])
def test_a_lost_tail_is_refused(name: str, damage: object) -> None:
    content = jpeg(name) if name in JPEGS else other(name)
    chance = np.random.default_rng(4)
    for _ in range(5):
        with pytest.raises(PhotoError):
            read_photo(damage(content, chance))  # type: ignore[operator]


@pytest.mark.parametrize("name", ["PNG", "deflate", "deflate, foretold"])
@pytest.mark.parametrize("damage", [flipped, emptied])
def test_a_checksum_finds_every_damage(name: str, damage: object) -> None:
    content, chance = other(name), np.random.default_rng(5)
    for _ in range(30):
        with pytest.raises(PhotoError):
            read_photo(damage(content, chance))  # type: ignore[operator]


@pytest.mark.parametrize("name", ["LZW", "PackBits"])
def test_an_empty_sector_of_a_packed_tiff_is_refused(name: str) -> None:
    content, chance = other(name), np.random.default_rng(6)
    for _ in range(10):
        with pytest.raises(PhotoError):
            read_photo(emptied(content, chance))


def test_an_empty_sector_of_plain_pixels_stops_the_number() -> None:
    photo = read_photo(emptied(other("uncompressed"), np.random.default_rng(7)))
    assert photo.warnings == ("damaged_empty",)
    assert _note(photo.warnings[0]).stopped


def test_what_a_damaged_jpeg_moves_is_refused_or_stopped() -> None:
    chance, found = np.random.default_rng(8), []
    for name in ("plain", "whole colour", "optimized", "progressive"):
        content = jpeg(name)
        healthy = read_photo(content)
        found += [outcome(damage(content, chance), healthy) for damage in (flipped, emptied) for _ in range(20)]
    assert {"refused", "stopped"} <= {said for said, _ in found}
    assert share_caught(found, 1) >= 0.9
    assert share_caught(found, 3) >= 0.95  # of some hundred; the bench counts more


def share_caught(found: list[tuple[str, float]], beyond: float) -> float:
    """The share without a number of the damaged photos whose reading moved further than that."""
    said = [said for said, size in found if size > beyond]
    return 1 - said.count("silent") / len(said)


@pytest.mark.skipif(not hevc.can_decode(), reason="the HEIF library does not carry its decoder as a library of its own")
@pytest.mark.parametrize("name", ["HEIC", "HEIC, tiles"])
def test_what_a_damaged_heic_moves_is_refused(name: str) -> None:
    chance, content = np.random.default_rng(9), other(name)
    healthy = read_photo(content)
    found = [outcome(damage(content, chance), healthy) for damage in (flipped, emptied) for _ in range(12)]
    assert sum(size > 1 for _, size in found) >= 4
    assert share_caught(found, 1) >= 0.95


@pytest.mark.skipif(not hevc.can_decode(), reason="the HEIF library does not carry its decoder as a library of its own")
def test_every_tile_of_a_heic_is_looked_at() -> None:
    content = other("HEIC, tiles")
    tiles = [item for item in coded_items(content) if item.kind == b"hvc1"]
    assert len(tiles) == 6
    for tile in tiles:
        start, end = tile.extents[0]
        at = (start + end) // 2
        with pytest.raises(Unreadable):
            read_photo(content[:at] + bytes(16) + content[at + 16 :])


@pytest.mark.parametrize("size", [2, -3, 12])
def test_a_step_in_the_middle_of_a_row_is_found(size: int) -> None:
    for seed in range(3):
        pixels = np.asarray(scene(seed=seed)).astype(int)
        assert find_step(pixels.astype(np.uint8), 16) is None
        pixels[160:176, 304:] += size
        pixels[176:] += size
        assert find_step(np.clip(pixels, 0, 255).astype(np.uint8), 16) == 160


@pytest.mark.parametrize(
    ("orientation", "place"),
    [(1, "0.33 top"), (3, "0.67 top"), (6, "0.67 left"), (8, "0.33 left"), (5, "0.33 left"), (7, "0.67 left")],
)
def test_the_place_of_a_step_is_told_as_the_photo_is_seen(orientation: int, place: str) -> None:
    pixels = np.asarray(scene()).astype(int)
    pixels[160:176, 304:] += 12
    pixels[176:] += 12
    stepped = Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8))
    content = save(stepped, "JPEG", quality=97, subsampling=2, exif=exif(orientation=orientation))
    assert read_photo(content).warnings == (f"damaged_step {place}",)
    check = _note(f"damaged_step {place}")
    assert check.stopped
    assert "33 %" in check.says or "67 %" in check.says


def test_a_plain_tiff_filled_up_with_zeros_stops_the_number() -> None:
    content = other("uncompressed")
    photo = read_photo(content[:-200_001].ljust(len(content), b"\0"))
    assert photo.warnings == ("damaged_empty",)


def test_an_avif_filled_up_with_zeros_is_refused() -> None:
    content = other("AVIF")
    with pytest.raises(Unreadable):
        read_photo(content[: len(content) // 2].ljust(len(content), b"\0"))


def test_a_photo_that_looks_damaged_gives_no_number_on_any_way_in(tmp_path: Path) -> None:
    codes = photograph(drawn()).encoded.astype(int)
    codes[480:496, 500:] += 12
    codes[496:] += 12
    content = save(np.clip(codes, 0, 255).astype(np.uint8), "JPEG", quality=95, subsampling=2)
    marks = drawn_marks()
    with Store(tmp_path / "studio") as store:
        client = workflow.add_client(store, "Ada", "", {MEASURING: True, PORTFOLIO: False}, "the owner")
        taken, _ = workflow.take_in(store, content, client_id=client.id, role=BEFORE, light="daylight")
        kept = workflow.measure_record(store, taken, marks)
        reading, why = workflow.measure_passing(store, workflow.look_at(content, "grey18"), marks)
    assert kept.reading is not None
    assert not kept.reading.ok
    assert "looks damaged" in (kept.failure or "")
    assert reading is None
    assert "looks damaged" in why
    assert not measure_photo(read_photo(content), marks).ok  # as the command line does


def test_a_chunk_of_a_png_with_a_wrong_length_is_refused() -> None:
    content = bytearray(other("PNG"))
    content[33:37] = struct.pack(">I", 2**31)
    with pytest.raises(Unreadable):
        read_photo(bytes(content))


def test_a_damage_moves_a_reading_and_none_does_not() -> None:
    healthy = read_photo(other("uncompressed"))
    assert moved(healthy, healthy) == 0
    assert set(DAMAGES) == {"flipped bit", "empty sector", "lost tail", "zero tail"}
