"""Colour of a hair fibre: absorption by melanin and by dyes, in bands of wavelength.

Absorption is per fibre radius (no unit): the light path across a fibre is
counted in fibre radii, as the hair scattering model of the renderer wants it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BANDS: Array = np.linspace(400.0, 706.0, 18)
"""Centres of the bands of the sample photos, nm. Three at a time make one rendered image."""

STEPS = 10
"""Number of colours between a head's natural and its lightest hair."""


def melanin(eumelanin: float, pheomelanin: float, bands: Array = BANDS) -> Array:
    """Absorption by the two melanins (concentrations, no unit) at the centres of some bands, nm.

    Power laws of the wavelength after Donner and Jensen 2006 (exponents from memory),
    scaled to the constants that the pbrt renderer's hair material documents.
    """
    eu = 0.697 * (bands / 550.0) ** -3.33
    pheo = 0.400 * (bands / 550.0) ** -4.75
    return eumelanin * eu + pheomelanin * pheo


def dye(amount: float, centre_nm: float, width_nm: float, bands: Array = BANDS) -> Array:
    """Absorption by one dye: a bell curve over the wavelength."""
    return amount * np.exp(-0.5 * ((bands - centre_nm) / width_nm) ** 2)


def toner_left(months: float, fast_share: float, fast_months: float, slow_months: float) -> float:
    """Share of a toner left after some months: a fast part and a slow part, both exponential."""
    return fast_share * float(np.exp(-months / fast_months)) + (1.0 - fast_share) * float(np.exp(-months / slow_months))


def absorption(look: dict[str, Any], lightened: float, toner: float = 1.0, bands: Array = BANDS) -> Array:
    """Absorption of a fibre that is `lightened` (0 natural .. 1 lightest) of the way.

    Lightening destroys melanin roughly exponentially, so the mixture is geometric.
    The toner sits on lightened hair only, in proportion; `toner` is the share of it left.
    """
    nat, light = look["natural"], look.get("lightened", look["natural"])

    def mixed(key: str) -> float:
        return float(nat[key] ** (1.0 - lightened) * light[key] ** lightened)

    total = melanin(mixed("eu"), mixed("pheo"), bands)
    for amount, centre, width in look.get("toner", []):
        total = total + dye(amount * lightened * toner, centre, width, bands)
    for amount, centre, width in look.get("dyes", []):
        total = total + dye(amount, centre, width, bands)
    return total
