"""What is frozen of curves that wear, of the windows that follow from them, and of a root that grows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

from tests.golden_tables import read_table
from tests.samples import SAMPLES as TRUTH
from tests.samples import ribbon_reading
from tracker.calibrate.warmth import estimate_warmth
from tracker.fade import FadeFit, FadeSeries, Limit, Window, fit_fade, refresh_window, window
from tracker.maths.quantities import LabMeasured
from tracker.measure.reading import REGIONS
from tracker.wear import regrowth

Json = Any

_AT = (0.0, 0.5, 1.0, 2.0, 4.0, 8.0)


def of_fit(fit: FadeFit, limits: tuple[Limit, ...]) -> Json:
    """A curve with its band, its rate, and when limits are passed."""
    low, high = fit.band(_AT)
    windows = [(f"{limit.side} {limit.value:g}", window(fit, limit)) for limit in limits]
    found = {
        "rate value": fit.rate and [fit.rate.low, fit.rate.median, fit.rate.high],
        "half-life months": fit.half_life and [fit.half_life.low, fit.half_life.median, fit.half_life.high],
        "residual lab": fit.residual_rms,
        "curve lab": [[float(v) for v in each] for each in (fit.mean(_AT), low, high)],
        "windows": {name: of_window(each) for name, each in windows},
        "first of them": of_window(refresh_window(windows)),
    }
    if fit.washes_per_week is not None:
        found["half the washes"] = of_window(window(fit, limits[0], washes_per_week=fit.washes_per_week / 2))
    return found


def of_window(found: Window) -> Json:
    """When a limit is passed, and how likely."""
    return {
        "state": found.state,
        "by months": [found.early, found.middle, found.late, found.not_before],
        "chance share": [found.chance, found.passed],
        "first share": [share for _, share in found.first],
    }


def _sample_series() -> dict[str, FadeSeries]:
    """How Noor's colour wore: right after the service, and five photos over six months."""
    photos = [photo for photo in TRUTH if photo["file"] == "noor_after_daylight.jpg" or photo["role"] == "progress"]
    photos.sort(key=lambda photo: photo["months"] or 0.0)
    months = tuple(photo["months"] or 0.0 for photo in photos)
    found = {}
    for name in REGIONS:
        bands = [region for photo in photos if (region := ribbon_reading(photo["file"]).region(name)) is not None]
        labs = [LabMeasured(band.lab.lab, band.repeat_cov, band.lab.dof) for band in bands]
        tones = [estimate_warmth(lab).value for lab in labs]
        for unit, values in (
            ("L*", [(lab.lab[0], lab.u[0]) for lab in labs]),
            ("warmth", [(tone.value, tone.u) for tone in tones]),
        ):
            found[f"{name} {unit}"] = FadeSeries(months, *zip(*values, strict=True), name, unit)
    return found


def _wool(table: str) -> dict[str, FadeSeries]:
    rows = read_table(table)
    dose = tuple(float(row["dose"]) for row in rows)
    units = {"L": "L*", "a": "a*", "b": "b*", "dE": "dE"}
    return {
        unit: FadeSeries(dose, tuple(float(row[column]) for row in rows), (0.1,) * len(rows), unit=unit)
        for column, unit in units.items()
    }


def _washes() -> dict[str, FadeSeries]:
    rows = read_table("fade_washes.csv")
    found = {}
    for shade, chelant in sorted({(row["shade"], row["chelant"]) for row in rows}):
        own = [row for row in rows if (row["shade"], row["chelant"]) == (shade, chelant)]
        months, values, u = ([float(row[column]) for row in own] for column in ("washes", "dE", "u"))
        # three washes a week, and no difference to itself at the start
        found[f"{shade}, chelant {chelant}"] = FadeSeries(
            (0.0, *(month / 12 for month in months)), (0.0, *values), (0.05, *u), unit="dE"
        )
    return found


def _root() -> Json:
    """A root that grew as the sample photos' did, 11 mm a month, read to two millimetres."""
    photos = sorted((photo for photo in TRUTH if photo["regrowth_mm"]), key=lambda photo: photo["months"])
    months, lengths = (tuple(photo[key] for photo in photos) for key in ("months", "regrowth_mm"))
    found = regrowth.regrowth([FadeSeries(months, lengths, (2.0,) * len(months), unit="mm")])
    assert found.start is not None
    return {
        "rate mm": [found.rate.value, found.rate.u],
        "start mm": [found.start.value, found.start.u],
        "covariance value": found.covariance,
        "own": found.own,
        "longer than 80 mm": of_window(regrowth.forecast(found, 80.0)),
    }


def _fits(series: Mapping[str, FadeSeries], washes: float | None = None) -> dict[str, Callable[[], Json]]:
    return {name: lambda each=each: _fit(each, washes) for name, each in series.items()}  # type: ignore[misc]


def _fit(series: FadeSeries, washes: float | None) -> Json:
    limits = tuple(Limit(step, side, from_start=True) for side, step in (("above", 2.5), ("below", -2.5)))  # type: ignore[arg-type]
    return of_fit(fit_fade(series, washes_per_week=washes), limits)


@cache
def _series() -> dict[str, Mapping[str, FadeSeries]]:
    return {
        "blue wool 1": _wool("fade_blue_wool.csv"),
        "blue wool 2": _wool("fade_blue_wool_2.csv"),
        "washes": _washes(),
    }


def fit_makers() -> dict[str, Callable[[], Json]]:
    """How each frozen fit is made anew, by name."""
    fits: dict[str, Callable[[], Json]] = {"root": _root, "sample series": _sample_fits}
    for table, series in _series().items():
        fits |= {f"{table}, {name}": make for name, make in _fits(series).items()}
    return fits


def _sample_fits() -> Json:
    return {name: make() for name, make in _fits(_sample_series(), washes=3.0).items()}
