"""The bench's figures: error, coverage and verdicts, in whole and by what the photos show; tables and plain numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from tests.bench.heads.bootstrap import Figure, mean, quantile
from tests.bench.heads.plates import heads
from tests.bench.heads.run import LAIN, ONE, PHOTOS, Outcome, Results, conditions
from tests.bench.report import table

PLAINLY = 1.8
"""True ΔE00 above which a change ought to be found: half of observers accept it (Paravina et al. 2015, dental)."""

Figures = dict[str, Figure]
Named = dict[tuple[str, ...], Figures]


def figures(outcomes: Sequence[Outcome]) -> Figures:
    """All figures of some outcomes."""
    head = np.array([o.head for o in outcomes])
    errors = np.array([o.error for o in outcomes]).reshape(-1, 3)
    halves = np.array([np.full(3, np.nan) if o.said.half is None else o.said.half for o in outcomes]).reshape(-1, 3)
    found: Figures = {}
    for axis, name in enumerate(("L*", "a*", "b*")):
        size = np.abs(errors[:, axis])
        found[f"{name} median"] = quantile(size, head, 0.5)
        found[f"{name} 90"] = quantile(size, head, 0.9)
        holds = np.where(np.isfinite(halves[:, axis]), size <= halves[:, axis], np.nan)
        found[f"{name} held"] = mean(holds, head)
    return found | _verdicts(outcomes)


def _verdicts(outcomes: Sequence[Outcome]) -> Figures:
    """False and missed changes, as shares of bands; and how often any band of an unchanged head is called changed."""
    told = [o for o in outcomes if o.said.changed is not None]
    unchanged = [o for o in told if not heads()[o.head].changed]
    plain = [o for o in told if heads()[o.head].changed and o.size > PLAINLY]
    pairs: dict[tuple[Any, ...], list[bool]] = {}
    for o in unchanged:
        pairs.setdefault((o.head, o.kind, o.looks, o.photos, o.number), []).append(bool(o.said.changed))
    return {
        "false": _share([bool(o.said.changed) for o in unchanged], [o.head for o in unchanged]),
        "false in any band": _share([any(said) for said in pairs.values()], [key[0] for key in pairs]),
        "missed": _share([not o.said.changed for o in plain], [o.head for o in plain]),
    }


def _share(true: Sequence[bool], cluster: Sequence[int]) -> Figure:
    return mean(np.array(true, float), np.array(cluster, int))


def _third(value: float, first: float, second: float, words: tuple[str, str, str]) -> str:
    return words[0] if value < first else words[1] if value < second else words[2]


def _true_lift(outcome: Outcome) -> str:
    """How much lighter or darker the band became."""
    if not heads()[outcome.head].changed:
        return "unchanged head"
    return _third(abs(float(outcome.true[0])), 2, 5, ("under 2 L*", "2 to 5 L*", "over 5 L*"))


def _about(key: str) -> Callable[[Outcome], str]:
    return lambda outcome: str(heads()[outcome.head].about[key])


def _truth_of(key: str, yes: str, no: str) -> Callable[[Outcome], str]:
    return lambda outcome: yes if heads()[outcome.head].about[key] else no


FACTORS: dict[str, Callable[[Outcome], str]] = {
    "band": lambda outcome: outcome.band,
    "light": _about("light"),
    "spectrum": _about("spectrum"),
    "camera": _about("camera"),
    "card held": _truth_of("held", "in the hand", "on a stand"),
    "wall": _truth_of("busy", "busy", "plain"),
    "cape": _about("cape"),
    "length": lambda o: _third(heads()[o.head].about["length"], 34, 46, ("short", "shoulder", "long")),
    "density": _about("density"),
    "wave": _about("wave"),
    "level": lambda o: _third(heads()[o.head].about["level"], 4.3, 6.7, ("2 to 4", "4 to 7", "7 to 9")),
    "changed": _truth_of("changed", "changed", "unchanged"),
    "true lift": _true_lift,
    "done": _about("kind"),
}
"""What the outcomes are broken down by."""


def breakdown(outcomes: Sequence[Outcome]) -> dict[str, dict[str, Figures]]:
    """The figures for each value of each factor."""
    found: dict[str, dict[str, Figures]] = {}
    for factor, value_of in FACTORS.items():
        values: dict[str, list[Outcome]] = {}
        for outcome in outcomes:
            values.setdefault(value_of(outcome), []).append(outcome)
        found[factor] = {value: figures(values[value]) for value in sorted(values)}
    return found


def _number(figure: Figure) -> str:
    return "-" if figure.value is None else f"{figure.value:.2f} [{figure.low:.2f} {figure.high:.2f}]"


def _percent(figure: Figure) -> str:
    if figure.value is None or figure.low is None or figure.high is None:
        return "-"
    return f"{100 * figure.value:.0f} [{100 * figure.low:.0f} {100 * figure.high:.0f}]"


ERRORS = tuple(f"{name} {which}" for name in ("L*", "a*", "b*") for which in ("median", "90"))
VERDICTS = ("L* held", "a* held", "b* held", "false", "false in any band", "missed")


def _rows(named: Named, first: Sequence[str], columns: Sequence[str]) -> str:
    show = {name: _percent if name in VERDICTS else _number for name in columns}
    rows = [[*first, *columns]]
    rows += [[*names, *(show[name](found[name]) for name in columns)] for names, found in named.items()]
    return table(rows)


def _of(results: Results, kind: str, looks: str, photos: str) -> list[Outcome]:
    return [o for o in results.outcomes if (o.kind, o.looks, o.photos) == (kind, looks, photos)]


def tables(results: Results) -> str:
    """All tables as text."""
    cells: Named = {
        (kind, looks, photos): figures(here)
        for kind, looks in conditions(results)
        for photos in PHOTOS
        if (here := _of(results, kind, looks, photos)) or photos != LAIN
    }
    first = ("card", "look", "photos")
    kind, looks = conditions(results)[0]
    plain = _of(results, kind, looks, ONE)
    by: Named = {(factor, value): found for factor, each in breakdown(plain).items() for value, found in each.items()}
    return "\n\n".join(
        (
            "Error of the change, median and 90th percentile, with 95 % intervals over heads\n"
            + _rows(cells, first, ERRORS),
            "Share (%) of stated 95 % intervals that hold the true change; wrong verdicts (%): unchanged heads called "
            f"changed, changes over ΔE00 {PLAINLY} not called so\n" + _rows(cells, first, VERDICTS),
            f"By what the photos show: {kind}, {looks}, one photo each\n"
            + _rows(by, ("", ""), ("L* median", "L* 90", "b* median", "b* 90", "L* held", "false", "missed")),
            "Photos without a number (%)\n" + _refusals(results),
        )
    )


def _refusals(results: Results) -> str:
    rows = [["card", "look", "photos", "refused", "by reason"]]
    for kind, looks in conditions(results):
        taken = results.taken[kind, looks]
        reasons = {key[2]: count for key, count in sorted(results.refused.items()) if key[:2] == (kind, looks)}
        shares = " ".join(f"{reason} {count / taken:.0%}" for reason, count in reasons.items())
        rows.append([kind, looks, str(taken), f"{sum(reasons.values()) / taken:.0%}", shares or "-"])
    return table(rows)


def plain_numbers(results: Results) -> dict[str, Any]:
    """All figures with their intervals, for JSON."""
    found = []
    for kind, looks in conditions(results):
        for photos in PHOTOS:
            here = _of(results, kind, looks, photos)
            if photos == LAIN and not here:
                continue
            cell = {"card": kind, "look": looks, "photos": photos, "bands": len(here)}
            by = {f: {v: _plain(each) for v, each in values.items()} for f, values in breakdown(here).items()}
            found.append({**cell, "all": _plain(figures(here)), "by": by})
    refused = [{"card": k, "look": look, "reason": why, "photos": n} for (k, look, why), n in results.refused.items()]
    return {"cells": found, "refused": refused}


def _plain(found: Figures) -> dict[str, Any]:
    return {name: asdict(figure) for name, figure in found.items()}
