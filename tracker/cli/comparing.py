"""``compare``: two results of ``measure``, photo by photo, region by region."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from statistics import mean

from tracker.cli.result import Json, MeasuredPhoto, Result, number, read_result
from tracker.cli.terminal import printable, say, say_json
from tracker.compare.answer import Answer
from tracker.compare.comparison import RegionChange, compare_readings
from tracker.compare.cut import Cut, at_like_distance, cut_between
from tracker.compare.replicates import mean_of_replicates
from tracker.errors import CannotCompare, TrackerError
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import format_number
from tracker.measure.kit import KitMatch, first_unlike, match_kits
from tracker.measure.reading import PhotoReading
from tracker.measure.repeatability import PROVISIONAL
from tracker.said.colour import say_change, say_kits, say_lift
from tracker.said.cut import say_cut
from tracker.words import listed

_ENDS = ("value", "low", "high")


def compare(before: Path | None, after: Path | None, as_json: bool, together: bool = False) -> int:
    """Compare the photos of two results in their order, or all of each together; status 1 where a pair has no number.

    Where both results know lengths and the hair is shorter, the bands compare at like distance from the root.

    Parameters
    ----------
    before, after : Path of a RESULT; one of them may be None for standard input
    as_json : bool
    together : bool, True where the photos of each result show one state

    Raises
    ------
    CannotCompare : one is not a result, or they do not go together
    """
    if before is None and after is None:
        raise CannotCompare("Standard input holds one result, not two.", "Name a file for one of them.")
    first, second = read_result(before), read_result(after)
    _require_same_method(first, second)
    if together:
        pairs = [_together(first.photos, second.photos)]
    else:
        _require_pairs(first, second)
        pairs = [_pair(*photos) for photos in zip(first.photos, second.photos, strict=True)]
    if as_json:
        say_json({"method_version": first.method_version, "pairs": pairs})
    else:
        _say_all(pairs)
    return 0 if all(pair["ok"] for pair in pairs) else 1


def _require_pairs(first: Result, second: Result) -> None:
    counts = len(first.photos), len(second.photos)
    if counts[0] != counts[1]:
        raise CannotCompare(
            f"The results do not go together: {counts[0]} before and {counts[1]} after.",
            "List as many photos after as before, in the same order.",
            value=float(counts[1]),
            limit=float(counts[0]),
            unit="photos",
        )


def _require_same_method(first: Result, second: Result) -> None:
    if not first.photos and not second.photos:
        raise CannotCompare("There are no photos in the two results.", "Measure some first.")
    if first.method_version != second.method_version:
        raise CannotCompare(
            f"They were measured by methods {first.method_version} and {second.method_version}.",
            "Measure both again.",
        )


def _pair(before: MeasuredPhoto, after: MeasuredPhoto) -> Json:
    pair: Json = {"before": before.photo, "after": after.photo}
    return pair | _compared([before], [after])


def _together(before: Sequence[MeasuredPhoto], after: Sequence[MeasuredPhoto]) -> Json:
    """All photos of each side as one state; those without a number are named and do not count."""
    kept = [[photo for photo in side if photo.reading is not None and photo.reading.ok] for side in (before, after)]
    left_out = [photo.photo for side in (before, after) for photo in side if photo not in (*kept[0], *kept[1])]
    names = {which: [photo.photo for photo in side] for which, side in zip(("before", "after"), kept, strict=True)}
    return {**names, "left_out": left_out, **_compared(*kept)}


def _compared(before: Sequence[MeasuredPhoto], after: Sequence[MeasuredPhoto]) -> Json:
    """What the comparison of two states says, or why there is none."""
    try:
        kits, cut, changes = _changes(before, after)
    except TrackerError as error:
        return {
            "ok": False,
            "error": {"code": error.code, "message": error.message},
            "same_kit": None,
            "cut": None,
            "regions": {},
        }
    return {
        "ok": True,
        "error": None,
        "same_kit": {"same": kits.same, "says": say_kits(kits)},
        "cut": _cut(cut),
        "regions": {change.name: _change(change) for change in changes},
    }


def _changes(
    before: Sequence[MeasuredPhoto], after: Sequence[MeasuredPhoto]
) -> tuple[KitMatch, Cut | None, tuple[RegionChange, ...]]:
    first, second = _state(before, "before"), _state(after, "after")
    # as in a studio, the last photo after speaks for what was not noted
    kits = first_unlike([match_kits(before[0].kit, photo.kit) for photo in (after[-1], *before[1:], *after)])
    cut = cut_between(_length(before), _length(after))
    changes = compare_readings(at_like_distance(first, cut), second, same_kit=kits.same, light=kits.light)
    return kits, cut, changes


def _state(photos: Sequence[MeasuredPhoto], which: str) -> PhotoReading:
    """One reading of these photos; whether hair was combed anew between them is not in a result, so it was not."""
    readings = [photo.reading for photo in photos if photo.reading is not None]
    if not readings:
        named = photos[0].photo if photos else f"No photo of those {which}"
        verb = "has no number" if photos else "has a number"
        raise CannotCompare(f"{named} {verb}, so there is nothing to compare.", "Take it again.")
    if len({reading.hair for reading in readings}) > 1:
        raise CannotCompare(
            f"Of the photos {which}, some were measured along a ribbon and some over the whole hair.",
            "Measure all of them over the whole hair.",
        )
    return mean_of_replicates(readings, PROVISIONAL) if len(readings) > 1 else readings[0]


def _length(photos: Sequence[MeasuredPhoto]) -> Measured | None:
    """The mean length by those photos that have one, as unsure as one of them: they share the card."""
    known = [photo.length for photo in photos if photo.length is not None]
    if not known:
        return None
    return Measured(mean(each.value for each in known), mean(each.u for each in known), known[0].unit)


def _cut(cut: Cut | None) -> Json | None:
    return None if cut is None else {"away_mm": number(cut.away), "says": say_cut(cut)}


def _change(found: RegionChange) -> Json:
    lift, size = found.lift, found.change.size
    return {
        "lift": {
            **number(lift.value),
            "at_least": lift.at_least,
            "text": say_lift(lift),
        },
        "delta_e": {"value": size.value, "low": size.low, "high": size.high},
        "delta": {"lab": list(found.change.delta), "u": list(found.change.u)},
        "p_value": found.change.p_value,
        "answer": found.lightness.says,
        "lightness": _interval(found.lightness),
        "tone_answer": found.tone.says,
        "tone": _interval(found.tone),
        "verdict": found.verdict,
        "photos_needed": found.change.photos_needed,
        "sentence": say_change(found),
    }


def _interval(answer: Answer) -> Json:
    return {"value": answer.value, "low": answer.low, "high": answer.high, "unit": answer.unit}


def _say_all(pairs: list[Json]) -> None:
    for pair in pairs:
        names = f"{_named(pair['before'])} to {_named(pair['after'])}"
        if not pair["ok"]:
            say(f"{names}: no result. {printable(pair['error']['message'])}")
            continue
        say(f"{names}: {pair['same_kit']['says']}")
        if pair.get("left_out"):
            say(f"  Without a number: {_named(pair['left_out'])}.")
        if pair["cut"] is not None:
            say(f"  {pair['cut']['says']}")
        for change in pair["regions"].values():
            size = change["delta_e"]
            interval = f"{size['value']:.1f} ({size['low']:.1f} to {size['high']:.1f})"
            say(f"  {change['sentence']}")
            say(f"    Lightness: {_said(change, 'answer', 'lightness')}. Tone: {_said(change, 'tone_answer', 'tone')}.")
            say(f"    Colour difference {interval}. Verdict: {change['verdict']}.")


def _named(photos: str | list[str]) -> str:
    return printable(photos) if isinstance(photos, str) else printable(listed(photos, empty="nothing"))


def _said(change: Json, answer: str, number_of: str) -> str:
    """An answer with its number, such as ``lighter, +6.6 (+4.1 to +9.1) L*``."""
    found = change[number_of]
    value, low, high = (f"{'+' if found[key] >= 0.05 else ''}{format_number(found[key])}" for key in _ENDS)
    return f"{change[answer]}, {value} ({low} to {high}) {found['unit']}"
