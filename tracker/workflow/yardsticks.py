"""The studio's own yardsticks: readings gathered over days, made into a version, undone."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, TypeVar

from tracker.calibrate.calibration import SCALE, SPREAD, Swatch, Yardstick
from tracker.calibrate.gauge_study import GaugeStudy, Shot, repeatability_of, study
from tracker.calibrate.level_fit import LevelSwatch, ScaleFit, fit_scale
from tracker.calibrate.neutral_fit import fit_locus
from tracker.calibrate.warmth import NeutralLocus
from tracker.errors import InvalidEntry, NotFound
from tracker.maths.quantities import LabMeasured
from tracker.measure.kit import Kit, was_developed
from tracker.measure.reading import REGIONS, WHOLE, PhotoReading
from tracker.record.records import from_json, new_id, now, to_json
from tracker.store import Store
from tracker.workflow.words import clean_line

Gathered = TypeVar("Gathered")

_SHOTS = "set-up check so far"
_SWATCHES = "{} so far"

MOST_SHOTS, MOST_SWATCHES = 400, 60
"""Most photos in one set-up check and in one scale: more than ten times what is asked for."""


def shots_so_far(store: Store) -> tuple[Shot, ...]:
    """The readings of the set-up check in progress; it may take days."""
    return tuple(shot for shot in gathered(store, _SHOTS, Shot) if shot.hair == WHOLE)


def earlier_shots(store: Store) -> tuple[Shot, ...]:
    """Readings along a ribbon, of a check that was begun by an earlier version of the method: they count no more."""
    return tuple(shot for shot in gathered(store, _SHOTS, Shot) if shot.hair != WHOLE)


def add_shot(store: Store, reading: PhotoReading, *, sample: str, operator: str, session: str) -> Shot:
    """Keep the reading of one more photo of the set-up check; the photo itself is not kept.

    Parameters
    ----------
    reading : with numbers
    sample : str, which hair
    operator : str, who took the photo; may be empty in a studio of one
    session : str, when

    Raises
    ------
    InvalidEntry : no name for the hair, something is too long, or the photo was read along a ribbon
    """
    name = clean_line(sample, "The name of the hair", 60)
    if not name:
        raise InvalidEntry("This hair has no name.", "Give every hair a short name, such as a number.")
    regions = [region for name_of in REGIONS if (region := reading.region(name_of)) is not None]
    if len(regions) != len(REGIONS):
        raise InvalidEntry("This photo has no number for a part of the hair.", "Take it again.")
    if reading.hair != WHOLE:
        raise InvalidEntry("This photo was read along a ribbon.", "Photos of clients are read over the whole hair.")
    shot = Shot(
        name,
        clean_line(operator, "The name of the person who takes the photos", 60) or "me",
        clean_line(session, "The session", 60) or "first session",
        tuple(region.lab.lab for region in regions),
        reading.hair,
    )
    _gather(store, _SHOTS, shot, MOST_SHOTS)
    return shot


def drop_shots(store: Store, shots: Sequence[Shot] | None = None) -> None:
    """Forget these readings of the set-up check in progress, or all of them."""
    _let_go(store, _SHOTS, shots)


def adopt_spread(store: Store) -> Yardstick:
    """Make the set-up check in progress the studio's own figure, from now on.

    Raises
    ------
    TooFewReadings : it is too small

    Notes
    -----
    What an earlier version began is forgotten with it: those readings are of a ribbon.
    """
    shots = shots_so_far(store)
    found: GaugeStudy = study(shots)
    made_at = now()
    own = repeatability_of(found, f"set-up check of {made_at.astimezone():%d.%m.%Y}")
    kept = store.yardsticks.add(Yardstick(new_id(), SPREAD, made_at, shots=tuple(shots), spread=own))
    drop_shots(store)
    return kept


def swatches_so_far(store: Store, kind: str) -> tuple[Swatch, ...]:
    """The swatches that are being gathered for a level scale or for what is neutral."""
    return gathered(store, _SWATCHES.format(kind), Swatch)


def add_swatch(
    store: Store, kind: str, reading: PhotoReading, *, name: str, level: float | None = None, camera: str | None = None
) -> Swatch:
    """Keep the reading of one more swatch; the photo itself is not kept. The middle of the path is what counts.

    Parameters
    ----------
    kind : str, `SCALE` or `LOCUS`
    name : str, in the studio's own words; empty for its level, or a number
    level : float or None, what its label says
    camera : str or None, that took it

    Raises
    ------
    InvalidEntry : no level for a level scale, no number in the middle, or a name that is too long
    """
    region = reading.region("mid")
    if region is None:
        raise InvalidEntry("The middle of this photo has no number.", "Take it again.")
    if kind == SCALE and level is None:
        raise InvalidEntry("This swatch has no level.", "Type the level on its label.")
    kept = swatches_so_far(store, kind)
    called = clean_line(name, "The name of the swatch", 60) or (
        f"level {level:g}" if level is not None else f"swatch {len(kept) + 1}"
    )
    # what all photos from one camera and card share is part of the studio's scale, not of its doubt
    lab = LabMeasured(region.lab.lab, region.repeat_cov, region.lab.dof)
    kit = Kit(
        camera,
        reading.card.kind,
        None,
        was_developed(reading),
        reading.correction.gains,
        reading.method_version,
        reading.card.reflectance,
        reading.card.dark,
    )
    swatch = Swatch(called, level, lab, kit)
    _gather(store, _SWATCHES.format(kind), swatch, MOST_SWATCHES)
    return swatch


def drop_swatches(store: Store, kind: str, swatches: Sequence[Swatch] | None = None) -> None:
    """Forget these swatches, or all that are being gathered."""
    _let_go(store, _SWATCHES.format(kind), swatches)


def start_from(store: Store, version: Yardstick) -> None:
    """Gather the swatches of an earlier version again, to add to them or take one out."""
    for swatch in version.swatches:
        _gather(store, _SWATCHES.format(version.kind), swatch, MOST_SWATCHES)


def scale_from(swatches: Sequence[Swatch], name: str) -> ScaleFit:
    """The level scale that these swatches make.

    Raises
    ------
    CannotCalibrate : they do not make one
    """
    known = [LevelSwatch(swatch.name, swatch.level, swatch.lab) for swatch in swatches if swatch.level is not None]
    return fit_scale(known, name)


def locus_from(swatches: Sequence[Swatch], name: str) -> NeutralLocus:
    """What these swatches make neutral.

    Raises
    ------
    CannotCalibrate : they cannot say
    """
    return fit_locus([(swatch.name, swatch.lab) for swatch in swatches], name)


def adopt_swatches(store: Store, kind: str) -> Yardstick:
    """Make what the gathered swatches say the studio's own scale, or its own neutral, from now on.

    Raises
    ------
    CannotCalibrate : they do not make one
    """
    swatches, made_at = swatches_so_far(store, kind), now()
    version = Yardstick(new_id(), kind, made_at, swatches=swatches)
    on = f"{made_at.astimezone():%d.%m.%Y}"
    if kind == SCALE:
        version = replace(version, scale=scale_from(swatches, f"own scale of {on}").scale)
    else:
        version = replace(version, locus=locus_from(swatches, f"own natural hair of {on}"))
    kept = store.yardsticks.add(version)
    drop_swatches(store, kind)
    return kept


def undo_yardstick(store: Store, kind: str) -> Yardstick:
    """Put the version in force out of force; the one before it, or the built-in one, is in force again.

    Raises
    ------
    NotFound : none of the studio's own is in force
    """
    standing = next((kept for kept in store.yardsticks.versions(kind) if kept.undone_at is None), None)
    if standing is None:
        raise NotFound("The built-in one is in force already.", "There is nothing to undo.")
    return store.yardsticks.stand(standing.id, stands=False)


def gathered(store: Store, name: str, shape: type[Gathered]) -> tuple[Gathered, ...]:
    """Readings being gathered under that name; those that can no longer be read are left out."""
    found: list[Gathered] = []
    kept: Any = store.settings.get(name)
    for entry in kept if isinstance(kept, list) else []:
        try:
            found.append(from_json(shape, json.dumps(entry)))
        except ValueError:
            continue
    return tuple(found)


def _gather(store: Store, name: str, reading: object, most: int) -> None:
    """Add one reading to what is being gathered."""
    store.settings.change_list(name, lambda kept: [*kept, _plain(reading)][-most:])


def _let_go(store: Store, name: str, readings: Sequence[object] | None) -> None:
    """Take these readings, each once, out of what is being gathered; all of it if none are named."""

    def without(kept: list[Any]) -> list[Any]:
        for reading in readings or ():
            if _plain(reading) in kept:
                # from the end: of two alike the newer is meant
                del kept[len(kept) - 1 - kept[::-1].index(_plain(reading))]
        return kept if readings is not None else []

    store.settings.change_list(name, without)


def _plain(reading: object) -> Any:
    return json.loads(to_json(reading))
