"""``fade``: a table of readings to the wear of one service, or the reason why it cannot be said."""

from __future__ import annotations

from pathlib import Path

from tracker.cli.files import read_text
from tracker.cli.terminal import Progress, say, say_json
from tracker.errors import InvalidSeries, TooFewReadings
from tracker.fade import FadeFit, FadeSeries, fade_from_csv, fit_fade
from tracker.repeatability import PROVISIONAL
from tracker.uncertainty import format_measured

Json = dict[str, object]


def fade(table: Path, as_json: bool) -> int:
    """Fit every quantity of a table.

    Raises
    ------
    FadeError : no table, or no series in it
    """
    found = fade_from_csv(read_text(table, InvalidSeries), PROVISIONAL.sd)
    fits: dict[str, FadeFit] = {}
    with Progress() as progress:
        for name, series in found.items():
            _require_two(series)
            progress.show(len(fits) / len(found), name)
            fits[name] = fit_fade(series)
    if as_json:
        say_json({"quantities": {name: _document(fit) for name, fit in fits.items()}})
    else:
        for name, fit in fits.items():
            _say(name, fit)
    return 0


def _require_two(series: FadeSeries) -> None:
    if len(series) < 2:
        raise TooFewReadings(
            "The table has one reading, and one shows no movement.",
            "Add the reading of a later photo.",
            value=1.0,
            limit=2.0,
            unit="readings",
        )


def _document(fit: FadeFit) -> Json:
    months = sorted(set(fit.series.months))
    low, high = fit.band(months)
    rate, half_life = fit.rate, fit.half_life
    return {
        "readings": len(fit.series),
        "rate": {"value": rate.value, "u": rate.u, "unit": rate.unit} if rate else None,
        "half_life": {"low": half_life.low, "median": half_life.median, "high": half_life.high} if half_life else None,
        "refusal": fit.refusal,
        "residual_rms": fit.residual_rms,
        "curve": {
            "months": months,
            "mean": fit.mean(months).tolist(),
            "low": low.tolist(),
            "high": high.tolist(),
        },
    }


def _say(name: str, fit: FadeFit) -> None:
    last = fit.series.months[-1]
    low, high = fit.band([last])
    if fit.rate is not None and fit.half_life is not None:
        half_life = fit.half_life
        interval = f"{half_life.median:.1f} months ({half_life.low:.1f} to {half_life.high:.1f})"
        say(f"{name}: half of the fast part is over in {interval}; rate {format_measured(fit.rate)} per month.")
    else:
        say(f"{name}: {fit.refusal}")
    curve = f"{fit.mean([last])[0]:.1f} ({low[0]:.1f} to {high[0]:.1f})"
    say(f"  {len(fit.series)} readings; the curve at month {last:g}: {curve}.")
