"""What becomes of damaged photos: ``python -m tests.damage_bench FOLDER`` prints a table.

Each photo of the folder and every sample photo is damaged in one place and set against itself without the damage.
JPEG and HEIC are taken as their cameras wrote them; the other formats are made here from the same photos.

The reading: a card where the program first expects one, and three bands of hair in the middle; each band is balanced
by the card, as the program does, and what the damage moves is the largest CIEDE2000 of the three. A card that moves
therefore moves all bands.
"""

from __future__ import annotations

import argparse
import io
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from unittest.mock import patch

import numpy as np
from PIL import Image
from pillow_heif import register_heif_opener
from skimage.color import deltaE_ciede2000

from tests.samples import sample_photos
from tracker.errors import PhotoError
from tracker.maths.colorimetry import linear_to_lab
from tracker.photo import Photo, read_photo

register_heif_opener()

SECTOR = 512
HEAD = 4096  # bytes at the start that are left alone: what stands there is tags and tables
CARD = (0.70, 0.55, 0.88, 0.71)  # left, top, right, bottom, shares of the photo
BANDS = ((0.40, 0.15, 0.52, 0.30), (0.40, 0.40, 0.52, 0.55), (0.40, 0.70, 0.52, 0.85))
MADE: dict[str, Callable[[Image.Image], bytes]] = {
    "HEIC, made": lambda image: saved(
        image, "HEIF", quality=80, tile_size=512, thumbnails=[256], enc_params={"preset": "ultrafast"}
    ),
    "PNG": lambda image: saved(image, "PNG", compress_level=1),
    "TIFF deflate": lambda image: saved(image, "TIFF", compression="tiff_adobe_deflate"),
    "TIFF LZW": lambda image: saved(image, "TIFF", compression="tiff_lzw"),
    "TIFF PackBits": lambda image: saved(image, "TIFF", compression="packbits"),
    "TIFF plain": lambda image: saved(image, "TIFF"),
    "WebP": lambda image: saved(image, "WEBP", quality=90),
    "AVIF": lambda image: saved(image, "AVIF", quality=80, speed=9),
}
Box = tuple[float, float, float, float]


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def flipped(content: bytes, chance: np.random.Generator) -> bytes:
    """One bit the other way."""
    at = int(chance.integers(min(HEAD, len(content) // 2), len(content)))
    return content[:at] + bytes([content[at] ^ (1 << int(chance.integers(8)))]) + content[at + 1 :]


def emptied(content: bytes, chance: np.random.Generator) -> bytes:
    """One sector of a disk full of zeros."""
    first = -(-min(HEAD, len(content) // 2) // SECTOR)
    at = SECTOR * int(chance.integers(first, max(first + 1, len(content) // SECTOR)))
    return content[:at] + bytes(SECTOR) + content[at + SECTOR :]


def shortened(content: bytes, chance: np.random.Generator) -> bytes:
    """The last part missing, 1 to 60 % of the file."""
    return content[: int(len(content) * (1 - chance.uniform(0.01, 0.6)))]


def filled(content: bytes, chance: np.random.Generator) -> bytes:
    """The last part zeros, as a broken copy of the full length has it."""
    return shortened(content, chance).ljust(len(content), b"\0")


DAMAGES = {"flipped bit": flipped, "empty sector": emptied, "lost tail": shortened, "zero tail": filled}


def moved(healthy: Photo, damaged: Photo) -> float:
    """How far a reading moves, CIEDE2000."""
    if healthy.size != damaged.size:
        return 100.0
    labs = []
    reference = _mean(healthy, CARD)
    for photo in (healthy, damaged):
        gains = reference / np.maximum(_mean(photo, CARD), 1e-4)
        labs.append(np.array([linear_to_lab(gains * _mean(photo, band)) for band in BANDS]))
    return float(deltaE_ciede2000(labs[0], labs[1]).max())


def _mean(photo: Photo, box: Box) -> np.ndarray:
    width, height = photo.size
    left, top, right, bottom = (round(share * edge) for share, edge in zip(box, (width, height) * 2, strict=True))
    part = photo.encoded[top:bottom, left:right]
    return np.asarray(photo.space.linear(part).reshape(-1, 3).mean(axis=0))


def stops(photo: Photo) -> bool:
    return any(warning.startswith("damaged") for warning in photo.warnings)


def outcome(content: bytes, healthy: Photo) -> tuple[str, float]:
    """What became of a damaged file, and how far its reading moved or would have moved."""
    try:
        photo = read_photo(content)
    except PhotoError:
        return "refused", would_move(content, healthy)
    return "stopped" if stops(photo) else "silent", moved(healthy, photo)


def would_move(content: bytes, healthy: Photo) -> float:
    """How far a reading would have moved without the checks; infinite where no decoder takes the file."""
    with (
        patch("tracker.photo.read.check_bytes", lambda content, name: ()),
        patch("tracker.photo.read.decode_jpeg", lambda image, content: (None, ())),
    ):
        try:
            return moved(healthy, read_photo(content))
        except PhotoError:
            return float("inf")


def size_class(size: float) -> str:
    return "no photo" if size == float("inf") else "<= 1" if size <= 1 else "1-3" if size <= 3 else "> 3"


def photos(folder: Path) -> Iterator[tuple[str, bytes]]:
    """Names of formats with the files of them."""
    paths = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    np.random.default_rng(0).shuffle(paths)
    for path in [*sample_photos(), *paths]:
        content = path.read_bytes()
        kind = "JPEG" if content[:3] == b"\xff\xd8\xff" else "HEIC" if content[4:8] == b"ftyp" else ""
        if kind:
            yield kind, content


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--files", type=int, default=60, help="of each damage and format")
    parser.add_argument("--formats", nargs="*", default=["JPEG", "HEIC", *MADE])
    parser.add_argument("--largest", type=float, default=13, help="megapixels")
    parser.add_argument("--seed", type=int, default=20)
    wanted = parser.parse_args()
    table: dict[tuple[str, str], Counter[str]] = {}
    with suppress(KeyboardInterrupt):  # what there is by then is printed
        fill(table, wanted)
    for (name, damage), counts in sorted(table.items()):
        print(f"{name:14}{damage:14}", dict(sorted(counts.items())))
    return 0


def fill(table: dict[tuple[str, str], Counter[str]], wanted: argparse.Namespace) -> None:
    """Damage one photo after the other and count what becomes of them, by format and damage."""
    chance = np.random.default_rng(wanted.seed)
    done: Counter[str] = Counter()
    for kind, content in photos(wanted.folder):
        try:
            with Image.open(io.BytesIO(content)) as image:
                if not 0.3e6 <= image.width * image.height <= wanted.largest * 1e6:
                    continue
        except Exception:  # noqa: S112 - not a photo
            continue
        forms = [(kind, content)] if kind in wanted.formats else []
        if kind == "JPEG":
            forms += made_of(content, [name for name in MADE if name in wanted.formats and done[name] < wanted.files])
        for name, form in forms:
            if done[name] >= wanted.files * (5 if name == "JPEG" else 1):
                continue
            try:
                healthy = read_photo(form)
            except PhotoError as error:
                table.setdefault((name, "none"), Counter())[f"refused: {error.message[:60]}"] += 1
                continue
            done[name] += 1
            table.setdefault((name, "none"), Counter())["stopped" if stops(healthy) else "healthy"] += 1
            if done[name] > wanted.files:
                continue
            for damage, damaged in DAMAGES.items():
                said, size = outcome(damaged(form, chance), healthy)
                table.setdefault((name, damage), Counter())[f"{size_class(size)}: {said}"] += 1


def made_of(content: bytes, names: list[str]) -> list[tuple[str, bytes]]:
    if not names:
        return []
    with Image.open(io.BytesIO(content)) as image:
        try:
            small = image.convert("RGB")
        except OSError:
            return []
    small.thumbnail((1200, 1200))
    return [(name, MADE[name](small)) for name in names]


if __name__ == "__main__":
    raise SystemExit(main())
