"""From spectra to the bytes of a photo: light, camera, look, file."""

from __future__ import annotations

import io
import zlib
from dataclasses import dataclass

import numpy as np
from PIL import Image

from tests.bench.conditions import AFTER, ROLES, Condition
from tests.bench.hair import COLUMNS, HEADS, PATH_COLUMNS, PATH_ROWS, ROWS, lock, texture, truth
from tests.bench.room import CARD, HAIR, SECOND, WALL, Surfaces
from tests.bench.room import light as room_light
from tests.bench.spectra import STEPS, camera_matrix, card, light, noted, raw, sensitivities
from tests.srgb import encode
from tracker.maths.colorimetry import Floats
from tracker.measure.reading import MIXED, NOT_NOTED, Marks
from tracker.measure.reference_card import CARD_KINDS

WIDTH, HEIGHT = 420, 560
_HAIR = (80, 20)  # left, top
_CARDS = {"grey18": (260, 200, 110, 110), "steps3": (270, 190, 90, 162), "chart24": (240, 220, 168, 112)}
_FRAME = 0.05
_WALL = 0.30
_PATCH_INSET = 0.08  # of a chart's cell, on each side
PLACES = {"wall by card": (265, 110, 100, 60), "wall by hair": (8, 110, 64, 60), "second grey": (8, 200, 64, 110)}
"""Left, top, width and height of what can be marked besides hair and card."""


@dataclass(frozen=True, slots=True)
class Shot:
    """One photo to be taken."""

    condition: Condition
    kind: str
    head: int
    role: str
    lamp: str
    camera: int
    misprint: float = 1.0

    @property
    def colours(self) -> tuple[str, str, str]:
        """Colours of root, mid and end."""
        return HEADS[self.head][self.role == AFTER]

    @property
    def noted(self) -> str:
        """What the person in the studio notes of the light."""
        if self.condition.second:
            return MIXED
        return noted(self.lamp) if self.condition.noted else NOT_NOTED

    @property
    def seed(self) -> tuple[int, ...]:
        """What is drawn for this photo: the same in every condition and beside every card."""
        return self.head, ROLES.index(self.role), zlib.crc32(f"{self.lamp} {self.camera}".encode())

    @property
    def lies(self) -> tuple[int, ...]:
        """How the hair lies: the same in every photo of a head, unless it is laid anew for each."""
        return self.seed if self.condition.relaid else (self.head,)

    @property
    def truth(self) -> dict[str, Floats]:
        """True CIELAB of root, mid and end, as the hair lies without being laid anew."""
        return truth(self.colours, (self.head,))


def marks(kind: str) -> Marks:
    """The true marks."""
    x, y, w, h = (float(v) for v in _CARDS[kind])
    middle = _HAIR[0] + sum(PATH_COLUMNS) / 2
    path = ((middle, float(_HAIR[1] + PATH_ROWS[0])), (middle, float(_HAIR[1] + PATH_ROWS[1])))
    corners = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
    return Marks(kind, corners, path, float(PATH_COLUMNS[1] - PATH_COLUMNS[0]))


def take(shot: Shot) -> bytes:
    """The photo as the bytes of a JPEG file."""
    how = shot.condition
    rng = np.random.default_rng((*shot.seed, 1))
    red, blue, exposure, uneven = rng.uniform(-1, 1, 4)
    scene = _scene(shot, np.sign(uneven) if how.always else uneven)
    linear = scene * np.float32(2 ** (how.exposure + 0.25 * exposure)) + np.float32(0)
    spread = np.sqrt(np.maximum(linear, 0) / how.electrons + 3e-4**2)
    linear += spread * rng.standard_normal(linear.shape, np.float32)
    # the balance scales raw values; what passes full scale is burnt out
    linear = np.clip(linear * np.array([1 + how.balance * red, 1, 1 + how.balance * blue], np.float32), 0, 1)
    linear = linear @ camera_matrix(shot.camera, shot.lamp, how.adapts).T.astype(np.float32)
    return _file(_look(linear, how), how.quality)


def _other(lamp: str) -> Floats:
    """The second lamp where there are two: of another colour."""
    return light("LED-B2" if lamp in ("D65", "D50", "FL7") else "D65")


def _scene(shot: Shot, uneven: float) -> Floats:
    """Raw values of the whole picture, white under the lamp being 1."""
    how, lamp = shot.condition, light(shot.lamp)
    if how.room is None:
        return np.asarray(_surfaces(shot, uneven, lamp) + np.float32(how.glare))
    place, photo = (np.random.default_rng((*seed, 2)) for seed in (shot.seed[::2], shot.seed))
    direct, around = room_light(how.room, _shown(shot), place, photo)
    if not how.room.two_colours:
        direct, around = direct + around, np.zeros_like(around)
    picture = _surfaces(shot, uneven, lamp) * direct[..., None]
    if how.room.two_colours:
        picture += _surfaces(shot, uneven, _other(shot.lamp)) * around[..., None]
    return np.asarray(picture + how.glare, np.float32)


def _shown(shot: Shot) -> Surfaces:
    """What each pixel shows."""
    shown = np.full((HEIGHT, WIDTH), WALL)
    for what, (x, y, w, h) in (
        (HAIR, (*_HAIR, COLUMNS, ROWS)),
        (CARD, _CARDS[shot.kind]),
        (SECOND, PLACES["second grey"]),
    ):
        shown[y : y + h, x : x + w] = what
    return shown


def _surfaces(shot: Shot, uneven: float, falls: Floats) -> Floats:
    """Raw values of all that is in the picture under a light, white under the photo's lamp being 1."""
    how, lamp = shot.condition, light(shot.lamp)
    white = raw(np.ones_like(lamp), shot.camera, falls, lamp).astype(np.float32)
    picture = np.full((HEIGHT, WIDTH, 3), _WALL, np.float32) * white
    left, top = _HAIR
    picture[top : top + ROWS, left : left + COLUMNS] = _hair(shot, uneven, falls)
    if how.second_grey:
        # each card is turned a little to or from the light, which `uneven` stands for
        own = float(np.random.default_rng((*shot.seed, 3)).uniform(-1, 1))
        turned = uneven - (np.sign(own) if how.always else own)
        x, y, w, h = PLACES["second grey"]
        picture[y : y + h, x : x + w] = STEPS[1] * white * np.float32(2 ** (how.uneven * turned))
    x, y, w, h = _CARDS[shot.kind]
    picture[y : y + h, x : x + w] = _FRAME
    inset = _PATCH_INSET if shot.kind == "chart24" else 0.0
    for (x0, y0, x1, y1), value in zip(
        CARD_KINDS[shot.kind].boxes, raw(card(shot.kind, how.new_batch), shot.camera, falls, lamp), strict=True
    ):
        dx, dy = inset * (x1 - x0), inset * (y1 - y0)
        rows = slice(round(y + (y0 + dy) * h), round(y + (y1 - dy) * h))
        picture[rows, round(x + (x0 + dx) * w) : round(x + (x1 - dx) * w)] = value * shot.misprint
    if how.gradient:
        slope = how.gradient * ((np.arange(WIDTH) + 0.5 - (x + w / 2)) / WIDTH)
        picture *= (2**slope)[None, :, None].astype(np.float32)
    return picture


def _hair(shot: Shot, uneven: float, falls: Floats) -> Floats:
    how, lamp = shot.condition, light(shot.lamp)
    falls = (1 - how.second) * falls + how.second * _other(shot.lamp)
    seen = sensitivities(shot.camera)
    weights = falls[:, None] * seen / (lamp @ seen)
    lies = texture(shot.lies)
    body = lock(shot.colours, lies, weights)
    return (body + lies.gloss[..., None] * weights.sum(axis=0).astype(np.float32)) * np.float32(
        2 ** (how.uneven * uneven)
    )


def _look(linear: Floats, how: Condition) -> Floats:
    """Encoded values after the camera's own saturation and contrast."""
    grey = (linear @ np.array([0.2126, 0.7152, 0.0722], np.float32))[..., None]
    encoded = encode(np.clip(grey + (linear - grey) * (1 + how.saturation), 0, 1))
    return np.asarray(encoded - how.contrast * np.sin(2 * np.pi * encoded))


def _file(encoded: Floats, quality: int) -> bytes:
    codes = (np.clip(encoded, 0, 1) * 255 + 0.5).astype(np.uint8)
    content = io.BytesIO()
    Image.fromarray(codes).save(content, "JPEG", quality=quality, subsampling=2)
    return content.getvalue()


def misprints(condition: Condition, kind: str, head: int) -> tuple[float, float]:
    """What the cards of a head's two kits reflect, relative to what their maker says."""
    draws = np.random.default_rng((head, 99)).uniform(-1, 1, 2)
    first, second = 1 + draws * condition.misprint * CARD_KINDS[kind].tolerance
    return float(first), float(second)
