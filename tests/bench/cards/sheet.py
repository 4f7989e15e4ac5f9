"""A picture of the ordinary photos in which a card was taken or asked about: some do show a grey rectangle."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from tests.bench.cards.photos import opened
from tests.bench.cards.run import NO_CARD, Answer

_TILE, _ACROSS = 360, 5


def sheet(answers: Sequence[Answer], folder: Path, to: Path) -> None:
    """Write the picture; nothing where there is nothing to show.

    Parameters
    ----------
    answers : of one kind
    folder : of the photos of the part
    to : a JPEG; taken in red, asked about in yellow
    """
    tiles = [_tile(a, folder) for a in answers if a.source == NO_CARD and a.corners is not None]
    if not tiles:
        return
    tiles += [np.full_like(tiles[0], 255)] * (-len(tiles) % _ACROSS)
    rows = [np.hstack(tiles[k : k + _ACROSS]) for k in range(0, len(tiles), _ACROSS)]
    Image.fromarray(np.vstack(rows)).save(to, "JPEG", quality=88)


def _tile(answer: Answer, folder: Path) -> np.ndarray:
    codes = opened(folder / f"{answer.name}.jpg").copy()
    colour = (255, 0, 0) if answer.outcome == "wrong and sure" else (255, 220, 0)
    thick = max(round(max(codes.shape) / 200), 1)
    cv2.polylines(codes, [np.rint(np.array(answer.corners)).astype(np.int32)], True, colour, thick, cv2.LINE_AA)
    scale = _TILE / max(codes.shape[:2])
    small = cv2.resize(codes, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)[:_TILE, :_TILE]
    tile = np.full((_TILE, _TILE, 3), 255, np.uint8)
    tile[: small.shape[0], : small.shape[1]] = small
    return tile
