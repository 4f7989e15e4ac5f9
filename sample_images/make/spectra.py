"""Band weights of lights and cameras: python spectra.py WEIGHTS.npz (needs colour-science).

Spectra come from the colour-science package's data sets (CIE illuminants, the CIE 1931
2 degree observer, a camera measured at the NPL, BabelColor's average of 24-patch charts).
Also writes chart24.json beside this file: the chart's band reflectances, for the renderer.
"""

from __future__ import annotations

import json
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from fibres import BANDS
from numpy.typing import NDArray

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

Array = NDArray[np.float64]
WL: Array = np.arange(390.0, 731.0)
LIGHTS = ("D65", "A", "LED-B2", "LED-B3")
CAMERAS = {"ideal": None, "measured": next(iter(colour.MSDS_CAMERA_SENSITIVITIES))}  # the first of two, by place
XYZ_TO_SRGB: Array = np.array(
    [[3.2406255, -1.5372080, -0.4986286], [-0.9689307, 1.8757561, 0.0415175], [0.0557101, -0.2040211, 1.0569959]]
)


def light(name: str) -> Array:
    """Relative power of a light at WL, 1 at 560 nm."""
    sd = colour.SDS_ILLUMINANTS[name]
    power = np.interp(WL, sd.wavelengths, sd.values)
    return power / np.interp(560.0, WL, power)


def sensitivities(data: str | None) -> Array:
    """Three sensitivities at WL: the CIE observer for the ideal camera, else a measured camera."""
    if data is None:
        sd = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    else:
        sd = colour.MSDS_CAMERA_SENSITIVITIES[data]
    curves = [np.interp(WL, sd.wavelengths, sd.values[:, i], left=0, right=0) for i in range(3)]
    return np.clip(np.stack(curves, 1), 0, None)


def colour_matrix(raw: Array, wanted: Array) -> Array:
    """Least-squares 3 x 3 matrix from balanced raw to linear sRGB that keeps white white."""
    matrix = np.zeros((3, 3))
    for i in range(3):
        a, *_ = np.linalg.lstsq(raw[:, :2] - raw[:, 2:], wanted[:, i] - raw[:, 2], rcond=None)
        matrix[i] = [a[0], a[1], 1.0 - a.sum()]
    return matrix


def chart24() -> Array:
    """Reflectances of the chart's patches at WL, (24, wavelengths)."""
    sds = colour.SDS_COLOURCHECKERS["BabelColor Average"].values()
    return np.stack([np.interp(WL, s.wavelengths, s.values) for s in sds])


def weights(bands: Array, lights: Sequence[str]) -> dict[str, Array]:
    """From values in bands, nm, to XYZ and to each camera's balanced raw values, and from those to linear sRGB."""
    hats = np.stack([np.interp(WL, bands, row) for row in np.eye(len(bands))], 1)
    cie, d65 = sensitivities(None), light("D65")
    scale = 1.0 / (cie[:, 1] @ d65)
    chart = chart24()
    wanted = (chart * d65) @ cie * scale @ XYZ_TO_SRGB.T
    out = {"xyz": scale * (cie * d65[:, None]).T @ hats, "chart_xyz": (chart * d65) @ cie * scale}
    for name in lights:
        power = light(name)
        for camera, data in CAMERAS.items():
            s = sensitivities(data)
            white = power @ s
            out[f"raw|{name}|{camera}"] = (s * power[:, None]).T @ hats / white[:, None]
            out[f"matrix|{name}|{camera}"] = colour_matrix((chart * power) @ s / white, wanted)
    return out


def main() -> None:
    """Write the weights and the chart."""
    np.savez(sys.argv[1], **weights(BANDS, LIGHTS))
    bands = np.clip([np.interp(BANDS, WL, c) for c in chart24()], 0, 1).round(4)
    text = json.dumps({"bands_nm": BANDS.tolist(), "bands": bands.tolist()})
    (Path(__file__).parent / "chart24.json").write_text(text + "\n")


if __name__ == "__main__":
    main()
