"""Twenty drawn photos for the frozen numbers: small, alike on every machine, and drawn without the package's colours.

Noise is summed from evenly spread numbers and smoothed by running means, and the colour formulas stand here once more:
so neither another numpy nor a slip in the package can move a scene and its reading together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from tests.scenes import Drawn
from tracker.measure.reading import DAYLIGHT, LAMPS, MIXED, TUBES, Marks

Lab = tuple[float, float, float]
Point = tuple[float, float]

WIDTH, HEIGHT = 300, 400
CARD: tuple[Point, ...] = ((203.3, 150.7), (281.4, 154.2), (277.6, 251.3), (200.8, 246.9))
CHART: tuple[Point, ...] = ((176.3, 150.7), (290.4, 154.2), (288.6, 231.3), (174.8, 228.9))
PATH: tuple[Point, ...] = ((96.0, 44.0), (92.0, 150.0), (97.0, 250.0), (94.0, 356.0))
CROOKED: tuple[Point, ...] = ((70.0, 50.0), (110.0, 130.0), (75.0, 220.0), (118.0, 300.0), (90.0, 352.0))
HAIR = (20.0, 165.0)  # left and right of the hair
OUTLINE: tuple[Point, ...] = ((20.0, 24.0), (165.0, 24.0), (165.0, 376.0), (20.0, 376.0))

STRIP = ((0.90,) * 3, (0.18,) * 3, (0.035,) * 3)
# linear sRGB of the 24 patches, row by row: "ColorChecker24 - After November 2014" among colour-science's data sets
PATCHES = (
    *((0.1737, 0.0788, 0.0528), (0.5599, 0.2774, 0.2109), (0.1042, 0.1889, 0.3289), (0.1058, 0.1507, 0.0508)),
    *((0.2275, 0.2124, 0.4264), (0.1153, 0.5074, 0.4111), (0.7460, 0.2021, 0.0298), (0.0588, 0.1012, 0.3877)),
    *((0.5602, 0.0801, 0.1146), (0.1092, 0.0420, 0.1381), (0.3328, 0.4974, 0.0426), (0.7711, 0.3578, 0.0204)),
    *((0.0210, 0.0475, 0.2841), (0.0461, 0.2920, 0.0615), (0.4462, 0.0364, 0.0405), (0.8418, 0.5743, 0.0046)),
    *((0.5224, 0.0778, 0.2893), (0.0, 0.2337, 0.3772), (0.8797, 0.8849, 0.8342), (0.5846, 0.5921, 0.5844)),
    *((0.3577, 0.3670, 0.3652), (0.1901, 0.1908, 0.1898), (0.0859, 0.0887, 0.0898), (0.0314, 0.0315, 0.0323)),
)


@dataclass(frozen=True)
class Drawing:
    """What a scene is drawn with, and how it is marked.

    Attributes
    ----------
    root, tip : Lab of the hair at either end
    spread : L*, standard deviation between strands
    stripes : L* by which every second piece of hair is lighter
    reflectance : of a plain card
    gains : the light's colour
    fall : EV by which the light rises from the left edge of the photo to the right one
    contrast, stray : what the camera does to linear light: an exponent about middle grey, and stray light
    noise : standard deviation at white, linear
    blur : pixels, standard deviation
    gloss : share of the hair with surface light on it
    width : pixels, of the ribbon
    burnt : share of the ribbon that is burnt out, at its middle
    covered : share of the card's width that a finger hides, at its right edge
    light : what is noted of the light
    found : True where the card's corners are not marked
    """

    root: Lab = (30.0, 6.0, 13.0)
    tip: Lab = (38.0, 7.0, 18.0)
    spread: float = 2.5
    stripes: float = 0.0
    kind: str = "grey18"
    reflectance: float = 0.18
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0)
    fall: float = 0.0
    contrast: float = 1.0
    stray: float = 0.0
    noise: float = 0.004
    blur: float = 0.0
    gloss: float = 0.0
    burnt: float = 0.0
    covered: float = 0.0
    light: str | None = None
    found: bool = False
    bits: int = 8
    path: tuple[Point, ...] = PATH
    width: float = 44.0
    size_mm: tuple[float, float] | None = None
    corners: tuple[Point, ...] = CARD

    @property
    def marks(self) -> Marks:
        """The marks of a ribbon by a person who points exactly."""
        noted = None if self.reflectance == 0.18 else self.reflectance
        corners = None if self.found else self.corners
        return Marks(self.kind, corners, self.path, self.width, noted, self.size_mm)  # type: ignore[arg-type]

    @property
    def whole(self) -> Marks:
        """The marks of the whole hair."""
        return replace(self.marks, width=None, outline=OUTLINE)


DRAWINGS: dict[str, Drawing] = {
    "plain": Drawing(light=DAYLIGHT),
    "plain again": Drawing(light=DAYLIGHT, fall=0.1),
    "card found": Drawing(found=True, spread=3.5, gains=(1.1, 1.0, 0.85)),
    "black": Drawing((7.0, 1.0, 0.5), (11.0, 2.0, 2.0), 1.2, light=DAYLIGHT),
    "dark and cool": Drawing((17.0, 2.0, 1.0), (22.0, 3.0, 3.0), 1.5, gains=(0.8, 0.8, 0.85)),
    "lightened ends": Drawing((28.0, 6.0, 12.0), (66.0, 5.0, 22.0), light=DAYLIGHT, size_mm=(85.0, 105.0)),
    "toned ends": Drawing((28.0, 6.0, 12.0), (62.0, 1.0, 9.0), light=DAYLIGHT, size_mm=(85.0, 105.0), fall=-0.1),
    "very light": Drawing((80.0, 3.0, 24.0), (86.0, 2.0, 20.0), 2.0, gains=(0.95, 0.95, 0.95)),
    "copper by lamps": Drawing((38.0, 22.0, 27.0), (41.0, 23.0, 31.0), gains=(1.7, 1.0, 0.45), light=LAMPS),
    "ash by tubes": Drawing((52.0, 1.0, -4.0), (58.0, -1.0, 2.0), gains=(0.85, 1.0, 0.9), light=TUBES, noise=0.012),
    "highlights": Drawing(stripes=16.0, path=CROOKED, width=38.0),
    "strip": Drawing(kind="steps3", contrast=1.12, stray=0.006, gains=(0.85, 0.75, 0.6), light=LAMPS),
    "chart": Drawing(kind="chart24", corners=CHART, contrast=1.1, stray=0.004, fall=0.2, bits=16, light=DAYLIGHT),
    "white card": Drawing((45.0, 9.0, 24.0), (50.0, 9.0, 26.0), reflectance=0.9, gains=(0.8, 0.8, 0.8)),
    "uneven light": Drawing(fall=0.9, light=DAYLIGHT),
    "far away and soft": Drawing(blur=2.5, width=24.0, gains=(0.6, 0.6, 0.6)),
    "glossy": Drawing((22.0, 4.0, 8.0), (26.0, 5.0, 11.0), gloss=0.14),
    "finger on the card": Drawing(covered=0.21),
    "some burnt out": Drawing((55.0, 8.0, 26.0), (60.0, 8.0, 28.0), burnt=0.018),
    "too much burnt out": Drawing((55.0, 8.0, 26.0), (60.0, 8.0, 28.0), burnt=0.035, light=MIXED),
}


@cache
def drawn(name: str) -> Drawn:
    """The scene of that name as a photo."""
    drawing = DRAWINGS[name]
    rng = np.random.default_rng([1812, list(DRAWINGS).index(name)])
    linear = _scene(drawing, rng)
    x = (np.arange(WIDTH) + 0.5) / WIDTH - 0.5
    lit = linear * np.asarray(drawing.gains) * np.exp2(drawing.fall * x)[None, :, None]
    seen = 0.18 * ((lit + drawing.stray) / (0.18 + drawing.stray)) ** drawing.contrast
    if drawing.blur:
        seen = _blurred(seen, drawing.blur)
    seen = seen + drawing.noise * np.sqrt(np.maximum(seen, 0.01)) * _noise(rng, seen.shape)
    top = 2**drawing.bits - 1
    codes = np.clip(np.rint(_encoded(seen) * top), 0, top)
    return Drawn(codes.astype(np.uint8 if drawing.bits == 8 else np.uint16))


def _scene(drawing: Drawing, rng: np.random.Generator) -> np.ndarray:
    """Linear light (h, w, 3) of hair, card and wall, 1.0 = perfect white."""
    x, y = np.arange(WIDTH) + 0.5, np.arange(HEIGHT) + 0.5
    wall = np.array([0.42, 0.38, 0.33]) + 0.05 * _smooth(_noise(rng, (HEIGHT, WIDTH, 3)), 5, 5)
    wall += 0.08 * np.sin(x / 9)[None, :, None]
    linear = np.maximum(wall, 0.02)

    inside = (x > HAIR[0]) & (x < HAIR[1])
    share = np.clip((y - 40) / (HEIGHT - 80), 0, 1)[:, None, None]
    lab = np.broadcast_to((1 - share) * np.array(drawing.root) + share * np.array(drawing.tip), linear.shape).copy()
    lab[..., 0] += drawing.spread * _smooth(_noise(rng, (HEIGHT, WIDTH)), 31, 3)
    lab[..., 0] += drawing.stripes * (np.floor(x / 7) % 2)
    hair = _linear(np.clip(lab, [1, -99, -99], [99, 99, 99]))
    if drawing.gloss:
        shining = _smooth(_noise(rng, (HEIGHT, WIDTH)), 9, 1)
        hair[shining > np.quantile(shining, 1 - drawing.gloss)] += 0.06
    columns = np.clip(drawing.burnt * drawing.width - np.floor(x - 90), 0, 1) * (x > 90)
    hair[(np.arange(HEIGHT) % 20)[:, None] < 20 * columns[None, :]] = 3.0
    linear[:, inside] = hair[:, inside]

    u, v = _in_unit_square(drawing.corners, *np.meshgrid(x, y))
    on = (u > 0) & (u < 1) & (v > 0) & (v < 1)
    linear[on] = _card(drawing, u[on], v[on])
    return linear


def _card(drawing: Drawing, u: np.ndarray, v: np.ndarray) -> np.ndarray:
    if drawing.kind == "steps3":
        colour = np.array(STRIP)[np.floor(v * 3).astype(int)]
    elif drawing.kind == "chart24":
        colour = np.array(PATCHES)[np.floor(v * 4).astype(int) * 6 + np.floor(u * 6).astype(int)]
    else:
        colour = np.full((len(u), 3), drawing.reflectance)
    colour[u > 1 - drawing.covered] = (0.45, 0.25, 0.16)
    return colour


def _in_unit_square(corners: tuple[Point, ...], x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where points of the photo lie on the card: the projective map of its four corners, solved as eight lines."""
    rows, right = [], []
    for (px, py), (u, v) in zip(corners, ((0, 0), (1, 0), (1, 1), (0, 1)), strict=True):
        rows += [[px, py, 1, 0, 0, 0, -u * px, -u * py], [0, 0, 0, px, py, 1, -v * px, -v * py]]
        right += [u, v]
    a, b, c, d, e, f, g, h = np.linalg.solve(np.array(rows, float), np.array(right, float))
    depth = g * x + h * y + 1
    return (a * x + b * y + c) / depth, (d * x + e * y + f) / depth


def _noise(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    """Nearly normal numbers with a standard deviation of one: the sum of four even ones."""
    return np.asarray((sum(rng.random(shape) for _ in range(4)) - 2) * np.sqrt(3.0))  # type: ignore[operator]


def _smooth(values: np.ndarray, rows: int, columns: int) -> np.ndarray:
    """Two running means along each axis; noise keeps a standard deviation of one."""
    found = values
    for axis, size in ((0, rows), (1, columns)):
        for _ in range(2):
            found = _running(found, size, axis)
    return np.asarray(found * (values.std() / found.std()))


def _blurred(values: np.ndarray, sigma: float) -> np.ndarray:
    """Three running means of odd widths, whose variances add up to nearly a Gaussian's."""
    size = 2 * round((np.sqrt(4 * sigma**2 + 1) - 1) / 2) + 1
    for axis in (0, 1):
        for _ in range(3):
            values = _running(values, size, axis)
    return values


def _running(values: np.ndarray, size: int, axis: int) -> np.ndarray:
    half = size // 2
    ends = [(half + 1, half) if k == axis else (0, 0) for k in range(values.ndim)]
    total = np.cumsum(np.pad(values, ends, mode="edge"), axis=axis)
    far, near = (np.take(total, np.arange(values.shape[axis]) + step, axis=axis) for step in (2 * half + 1, 0))
    return np.asarray((far - near) / (2 * half + 1))


def _linear(lab: np.ndarray) -> np.ndarray:
    """Linear sRGB of CIELAB under D65 (CIE 15:2004, IEC 61966-2-1 with the matrix of four digits)."""
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], -1)
    xyz = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * [0.9505, 1.0, 1.089]
    matrix = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    return np.maximum(np.einsum("ij,...j->...i", matrix, xyz), 0.0)


def _encoded(linear: np.ndarray) -> np.ndarray:
    """sRGB's own curve (IEC 61966-2-1)."""
    linear = np.maximum(linear, 0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
