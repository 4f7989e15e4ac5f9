"""Whether groups of clients wear differently, or only seem to.

References
----------
- Welch 1947, The generalization of Student's problem when several different population variances are involved,
  Biometrika 34:28.
- Janssen 1997, Studentized permutation tests for non-i.i.d. hypotheses, Statistics & Probability Letters 36:9.
- Holm 1979, A simple sequentially rejective multiple test procedure, Scand J Statist 6:65.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.quantities import Measured
from tracker.uncertainty import format_measured

Array = NDArray[np.float64]

FEWEST = 5
"""Clients with photos as late as that, below which a group has no median and no comparison."""

ASSUMPTIONS = (
    "Taken for granted: clients are independent of each other, each counts once in a group, and groups do not differ "
    "in how well or how late photos are taken. Change is read off each client's own curve between their photos. "
    "Tested by Welch's t at 5 %, adjusted for the number of pairs (Holm); up to 100 clients by exchanging them "
    "between the groups."
)

_REAL = 0.05
_EXCHANGED_UP_TO = 100  # clients
_EXCHANGES = 4999


@dataclass(frozen=True, slots=True)
class Difference:
    """Whether two groups wear differently.

    Attributes
    ----------
    first, second : str, the groups; `second` changes less
    size : Measured or None, how much more `first` changes
    p : float or None, chance of a difference as large where there is none, adjusted for the number of pairs
    verdict : str, ``real``, ``not shown`` or ``cannot say``
    says : str, one sentence
    """

    first: str
    second: str
    size: Measured | None
    p: float | None
    verdict: str
    says: str


def compare_groups(values: Mapping[str, Array], unit: str, at: float | None) -> tuple[Difference, ...]:
    """Test every pair of groups, and adjust for the number of pairs (Holm 1979).

    Parameters
    ----------
    values : change of each client, by group, the one that changes least first
    unit : of the change
    at : months since the service, for the sentence
    """
    pairs = [(more, less) for i, less in enumerate(values) for more in list(values)[i + 1 :]]
    sizes: dict[tuple[str, str], tuple[Measured, float]] = {}
    for more, less in pairs:
        if min(values[more].size, values[less].size) >= FEWEST:
            sizes[more, less] = _welch(values[more], values[less], unit)
    adjusted: dict[tuple[str, str], float] = {}
    worst = 0.0
    for rank, pair in enumerate(sorted(sizes, key=lambda pair: sizes[pair][1])):
        worst = max(worst, min(1.0, (len(sizes) - rank) * sizes[pair][1]))
        adjusted[pair] = worst
    return tuple(
        _difference(pair, sizes[pair][0] if pair in sizes else None, adjusted.get(pair), at, values) for pair in pairs
    )


def _welch(first: Array, second: Array, unit: str) -> tuple[Measured, float]:
    """Difference of two means, and the chance of one as large where there is none.

    Notes
    -----
    Welch's t, which takes no equal spreads for granted; up to a hundred clients its distribution comes from exchanging
    clients between the groups (Janssen 1997), beyond from Student's.
    """
    from scipy.special import stdtr  # imported late: keeps `import tracker` light

    size = float(first.mean() - second.mean())
    parts = np.array([first.var(ddof=1) / first.size, second.var(ddof=1) / second.size])
    u = math.sqrt(max(float(parts.sum()), 1e-18))
    dof = float(parts.sum() ** 2 / max(parts[0] ** 2 / (first.size - 1) + parts[1] ** 2 / (second.size - 1), 1e-300))
    both = np.concatenate([first, second])
    if both.size > _EXCHANGED_UP_TO:
        return Measured(size, u, unit, dof), float(2 * stdtr(dof, -abs(size) / u))
    rng = np.random.default_rng(5)
    shuffled = rng.permuted(np.broadcast_to(both, (_EXCHANGES, both.size)), axis=1)
    a, b = shuffled[:, : first.size], shuffled[:, first.size :]
    spread = np.sqrt(np.maximum(a.var(axis=1, ddof=1) / first.size + b.var(axis=1, ddof=1) / second.size, 1e-18))
    larger = np.abs(a.mean(axis=1) - b.mean(axis=1)) / spread >= abs(size) / u * (1 - 1e-9)
    return Measured(size, u, unit, max(dof, 1.0)), (1 + int(larger.sum())) / (1 + _EXCHANGES)


def _difference(
    pair: tuple[str, str], size: Measured | None, p: float | None, at: float | None, values: Mapping[str, Array]
) -> Difference:
    more, less = pair
    if size is None or p is None or at is None:
        few = min(pair, key=lambda name: values[name].size)
        says = (
            f"Cannot say whether {more} and {less} differ: {values[few].size} clients of {few} have photos that late, "
            f"{FEWEST} are needed."
        )
        return Difference(more, less, None, None, "cannot say", says)
    amount = f"{format_measured(size)} by month {at:.1f}"
    if p < _REAL:
        says = f"{less} lasts longer than {more}: it changes less by {amount}, more than chance explains."
        return Difference(more, less, size, p, "real", says)
    says = f"No difference between {less} and {more} beyond chance: {amount}."
    return Difference(more, less, size, p, "not shown", says)
