"""How fast the wear of services is worked out: ``python -m tests.benchmark_fade`` prints a table with limits.

All in one run, taking turns, so that numbers can be set against each other. The status is always 0: on a busy computer
a limit can be missed without a fault.
"""

from __future__ import annotations

import numpy as np

from tests.benchmark import Line, cells, seconds
from tracker.fade import FadeSeries, Limit, Worn, across, fit_fade, refresh_window, studio_prior, window
from tracker.wear import regrowth

BOOTSTRAPS = 200
SERVICES = 2000


def client() -> list[FadeSeries]:
    """Twenty-four readings in four regions."""
    rng, months = np.random.default_rng(7), np.linspace(0, 6, 24)
    return [
        FadeSeries(
            tuple(months),
            tuple(50 - 5 * np.expm1(-rate * months) + 0.3 * months + 0.5 * rng.normal(size=24)),
            (0.5,) * 24,
            unit="L*",
        )
        for rate in (0.5, 1.0, 2.0, 4.0)
    ]


def studio() -> list[Worn]:
    """Two thousand services of two to six readings."""
    rng, found = np.random.default_rng(8), []
    for i in range(SERVICES):
        months = np.append(0.0, np.sort(rng.uniform(0.2, 5, int(rng.integers(1, 6)))))
        values = 4 - rng.normal(5, 1.5) * np.expm1(-1.2 * months) + rng.normal(0.3, 0.3) * months
        u = np.full(months.size, 0.7)
        series = FadeSeries(tuple(months), tuple(values + u * rng.normal(size=u.size)), tuple(u), unit="warmth")
        found.append(Worn(series, str(i % 900), group=("cool", "warm", "neutral")[i % 3]))
    return found


def reference(series: FadeSeries) -> np.ndarray:
    """The same shape by scipy.optimize, its spread from refitting scattered readings."""
    from scipy.optimize import curve_fit

    def shape(t: np.ndarray, start: float, fast: float, rate: float, slow: float) -> np.ndarray:
        curve: np.ndarray = start - fast * np.expm1(-np.exp(rate) * t) + slow * t
        return curve

    t, y, u = (np.asarray(each) for each in (series.months, series.values, series.u))
    best = curve_fit(shape, t, y, (y[0], y[-1] - y[0], 0.4, 0.0), u, maxfev=5000)[0]
    rng, found = np.random.default_rng(9), []
    for _ in range(BOOTSTRAPS):
        scattered = shape(t, *best) + u * rng.standard_normal(u.size)
        try:
            found.append(curve_fit(shape, t, scattered, best, u, maxfev=500)[0])
        except RuntimeError:  # a rate without bound: the bootstrap leaves it out
            continue
    return np.std(found, axis=0)


def windows(fits: list[object]) -> None:
    limits = [window(fit, Limit(6.0, "above", "lightness", from_start=True)) for fit in fits]  # type: ignore[arg-type]
    root = regrowth.forecast(regrowth.regrowth([FadeSeries((0.0, 6.0), (0.0, 66.0), (1.0, 2.0))]), 30.0)
    refresh_window([("lightness", limits[0]), ("root", root)])


def main() -> int:
    """Measure and print the table."""
    regions, services = client(), studio()
    fits: list[object] = [fit_fade(each) for each in regions]
    taken = seconds(
        fit=lambda: [fit_fade(each) for each in regions],
        windows=lambda: windows(fits),
        learn=lambda: studio_prior(services),
        across=lambda: across(services),
        reference=lambda: [reference(each) for each in regions],
    )
    fit, reached = taken["fit"], taken["reference"] / taken["fit"]
    lines = [
        Line("fit 4 regions, 24 readings each", f"{1e3 * fit:.1f} ms", "under 50 ms", fit < 0.05),
        Line("windows of 4 limits and the root, and the one of all", f"{1e3 * taken['windows']:.1f} ms"),
        Line(f"the same fits by scipy.optimize, {BOOTSTRAPS} bootstraps", f"{1e3 * taken['reference']:.0f} ms"),
        Line("  against the fit here", f"{reached:.0f} times slower"),
        Line(f"learn from {SERVICES} services", f"{1e3 * taken['learn']:.0f} ms"),
        Line(f"lay {SERVICES} services over one another, compare", f"{1e3 * taken['across']:.0f} ms"),
    ]
    both = taken["learn"] + taken["across"]
    lines.append(Line("  both", f"{1e3 * both:.0f} ms", "under 1 s, with the page", both < 1))
    widths = [max(len(cell) for cell in column) for column in zip(*map(cells, lines), strict=True)]
    for line in lines:
        print("  ".join(cell.ljust(width) for cell, width in zip(cells(line), widths, strict=True)).rstrip())
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
