"""Hair as strands: where each grows, how it falls, and how light each piece of it is.

Units: centimetres. x to the right, y up, z towards the camera, which sees the
back of the head; the origin is the middle of the head.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from fibres import STEPS
from numpy.typing import NDArray

Array = NDArray[np.float64]
Labels = NDArray[np.int64]
Rng = np.random.Generator

HEAD: Array = np.array([7.6, 10.8, 9.2])
"""Semi-axes of the head's ellipsoid, cm."""
BODY_AT: Array = np.array([0.0, -44.0, -4.0])
BODY: Array = np.array([22.5, 23.5, 11.0])
"""Middle and semi-axes of the shoulders' rounded box, cm."""
BODY_POWER = 2.5
CROWN: Array = np.array([0.12, 0.92, 0.36])
STEP_CM = 1.0


@dataclass
class Hair:
    """Strands with a common arc length: points (n, k, 3) cm, arc (k,) cm, end of each (n,) cm."""

    points: Array
    arc: Array
    end: Array
    lock: Labels
    curl: Labels
    root: Array


def _unit(v: Array) -> Array:
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9)


def roots(rng: Rng, n: int) -> Array:
    """Unit directions (n, 3) of the roots: top, back and sides, down to the nape."""
    u = _unit(rng.normal(size=(n * 5, 3)))
    line = np.interp(u[:, 2], [-1.0, -0.35, 0.0, 0.5, 1.0], [0.75, 0.45, -0.05, -0.45, -0.50])
    return u[u[:, 1] > line][:n]


def outside(p: Array, layer: Array) -> Array:
    """Move points out of the head (grown by the layer's thickness) and out of the shoulders."""
    q = p / (HEAD * layer)
    r = np.linalg.norm(q, axis=-1, keepdims=True)
    p = np.where(r < 1.0, p / np.maximum(r, 1e-6), p)
    q = np.abs(p - BODY_AT) / (BODY + 0.6 + 6.0 * (layer - 1.0))
    r = np.sum(q**BODY_POWER, axis=-1, keepdims=True) ** (1.0 / BODY_POWER)
    return np.where(r < 1.0, BODY_AT + (p - BODY_AT) / np.maximum(r, 0.3), p)


def _fall(rng: Rng, u: Array, steps: int, style: dict[str, Any]) -> Array:
    """Let every strand grow away from the crown and fall under its weight."""
    n = len(u)
    normal = _unit(u / HEAD)
    crown = _unit(CROWN)
    away = _unit(u - crown - np.sum((u - crown) * normal, 1, keepdims=True) * normal)
    swirl = 0.07 + 0.30 * np.exp(-np.sum((u - crown) ** 2, 1, keepdims=True) / 0.02)
    d = normal * style.get("lift", 0.18) + away * 0.8 + rng.normal(0, 1, (n, 3)) * swirl
    height = (u[:, 1:2] + 0.55) / 1.55
    layer = 1.03 + style.get("volume", 0.13) * (0.75 * height + 0.25 * rng.random((n, 1)))
    gather = style.get("gather", 0.035)
    p = u * HEAD
    out = np.zeros((n, steps, 3))
    out[:, 0] = p
    for i in range(1, steps):
        pull = np.array([0.0, -0.30, 0.0]) + rng.normal(0, 0.02, (n, 3))
        pull[:, 2] += gather * np.clip(9.0 - p[:, 2], 0, 12) / 6.0 * (p[:, 1] < 2)
        inward = np.clip(np.abs(p[:, 0]) - 4, 0, 4) / 4 * np.sign(p[:, 0]) * (p[:, 1] < -2)
        pull[:, 0] -= style.get("narrow", 0.05) * inward
        d = _unit(_unit(d) + pull)
        p = outside(p + d * STEP_CM, layer)
        d = (p - out[:, i - 1]) / STEP_CM
        out[:, i] = p
    return out


def _clump(points: Array, label: Labels, amount: Array) -> Array:
    """Draw the strands of each clump towards their mean, by an amount (k,) along them."""
    count = np.bincount(label).astype(float)
    mean = np.zeros((len(count), *points.shape[1:]))
    np.add.at(mean, label, points)
    mean /= np.maximum(count, 1.0)[:, None, None]
    w = amount[None, :, None]
    return points * (1 - w) + mean[label] * w


def _wave(rng: Rng, hair: Array, arc: Array, lock: Labels, curl: Labels, style: dict[str, Any]) -> Array:
    """Add waves, lock by lock, sideways and in depth."""
    m, c = lock.max() + 1, curl.max() + 1
    where = np.stack([np.bincount(lock, hair[:, 0, j]) / np.maximum(np.bincount(lock), 1) for j in (0, 1)])
    start = rng.uniform(0, 2 * np.pi)
    swell = start + 0.28 * where[0] + 0.15 * where[1] + rng.normal(0, style.get("phase_spread", 0.7), m)
    phase = swell[lock] + rng.normal(0, 0.3, c)[curl] + rng.normal(0, 0.10, len(lock))
    size = style.get("waves", 0.8) * rng.uniform(0.55, 1.2, m)[lock] * rng.uniform(0.75, 1.25, c)[curl]
    period = rng.uniform(0.92, 1.08, m)[lock] * style.get("period_cm", 10.0)
    grow = np.clip((arc - style.get("wave_from_cm", 7.0)) / 14.0, 0, 1)
    turn = 2 * np.pi * arc[None] / period[:, None] + phase[:, None]
    radial = _unit(hair * np.array([1.0, 0.0, 1.0]))
    across = np.stack([radial[..., 2], np.zeros_like(turn), -radial[..., 0]], -1)
    a = (grow[None] * size[:, None])[..., None]
    return hair + a * (np.sin(turn)[..., None] * across + 0.6 * np.cos(turn)[..., None] * radial)


def _frizz(rng: Rng, shape: tuple[int, int], arc: Array, style: dict[str, Any]) -> Array:
    """Slow random drift of every strand, larger for a few flyaways, growing to the tips."""
    n, k = shape
    size = style.get("frizz_cm", 0.12) * rng.uniform(0.4, 1.2, n)
    size = np.where(rng.random(n) < style.get("flyaways", 0.015), size * rng.uniform(2, 6, n), size)
    knots = rng.normal(size=(n, 8, 3))
    at = np.linspace(0, 7, k)
    lo = np.minimum(at.astype(int), 6)
    t = (at - lo)[None, :, None]
    t = t * t * (3 - 2 * t)
    drift = knots[:, lo] * (1 - t) + knots[:, lo + 1] * t
    return drift * size[:, None, None] * np.clip(arc / 10.0, 0, 1.6)[None, :, None]


def _hem(rng: Rng, points: Array, arc: Array, u: Array, lock: Labels, style: dict[str, Any]) -> Array:
    """Arc length (n,) cm at which each strand reaches the cut line, a shallow U across the back."""
    last = int(np.searchsorted(arc, style["length_cm"] - 1.0))
    top = (u[:, 2] > 0.2) & (u[:, 1] > 0.55)
    hem = np.median(points[top, last, 1]) + rng.normal(0, 0.8, lock.max() + 1)[lock] + rng.normal(0, 0.6, len(u))
    below = points[..., 1] < hem[:, None] + style.get("u_shape", 0.035) * points[..., 0] ** 2
    below |= (np.abs(points[..., 0]) > 11.5) & (points[..., 1] < -15)  # no tufts on the shoulders
    below[:, 0] = False
    return np.where(below.any(1), arc[np.argmax(below, 1)], arc[-1])


def grow(rng: Rng, n: int, style: dict[str, Any], arrange: Rng | None = None) -> Hair:
    """Grow `n` strands in a style (lengths in cm, see scenes.json).

    The head (roots and locks) comes from `rng`; so does the way the hair lies, unless
    `arrange` gives another one.
    """
    length = style["length_cm"]
    arc = np.arange(int(length / STEP_CM) + 1) * STEP_CM
    u = roots(rng, n)
    seeds = roots(rng, style.get("locks", 75))
    lock = np.argmax(u @ seeds.T, axis=1)
    seeds = roots(rng, style.get("curls", 900))
    curl = np.argmax(u @ seeds.T, axis=1)
    rng = arrange or rng
    points = _fall(rng, u, len(arc), style)
    tight = style.get("clump", 0.6)
    points = _clump(points, lock, tight * 0.75 * np.clip((arc - 6) / 26, 0, 1))
    points = _clump(points, curl, tight * np.clip((arc - 2) / 16, 0, 1))
    points = _wave(rng, points, arc, lock, curl, style)
    points += _frizz(rng, points.shape[:2], arc, style)
    layer = 1.02 + 0.02 * rng.random((len(u), 1))
    for i in range(1, len(arc)):
        points[:, i] = outside(points[:, i], layer)
    ragged = style.get("ragged_cm", 1.6)
    end = length - np.abs(rng.normal(0, ragged, lock.max() + 1))[lock] - np.abs(rng.normal(0, ragged, len(u)))
    end = np.minimum(end, _hem(rng, points, arc, u, lock, style))
    return Hair(points, arc, np.clip(end, 6 * STEP_CM, None), lock, curl, u)


def lightness_steps(rng: Rng, hair: Hair, paint: dict[str, Any] | None, grown_cm: float) -> Labels:
    """Colour step (0 natural .. STEPS-1 lightest) of every strand at every arc position.

    Hand painting: a share of the locks (`coverage`) is lightened from `start_cm` on,
    fully after another `melt_cm`; regrowth since then pushes the start down by `grown_cm`.
    """
    n, k = hair.points.shape[:2]
    if paint is None:
        return np.zeros((n, k), np.int64)
    m, c = hair.lock.max() + 1, hair.curl.max() + 1
    share = np.clip(rng.normal(paint["coverage"], paint.get("uneven", 0.2), m), 0, 1)[hair.lock]
    draw = np.where(rng.random(n) < 0.8, rng.random(c)[hair.curl], rng.random(n))
    painted = draw < share
    start = rng.normal(paint["start_cm"], paint["spread_cm"], m)[hair.lock] + rng.normal(0, 0.8, n) + grown_cm
    f = np.clip((hair.arc[None] - start[:, None]) / paint["melt_cm"], 0, 1)
    f = np.where(painted[:, None], f, f * paint.get("rest", 0.0))
    return np.rint(f * (STEPS - 1)).astype(np.int64)


def _runs(steps: Labels) -> list[tuple[int, int]]:
    """First and last+1 index of each stretch of equal colour, over a strand's segments."""
    cuts = np.flatnonzero(np.diff(steps)) + 1
    return list(zip([0, *cuts], [*cuts, len(steps)], strict=True))


def write_curves(folder: Path, hair: Hair, steps: Labels, radius_cm: float, rng: Rng) -> None:
    """Write one B-spline curve file a colour step: folder/0.txt .. folder/STEPS-1.txt.

    A segment needs four control points; the renderer crashes on curves of one or two
    segments, so short pieces borrow a point on either side, and when a ray meets the
    end of a file's last curve, so that one lies inside the head, where no ray gets.
    """
    text: list[list[str]] = [[] for _ in range(STEPS)]
    radius = radius_cm * rng.uniform(0.8, 1.2, len(hair.points))
    for i, points in enumerate(hair.points):
        k = int(np.searchsorted(hair.arc, hair.end[i]))
        q = np.vstack([2 * points[0] - points[1], points[:k], 2 * points[k - 1] - points[k - 2]])
        taper = radius[i] * np.interp(np.arange(len(q)), [0, 0.75 * len(q), len(q) - 1], [1, 0.9, 0.45])
        rows = np.column_stack([q, taper])
        for a, b in _runs(steps[i, : k - 1]):
            lo, hi = a, b + 3
            if hi - lo < 6:
                lo, hi = max(0, lo - 1), min(len(rows), hi + 1)
            piece = rows[lo:hi]
            text[steps[i, a]].append("%.4f %.4f %.4f %.5f\n" * len(piece) % tuple(piece.ravel()))
    hidden = "".join(f"0 {y:.1f} 0 0.01\n" for y in np.linspace(-2, 2, 12))
    for m, pieces in enumerate(text):
        if pieces:
            pieces.append(hidden)
        (folder / f"{m}.txt").write_text("\n".join(pieces))


def fall_line(hair: Hair, x_cm: float, start_cm: float, stop_cm: float) -> tuple[Array, Array]:
    """A smooth line (k, 3) cm down the outer hair near `x_cm`, and its arc positions (k,) cm.

    It is the median of the strands that leave the crown on that side and reach the bottom.
    """
    mid = int(np.argmin(np.abs(hair.arc - 14.0)))
    near = np.abs(hair.points[:, mid, 0] - x_cm) < 1.3
    near &= (hair.root[:, 2] > 0.25) & (hair.root[:, 1] > 0.55) & (hair.root[:, 1] < 0.95)
    line = np.median(hair.points[near], axis=0)
    at = np.linspace(start_cm, stop_cm, 9)
    padded = np.pad(line, ((2, 2), (0, 0)), mode="edge")
    smooth = np.mean([padded[i : i + len(line)] for i in range(5)], axis=0)
    return np.stack([np.interp(at, hair.arc, smooth[:, j]) for j in range(3)], -1), at
