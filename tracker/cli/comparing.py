"""``compare``: two results of ``measure``, photo by photo, region by region."""

from __future__ import annotations

from pathlib import Path

from tracker.cli.result import Json, MeasuredPhoto, Result, number, read_result
from tracker.cli.terminal import printable, say, say_json
from tracker.compare.answer import Answer
from tracker.compare.comparison import RegionChange, compare_readings
from tracker.compare.cut import Cut, at_like_distance, cut_between
from tracker.errors import CannotCompare, TrackerError
from tracker.maths.uncertainty import format_measured, format_number
from tracker.measure.kit import match_kits
from tracker.said.colour import say_change, say_kits, say_lift
from tracker.said.cut import say_cut

_ENDS = ("value", "low", "high")


def compare(before: Path | None, after: Path | None, as_json: bool) -> int:
    """Compare the photos of two results in their order; status 1 where a pair has no number.

    Where both results know lengths and the hair is shorter, the bands compare at like distance from the root.

    Parameters
    ----------
    before, after : Path of a RESULT; one of them may be None for standard input

    Raises
    ------
    CannotCompare : one is not a result, or they do not go together
    """
    if before is None and after is None:
        raise CannotCompare("Standard input holds one result, not two.", "Name a file for one of them.")
    first, second = read_result(before), read_result(after)
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
    if not counts[0]:
        raise CannotCompare("There are no photos in the two results.", "Measure some first.")
    if first.method_version != second.method_version:
        raise CannotCompare(
            f"They were measured by methods {first.method_version} and {second.method_version}.",
            "Measure both again.",
        )


def _pair(before: MeasuredPhoto, after: MeasuredPhoto) -> Json:
    pair: Json = {"before": before.photo, "after": after.photo, "ok": True, "error": None}
    try:
        if before.reading is None or after.reading is None:
            which = before.photo if before.reading is None else after.photo
            raise CannotCompare(f"{which} has no number, so there is nothing to compare.", "Take it again.")
        kits = match_kits(before.kit, after.kit)
        cut = cut_between(before.length, after.length)
        earlier = at_like_distance(before.reading, cut)
        changes = compare_readings(earlier, after.reading, same_kit=kits.same, light=kits.light)
    except TrackerError as error:
        return {
            **pair,
            "ok": False,
            "error": {"code": error.code, "message": error.message},
            "same_kit": None,
            "cut": None,
            "regions": {},
        }
    return {
        **pair,
        "same_kit": {"same": kits.same, "says": say_kits(kits)},
        "cut": _cut(cut),
        "regions": {change.name: _change(change) for change in changes},
    }


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
        "warmth": {**number(found.warmth), "text": format_measured(found.warmth)},
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
        names = f"{printable(pair['before'])} to {printable(pair['after'])}"
        if not pair["ok"]:
            say(f"{names}: no result. {printable(pair['error']['message'])}")
            continue
        say(f"{names}: {pair['same_kit']['says']}")
        if pair["cut"] is not None:
            say(f"  {pair['cut']['says']}")
        for change in pair["regions"].values():
            size = change["delta_e"]
            interval = f"{size['value']:.1f} ({size['low']:.1f} to {size['high']:.1f})"
            say(f"  {change['sentence']}")
            say(f"    Lightness: {_said(change, 'answer', 'lightness')}. Tone: {_said(change, 'tone_answer', 'tone')}.")
            say(f"    Colour difference {interval}. Verdict: {change['verdict']}.")


def _said(change: Json, answer: str, number_of: str) -> str:
    """An answer with its number, such as ``lighter, +6.6 (+4.1 to +9.1) L*``."""
    found = change[number_of]
    value, low, high = (f"{'+' if found[key] >= 0.05 else ''}{format_number(found[key])}" for key in _ENDS)
    return f"{change[answer]}, {value} ({low} to {high}) {found['unit']}"
