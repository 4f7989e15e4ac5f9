"""How the services on record wear: the photos that belong to each, their readings, who is due and why."""

from tracker.wear.drawn import limit_heights, modelled_labs, visits_since
from tracker.wear.due import (
    Due,
    Learnt,
    Reason,
    agreed_at,
    due_of,
    fit_place,
    limits_in_force,
    reason_of,
    together,
    windows,
)
from tracker.wear.readings import QUANTITIES, WARMTH, ServiceReadings, readings_of
from tracker.wear.root import covers_root, growth
from tracker.wear.segments import kind_of, segments

__all__ = [
    "QUANTITIES",
    "WARMTH",
    "Due",
    "Learnt",
    "Reason",
    "ServiceReadings",
    "agreed_at",
    "covers_root",
    "due_of",
    "fit_place",
    "growth",
    "kind_of",
    "limit_heights",
    "limits_in_force",
    "modelled_labs",
    "readings_of",
    "reason_of",
    "segments",
    "together",
    "visits_since",
    "windows",
]
