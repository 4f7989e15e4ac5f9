"""Public photos on the disk, in two parts: one for those who fit a search, one for the final figure only.

``python -m tests.bench.cards.photos NAME=REPOSITORY ... --to FOLDER`` takes them out of git repositories.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import numpy as np
from PIL import Image

from tracker.maths.colorimetry import Floats
from tracker.maths.rgb_space import SRGB

Part = Literal["fit", "held"]
PARTS: tuple[Part, ...] = get_args(Part)
ORDINARY = 1000
"""Photos of a part that are searched as they are; the others of it are there to draw cards into."""
_SMALLEST = 400  # pixels, of the longer side


@dataclass(frozen=True, slots=True)
class PhotoSet:
    """Photos of one public git repository.

    Attributes
    ----------
    name : str, short, begins the names of its files
    repository : str, owner and name
    paths : str, a regular expression that the path of each photo matches
    most : int, so many are taken
    """

    name: str
    repository: str
    paths: str
    most: int


SETS = (
    PhotoSet("objects", "EliSchwartz/imagenet-sample-images", r".*\.JPEG", 1000),
    PhotoSet("clothes", "alexeygrigorev/clothing-dataset-small", r"(train|validation|test)/.*\.jpg", 800),
    PhotoSet("street", "bearpaw/clothing-co-parsing", r"photos/.*\.jpg", 600),
    PhotoSet("nature", "BIDS/BSDS500", r"BSDS500/data/images/.*\.jpg", 400),
    PhotoSet("shop", "marcusklasson/GroceryStoreDataset", r"dataset/(train|val|test)/.*\.jpg", 300),
)


def rank(name: str) -> int:
    """A number that depends on a name alone and says nothing of it."""
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big")


def part_of(name: str) -> Part:
    """The part to which a photo, or a rendered head, belongs for good."""
    return PARTS[rank(name) % 2]


def photos(folder: Path, part: Part) -> tuple[list[Path], list[Path]]:
    """The photos of a part: those searched as they are, and those that cards are drawn into.

    Parameters
    ----------
    folder : that holds `fit` and `held`
    part : "fit" or "held"
    """
    found = sorted((folder / part).glob("*.jpg"), key=lambda path: rank("order " + path.name))
    strays = [path.name for path in found if part_of(path.stem) != part]
    if strays:
        raise ValueError(f"{strays[0]} does not belong to the part {part}")
    plain, ground = found[:ORDINARY], found[ORDINARY:]
    return plain, ground or plain


def opened(path: Path) -> np.ndarray:
    """Codes of a photo, (h, w, 3) uint8."""
    with Image.open(path) as photo:
        return np.asarray(photo.convert("RGB"))


def linear(codes: np.ndarray) -> Floats:
    """Linear light of eight-bit codes, (h, w, 3), 1 = white."""
    return np.asarray(SRGB.linear(codes), float)


def taken_out(photos_of: PhotoSet, repository: Path) -> Iterator[tuple[str, bytes]]:
    """Name and content of the photos of a set, from its git repository.

    Parameters
    ----------
    photos_of : which
    repository : folder of the repository
    """
    listed = _git(repository, "ls-tree", "-r", "--name-only", "-z", "HEAD").decode("utf-8", "replace").split("\0")
    paths = sorted((path for path in listed if re.fullmatch(photos_of.paths, path)), key=rank)
    count = 0
    for path in paths:
        content = _git(repository, "show", f"HEAD:{path}")
        if _is_wanted(content):
            yield f"{photos_of.name}-{re.sub(r'[^A-Za-z0-9]+', '-', path.rsplit('.', 1)[0])}", content
            count += 1
        if count == photos_of.most:
            return


def _git(repository: Path, *command: str) -> bytes:
    return subprocess.run(["git", "-C", str(repository), *command], check=True, capture_output=True).stdout


def _is_wanted(content: bytes) -> bool:
    try:
        with Image.open(io.BytesIO(content)) as photo:
            return photo.format == "JPEG" and photo.mode == "RGB" and max(photo.size) >= _SMALLEST
    except OSError:
        return False


def main() -> int:
    """Fill the two folders."""
    cli = argparse.ArgumentParser(prog="python -m tests.bench.cards.photos", description=__doc__)
    cli.add_argument("repositories", nargs="+", metavar="NAME=REPOSITORY")
    cli.add_argument("--to", type=Path, required=True, metavar="FOLDER")
    args = cli.parse_args()
    where = dict(each.split("=", 1) for each in args.repositories)
    for part in PARTS:
        (args.to / part).mkdir(parents=True, exist_ok=True)
    for each in SETS:
        if each.name not in where:
            continue
        count = 0
        for name, content in taken_out(each, Path(where[each.name])):
            (args.to / part_of(name) / f"{name}.jpg").write_bytes(content)
            count += 1
        print(f"{each.name}: {count} photos of {each.repository}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
