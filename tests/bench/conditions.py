"""Conditions of the bench: one factor at a time around a base, some together, and controls."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tests.bench.room import Room
from tests.bench.spectra import IDEAL, LIGHTS, MOSAIC, STACKED

KINDS = ("grey18", "steps3", "chart24")
BEFORE, AFTER, AGAIN = "before", "after", "again"
ROLES = (BEFORE, AFTER, AGAIN)
"""`AGAIN` is the hair of `BEFORE` in another photo."""


@dataclass(frozen=True, slots=True)
class Condition:
    """What is done to a photo. Draws are rectangular over the stated half width, new for every photo.

    Attributes
    ----------
    exposure : float, EV; the draw of +-0.25 EV comes on top
    balance : float, half width of the camera's error in red and in blue, relative
    contrast : float, strength of an S-curve on encoded values, ``s - contrast sin(2 pi s)``
    saturation : float, stretch of chroma in linear light
    electrons : float, electrons of a white pixel: less is more noise
    quality : int, of the JPEG file, colour at half resolution
    glare : float, stray light of the lamp's colour on everything, in units of perfect white
    uneven : float, half width of the light on the hair against that on the card, EV
    always : bool, True takes `uneven` at its full size with a drawn sign
    gradient : float, EV across the picture
    second : float, share of the light on the hair that comes from another lamp
    relaid : bool, the hair lies anew in every photo, which spreads a band's L* by about 0.7
    adapts : bool, the camera joins two matrices by the light's colour temperature; else that of D65
    misprint : float, half width of the card's own reflectance, as a share of its kind's tolerance, the same in a kit
    new_batch : bool, the chart is as the maker's newer table says, not as the average of measured charts
    noted : bool, the person notes the light
    room : Room or None, light that differs from place to place; None for one light, but for the factors above
    second_grey : bool, a second grey card stands on the other side of the hair
    cameras : tuple of int
    lights : tuple of str
    """

    name: str
    group: str
    exposure: float = -0.35
    balance: float = 0.05
    contrast: float = 0.0
    saturation: float = 0.0
    electrons: float = 6000.0
    quality: int = 90
    glare: float = 0.0
    uneven: float = 0.1
    always: bool = False
    gradient: float = 0.0
    second: float = 0.0
    relaid: bool = False
    adapts: bool = True
    misprint: float = 0.0
    new_batch: bool = False
    noted: bool = True
    room: Room | None = None
    second_grey: bool = False
    cameras: tuple[int, ...] = MOSAIC
    lights: tuple[str, ...] = LIGHTS


BASE = Condition("base", "base")
_CONTROL = replace(BASE, balance=0, electrons=1e6, quality=95, uneven=0)
MILD, STRONG = 0.02, 0.05


def _around(group: str, **cases: dict[str, object]) -> list[Condition]:
    return [
        replace(BASE, name=name.replace("_", " "), group=group, **changes)  # type: ignore[arg-type]
        for name, changes in cases.items()
    ]


CONDITIONS = (
    BASE,
    replace(_CONTROL, name="ideal camera, D65", group="control", cameras=(IDEAL,), lights=("D65",)),
    replace(
        _CONTROL,
        name="ideal camera, D65, chart as tabled",
        group="control",
        cameras=(IDEAL,),
        lights=("D65",),
        new_batch=True,
    ),
    replace(_CONTROL, name="ideal camera", group="control", cameras=(IDEAL,)),
    replace(_CONTROL, name="no flaws", group="control"),
    replace(BASE, name="daylight only", group="light", lights=("D65", "D50")),
    *_around("light", light_not_noted={"noted": False}),
    *_around("camera", one_matrix_for_all_lights={"adapts": False}, stacked_sensor={"cameras": (STACKED,)}),
    *_around("exposure", one_stop_under={"exposure": -1.35}, one_stop_over={"exposure": 0.65}),
    *_around("balance", balance_exact={"balance": 0.0}, balance_10_percent={"balance": 0.10}),
    *_around(
        "look",
        contrast_mild={"contrast": MILD},
        contrast_strong={"contrast": STRONG},
        saturation_12={"saturation": 0.12},
        saturation_25={"saturation": 0.25},
    ),
    *_around("noise", noise_low={"electrons": 50_000.0}, noise_high={"electrons": 600.0}),
    *_around("file", quality_70={"quality": 70}, quality_85={"quality": 85}, quality_95={"quality": 95}),
    *_around("glare", glare_1_percent={"glare": 0.01}, glare_2_percent={"glare": 0.02}),
    *_around(
        "evenness",
        light_even={"uneven": 0.0},
        light_off_by_0_1={"always": True},
        light_off_by_0_2={"uneven": 0.2, "always": True},
        gradient_across={"gradient": 0.5},
    ),
    *_around("second", second_light_25={"second": 0.25}, second_light_50={"second": 0.5}),
    *_around("hair", hair_relaid={"relaid": True}),
    *_around("card", card_misprinted={"misprint": 1.0}, chart_as_tabled={"new_batch": True}),
    *_around(
        "together",
        phone_mild={"contrast": MILD, "saturation": 0.12, "glare": 0.01, "quality": 85},
        phone_strong={"contrast": STRONG, "saturation": 0.25, "glare": 0.02, "quality": 70},
    ),
)

# For `carried` alone: light that differs between card, wall and hair. In the first three the wall has all of the hair's
# light or nothing of it, and in "wall lit as the hair" nearly all, so that they decide nothing. With up to a quarter of
# its light its own, the wall's steps go with the hair's (correlation 0.5 to 0.6) about as in rooms like `sample_images`
# rendered with the lamps elsewhere and matt greys held against the hair (0.5).
ROOMS = tuple(
    replace(BASE, name=name, group="room", second_grey=True, **changes)  # type: ignore[arg-type]
    for name, changes in {
        "even light": {},
        "one plane for all": {"gradient": 0.5},
        "light off by 0.2, wall even": {"uneven": 0.2, "always": True},
        "room, wall lit as the hair": {"room": Room()},
        "room": {"room": Room(own=0.25)},
        "room, same seat": {"room": Room(own=0.25, same_seat=True)},
        "room, two colours of light": {"room": Room(own=0.25, two_colours=True)},
    }.items()
)

QUICK = ("base", "ideal camera, D65", "contrast strong", "glare 2 percent")


def kits(condition: Condition) -> list[tuple[tuple[str, int], tuple[str, int]]]:
    """Two unlike kits (light, camera) for each head; over all heads every light meets two of three cameras."""
    lights, cameras = condition.lights, condition.cameras
    shift = len(lights) // 2
    return [
        (
            (lights[k % len(lights)], cameras[k % len(cameras)]),
            (lights[(k + shift) % len(lights)], cameras[(k + 2) % len(cameras)]),
        )
        for k in range(9)
    ]
