"""The readings that a fade curve is fitted to."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from tracker.errors import InvalidSeries, TooFewReadings
from tracker.words import DAYS_PER_MONTH, noun

"""A twelfth of 365.25 days."""

MONTHS_LIMIT = 600.0
VALUE_LIMIT = 1000.0
U_RANGE = (1e-4, 1000.0)


def months_between(earlier: datetime, later: datetime) -> float:
    """Time between two moments in months of 30.4375 days; negative in the wrong order.

    Parameters
    ----------
    earlier, later : datetime, both with a time zone

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
    u : tuple, standard uncertainty of each reading, 0.0001..1000, without any error that all readings share
    name : str, what was read, such as ``mid-lengths``
    unit : str, ``L*``, ``a*``, ``b*``, ``warmth``, ``level`` or ``dE``

    Raises
    ------
    TooFewReadings : there is no reading
    InvalidSeries : lengths differ, months are out of order, or a number is out of range
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
                f"{len(self.months)} dates, {len(self.values)} readings and {len(self.u)} ± do not belong together.",
                "Give a date, a reading and its ± for each photo.",
            )
        if not self.months:
            raise TooFewReadings(
                "There is no photo with a reading since the service.", "Add a photo.", value=0, limit=1
            )
        for number, (month, value, u) in enumerate(zip(self.months, self.values, self.u, strict=True), start=1):
            _require_month(number, month)
            _require_value(number, value)
            _require_u(number, u)
        for number, (earlier, later) in enumerate(zip(self.months, self.months[1:], strict=False), start=2):
            if later < earlier:
                raise InvalidSeries(
                    f"Reading {number} was taken before reading {number - 1}: months {later:g} and {earlier:g}.",
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


def _require_month(number: int, month: float) -> None:
    if math.isnan(month):
        raise InvalidSeries(f"Reading {number} has no date.", "Enter when the photo was taken, or leave it out.")
    if month < 0:
        raise InvalidSeries(
            f"Reading {number} was taken {_ago(-month)} before the service.",
            "Check both dates, or leave it out: it belongs to the service before.",
            value=month if math.isfinite(month) else None,
            limit=0.0,
            unit="months",
        )
    if month > MONTHS_LIMIT:
        raise InvalidSeries(
            f"Reading {number} was taken more than {MONTHS_LIMIT / 12:.0f} years after the service.",
            "Check both dates.",
            value=month if math.isfinite(month) else None,
            limit=MONTHS_LIMIT,
            unit="months",
        )


def _ago(months: float) -> str:
    days = months * DAYS_PER_MONTH
    if not days < 10000:
        return "years"
    return "less than a day" if days < 1 else f"{days:.0f} {noun(round(days), 'day')}"


def _require_value(number: int, value: float) -> None:
    if not math.isfinite(value):
        raise InvalidSeries(f"Reading {number} has no number.", "Measure that photo again, or leave it out.")
    if abs(value) > VALUE_LIMIT:
        raise InvalidSeries(
            f"Reading {number} is {value:g}, which no hair can have.",
            "Measure that photo again, or leave it out.",
            value=value,
            limit=math.copysign(VALUE_LIMIT, value),
        )


def _require_u(number: int, u: float) -> None:
    low, high = U_RANGE
    if low <= u <= high:
        return
    if math.isfinite(u) and u > high:
        why = f"Reading {number} has a ± so large ({u:g}) that it says nothing."
    else:
        why = f"Reading {number} has no ±: no photo is free of uncertainty."
    raise InvalidSeries(
        why,
        "Measure that photo again, or leave it out.",
        value=u if math.isfinite(u) else None,
        limit=high if u > high else low,
    )
