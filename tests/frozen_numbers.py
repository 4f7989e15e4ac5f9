"""What is frozen of each known photo and pair: numbers only, and the few words that a script may rely on.

The last words of a name say how far a number may move, see `tests.freeze`: ``delta lab`` by as much as a colour.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from tests.frozen_fits import fit_makers
from tests.frozen_scenes import DRAWINGS, drawn
from tests.frozen_studio import STUDIO
from tests.samples import KEPT, ribbon_reading, sample_photo, whole_reading
from tests.samples import SAMPLES as TRUTH
from tracker.calibrate.level import estimate_level
from tracker.calibrate.warmth import estimate_warmth
from tracker.compare.comparison import compare_readings
from tracker.compare.lights_and_lows import shades, share_lightened
from tracker.compare.replicates import mean_of_replicates
from tracker.compare.transition import Blend, find_blend
from tracker.maths.quantities import Measured
from tracker.measure import find_marks, measure_photo
from tracker.measure.card_scale import card_scale
from tracker.measure.quality import largest_blur
from tracker.measure.reading import RIBBON, WHOLE, PhotoReading, RegionReading
from tracker.measure.repeatability import PROVISIONAL
from tracker.measure.sharpness import card_blur, hair_blur
from tracker.photo import read_photo

Json = Any

FOUND = ("noor_before_daylight.jpg", "noor_after_lamp.jpg", "ines_daylight.jpg", "maja_daylight.jpg")
"""Sample photos of which it is frozen what is found in them."""


def _vector(values: Json) -> list[float]:
    return [float(value) for value in values]


def _upper(matrix: Json) -> list[float]:
    return _vector(np.asarray(matrix)[np.triu_indices(3)])


def _measured(value: Measured | None, kind: str) -> Json:
    return None if value is None else {kind: value.value, f"{kind} u" if kind == "level" else "u": value.u}


def _share(value: Measured | None) -> Json:
    return None if value is None else {"share": value.value, "u share": value.u}


def _finite(dof: float) -> float | str:
    return dof if math.isfinite(dof) else "infinite"


def of_region(region: RegionReading) -> Json:
    """A band with all that its ± is made of, and its level and tone by what is built in."""
    level, warmth = estimate_level(region.lab), estimate_warmth(region.lab)
    dropped = region.dropped
    return {
        "lab": _vector(region.lab.lab),
        "u": _vector(region.lab.u),
        "dof": _finite(region.lab.dof),
        "alone cov": _upper(region.lab.cov),
        "repeat cov": _upper(region.repeat_cov),
        "light cov": _upper(region.light_cov),
        "laid cov": _upper(region.laid_cov),
        "kit u": _vector(region.kit_u),
        "lights": _measured(region.lights, "lab"),
        "lows": _measured(region.lows, "lab"),
        "dimension": _measured(region.dimension, "lab"),
        "lightened": _share(region.lightened),
        "level": _measured(level.value, "level"),
        "warmth": _measured(warmth.value, "lab"),
        "tone": warmth.tone,
        "pixels": region.pixels,
        "dropped share": [dropped.clipped, dropped.gloss, dropped.shadow, dropped.not_hair, dropped.outside],
        "photos": region.photos,
    }


def of_reading(reading: PhotoReading) -> Json:
    """Everything that one photo says."""
    card, correction, whole = reading.card, reading.correction, shades(reading)
    return {
        "ok": reading.ok,
        "card": {
            "kind": card.kind,
            "lab": _vector(card.lab),
            "clipped share": card.clipped,
            "gradient value": card.gradient,
            "reflectance exact": card.reflectance,
        },
        "correction factor": {
            "gains": _vector(correction.gains),
            "flare": correction.flare,
            "exponent": correction.exponent,
            "matrix": [_vector(row) for row in correction.matrix],
            "misfit lab": _vector(correction.misfit),
        },
        "regions": {region.name: of_region(region) for region in reading.regions},
        "checks": {
            check.name: {
                "ok": bool(check.ok),
                # the room around a card is as exact as its corners
                "place" if check.name == "card_whole" else "value": float(check.value),
                # how sharp hair must be goes by how wide it is, which over the whole hair is found and not marked
                "limit factor" if check.name == "sharp" else "limit exact": float(check.limit),
                "unit": check.unit,
                "stops": check.stops,
            }
            for check in reading.checks
        },
        "shades": whole and {name: _measured(getattr(whole, name), "lab") for name in ("lights", "lows", "dimension")},
        "blend": of_blend(find_blend(reading.profile)),
        "profile lab": [[*point.lab, point.u_lightness] for point in reading.profile],
        "stretches": [_vector(stretch) for stretch in reading.stretches],
    }


def of_blend(blend: Blend | None) -> Json:
    """Where the lightening starts and how softly, each with its interval."""
    if blend is None:
        return None
    parts = {"start": blend.start, "steepest": blend.steepest, "rise lab": blend.rise}
    return {name: [each.value, each.low, each.high] for name, each in parts.items()}


def of_photo(name: str) -> Json:
    """A sample photo: its decoded codes first, so that a decoder that moved is told from a measurement that did."""
    truth = next(photo for photo in TRUTH if photo["file"] == name)
    codes = read_photo(sample_photo(name).read_bytes()).encoded
    return {
        "mean code lab": _vector(codes.mean(axis=(0, 1))),
        "blur": _blur(codes, truth["path"], truth["width"], tuple(map(tuple, truth["card"]["corners"]))),
        **of_reading(ribbon_reading(name)),
    }


def _blur(codes: np.ndarray, path: Json, width: float, corners: Json) -> list[float | None]:
    """Blur of the hair and of the card's border."""
    return [hair_blur(codes, path, width, largest_blur(width, 12), corners), card_blur(codes, corners)]


def of_whole_photo(name: str) -> Json:
    """A sample photo inside its kept outline."""
    return of_reading(whole_reading(name))


def of_found_photo(name: str) -> Json:
    """A sample photo in which card and hair are looked for, and what was found."""
    picture = read_photo(sample_photo(name).read_bytes())
    marks = find_marks(picture, "grey18").marks
    return {
        "corners place": _vector(np.ravel(marks.corners)),
        "outline place": _vector(np.ravel(marks.outline)),
        "axis place": _vector(np.ravel(marks.path)),
        # without the outline it is found again, with the doubt about it
        **of_reading(measure_photo(picture, replace(marks, outline=None))),
    }


@cache
def drawn_reading(name: str, hair: str = RIBBON) -> PhotoReading:
    """The reading of a drawn scene."""
    drawing = DRAWINGS[name]
    marks = drawing.whole if hair == WHOLE else drawing.marks
    return measure_photo(drawn(name), marks, light=drawing.light)


def of_whole_drawn(name: str) -> Json:
    """A drawn scene over the whole hair."""
    return of_reading(drawn_reading(name, WHOLE))


def of_drawn(name: str) -> Json:
    """A drawn scene; lengths where its card's size is known."""
    drawing, codes = DRAWINGS[name], drawn(name).encoded
    reading = drawn_reading(name)
    corners = reading.card.corners
    found = {
        "mean code value": _vector(codes.mean(axis=(0, 1))),
        "blur": _blur(codes, drawing.path, drawing.width, corners),
        "corners place": _vector(np.ravel(corners)),
        **of_reading(reading),
    }
    if drawing.size_mm is not None:
        height, width = codes.shape[:2]
        scale = card_scale(corners, drawing.size_mm, (width, height), drawing.path, either_way_up=True)
        path = scale.path
        blend = find_blend(reading.profile)
        found["lengths"] = {
            "pixel factor": [scale.mm_per_pixel.value, scale.mm_per_pixel.u],
            "tilt value": scale.tilt,
            "gap mm": scale.gap,
            "path mm": [path.value, path.u],
            "start mm": blend and [getattr(blend.start_mm(path), end) for end in ("value", "low", "high")],
            "steepest": blend and [getattr(blend.per_cm(path), end) for end in ("value", "low", "high")],
        }
    return found


def of_pair(before: PhotoReading, after: PhotoReading, *, same_kit: bool = True) -> Json:
    """Before and after, band by band."""
    changes = compare_readings(before, after, same_kit=same_kit)
    regions = {}
    for change in changes:
        lift, size = change.lift, change.change.size
        regions[change.name] = {
            "lift": _measured(lift.value, "level"),
            "lift at least level": lift.at_least,
            "warmth": _measured(change.warmth, "lab"),
            "delta lab": _vector(change.change.delta),
            "delta u": _vector(change.change.u),
            "size lab": [size.value],
            # by chance, from a fixed seed
            "size from value": size.low,
            "size to value": size.high,
            "p": change.change.p_value,
            "verdict": change.verdict,
            "lightness": change.change.lightness,
            "warmth changed": change.change.warmth,
            "photos needed": change.change.photos_needed,
            "photos anew": change.change.photos_anew,
        }
    return {
        "regions": regions,
        "blend": of_blend(find_blend(after.profile, before.profile)),
        "lightened": _share(share_lightened(before, after)),
    }


PAIRS: dict[str, Callable[[], Json]] = {
    "sample pair": lambda: of_pair(
        ribbon_reading("noor_before_daylight.jpg"), ribbon_reading("noor_after_daylight.jpg")
    ),
    "sample pair by lamps": lambda: of_pair(
        ribbon_reading("noor_before_lamp.jpg"), ribbon_reading("noor_after_lamp.jpg")
    ),
    "sample pair of unlike kits": lambda: of_pair(
        ribbon_reading("noor_before_daylight.jpg"), ribbon_reading("noor_after_chart.jpg"), same_kit=False
    ),
    "nothing changed": lambda: _drawn_pair("plain", "plain again"),
    "lightened": lambda: _drawn_pair("plain", "lightened ends"),
    "toned": lambda: _drawn_pair("lightened ends", "toned ends"),
    "darkened": lambda: _drawn_pair("dark and cool", "black"),
    "sample pair, whole hair": lambda: _sample_pair("daylight", whole_reading),
    "sample pair by lamps, whole hair": lambda: _sample_pair("lamp", whole_reading),
    "nothing changed, whole hair": lambda: _drawn_pair("plain", "plain again", WHOLE),
    "lightened, whole hair": lambda: _drawn_pair("plain", "lightened ends", WHOLE),
    "toned, whole hair": lambda: _drawn_pair("lightened ends", "toned ends", WHOLE),
    "strip to chart": lambda: of_pair(drawn_reading("strip"), drawn_reading("chart"), same_kit=False),
}


def _sample_pair(light: str, read: Callable[[str], PhotoReading]) -> Json:
    return of_pair(read(f"noor_before_{light}.jpg"), read(f"noor_after_{light}.jpg"))


def _drawn_pair(before: str, after: str, hair: str = RIBBON) -> Json:
    return of_pair(drawn_reading(before, hair), drawn_reading(after, hair))


def of_two_photos(hair: str = RIBBON) -> Json:
    """Two photos of one state, combined."""
    photos = [drawn_reading(name, hair) for name in ("plain", "plain again")]
    return of_reading(mean_of_replicates(photos, PROVISIONAL))


def makers() -> dict[str, dict[str, Callable[[], Json]]]:
    """How each frozen thing is made anew, by file and name."""
    readings: dict[str, Callable[[], Json]] = {
        f"photo {photo['file']}": lambda name=photo["file"]: of_photo(name)  # type: ignore[misc]
        for photo in TRUTH
    }
    readings |= {f"photo {name}, whole hair": lambda name=name: of_whole_photo(name) for name in KEPT}  # type: ignore[misc]
    readings |= {f"photo {name}, hair found": lambda name=name: of_found_photo(name) for name in FOUND}  # type: ignore[misc]
    readings |= {f"drawn {name}": lambda name=name: of_drawn(name) for name in DRAWINGS}  # type: ignore[misc]
    readings |= {f"drawn {name}, whole hair": lambda name=name: of_whole_drawn(name) for name in DRAWINGS}  # type: ignore[misc]
    readings |= {f"pair {name}": make for name, make in PAIRS.items()}
    readings["two photos of one state"] = of_two_photos
    readings["two photos of one state, whole hair"] = lambda: of_two_photos(WHOLE)
    return {"readings": readings, "fits": {**fit_makers(), **STUDIO}}
