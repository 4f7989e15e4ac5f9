"""Lights, observer, cameras, charts and hair as spectra, from 380 to 730 nm in steps of 5 nm.

References
----------
[CS]  colour-science's data sets: CIE illuminants, the CIE 1931 2 degree observer, two measured cameras (one with a
      mosaic sensor, one with a stacked one), the average reflectances of 24-patch charts.
[RTA] ``tests/golden/camera_sensitivities.csv``: two more measured cameras with mosaic sensors.
[CHI] Chiang, Bitterli, Tappan, Burley 2016, Comput Graph Forum 35:275-283: albedo of a hair from its absorption.
[DJ]  Donner and Jensen 2006: melanin as power laws of the wavelength (exponents from memory), scaled to the constants
      of the pbrt renderer's hair material, as in ``sample_images/make/fibres.py``.
[DNG] Digital Negative specification 1.4, chapter 6: two matrices joined over the inverse colour temperature.
[MCC] McCamy 1992, Color Res Appl 17:142-144: colour temperature of a chromaticity.
"""

from __future__ import annotations

import warnings
from functools import lru_cache
from typing import Any

import numpy as np

from tests.golden_tables import read_table
from tracker.maths.colorimetry import D65, XYZ_TO_RGB, Floats
from tracker.measure.reading import DAYLIGHT, LAMPS, TUBES

WAVELENGTHS = np.arange(380.0, 731.0, 5.0)
LIGHTS = ("D65", "D50", "A", "FL2", "FL7", "FL11", "LED-B2", "LED-B3", "LED-V1")
IDEAL = 0
"""Number of the camera that sees what the observer sees."""
MOSAIC = (1, 2, 3)
"""Measured cameras with colour filters over their pixels, as phones have them: the first of [CS], both of [RTA]."""
STACKED = 4
"""A measured camera that tells colours apart by depth in the silicon: the second of [CS]."""


def noted(lamp: str) -> str:
    """What a person would call a light."""
    if lamp.startswith("D"):
        return DAYLIGHT
    return TUBES if lamp.startswith("FL") else LAMPS


SURFACE = 0.02
STEPS = (0.90, 0.18, 0.035)


@lru_cache(maxsize=1)
def _colour() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns about its optional plotting library
        import colour

        return colour


def _columns(found: Any) -> Floats:
    """Of a spectrum or of several, at `WAVELENGTHS`, nothing beyond what was measured."""
    shape = _colour().SpectralShape(WAVELENGTHS[0], WAVELENGTHS[-1], WAVELENGTHS[1] - WAVELENGTHS[0])
    beyond = {"method": "Constant", "left": 0, "right": 0}
    straight = _colour().LinearInterpolator
    aligned = found.copy().align(shape, interpolator=straight, extrapolator_kwargs=beyond)
    return np.asarray(np.clip(aligned.values, 0, None))


@lru_cache(maxsize=32)
def light(name: str) -> Floats:
    """Power of a light, (wavelengths,), of luminance 1."""
    power = _columns(_colour().SDS_ILLUMINANTS[name])
    return np.asarray(power / (power @ observer()[:, 1]))


@lru_cache(maxsize=1)
def observer() -> Floats:
    """The 2 degree observer, (wavelengths, 3)."""
    return _columns(_colour().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])


@lru_cache(maxsize=8)
def sensitivities(camera: int) -> Floats:
    """Of one camera, (wavelengths, 3)."""
    if camera == IDEAL:
        return observer()
    if camera in (2, 3):
        name = ("first", "second")[camera - 2]
        rows = read_table("camera_sensitivities.csv")
        return np.array([[float(row[f"{name}_{channel}"]) for channel in ("red", "green", "blue")] for row in rows])
    return _columns([*_colour().MSDS_CAMERA_SENSITIVITIES.values()][0 if camera == 1 else 1])


@lru_cache(maxsize=1)
def to_linear() -> Floats:
    """From reflectance to linear sRGB primaries under D65: (wavelengths, 3); a perfect white gives 1, 1, 1."""
    weights = observer() * light("D65")[:, None]
    return np.asarray(weights / weights.sum(axis=0) * D65 @ XYZ_TO_RGB.T)


@lru_cache(maxsize=1)
def chart() -> Floats:
    """Reflectances of 24 patches, row by row, (24, wavelengths) [CS]."""
    return np.stack([_columns(patch) for patch in _colour().SDS_COLOURCHECKERS["BabelColor Average"].values()])


@lru_cache(maxsize=1)
def tabled_chart() -> Floats:
    """The patches of `chart`, each bent smoothly to the colour under D50 that the maker's table of after 2014 gives."""
    published = _colour().CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    wanted = np.asarray(_colour().xyY_to_XYZ(np.array([*published.data.values()])))
    weights = observer() * light("D50")[:, None]
    # the table's white is D50 as a chromaticity; the sums here differ from it in the fourth digit
    weights *= np.asarray(_colour().xy_to_XYZ(published.illuminant)) / weights.sum(axis=0)
    middle = (WAVELENGTHS - 555) / 175
    shapes = np.stack([np.ones_like(middle), middle, middle**2])
    bends = [np.linalg.solve((patch * shapes @ weights).T, goal) for patch, goal in zip(chart(), wanted, strict=True)]
    return chart() * (np.array(bends) @ shapes)


def card(kind: str, new_batch: bool = False) -> Floats:
    """Reflectances of a card's patches, (patches, wavelengths)."""
    if kind == "chart24":
        return tabled_chart() if new_batch else chart()
    flat = STEPS if kind == "steps3" else (STEPS[1],)
    return np.outer(flat, np.ones_like(WAVELENGTHS))


def raw(reflectance: Floats, camera: int, lamp: Floats, balance: Floats) -> Floats:
    """What a camera's three channels read, a perfect white under the light `balance` being 1.

    Parameters
    ----------
    reflectance : (..., wavelengths)
    lamp, balance : (wavelengths,), light that falls on the surface, and light that the camera is balanced for
    """
    seen = sensitivities(camera)
    return np.asarray((reflectance * lamp) @ seen / (balance @ seen))


@lru_cache(maxsize=64)
def fitted_matrix(camera: int, lamp: str) -> Floats:
    """Least squares from balanced raw to linear sRGB on the chart under a light; white stays white."""
    seen, wanted = raw(chart(), camera, light(lamp), light(lamp)), chart() @ to_linear()
    rows = []
    for channel in range(3):
        others = [k for k in range(3) if k != channel]
        part, *_ = np.linalg.lstsq(seen[:, others] - seen[:, [channel]], wanted[:, channel] - seen[:, channel])
        row = np.zeros(3)
        row[others], row[channel] = part, 1 - part.sum()
        rows.append(row)
    return np.array(rows)


def camera_matrix(camera: int, lamp: str, adapts: bool) -> Floats:
    """The camera's own matrix: that of D65, or joined from D65 and A by the light's colour temperature [DNG]."""
    if not adapts:
        return fitted_matrix(camera, "D65")
    warm, cool, here = (1 / colour_temperature(name) for name in ("A", "D65", lamp))
    share = float(np.clip((here - cool) / (warm - cool), 0, 1))
    return (1 - share) * fitted_matrix(camera, "D65") + share * fitted_matrix(camera, "A")


def colour_temperature(lamp: str) -> float:
    """Correlated colour temperature of a light, kelvin [MCC]."""
    return float(_colour().temperature.xy_to_CCT_McCamy1992(_colour().XYZ_to_xy(light(lamp) @ observer())))


def melanin(eumelanin: float, pheomelanin: float) -> Floats:
    """Absorption of a fibre by the two melanins, per fibre radius [DJ]."""
    eu = 0.697 * (WAVELENGTHS / 550) ** -3.33
    pheo = 0.400 * (WAVELENGTHS / 550) ** -4.75
    return np.asarray(eumelanin * eu + pheomelanin * pheo)


def dye(amount: float, centre: float, width: float) -> Floats:
    """Absorption by one dye: a bell curve over the wavelength, nm."""
    return np.asarray(amount * np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2))


def hair_reflectance(absorption: Floats) -> Floats:
    """Reflectance of a lock from its fibres' absorption: the albedo of [CHI] under a 2 % neutral surface term."""
    return np.asarray(SURFACE + (1 - SURFACE) * np.exp(-5.888 * np.sqrt(absorption)))
