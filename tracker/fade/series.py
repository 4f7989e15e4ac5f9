"""The readings that a fade is fitted to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from tracker.errors import InvalidSeries, TooFewReadings

DAYS_PER_MONTH = 30.4375
"""A twelfth of 365.25 days."""

MONTHS_LIMIT = 600.0
VALUE_LIMIT = 1000.0
U_RANGE = (1e-4, 1000.0)


def months_between(earlier: datetime, later: datetime) -> float:
    """Time between two moments in months of 30.4375 days; negative where they are the other way round.

    Examples
    --------
    >>> from datetime import UTC
    >>> months_between(datetime(2024, 1, 1, tzinfo=UTC), datetime(2025, 12, 31, 12, tzinfo=UTC))
    24.0
    """
    return (later - earlier).total_seconds() / (DAYS_PER_MONTH * 86400)


@dataclass(frozen=True, slots=True)
class FadeSeries:
    """Readings of one quantity on one head since one service.

    Attributes
    ----------
    months : tuple, months since the service, 0..600, never falling; equal months are repeats
    values : tuple, -1000..1000, in `unit`
    u : tuple, standard uncertainty of each reading as it differs from the others, 0.0001..1000;
        an error that all readings share is no part of it
    name : str, what was read, such as ``mid-lengths``
    unit : str, ``L*``, ``a*``, ``b*``, ``warmth``, ``level`` or ``dE``

    Raises
    ------
    TooFewReadings : without any reading
    InvalidSeries : where lengths differ, months are out of order, or a number is out of range
    """

    months: tuple[float, ...]
    values: tuple[float, ...]
    u: tuple[float, ...]
    name: str = ""
    unit: str = ""

    def __post_init__(self) -> None:
        counts = {len(self.months), len(self.values), len(self.u)}
        if len(counts) > 1:
            raise InvalidSeries(
                f"{len(self.months)} months, {len(self.values)} values and {len(self.u)} uncertainties make no series.",
                "Give one of each per reading.",
            )
        if not self.months:
            raise TooFewReadings("There is no reading.", "Add a photo.", value=0, limit=1)
        _within("month", self.months, 0.0, MONTHS_LIMIT)
        _within("value", self.values, -VALUE_LIMIT, VALUE_LIMIT)
        _within("uncertainty", self.u, *U_RANGE)
        for number, (earlier, later) in enumerate(zip(self.months, self.months[1:], strict=False), start=2):
            if later < earlier:
                raise InvalidSeries(
                    f"Months out of order: reading {number} is at {later:g}, the one before at {earlier:g}.",
                    "Sort the readings by date.",
                    value=later,
                    limit=earlier,
                    unit="months",
                )

    def __len__(self) -> int:
        return len(self.months)

    @property
    def occasions(self) -> int:
        """Number of different months."""
        return len(set(self.months))


def _within(what: str, numbers: Sequence[float], low: float, high: float) -> None:
    for number, value in enumerate(numbers, start=1):
        if not (math.isfinite(value) and low <= value <= high):
            raise InvalidSeries(
                f"Reading {number} has the {what} {value:g}, allowed is {low:g} to {high:g}.",
                "Correct or leave out that reading.",
                value=value if math.isfinite(value) else None,
                limit=high if value > high else low,
            )
