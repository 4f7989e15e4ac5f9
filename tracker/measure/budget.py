"""The uncertainty of a reading, cause by cause.

It does not follow from the number of pixels: on correlated texture the naive standard error was 28 times too small.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tracker.maths.colorimetry import Floats, lab_to_linear, linear_to_lab
from tracker.maths.quantities import LabMeasured, Measured, Vector3, matrix3, vector3
from tracker.maths.uncertainty import effective_dof
from tracker.measure.camera_error import MISFIT_ALONE, CameraError, lightness_shifts, standing_alone
from tracker.measure.hair import BandColour, Pieces, lights_and_lows
from tracker.measure.light import LightBesideCard
from tracker.measure.reading import Correction, RegionReading
from tracker.measure.reference_card import CardReading
from tracker.measure.settings import Settings

# share of a chart's or strip's own misfit that changes from photo to photo; with it the truth bench's coverage holds
_MISFIT_REPEAT = 0.3
LAID_ANEW = 1.5
"""Variance of hair that is laid anew, over what the stripes of one photo tell of it; by the bench 1.4 to 1.6."""


@dataclass(frozen=True, slots=True, eq=False)
class _Component:
    """One cause of uncertainty: covariance of L*, a*, b* and its degrees of freedom."""

    cov: Floats
    dof: float = math.inf


def region_reading(
    name: str,
    colours: dict[str, BandColour],
    card: CardReading,
    correction: Correction,
    moved: Floats,
    size: CameraError,
    lit: LightBesideCard,
    settings: Settings,
) -> RegionReading:
    """The reading of one band, with every part of its uncertainty.

    Parameters
    ----------
    name : str, the band
    colours : BandColour of every band of the photo, by name
    card : CardReading, of the same photo
    correction : Correction, made from that card
    moved : (3, 3), covariance of L*, a*, b* from where the marks were put
    size : CameraError, what the correction leaves of the camera's error
    lit : LightBesideCard, how the light on the hair may differ from that on the card
    settings : Settings, how the photo is measured
    """
    colour, misfit = colours[name], np.diag(np.square(correction.misfit))
    shared = _light(colour, lit.occasion)
    spread = LAID_ANEW * colour.cov if colour.rim else colour.cov
    held = _light(colour, lit.photo)
    here = [
        _Component(spread, colour.dof),
        _Component(_card_noise(colour, card)),
        _Component(shared),
        _Component(held),
        _Component(_own_rendering(colour, lit)),
        _Component(moved, 4.0),
        _Component(_MISFIT_REPEAT**2 * misfit),
    ]
    cov = np.sum([c.cov for c in here], axis=0)
    # the studio's own spread has the same causes, so the larger counts, not the sum: between occasions against the
    # light, from photo to photo against the rest
    known = settings.repeatability
    between = np.maximum(np.square(known.shared) - np.diag(shared), 0)
    within = np.maximum(np.square(known.sd) - np.square(known.shared) - np.diag(cov - shared), 0)
    rest = between + within
    repeat = cov + np.diag(rest)
    parts = [*here, _Component(np.diag(between), known.shared_dof), _Component(np.diag(within), known.dof)]
    undone = standing_alone(colour.lab, size) + MISFIT_ALONE**2 * misfit
    alone = repeat + undone + _tolerance(colour, card)
    dof = effective_dof([math.sqrt(max(float(np.trace(p.cov)), 0)) for p in parts], [p.dof for p in parts])
    root = None if name == "root" or "root" not in colours else colours["root"].cells
    found = lights_and_lows(colour.cells, root)
    by_photo = math.sqrt(float(moved[0, 0])), math.sqrt(float(rest[0]))
    (lights, lows, dimension), kit_u = _pieces(found, colour, card, by_photo, correction.misfit[0], size, lit, settings)
    return RegionReading(
        name,
        LabMeasured(vector3(colour.lab), matrix3(alone), dof),
        matrix3((repeat + repeat.T) / 2),
        lights,
        lows,
        dimension,
        found.lightened,
        colour.pixels,
        colour.dropped,
        kit_u=(*kit_u, found.shading),
        light_cov=matrix3(shared),
        laid_cov=matrix3(spread + held if colour.rim else np.zeros((3, 3))),
    )


def _pieces(
    found: Pieces,
    colour: BandColour,
    card: CardReading,
    by_photo: tuple[float, float],
    misfit: float,
    size: CameraError,
    lit: LightBesideCard,
    settings: Settings,
) -> tuple[list[Measured], Vector3]:
    """Lights, lows and dimension with their whole uncertainty, and the part of it that photos of one kit share.

    Parameters
    ----------
    by_photo : L* by which the marks, and what is left of the known spread between photos, move all pieces alike
    misfit : float, L* by which a strip or chart misses its own patches, differently at each lightness
    """

    def moves(lightness: float) -> tuple[Floats, Floats]:
        piece = replace(colour, linear=lab_to_linear((lightness, 0.0, 0.0)))
        light = _light(piece, math.hypot(lit.occasion, lit.photo))
        own = (math.sqrt(float(cov[0, 0])) for cov in (light, _card_noise(piece, card)))
        return np.array([*own, *by_photo]), lightness_shifts(lightness, size, card.kind.tolerance)

    (light, light_kit), (low, low_kit) = moves(found.lights.value), moves(found.lows.value)
    parts = (
        (found.lights, light, light_kit, misfit),
        (found.lows, low, low_kit, misfit),
        (found.dimension, light - low, light_kit - low_kit, math.sqrt(2) * misfit),
    )
    widened, kit_u = [], []
    for measured, causes, by_kit, off in parts:
        kit_u.append(math.hypot(*by_kit, MISFIT_ALONE * off))
        known = abs(float(causes[-1]))
        stated = math.hypot(*causes[:-1], _MISFIT_REPEAT * off, kit_u[-1])
        each, dof = (measured.u, known, stated), (measured.dof, settings.repeatability.dof, math.inf)
        widened.append(Measured(measured.value, math.hypot(*each), measured.unit, effective_dof(each, dof)))
    return widened, vector3(kit_u)


def _lab_slope(colour: BandColour, change: Floats) -> Floats:
    """Change of Lab for a relative change of linear red, green and blue, shape (3,)."""
    return np.asarray(linear_to_lab(colour.linear * (1 + change)) - linear_to_lab(colour.linear * (1 - change))) / 2


def _card_noise(colour: BandColour, card: CardReading) -> Floats:
    """Noise of the grey's mean, carried to the hair through the gains."""
    grey = card.linear[card.kind.grey]
    relative = card.cov[card.kind.grey] / np.outer(grey, grey)
    step = 1e-3
    slopes = np.stack([_lab_slope(colour, step * np.eye(3)[k]) / step for k in range(3)], axis=1)
    return np.asarray(slopes @ relative @ slopes.T)


def _light(colour: BandColour, ev: float) -> Floats:
    """Covariance of the band's Lab where the light on it differs by a standard uncertainty in EV."""
    slope = _lab_slope(colour, np.full(3, 2**ev - 1))
    return np.outer(slope, slope)


def _own_rendering(colour: BandColour, lit: LightBesideCard) -> Floats:
    """Covariance of the band's Lab from what a phone does anew: its balance in any hue, its look along the chroma."""
    chroma = np.array([0.0, *colour.lab[1:]])
    sideways = np.diag([0.0, 1.0, 1.0]) * float(chroma @ chroma)
    return np.asarray(lit.balance**2 * sideways + lit.look**2 * np.outer(chroma, chroma))


def _tolerance(colour: BandColour, card: CardReading) -> Floats:
    """The maker's tolerance of the grey's reflectance, rectangular; cancels between photos with the same card."""
    slope = _lab_slope(colour, np.full(3, card.kind.tolerance / math.sqrt(3)))
    return np.outer(slope, slope)
