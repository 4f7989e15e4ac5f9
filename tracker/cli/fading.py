"""``fade``: from a table of readings to the wear of one service, or why it cannot be told."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from tracker.cli.files import read_text
from tracker.cli.terminal import Progress, say, say_json
from tracker.errors import InvalidEntry, InvalidSeries, TooFewReadings
from tracker.fade import FadeFit, FadeSeries, Limit, Window, fade_from_csv, fit_fade, refresh_window, window
from tracker.fade.rate import Interval
from tracker.fade.window import Side
from tracker.measure.repeatability import PROVISIONAL
from tracker.said.wear import say_no_date, say_no_rate

Json = dict[str, object]

_OF_A_WINDOW = ("state", "early", "middle", "late", "not_before", "chance")


def fade(
    table: Path | None,
    as_json: bool,
    washes: float | None = None,
    *,
    above: Sequence[str] = (),
    below: Sequence[str] = (),
    quiet: bool = False,
) -> int:
    """Fit every quantity of a table, and say when limits are passed.

    Parameters
    ----------
    table : Path, None for standard input
    washes : washes a week, according to the client
    above, below : limits, each as ``NAME=LIMIT``
    quiet : bool, show no progress

    Raises
    ------
    FadeError : no table, or no series in it
    InvalidEntry : impossible washes or limits
    """
    found = fade_from_csv(read_text(table, InvalidSeries), PROVISIONAL.sd)
    limits = [_limit(text, "above", found) for text in above] + [_limit(text, "below", found) for text in below]
    fits: dict[str, FadeFit] = {}
    with Progress(quiet) as progress:
        for name, series in found.items():
            _require_two(series)
            progress.show(len(fits) / len(found), name)
            fits[name] = fit_fade(series, washes_per_week=washes)
    windows = [(limit, window(fits[limit.name], limit)) for limit in limits]
    refresh = refresh_window([(limit.name, each) for limit, each in windows]) if windows else None
    if as_json:
        document: Json = {"quantities": {name: _document(fit) for name, fit in fits.items()}}
        if refresh is not None:
            document["limits"] = [
                {"name": limit.name, "side": limit.side, "limit": limit.value, **_months(each)}
                for limit, each in windows
            ]
            document["refresh"] = _months(refresh)
        say_json(document)
        return 0
    for name, fit in fits.items():
        _say(name, fit)
    for limit, each in windows:
        say(f"{limit.name} {limit.side} {limit.value:g}: {_when(each)}")
    if refresh is not None and len(windows) > 1:
        say(f"The first of these: {_when(refresh)}")
    return 0


def _limit(text: str, side: Side, found: Mapping[str, FadeSeries]) -> Limit:
    name, _, number = text.rpartition("=")
    name = next((each for each in found if each.rstrip("*").lower() == name.strip().rstrip("*").lower()), "")
    try:
        value = float(number)
    except ValueError:
        value = math.nan
    if not name or not math.isfinite(value):
        raise InvalidEntry(
            f"“{text[:40]}” is not a limit for this table.", f"Write one such as {next(iter(found))}=24."
        )
    return Limit(value, side, name)


def _when(found: Window) -> str:
    if found.early is None or found.middle is None or found.late is None:
        return say_no_date(found.why_not)
    months = f"month {found.middle:.1f} ({found.early:.1f} to {found.late:.1f}, in 80 of 100 cases)."
    return f"{months} {say_no_date(found.why_not)}".rstrip()


def _months(found: Window) -> Json:
    plain = {name: getattr(found, name) for name in _OF_A_WINDOW}
    return {**plain, "why_not": say_no_date(found.why_not) or None}


def _require_two(series: FadeSeries) -> None:
    if len(series) < 2:
        raise TooFewReadings(
            "The table has only one reading, and one shows no movement.",
            "Add the reading of a later photo.",
            value=1.0,
            limit=2.0,
            unit="readings",
        )


def _interval(found: Interval) -> Json:
    return {"low": found.low, "median": found.median, "high": found.high}


def _document(fit: FadeFit) -> Json:
    months = sorted(set(fit.series.months))
    low, high = fit.band(months)
    return {
        "readings": len(fit.series),
        "rate": {**_interval(fit.rate), "unit": "per month"} if fit.rate else None,
        "half_life": _interval(fit.half_life) if fit.half_life else None,
        "refusal": say_no_rate(fit.refusal) or None,
        "residual_rms": fit.residual_rms,
        "curve": {"months": months, "mean": fit.mean(months).tolist(), "low": low.tolist(), "high": high.tolist()},
    }


def _say(name: str, fit: FadeFit) -> None:
    last = fit.series.months[-1]
    low, high = fit.band([last])
    rate, half_life = fit.rate, fit.half_life
    if rate and half_life:
        interval = f"{half_life.median:.1f} months ({half_life.low:.1f} to {half_life.high:.1f})"
        rates = f"{rate.median:.2f} per month ({rate.low:.2f} to {rate.high:.2f})"
        say(f"{name}: half of the quick change is over in {interval}; rate {rates}.")
    else:
        say(f"{name}: {say_no_rate(fit.refusal)}")
    curve = f"{fit.mean([last])[0]:.1f} ({low[0]:.1f} to {high[0]:.1f})"
    say(f"  {len(fit.series)} readings; the curve at month {last:g}: {curve}.")
