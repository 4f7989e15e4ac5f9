"""A card drawn into a public photo as light would have done it: the corners are known to a hundredth of a pixel.

All of it happens in linear light: a plane card in perspective, light that falls off across it, the soft shadow that it
throws, fingers that hold it, the blur of the lens, the noise of the sensor, a phone's look, and JPEG.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image

from tests.bench.cards.photos import linear, rank
from tests.bench.heads.develop import looked
from tracker.maths.colorimetry import Floats, luminance
from tracker.measure.reference_card import CardKind

_FINE = 3  # samples across a pixel, so that edges are mixed
_MARGIN = 0.012  # of the frame, between its edge and a card that is wholly visible
_SHAPES = {"grey18": (0.68, 1.5), "steps2": (0.6, 1.1), "steps3": (0.4, 0.8), "chart24": (1.3, 1.5)}  # width / height
_SHARES = {"chart24": (0.10, 0.45)}  # of the frame's width; log-uniform
_SHARE = (0.04, 0.40)
_FRAME, _PATCH = 0.035, 0.84  # of a chart: reflectance between its patches, and their side against their cell
_NEAR_WALL, _HELD, _CUT, _ANY_TURN = 0.15, 0.35, 0.06, 0.12  # shares of all drawn cards
PARTLY = frozenset({"cut", "finger on a corner"})
"""Traits of a card that is not wholly seen."""
_SKIN = np.array([0.45, 0.27, 0.19])

Quad = Floats


@dataclass(frozen=True, slots=True, eq=False)
class Composite:
    """A photo with a drawn card.

    Attributes
    ----------
    content : bytes of the JPEG
    corners : (4, 2), pixels, clockwise from the card's own top left; of a cut card also outside the frame
    traits : what makes it hard: "cut", "finger on a side", "finger on a corner", "near the wall's grey", "turned"
    """

    content: bytes
    corners: Quad
    traits: frozenset[str]

    @property
    def whole(self) -> bool:
        """True where all of the card is in the frame and no corner is covered."""
        return not self.traits & PARTLY


def composite(codes: np.ndarray, name: str, kind: CardKind) -> Composite:
    """The photo with a card; the same name and kind give the same photo.

    Parameters
    ----------
    codes : (h, w, 3) uint8
    name : of the photo; seeds all draws
    kind : CardKind
    """
    rng = np.random.default_rng(rank(f"{name} {kind.name}"))
    picture = _resized(linear(codes), rng)
    height, width = picture.shape[:2]
    traits = {"turned"} if rng.uniform() < _ANY_TURN else set()
    if rng.uniform() < _CUT:
        traits.add("cut")
    quad, aspect = _placed(kind, (width, height), traits, rng)
    white = _white(picture, quad, traits, rng)
    picture *= 1 - _shadow(quad, (width, height), rng)[..., None]
    _lay(picture, _values(kind, rng), quad, aspect, white, rng)
    if "cut" not in traits and rng.uniform() < _HELD:
        traits.add(_hold(picture, quad, white, rng))
    return Composite(_taken(picture, rng), quad, frozenset(traits))


def _resized(picture: Floats, rng: np.random.Generator) -> Floats:
    longest = max(picture.shape[:2])
    wanted = min(float(rng.uniform(900, 1500)), 2.2 * longest)
    how = cv2.INTER_AREA if wanted < longest else cv2.INTER_CUBIC
    scale = wanted / longest
    return np.clip(cv2.resize(picture, None, fx=scale, fy=scale, interpolation=how), 0, 1)


def _placed(kind: CardKind, size: tuple[int, int], traits: set[str], rng: np.random.Generator) -> tuple[Quad, float]:
    """Corners of a card somewhere in the frame, and its width over its height."""
    frame = np.array(size, float)
    aspect = float(rng.uniform(*_SHAPES[kind.name]))
    share = float(np.exp(rng.uniform(*np.log(_SHARES.get(kind.name, _SHARE)))))
    for _ in range(200):
        share = min(share, 0.75 * size[1] / size[0] * aspect) * 0.995
        quad = _seen(aspect, share * size[0], frame, "turned" in traits, rng)
        low, high = quad.min(axis=0), quad.max(axis=0)
        if "cut" in traits:
            inside = np.all((quad > 0) & (quad < frame), axis=1).sum()
            if inside == 2:
                return quad, aspect
        elif np.all(low > _MARGIN * frame) and np.all(high < (1 - _MARGIN) * frame):
            return quad, aspect
    raise ValueError("no place for the card in the photo")


def _seen(aspect: float, pixels: float, frame: Floats, turned: bool, rng: np.random.Generator) -> Quad:
    tilt, turn = np.radians(np.clip(rng.normal(0, 14, 2), -38, 38))
    roll = rng.uniform(-np.pi, np.pi) if turned else np.radians(rng.normal(0, 6))
    pose, _ = cv2.Rodrigues(np.array([0.0, 0.0, roll]))
    for axis in ((tilt, 0.0, 0.0), (0.0, turn, 0.0)):
        pose = pose @ cv2.Rodrigues(np.array(axis))[0]
    card = np.array([[-0.5, -0.5, 0], [0.5, -0.5, 0], [0.5, 0.5, 0], [-0.5, 0.5, 0]]) * [1, 1 / aspect, 1]
    focal = 1.15 * float(frame.max())  # of a phone's main camera
    points = card @ pose.T + [0, 0, focal / pixels]
    flat = focal * points[:, :2] / points[:, 2:]
    return np.asarray(flat + rng.uniform(0, 1, 2) * frame)


def _white(picture: Floats, quad: Quad, traits: set[str], rng: np.random.Generator) -> Floats:
    """Linear values of a perfect white in the card's place, (3,)."""
    cast = np.exp(rng.normal(0, 0.1, 3))
    white = np.exp(rng.uniform(np.log(0.55), np.log(1.5))) * cast / cast[1]
    if rng.uniform() < _NEAR_WALL:
        x, y = np.clip(quad.mean(axis=0).astype(int), 0, np.array(picture.shape[1::-1]) - 1)
        reach = max(int(np.ptp(quad[:, 0]) * 0.7), 4)
        wall = picture[max(y - reach, 0) : y + reach, max(x - reach, 0) : x + reach].reshape(-1, 3).mean(axis=0)
        if 0.06 < luminance(wall) < 0.35 and wall.min() > 0.4 * wall.max():
            traits.add("near the wall's grey")
            return np.asarray(wall / 0.18 * np.exp(rng.normal(0, 0.06)))
    return np.asarray(white)


def _values(kind: CardKind, rng: np.random.Generator) -> Floats:
    """What the patches reflect by rows and columns, (rows, columns, 3); each card is a little another."""
    columns = round(1 / (kind.boxes[0][2] - kind.boxes[0][0]))
    values = kind.reference(None, None) * np.exp(rng.normal(0, 0.02))
    if kind.dark is not None:
        values[kind.dark] *= rng.uniform(0.75, 1.3)
    return values.reshape(-1, columns, 3)


def _shadow(quad: Quad, size: tuple[int, int], rng: np.random.Generator) -> Floats:
    """Share of the light that the card takes from what is behind it, (h, w)."""
    across = float(np.hypot(*(quad[1] - quad[0])))
    mask = np.zeros(size[::-1], np.float32)
    moved = quad + rng.normal(0, 0.03, 2) * across
    cv2.fillConvexPoly(mask, np.rint(moved * 16).astype(np.int32), 1.0, cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(mask, (0, 0), max(across * float(rng.uniform(0.01, 0.06)), 1.0))
    return np.asarray(soft * rng.uniform(0.0, 0.45), float)


def _lay(picture: Floats, values: Floats, quad: Quad, aspect: float, white: Floats, rng: np.random.Generator) -> None:
    """Draw the card into the picture, in place."""
    height, width = picture.shape[:2]
    left, top = np.maximum(np.floor(quad.min(axis=0)).astype(int) - 8, 0)
    right, bottom = np.minimum(np.ceil(quad.max(axis=0)).astype(int) + 8, (width, height))
    xs, ys = (
        first + (np.arange((last - first) * _FINE) + 0.5) / _FINE for first, last in ((left, right), (top, bottom))
    )
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    onto = cv2.getPerspectiveTransform(quad.astype(np.float32), square)
    places = np.stack(np.meshgrid(xs, ys), axis=-1)
    u, v = np.moveaxis(cv2.perspectiveTransform(places.reshape(1, -1, 2), onto).reshape(places.shape), -1, 0)
    shown = _print(values, u, v) * white * _falloff(u, v, rng)[..., None]
    shown *= np.exp(rng.normal(0, rng.uniform(0, 0.006), shown.shape[:2]))[..., None]  # its paper
    covers = _outline(u, v, aspect, rng)

    def coarse(fine: Floats) -> Floats:
        return np.asarray(fine.reshape(bottom - top, _FINE, right - left, _FINE, -1).mean(axis=(1, 3)))

    blur = float(rng.uniform(0.4, 1.4))
    layer = np.concatenate([coarse(shown * covers[..., None]), coarse(covers)], axis=-1)
    layer = cv2.GaussianBlur(layer, (0, 0), blur)
    part = picture[top:bottom, left:right]
    part *= 1 - layer[..., 3:]
    part += layer[..., :3]


def _print(values: Floats, u: Floats, v: Floats) -> Floats:
    rows, columns = values.shape[:2]
    across, down = u * columns, v * rows
    shown = values[np.clip(down.astype(int), 0, rows - 1), np.clip(across.astype(int), 0, columns - 1)]
    if columns > 1:
        shown[np.maximum(np.abs(across % 1 - 0.5), np.abs(down % 1 - 0.5)) > _PATCH / 2] = _FRAME
    return np.asarray(shown)


def _falloff(u: Floats, v: Floats, rng: np.random.Generator) -> Floats:
    """Light across the card against its middle: a slope of up to half a stop, and a slight bow."""
    way, steep, bow = rng.uniform(-np.pi, np.pi), abs(rng.normal(0, 0.17)), rng.normal(0, 0.04)
    along = np.cos(way) * (u - 0.5) + np.sin(way) * (v - 0.5)
    return np.asarray(2 ** (min(steep, 0.45) * along + bow * (4 * along**2 - 0.33)))


def _outline(u: Floats, v: Floats, aspect: float, rng: np.random.Generator) -> Floats:
    """1 on the card; one card of three has rounded corners."""
    radius = rng.uniform(0.01, 0.05) if rng.uniform() < 0.33 else 0.0
    x, y = np.abs(u - 0.5) * aspect, np.abs(v - 0.5)  # in heights of the card
    over_x, over_y = x - (0.5 * aspect - radius), y - (0.5 - radius)
    inside = (over_x <= radius) & (over_y <= radius)
    corner = (over_x > 0) & (over_y > 0) & (np.hypot(over_x, over_y) > radius)
    return (inside & ~corner).astype(float)


def _hold(picture: Floats, quad: Quad, white: Floats, rng: np.random.Generator) -> str:
    """Draw fingers over the card's rim, in place; which trait that is."""
    side = int(rng.integers(4))
    begin, end, middle = quad[side], quad[(side + 1) % 4], quad.mean(axis=0)
    length = float(np.hypot(*(end - begin)))
    thick = float(np.sqrt(abs(cv2.contourArea(quad.astype(np.float32))))) * float(rng.uniform(0.10, 0.19))
    skin = _SKIN * float(np.exp(rng.uniform(np.log(0.25), np.log(1.1)))) * white
    if rng.uniform() < 0.3:
        inwards = (middle - begin) / np.hypot(*(middle - begin))
        finger(picture, begin + inwards * thick * rng.uniform(0.2, 0.7), -inwards, thick, skin)
        return "finger on a corner"
    normal = np.array([end[1] - begin[1], begin[0] - end[0]]) / length
    normal *= np.sign((begin - middle) @ normal)
    first = float(rng.uniform(0.25, 0.6))
    for k in range(int(rng.integers(1, 4))):
        place = first + k * 1.1 * thick / length
        if place < 0.78:
            tip = begin + place * (end - begin) - normal * thick * float(rng.uniform(0.1, 0.8))
            finger(picture, tip, normal, thick, skin * float(np.exp(rng.normal(0, 0.06))))
    return "finger on a side"


def finger(picture: Floats, tip: Floats, out: Floats, thick: float, skin: Floats) -> None:
    """Draw a rounded finger into a picture, in place, with its shade.

    Parameters
    ----------
    picture : (h, w, 3), linear light
    tip, out : (2,), where it ends, pixels, and the unit vector towards the hand
    thick : float, pixels
    skin : (3,), linear light that it gives back
    """
    height, width = picture.shape[:2]
    y, x = np.mgrid[0:height, 0:width] + 0.5
    along = np.maximum((x - tip[0]) * out[0] + (y - tip[1]) * out[1], 0)
    along = np.minimum(along, 4 * thick)
    away = np.hypot(x - tip[0] - along * out[0], y - tip[1] - along * out[1]) - thick / 2
    picture *= (1 - 0.35 * np.exp(-np.maximum(away, 0) / (0.12 * thick)))[..., None]  # contact shadow
    round_ = np.sqrt(np.clip(1 - ((away + thick / 2) / (thick / 2)) ** 2, 0, 1))
    alpha = np.clip(0.5 - away / 1.6, 0, 1)[..., None]
    picture *= 1 - alpha
    picture += alpha * skin * (0.45 + 0.55 * round_)[..., None]


def _taken(picture: Floats, rng: np.random.Generator) -> bytes:
    """The JPEG that a phone makes of it."""
    electrons = np.exp(rng.uniform(np.log(1500), np.log(20000)))
    noise = np.sqrt(np.clip(picture, 0, None) / electrons + rng.uniform(3e-4, 2e-3) ** 2)
    grain = cv2.GaussianBlur(rng.normal(size=picture.shape), (0, 0), 0.55)
    grain /= grain.std()
    codes = np.clip(looked(picture + noise * grain, float(rng.uniform(0, 1))), 0, 1)
    content = io.BytesIO()
    quality = int(rng.integers(78, 96))
    Image.fromarray((codes * 255 + 0.5).astype(np.uint8)).save(content, "JPEG", quality=quality, subsampling=2)
    return content.getvalue()
