"""One photo, all steps: card, balance, hair, uncertainty, checks. No disk, no screen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Protocol

import numpy as np

from tracker import METHOD_VERSION
from tracker.errors import CardError, CardNotFound, HairError, HairInDoubt, InvalidMarks
from tracker.maths import polyline
from tracker.maths.colorimetry import Floats, linear_to_lab, luminance
from tracker.maths.quantities import vector3
from tracker.maths.rgb_space import SRGB, RgbSpace
from tracker.measure.balance import apply
from tracker.measure.budget import region_reading
from tracker.measure.dark_half import GIVEN, require_dark
from tracker.measure.hair import (
    BANDS,
    DOUBTS,
    OUTSIDE,
    BandColour,
    Selection,
    Strip,
    band_colour,
    body_mean,
    clipped_codes,
    find_hair,
    pieces_across,
    profile,
    select_body,
    stretches,
    suggest_axis,
)
from tracker.measure.light import light_beside_card
from tracker.measure.quality import VOUCHED, check_outline, check_photo, check_spare
from tracker.measure.reading import (
    REGIONS,
    WHOLE,
    CardSummary,
    Correction,
    DarkHalf,
    Marks,
    PhotoReading,
    Point,
    RegionReading,
)
from tracker.measure.reference_card import (
    CardKind,
    Corners,
    card_kind,
    correction_from_card,
    look_for,
    read_card,
)
from tracker.measure.seen import see, share_on_card
from tracker.measure.settings import Settings
from tracker.measure.way import Way, way_over


class Picture(Protocol):
    """What measuring needs from a photo: upright codes and their meaning."""

    @property
    def encoded(self) -> np.ndarray:
        """(h, w, 3) uint8 or uint16."""

    @property
    def space(self) -> RgbSpace:
        """What the codes mean."""

    @property
    def warnings(self) -> tuple[str, ...]:
        """Notes from reading the file."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A first suggestion of where card and hair are, to be looked at by a person.

    Attributes
    ----------
    marks : Marks; without an outline where no hair was found, and then without a path unless one was given
    card : CardError or None, why no card was found; a `CardAmbiguous` where the corners may be those of the card
    other : str or None, name of another kind of card that stands in the photo instead
    hair : HairError or None, why no hair was found
    doubt : HairInDoubt or None, what is unsure about the outline that was found
    """

    marks: Marks
    card: CardError | None = None
    hair: HairError | None = None
    doubt: HairInDoubt | None = None
    other: str | None = None


def find_marks(
    picture: Picture,
    kind: str,
    reflectance: float | None = None,
    *,
    corners: Corners | None = None,
    path: tuple[Point, ...] | None = None,
    near: Point | None = None,
    dark: DarkHalf | None = None,
) -> Suggestion:
    """A first suggestion for all marks.

    Where the card is not found, its corners start to the right of the photo's middle.

    Parameters
    ----------
    picture : Picture, upright codes and their meaning
    kind : str, name of the kind of card
    reflectance : float or None, of the card's grey, 0..1; None for the kind's own
    corners : of the card, pixels, where they are known; None to find it
    path : points from root to tip, pixels, along which the hair is looked for; None to look for it without help
    near : a point inside the card, pixels, as a person tapped it; None to look everywhere
    dark : DarkHalf or None, what is known of the card's dark patch; None for the kind's own
    """
    picture = _as_seen(picture)
    height, width = picture.encoded.shape[:2]
    card = other = None
    if corners is None and card_kind(kind).search is not None:
        sought = look_for(picture.encoded, card_kind(kind), near)
        corners, card, other = sought.corners, sought.error, None if sought.other is None else sought.other.name
    size = _size_on_card(picture, card_kind(kind), corners)
    marks = Marks(kind, corners or _default_corners(width, height), path or (), None, reflectance, size)
    if dark is not None:
        marks = replace(marks, dark=dark.reflectance, dark_u=dark.u)
    try:
        hair = find_hair(picture.encoded, corners, path)
        outline, axis = hair.outline().points, path or suggest_axis(hair)
    except HairError as error:
        # its traceback would hold the whole photo as long as the suggestion is kept
        return Suggestion(marks, card, error.with_traceback(None), other=other)
    doubt = HairInDoubt(*DOUBTS[hair.reason]) if hair.reason else None
    return Suggestion(replace(marks, outline=outline, path=axis), card, None, doubt, other)


def with_card(picture: Picture, marks: Marks) -> Marks:
    """The marks with what the photo itself tells of the card: its corners where none are marked, and perhaps its size.

    Parameters
    ----------
    picture : Picture, upright codes and their meaning
    marks : Marks, pixels; a size that somebody noted stays

    Raises
    ------
    CardNotFound, CardAmbiguous : there are no corners, and the card is not found for sure
    InvalidMarks : no such kind of card, or reflectances that it cannot have
    """
    kind = card_kind(marks.card_kind)
    _require_reflectances(kind, marks)
    corners = marks.corners if marks.corners is not None else _search(picture, kind)
    return replace(marks, corners=corners, size_mm=marks.size_mm or _size_on_card(picture, kind, corners))


def _size_on_card(picture: Picture, kind: CardKind, corners: Corners | None) -> tuple[float, float] | None:
    """Width and height in mm that the card shows by itself."""
    return None if corners is None or kind.size_in is None else kind.size_in(picture.encoded, corners)


def _default_corners(width: int, height: int) -> tuple[Point, Point, Point, Point]:
    x, y, w, h = 0.70 * width, 0.55 * height, 0.18 * width, 0.16 * height
    return ((x, y), (x + w, y), (x + w, y + h), (x, y + h))


def measure_photo(
    picture: Picture, marks: Marks, settings: Settings | None = None, *, light: str | None = None
) -> PhotoReading:
    """Everything that one photo shows, with its uncertainty.

    Parameters
    ----------
    picture : Picture, upright codes and their meaning
    marks : Marks, card and path, pixels; without corners the card is searched for
    settings : Settings or None, how to measure; None for the defaults
    light : str or None, the noted light, one of `reading.LIGHTS`

    Returns
    -------
    PhotoReading : without regions where a check stopped the number

    Raises
    ------
    CardError, HairError, InvalidMarks : a mark that cannot be used
    """
    settings = settings or Settings()
    settings = replace(settings, repeatability=settings.repeatability.over(marks.hair))
    kind = card_kind(marks.card_kind)
    _require_reflectances(kind, marks)
    corners = marks.corners if marks.corners is not None else _search(picture, kind)
    marks = replace(marks, size_mm=marks.size_mm or _size_on_card(picture, kind, corners))
    way = way_over(picture.encoded, marks, corners, _pixels_per_cm(marks, corners))
    card = kind.even_out(read_card(picture.encoded, picture.space, kind, corners))
    correction = correction_from_card(card, marks.reflectance, marks.dark)
    strip = way.strip()
    linear, usable = _balanced(strip, picture.space, correction)
    colours, verdict = _bands(linear, usable, strip, way)
    grey = kind.reflectance if marks.reflectance is None else marks.reflectance
    summary = CardSummary(
        kind.name,
        corners,
        vector3(linear_to_lab(card.linear[kind.grey])),
        card.clipped,
        card.gradient,
        grey,
        *_dark_used(kind, marks),
        card.patch_left_out,
    )
    coloured = float(np.mean(np.any(strip.codes != strip.codes[..., :1], axis=-1)))
    dropped = [(name, colour.dropped) for name, colour in colours.items()]
    seen = see(picture.encoded, picture.space, kind, corners, way, strip, linear)
    on_card = share_on_card(strip, corners)
    filled = None if way.stripes is None else {name: colour.filled for name, colour in colours.items()}
    checks = check_photo(summary, dropped, picture.warnings, coloured, seen, light, on_card, filled)
    if card.patch_left_out and kind.spare is not None:
        checks = (*checks, check_spare(dict(kind.sound)[kind.spare]))
    if marks.vouched:
        checks = (*checks, VOUCHED)
    if way.hair == WHOLE and marks.outline is None:
        checks = (check_outline(way.doubt, way.reason), *checks)
    regions: tuple[RegionReading, ...] = ()
    if not any(check.stopped for check in checks):
        moved = _placement(picture, way, correction, colours)
        size = kind.leaves(summary).under(light, grey)
        lit = light_beside_card(way.hair, light, card.gradient, settings)
        regions = tuple(
            region_reading(name, colours, card, correction, moved[name], size, lit, settings) for name in colours
        )
    points = profile(linear, verdict, stripes=way.stripes)
    shades = stretches(linear, verdict, pieces_across(way.stripes))
    return PhotoReading(METHOD_VERSION, summary, correction, regions, points, checks, shades, way.hair, way.outline)


def _pixels_per_cm(marks: Marks, corners: Corners) -> float | None:
    """By the width of the card, where its size was noted."""
    if marks.size_mm is None:
        return None
    return float(polyline.sides(corners)[::2].mean()) / marks.size_mm[0] * 10


def _search(picture: Picture, kind: CardKind) -> Corners:
    sought = look_for(_as_seen(picture).encoded, kind)
    if sought.corners is None or sought.error is not None:
        raise sought.error or CardNotFound("No card stands in the photo.", "Mark its four corners by hand.")
    return sought.corners


def _require_reflectances(kind: CardKind, marks: Marks) -> None:
    reflectance, dark = marks.reflectance, marks.dark
    if reflectance is not None and not 0.02 <= reflectance <= 0.98:
        raise InvalidMarks(
            f"A card cannot reflect {reflectance:g} of the light (0.02 to 0.98).",
            "Give the grey's reflectance as a share, such as 0.18.",
            value=float(reflectance),
            limit=0.98,
            unit="share",
        )
    if dark is None:
        return
    if kind.dark is None:
        raise InvalidMarks(
            f"A card of this kind ({kind.title}) has no dark patch, so its reflectance cannot be given.",
            "Leave it out, or choose the kind of card that is in the photo.",
        )
    require_dark(dark, kind.reflectance if reflectance is None else reflectance)


def _dark_used(kind: CardKind, marks: Marks) -> tuple[float | None, float | None]:
    """Reflectance of the dark patch as used, and its standard uncertainty where it is not just the nominal one."""
    if marks.dark is None:
        return kind.nominal_dark, None
    return marks.dark, GIVEN * marks.dark if marks.dark_u is None else marks.dark_u


def _balanced(strip: Strip, space: RgbSpace, correction: Correction) -> tuple[Floats, np.ndarray]:
    """Balanced linear light of a strip, and which of its pixels can be used."""
    usable = strip.inside & ~clipped_codes(strip.codes)
    return apply(correction, space.linear(strip.codes)), usable


def _bands(linear: Floats, usable: np.ndarray, strip: Strip, way: Way) -> tuple[dict[str, BandColour], np.ndarray]:
    """Colour of each band, and the verdict on every pixel of the whole path."""
    verdict = np.zeros(usable.shape, np.uint8)
    edges = sorted({0.0, 1.0, *(edge for band in BANDS for edge in (band.start, band.stop))})
    named = {(band.start, band.stop): band.name for band in BANDS}
    colours: dict[str, BandColour] = {}
    for start, stop in pairwise(edges):
        rows = strip.rows(start, stop)
        name = named.get((start, stop))
        if name is None:
            part = linear[rows]
            verdict[rows] = select_body(linear_to_lab(part), luminance(part), usable[rows], way.how)
            if way.stripes is not None:
                verdict[rows][~strip.inside[rows]] = OUTSIDE
            continue
        colour = band_colour(linear[rows], usable[rows], name, way.how, strip.area, strip.inside[rows], way.stripes)
        colours[name] = colour
        verdict[rows] = colour.verdict
    return {name: colours[name] for name in REGIONS if name in colours}, verdict


def _placement(picture: Picture, way: Way, correction: Correction, colours: dict[str, BandColour]) -> dict[str, Floats]:
    """Covariance of each band's Lab when the marks move by their standard uncertainty, sideways and along."""
    found: dict[str, Floats] = {name: np.zeros((3, 3)) for name in colours}
    for across, along in ((way.moves[0], 0.0), (0.0, way.moves[1])):
        labs = []
        for sign in (-1, 1):
            strip = way.strip(sign * across, sign * along, 12_000)
            linear, usable = _balanced(strip, picture.space, correction)
            labs.append(_quick_labs(linear, usable, strip, way.how))
        for name, cov in found.items():
            # a moved ribbon without any hair means marks on an edge, which the checks report
            half = np.nan_to_num((labs[1][name] - labs[0][name]) / 2)
            cov += np.outer(half, half)
    return found


def _quick_labs(linear: Floats, usable: np.ndarray, strip: Strip, how: Selection) -> dict[str, Floats]:
    labs = {}
    for band in BANDS:
        rows = strip.rows(band.start, band.stop)
        labs[band.name] = linear_to_lab(body_mean(linear[rows], usable[rows], how)[0])
    return labs


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """A picture as the searches expect it."""

    encoded: np.ndarray
    space: RgbSpace
    warnings: tuple[str, ...] = ()


def _as_seen(picture: Picture) -> Picture:
    """A linear photo, such as a raw one, through the curve of sRGB, in which the searches think; others as they are."""
    if not picture.space.is_linear:
        return picture
    levels = np.arange(2 ** (8 * picture.encoded.itemsize), dtype=picture.encoded.dtype)
    greys = picture.space.native_linear(np.repeat(levels[:, None], 3, axis=1))
    return _Seen(SRGB.encode(greys)[:, 0][picture.encoded], SRGB)
