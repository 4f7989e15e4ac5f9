"""Whether groups of clients change by different amounts, or only seem to.

References
----------
- Welch 1947, The generalization of Student's problem when several different population variances are involved,
  Biometrika 34:28.
- Janssen 1997, Studentized permutation tests for non-i.i.d. hypotheses, Statistics & Probability Letters 36:9.
- Holm 1979, A simple sequentially rejective multiple test procedure, Scand J Statist 6:65.
- Berger 1982, Multiparameter hypothesis testing and acceptance sampling, Technometrics 24:295.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import Array, expanded

FEWEST = 5
"""Fewest clients with photos late enough for a group to have a median and a comparison."""

_REAL = 0.05
_EXCHANGED_UP_TO = 100  # clients
_EXCHANGES = 4999


@dataclass(frozen=True, slots=True)
class Difference:
    """Whether two groups change by different amounts.

    Attributes
    ----------
    first, second : str, the groups; the clients of `second` change less in size
    size : Measured or None, how much further those of `first` change, up or down
    p : float or None, probability of as large a difference by chance alone, adjusted for the number of pairs
    means : mean change, up or down, of `first` and of `second`; empty where it cannot be said
    clients : how many of `first` and of `second` have photos that late
    """

    first: str
    second: str
    size: Measured | None
    p: float | None
    verdict: Literal["real", "not shown", "cannot say"]
    means: tuple[Measured, ...]
    clients: tuple[int, int]


def how_far(changes: Array) -> float:
    """Mean size of `changes`, (n,), one for each client, up or down alike; infinite for fewer than five."""
    return float(np.abs(changes).mean()) if changes.size >= FEWEST else math.inf


def mean_change(changes: Array, unit: str = "") -> Measured:
    """Mean change of a group, with the uncertainty that its clients' scatter gives.

    Parameters
    ----------
    changes : (n,), n >= 2, one for each client, up or down
    unit : str, of the changes
    """
    return Measured(float(changes.mean()), float(changes.std(ddof=1)) / math.sqrt(changes.size), unit, changes.size - 1)


def way_of(mean: Measured) -> int:
    """1 where `mean` is more, -1 where less, 0 where its 95 % interval includes no change."""
    return 0 if abs(mean.value) <= expanded(mean) else int(math.copysign(1, mean.value))


def compare_groups(values: Mapping[str, Array], unit: str) -> tuple[Difference, ...]:
    """Test every pair of groups, and adjust for the number of pairs (Holm 1979).

    Parameters
    ----------
    values : change of each client, up or down, by group
    unit : of the change
    """
    ordered = sorted(values, key=lambda name: how_far(values[name]))
    pairs = [(more, less) for i, less in enumerate(ordered) for more in ordered[i + 1 :]]
    sizes: dict[tuple[str, str], tuple[Measured, float]] = {}
    for more, less in pairs:
        if min(values[more].size, values[less].size) >= FEWEST:
            sizes[more, less] = _compare_sizes(values[more], values[less], unit)
    adjusted: dict[tuple[str, str], float] = {}
    worst = 0.0
    for rank, pair in enumerate(sorted(sizes, key=lambda pair: sizes[pair][1])):
        worst = max(worst, min(1.0, (len(sizes) - rank) * sizes[pair][1]))
        adjusted[pair] = worst
    return tuple(
        _difference(pair, sizes[pair][0] if pair in sizes else None, adjusted.get(pair), values) for pair in pairs
    )


def _compare_sizes(more: Array, less: Array, unit: str) -> tuple[Measured, float]:
    """How much further clients of one group moved than those of the other, and the probability of that by chance alone.

    Notes
    -----
    Judged by the sizes of single changes alone, a group with scattered photos would seem to change; judged by the size
    of the mean alone, a group whose clients move both ways would seem not to. So both must differ. The means differ in
    size where they differ both as they are and with one sign reversed. When tests must all agree, the largest p counts
    (Berger 1982).
    """
    size, p = _welch(np.abs(more), np.abs(less), unit)
    if abs(more.mean()) <= abs(less.mean()):
        return size, 1.0
    return size, max(p, _welch(more, less, unit)[1], _welch(more, -less, unit)[1])


def _welch(first: Array, second: Array, unit: str) -> tuple[Measured, float]:
    """Difference of two means, and the probability of one as large by chance alone.

    Notes
    -----
    Welch's t, which does not assume equal spreads. Up to a hundred clients, its distribution comes from permuting
    clients between the groups (Janssen 1997); beyond that it is Student's.
    """
    from scipy.special import stdtr  # imported late: keeps `import tracker` light

    size = float(first.mean() - second.mean())
    parts = np.array([first.var(ddof=1) / first.size, second.var(ddof=1) / second.size])
    u = math.sqrt(max(float(parts.sum()), 1e-18))
    dof = float(parts.sum() ** 2 / max(parts[0] ** 2 / (first.size - 1) + parts[1] ** 2 / (second.size - 1), 1e-300))
    dof = max(dof, min(first.size, second.size) - 1.0)  # smaller only by rounding, or without any spread
    both = np.concatenate([first, second])
    if both.size > _EXCHANGED_UP_TO:
        return Measured(size, u, unit, dof), float(2 * stdtr(dof, -abs(size) / u))
    rng = np.random.default_rng(5)
    shuffled = rng.permuted(np.broadcast_to(both, (_EXCHANGES, both.size)), axis=1)
    a, b = shuffled[:, : first.size], shuffled[:, first.size :]
    u_drawn = np.sqrt(np.maximum(a.var(axis=1, ddof=1) / first.size + b.var(axis=1, ddof=1) / second.size, 1e-18))
    larger = np.abs(a.mean(axis=1) - b.mean(axis=1)) / u_drawn >= abs(size) / u * (1 - 1e-9)
    return Measured(size, u, unit, dof), (1 + int(larger.sum())) / (1 + _EXCHANGES)


def _difference(
    pair: tuple[str, str], size: Measured | None, p: float | None, values: Mapping[str, Array]
) -> Difference:
    clients = values[pair[0]].size, values[pair[1]].size
    if size is None or p is None:
        return Difference(*pair, None, None, "cannot say", (), clients)
    means = tuple(mean_change(values[name], size.unit) for name in pair)
    return Difference(*pair, size, p, "real" if p < _REAL else "not shown", means, clients)
