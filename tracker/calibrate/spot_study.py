"""What a studio's repeated photos of unchanged hair teach of its spot.

Each photo is compared with what was assumed for hair of its lightness, so swatches from dark to light count together.

References
----------
[GUM]  JCGM 100:2008, H.5: days and repeats.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tracker.calibrate.gauge_study import Shot
from tracker.calibrate.tone import tone_of
from tracker.maths.uncertainty import Array
from tracker.measure.light import LightBesideCard
from tracker.measure.repeatability import PROVISIONAL, lightness_u
from tracker.measure.spot import ASSUMED, Spot

TONE_SHARE = 0.06
"""Standard deviation of the tone of one photo, as a share of it: by the bench, between phones that keep their look
(0.037) and phones that change it (0.075)."""

_Cells = dict[str, dict[tuple[str, str], Array]]
"""L*, a*, b* of the photos of each sample on each occasion, (photos, bands, 3)."""


@dataclass(frozen=True, slots=True)
class _Square:
    """A mean square with its degrees of freedom, and the part of it that is not the question."""

    mean: float
    dof: float
    noise: float = 0.0


def learn(shots: Sequence[Shot], light: LightBesideCard, before: Spot = ASSUMED) -> Spot:
    """What is known of a spot after these photos.

    Parameters
    ----------
    shots : photos of unchanged hair, any number, on one or more days; hair and card taken up anew between them
    light : LightBesideCard, assumed where they were taken
    before : Spot, what was known without them

    Notes
    -----
    Bands of one photo share its card and light, so squares are averaged over the bands and count as those of one.
    """
    cells = _cells(shots)
    each = [cell for of_sample in cells.values() for cell in of_sample.values()]
    photo = _scatter(each, lambda labs: labs[..., 0], lambda mean: _photo_variance(mean[..., 0], light))
    # a phone may balance one day otherwise than the next, so tone scatters over all photos of a sample
    of_samples = [np.concatenate(list(of_sample.values())) for of_sample in cells.values()]
    tone = _scatter(of_samples, _tone, lambda mean: np.square(TONE_SHARE * _tone(mean)))
    known = before.photo.learnt(photo.mean, photo.dof)
    days = _days(cells, light, known.value)
    return Spot(
        known,
        before.occasion.learnt_through(days.mean, days.dof, light.occasion**2, days.noise),
        before.tone.learnt(tone.mean, tone.dof),
        len({shot.session for shot in shots}),
    )


def _cells(shots: Sequence[Shot]) -> _Cells:
    gathered: dict[str, dict[tuple[str, str], list[Array]]] = defaultdict(lambda: defaultdict(list))
    for shot in shots:
        gathered[shot.sample][shot.operator, shot.session].append(np.asarray(shot.labs, float))
    return {
        sample: {occasion: np.stack(labs) for occasion, labs in found.items()} for sample, found in gathered.items()
    }


def _photo_variance(lightness: Array, light: LightBesideCard) -> Array:
    """Variance of L* that each photo is assumed to have anew: hair laid anew, and its own light."""
    return np.asarray(PROVISIONAL.sd[0] ** 2 + np.square(_per_stop(lightness) * light.photo))


def _tone(labs: Array) -> Array:
    return np.asarray(tone_of(labs), float)


def _per_stop(lightness: Array) -> Array:
    """L* for one EV."""
    return np.asarray(np.vectorize(lambda value: lightness_u(float(value), 1.0))(lightness), float)


def _scatter(groups: Sequence[Array], of: Callable[[Array], Array], variance: Callable[[Array], Array]) -> _Square:
    """Mean square of a quantity about the mean of each group, in units of its assumed variance."""
    squares, dof = 0.0, 0
    for labs in groups:
        values = of(labs)
        off = np.sum((values - values.mean(axis=0)) ** 2, axis=0)
        squares += float(np.mean(off / variance(labs.mean(axis=0))))
        dof += len(labs) - 1
    return _Square(squares / dof if dof else 0.0, float(dof))


def _days(cells: _Cells, light: LightBesideCard, photo: float) -> _Square:
    """Mean square of the occasions' light in EV, from the hair that was seen on the most of them; `photo` a factor."""
    shared = max((frozenset(found) for found in cells.values()), key=len, default=frozenset())
    whole = [found for found in cells.values() if shared <= set(found)]
    if len(shared) < 2:
        return _Square(0.0, 0.0)
    order = sorted(shared)
    steps, noise = [], []
    for found in whole:
        means = np.stack([found[occasion].mean(axis=0)[..., 0] for occasion in order])
        slope = _per_stop(means.mean(axis=0))
        steps.append((means - means.mean(axis=0)) / slope)
        each = photo * _photo_variance(means.mean(axis=0), light) / slope**2
        noise.append(np.mean([each / len(found[occasion]) for occasion in order]))
    together = np.mean(steps, axis=0)
    dof = len(order) - 1
    return _Square(
        float(np.mean(np.sum(together**2, axis=0))) / dof, float(dof), float(np.sum(noise)) / len(whole) ** 2
    )
