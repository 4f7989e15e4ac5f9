"""Services of one kind together: how they usually wear, and whether two groups really differ."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tracker.errors import TooFewReadings
from tracker.fade.compare import FEWEST, Difference, compare_groups, how_far, mean_change
from tracker.fade.many import Many, Worn
from tracker.fade.posterior import DEFAULT_PRIORS, PRIORS_BY_UNIT, pace_of
from tracker.fade.window import HORIZON
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import Array

_STEP = 0.25  # months
_LATEST = 3.0  # months: most colour has been refreshed by then; a choice of our own


@dataclass(frozen=True, slots=True)
class Strand:
    """One service on the common time axis: change since the service, up to its last photo."""

    name: str
    group: str
    months: tuple[float, ...]
    change: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class GroupWear:
    """The services of one group.

    Attributes
    ----------
    group : str
    services, clients : int
    months : as far as at least five clients have photos
    median, low, high : change since the service: median and middle 80 % of clients
    at_compared : Measured or None, mean change, up or down, at the month of comparison; None for too few clients
    """

    group: str
    services: int
    clients: int
    months: tuple[float, ...]
    median: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    at_compared: Measured | None


Longest = Literal["one group", "cannot say", "not shown", "real"]


@dataclass(frozen=True, slots=True)
class Overlay:
    """Services of one kind, drawn over one another.

    Attributes
    ----------
    strands : one per service
    all : all services together
    groups : by group, the one with the smallest changes first
    in_washes : bool, True where all clients said how often they wash: a month is then a month of usual washing
    compared_at : float or None, months since the service at which groups are compared
    differences : one per pair of groups
    unit : str, of the changes
    longest : whether the first group lasts longer than all others that it can be compared with
    rival : str or None, a group that it is not shown to outlast
    """

    strands: tuple[Strand, ...]
    all: GroupWear
    groups: tuple[GroupWear, ...]
    in_washes: bool
    compared_at: float | None
    differences: tuple[Difference, ...]
    unit: str
    longest: Longest
    rival: str | None


def across(services: Sequence[Worn]) -> Overlay:
    """Put services of one kind on a common time axis and compare their groups.

    Groups are compared at the latest month that half of the clients of each group reach, at most three.

    Parameters
    ----------
    services : of one quantity and region; any with photos at only one time are left out

    Raises
    ------
    TooFewReadings : no service has photos at two times
    ValueError : services in different units
    """
    counted = [each for each in services if each.series.occasions > 1]
    if not counted:
        raise TooFewReadings(
            "No service of this kind has photos at two times yet.", "Add a later photo.", value=0, limit=1
        )
    if len({each.series.unit for each in counted}) > 1:
        raise ValueError("services of unlike units cannot be compared")
    washed = all(each.washes_per_week is not None for each in counted)
    if not washed:
        counted = [replace(each, washes_per_week=None) for each in counted]
    table = _Table.of(counted)
    groups = sorted({each.group for each in counted})
    at = table.comparable([g for g in groups if table.clients(g) >= FEWEST])
    changes = {group: table.at(group, at) for group in groups}
    ordered = tuple(_group(table, group, at) for group in sorted(groups, key=lambda group: how_far(changes[group])))
    unit = counted[0].series.unit
    differences = compare_groups(changes, unit)
    return Overlay(
        tuple(table.strands()),
        _group(table, None, at),
        ordered,
        washed,
        at,
        differences,
        unit,
        *_longest(differences, ordered),
    )


class _Table:
    """Change of every service on one time axis, NaN beyond its last photo."""

    def __init__(self, services: Sequence[Worn], months: Array, change: Array) -> None:
        self.services, self.months, self.change = services, months, change

    @classmethod
    def of(cls, services: Sequence[Worn]) -> _Table:
        reach = np.array([each.series.months[-1] * pace_of(each.washes_per_week) for each in services])
        months = np.arange(0.0, min(float(reach.max()), HORIZON) + _STEP / 2, _STEP)
        priors = PRIORS_BY_UNIT.get(services[0].series.unit, DEFAULT_PRIORS)
        many = Many(services, priors)
        change, _ = many.change(many.under(priors), months)
        change[months[None, :] > reach[:, None] + _STEP / 2] = np.nan
        return cls(services, months, change)

    def strands(self) -> list[Strand]:
        result = []
        for each, row in zip(self.services, self.change, strict=True):
            seen = np.isfinite(row)
            result.append(Strand(each.name, each.group, tuple(self.months[seen].tolist()), tuple(row[seen].tolist())))
        return result

    def rows(self, group: str | None) -> list[int]:
        return [i for i, each in enumerate(self.services) if group is None or each.group == group]

    def clients(self, group: str | None) -> int:
        return len({self.services[i].client for i in self.rows(group)})

    def by_client(self, group: str | None) -> Array:
        """Change of each client of a group, averaged over their services: (clients, T)."""
        rows = self.rows(group)
        names, place = np.unique([self.services[i].client for i in rows], return_inverse=True)
        seen = np.isfinite(self.change[rows])
        total, count = np.zeros((2, len(names), self.months.size))
        np.add.at(total, place, np.where(seen, self.change[rows], 0.0))
        np.add.at(count, place, seen)
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)

    def comparable(self, groups: Sequence[str]) -> float | None:
        """The latest month that half of the clients of each group reach, and at least five."""
        if not groups:
            return None
        last = len(self.months)
        for group in groups:
            seen = np.isfinite(self.by_client(group))
            enough = np.flatnonzero(seen.sum(axis=0) >= max(FEWEST, math.ceil(len(seen) / 2)))
            last = min(last, int(enough[-1]) if enough.size else 0)
        month = min(float(self.months[last]), _LATEST)
        return month if month > 0 else None

    def at(self, group: str | None, month: float | None) -> Array:
        """Change by that month of each client of a group that reaches it."""
        if month is None:
            return np.empty(0)
        column = self.by_client(group)[:, int(np.argmin(np.abs(self.months - month)))]
        return column[np.isfinite(column)]


def _group(table: _Table, group: str | None, at: float | None) -> GroupWear:
    rows = table.by_client(group)
    enough = np.isfinite(rows).sum(axis=0) >= FEWEST
    seen = rows[:, enough]
    low, median, high = np.nanquantile(seen, [0.1, 0.5, 0.9], axis=0) if seen.shape[1] else np.empty((3, 0))
    compared = table.at(group, at)
    return GroupWear(
        group or "",
        len(table.rows(group)),
        len(rows),
        tuple(table.months[enough].tolist()),
        tuple(median.tolist()),
        tuple(low.tolist()),
        tuple(high.tolist()),
        mean_change(compared) if compared.size >= FEWEST else None,
    )


def _longest(differences: tuple[Difference, ...], groups: Sequence[GroupWear]) -> tuple[Longest, str | None]:
    if len(groups) < 2:
        return "one group", None
    against = [each for each in differences if each.second == groups[0].group]
    if all(each.verdict == "cannot say" for each in against):
        return "cannot say", None
    rival = next((each.first for each in against if each.verdict == "not shown"), None)
    return "real" if rival is None else "not shown", rival
