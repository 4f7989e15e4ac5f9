"""The types of one photo's measurement: what was marked, and what came out.

Frozen and made of plain numbers: a reading can be kept and compared years later.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from tracker.maths.quantities import LabMeasured, Matrix3, Measured, Vector3

Point = tuple[float, float]

REGIONS = ("root", "mid", "end")
"""Names of the three bands along a path, from root to tip."""

DAYLIGHT = "daylight"
LAMPS = "salon lamps"
TUBES = "fluorescent tubes"
MIXED = "mixed light"
NOT_NOTED = "not noted"
LIGHTS = (DAYLIGHT, LAMPS, TUBES, MIXED, NOT_NOTED)
"""What a person may note about the light in a photo; lamps are LED or warm bulbs."""

RIBBON, WHOLE = "ribbon", "whole"
"""How the hair of a photo was read: along a narrow ribbon, or over its whole width. The two are never compared."""


def most_read(hairs: Iterable[str]) -> str:
    """The way in which the hair of most of several readings was read; the whole hair where there is no majority.

    Numbers read along a ribbon and over the whole hair are never put into one mean, so a mean is of one kind.

    Parameters
    ----------
    hairs : of str, each `RIBBON` or `WHOLE`
    """
    row = list(hairs)
    return RIBBON if 2 * row.count(RIBBON) > len(row) else WHOLE


IDENTITY: Matrix3 = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class DarkHalf:
    """What is known of the dark patch of a card, where that is more than its nominal reflectance.

    Attributes
    ----------
    reflectance : float, 0..1
    u : float or None, its standard uncertainty where photos told it; None where a person gave it
    """

    reflectance: float
    u: float | None = None


@dataclass(frozen=True, slots=True)
class Marks:
    """What a person (or the card finder) marked in one photo.

    Attributes
    ----------
    card_kind : str, name of a kind of card
    corners : four points, pixels, clockwise from the card's own top left; None to find the card
    path : points, pixels, from root to tip
    width : float, width of a ribbon along the path in pixels; None to read the whole width of the hair
    reflectance : float or None, replaces the nominal reflectance of the card's grey, 0..1
    dark : float or None, replaces the nominal reflectance of the card's dark patch, 0..1
    size_mm : width and height of the card inside its corners, millimetres, or None where nobody measured it
    outline : points about the whole hair, pixels; None to find it, or for a ribbon
    dark_u : float or None, standard uncertainty of `dark` where photos told it; None where a person gave it
    vouched : bool, True where a person said that this is the card although it does not read as one
    """

    card_kind: str
    corners: tuple[Point, Point, Point, Point] | None
    path: tuple[Point, ...]
    width: float | None
    reflectance: float | None = None
    size_mm: tuple[float, float] | None = None
    outline: tuple[Point, ...] | None = None
    dark: float | None = None
    dark_u: float | None = None
    vouched: bool = False

    @property
    def hair(self) -> str:
        """How the hair is read, `RIBBON` or `WHOLE`."""
        return WHOLE if self.width is None else RIBBON

    @property
    def dark_half(self) -> DarkHalf | None:
        """What is known of the card's dark patch; None for its nominal reflectance."""
        return None if self.dark is None else DarkHalf(self.dark, self.dark_u)


@dataclass(frozen=True, slots=True)
class Check:
    """One check made before a number is shown.

    Attributes
    ----------
    name : str, stable name of the check
    ok : bool, True where the value is within its limit
    value, limit : float, in `unit`
    says : str, a sentence for the person
    advice : str, what to do; on a passed check a note, or empty
    stops : bool, True where a failure withholds the number; False where it only warns
    """

    name: str
    ok: bool
    value: float
    limit: float
    unit: str
    says: str
    advice: str = ""
    stops: bool = True

    @property
    def stopped(self) -> bool:
        """True where this check withholds the number."""
        return self.stops and not self.ok

    @property
    def warns(self) -> bool:
        """True where this check failed and only asks for a better photo."""
        return not self.stops and not self.ok


@dataclass(frozen=True, slots=True)
class Correction:
    """From linear light in a photo to linear light under the standard white.

    Per channel ``x -> (x * gain) ** exponent - flare``, then the matrix.

    Attributes
    ----------
    kind : str, the kind of card it was made from
    gains : three floats, > 0
    flare : float, stray light of lens and room, in units of perfect white
    exponent : float, undoes the camera's contrast; 1 where one grey cannot tell
    matrix : 3 x 3, rows sum to one so that white stays white
    misfit : root mean square by which the card's patches still miss their own L*, a*, b*: for a chart those near the
        colours of hair, for a strip the L* of its steps; 0 with a single patch
    """

    kind: str
    gains: Vector3
    flare: float = 0.0
    exponent: float = 1.0
    matrix: Matrix3 = IDENTITY
    misfit: Vector3 = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class CardSummary:
    """The card as found in the photo.

    Attributes
    ----------
    lab : CIELAB of the grey as photographed, before the balance: shows the cast of the light
    clipped : float, share of burnt-out or crushed pixels of the worst patch that must be sound, 0..1
    gradient : float, change of light across the card, EV
    reflectance : float, of the grey, as used for the balance, 0..1
    dark : float or None, of the dark patch, as used for the balance, 0..1; None for a card without one
    dark_u : float or None, its standard uncertainty; None where its nominal reflectance was used
    patch_left_out : bool, True where a patch burnt out that the card can do without
    """

    kind: str
    corners: tuple[Point, Point, Point, Point]
    lab: Vector3
    clipped: float
    gradient: float
    reflectance: float = 0.18
    dark: float | None = None
    dark_u: float | None = None
    patch_left_out: bool = False


@dataclass(frozen=True, slots=True)
class Dropped:
    """Shares of a band's pixels left out of the average, 0..1; those `outside` lie beyond the photo."""

    clipped: float
    gloss: float
    shadow: float
    not_hair: float
    outside: float = 0.0


_NOTHING = ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0))


@dataclass(frozen=True, slots=True)
class RegionReading:
    """One band of hair.

    Attributes
    ----------
    name : str, one of `REGIONS`
    lab : colour of the body hair with its whole uncertainty, as a single value
    repeat_cov : 3 x 3, the part of the uncertainty that differs between photos of the same
        hair taken with the same camera, card and light, and so remains in a before/after
    lights, lows : L* of the lightest and the darkest quarter of the body hair
    dimension : their difference, L*
    lightened : share of the band's hair lighter than nearly all of the root, less the share expected by chance, 0..1;
        None at the root
    pixels : int, pixels of the photo that were averaged
    dropped : what was left out
    photos : int, how many photos of the same state were combined
    kit_u : the part of the uncertainties of `lights`, `lows`, `dimension` and `lightened` that more photos with one kit
        do not reduce
    light_cov : 3 x 3, the part of `repeat_cov` from light that differs between card and hair: photos of one occasion
        share it, and none of them shows it
    laid_cov : 3 x 3, the part of `repeat_cov` from how the hair lies: photos share it unless the hair was combed anew
        between them, and where it was it averages out; zeros for a ribbon, and for photos combined as combed anew
    """

    name: str
    lab: LabMeasured
    repeat_cov: Matrix3
    lights: Measured
    lows: Measured
    dimension: Measured
    lightened: Measured | None
    pixels: int
    dropped: Dropped
    photos: int = 1
    kit_u: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    light_cov: Matrix3 = _NOTHING
    laid_cov: Matrix3 = _NOTHING

    @property
    def repeat_lightness(self) -> Measured:
        """L* with the standard uncertainty by which photos of the same hair with one kit differ (`repeat_cov`)."""
        return Measured(self.lab.lab[0], math.sqrt(self.repeat_cov[0][0]))


@dataclass(frozen=True, slots=True)
class ProfilePoint:
    """Colour at one place along the path.

    Attributes
    ----------
    position : float, 0 at the root, 1 at the tip
    lab : three floats
    u_lightness : float, standard uncertainty of L* within this photo (spread of blocks)
    """

    position: float
    lab: Vector3
    u_lightness: float


@dataclass(frozen=True, slots=True)
class PhotoReading:
    """Everything measured in one photo.

    `regions` is empty where a check withheld the number; `checks` then says why.

    Attributes
    ----------
    stretches : for each of ten stretches of the path, root first, quantiles of the L* of its small pieces of body
        hair at even steps from the darkest to the lightest; empty where too little hair was kept
    hair : str, `RIBBON` or `WHOLE`
    outline : points about the hair that was read, pixels; empty for a ribbon
    """

    method_version: str
    card: CardSummary
    correction: Correction
    regions: tuple[RegionReading, ...]
    profile: tuple[ProfilePoint, ...]
    checks: tuple[Check, ...]
    stretches: tuple[tuple[float, ...], ...] = ()
    hair: str = RIBBON
    outline: tuple[Point, ...] = ()

    @property
    def ok(self) -> bool:
        """True where no check withheld the number and there are numbers to show."""
        return bool(self.regions) and not any(check.stopped for check in self.checks)

    @property
    def failure(self) -> str | None:
        """What the first check that withholds the number says and advises."""
        return next((f"{check.says} {check.advice}".strip() for check in self.checks if check.stopped), None)

    @property
    def warnings(self) -> tuple[Check, ...]:
        """The checks that failed and only warn."""
        return tuple(check for check in self.checks if check.warns)

    def region(self, name: str) -> RegionReading | None:
        """The band called `name`, or None where there is no number."""
        return next((region for region in self.regions if region.name == name), None)
