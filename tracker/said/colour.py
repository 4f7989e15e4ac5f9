"""A level, a lift, a warmth, and what differs between two photos, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tracker.calibrate.level import DARKEST, LIGHTEST, LevelReading, Lift, Outside
from tracker.compare.change import CANNOT_TELL
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import format_measured, format_number
from tracker.measure.kit import KitMatch
from tracker.words import REGION_TITLES, listed, noun, number_word, sentence_case

if TYPE_CHECKING:
    from tracker.calibrate.warmth import WarmthReading
    from tracker.compare.answer import Answer
    from tracker.compare.comparison import RegionChange
    from tracker.compare.transition import Interval

_OUTSIDE: dict[Outside, str] = {"": "", "darker": f"darker than {DARKEST:g}", "lighter": f"lighter than {LIGHTEST:g}"}


def say_level(level: LevelReading) -> str:
    """The `level`, such as ``6.2 ± 0.5`` or ``darker than 1``."""
    return format_measured(level.value) if level.value is not None else _OUTSIDE[level.outside]


def say_lift(lift: Lift) -> str:
    """The `lift`, such as ``2.1 levels lighter (± 0.4)``."""
    if lift.value is None:
        return _say_bound(lift)
    size, margin = _size(lift.value)
    changed = f"{size} {'level' if size == '1.0' else 'levels'} {'lighter' if lift.value.value > 0 else 'darker'}"
    return f"{'level unchanged' if size == '0.0' else changed} (± {margin})"


def _say_bound(lift: Lift) -> str:
    before, after = lift.outside
    if before == after:
        return f"both {_OUTSIDE[before]}"
    named = f"before is {_OUTSIDE[before]}" if before else f"after is {_OUTSIDE[after]}"
    bound = f"{lift.at_least or 0.0:.1f}"
    if bound == "0.0":
        return f"no lift can be given ({named})"
    way = "lighter" if before == "darker" or after == "lighter" else "darker"
    return f"at least {bound} levels {way} ({named})"


def say_warmth(warmth: WarmthReading) -> str:
    """The `warmth`, such as ``warm, +4.1 ± 2.0``."""
    return f"{warmth.tone}, {signed(warmth.value)}"


def say_warmer(change: Measured) -> str:
    """The `change` of warmth, such as ``5.7 warmer (± 2.0)``."""
    size, margin = _size(change)
    return f"{size} {'warmer' if change.value > 0 else 'cooler'} (± {margin})"


def signed(measured: Measured) -> str:
    """What was `measured`, with its sign and its ±."""
    return ("+" if measured.value > 0 else "") + format_measured(measured)


def _size(change: Measured) -> tuple[str, str]:
    """The size of a change and its ±."""
    size, margin = format_measured(Measured(abs(change.value), change.u, "", change.dof)).split(" ± ")
    return size, margin


def say_change(change: RegionChange, *, to_others: bool = False) -> str:
    """The answers for one band; `to_others` without what would make them surer."""
    said = f"{REGION_TITLES[change.name]}: {_say_answers(change)}."
    if change.verdict != CANNOT_TELL or to_others:
        return said
    return f"{said} {_say_remedy(change)}"


def _say_answers(change: RegionChange) -> str:
    """Lightness, then tone."""
    lightness, tone = change.lightness, change.tone
    if not lightness.sure and not tone.sure:
        return "too close to call"
    if lightness.changed:
        if tone.changed:
            return f"{say_lightness(change)}, and {say_graded(tone)}"
        return f"{say_lightness(change)}{', of the same tone' if tone.sure else '; the tone is too close to call'}"
    if lightness.sure:
        same = "no difference in lightness"
        if tone.changed:
            return f"{same}, but {say_graded(tone)}"
        return f"{same}{' or tone' if tone.sure else '; the tone is too close to call'}"
    return f"{say_graded(tone) if tone.changed else 'the same tone'}; whether it is lighter is too close to call"


def say_lightness(change: RegionChange) -> str:
    """How much lighter or darker, such as ``clearly lighter, by 2.1 levels (1.7 to 2.5)``; the `change` is sure."""
    words = say_graded(change.lightness)
    if change.levels is None:
        return f"{words}, by {_say_interval(change.lightness)} L*"
    interval = _say_interval(change.levels)
    return f"{words}, by {interval.replace(' (', ' levels (', 1)}"


def signed_interval(found: Answer | Interval) -> str:
    """A difference with its sign and its 95 % interval, such as ``+2.1 (+1.7 to +2.5)``."""
    value, low, high = (f"{'+' if x >= 0.05 else ''}{format_number(x)}" for x in (found.value, found.low, found.high))
    return f"{value} ({low} to {high})"


def say_graded(answer: Answer) -> str:
    """The `answer` with its size in a word: a little, clearly, or neither."""
    return f"{answer.grade} {answer.says}".strip()


def _say_interval(found: Answer | Interval) -> str:
    """The size of a sure change and its 95 % interval, which never reaches zero."""
    nearest, furthest = sorted((abs(found.low), abs(found.high)))
    low = f"{nearest:.1f}"
    return f"{abs(found.value):.1f} ({low if float(low) else '< 0.1'} to {furthest:.1f})"


def _say_remedy(change: RegionChange) -> str:
    """How many photos there are, and how many more will more likely than not settle it."""
    if change.remedy == "one kit":
        return "Photos taken with the same camera, card and light would tell more."
    (before, after), found = change.photos, change.change
    if change.remedy == "photos anew" and found.photos_anew is not None:
        anew = number_word(found.photos_anew).capitalize()
        return f"{anew} photos of each should settle it, with the hair combed and the card taken up again between them."
    if change.remedy == "set-up check":
        return "More photos would not settle it; a set-up check may."
    if change.remedy == "nothing" or found.photos_needed is None:
        return "More photos would not settle it: visits here differ by more than that."
    if before != after:
        return f"{number_word(found.photos_needed).capitalize()} photos of each should settle it."
    more = found.photos_needed - before
    return f"{number_word(more).capitalize()} more {noun(more, 'photo')} of each should settle it."


def say_kits(match: KitMatch) -> str:
    """Whether two photos are like for like, by the `match` of their kits."""
    unlike = f"taken with {' and '.join(f'another {part}' for part in match.unlike)}" if match.unlike else ""
    methods = f"measured by versions {' and '.join(match.methods)} of the method" if match.methods else ""
    if not match.same:
        return f"{', and '.join(filter(None, (unlike, methods))).capitalize()}, so the result is less certain."
    if len(match.assumed) == 1:
        said = f"The {match.assumed[0]} was not noted and is assumed to be the same."
    elif match.assumed:
        said = f"{sentence_case(listed(match.assumed))} were not noted and are assumed to be the same."
    else:
        said = "Same camera, card and light."
    return f"{said} {_say_balance(match)}".strip()


def _say_balance(match: KitMatch) -> str:
    """What the camera did to the colours; only a noted light can be known to be the same."""
    if not match.rebalanced:
        return ""
    if "light" in match.assumed:
        return "If the light was, the camera balanced the colours differently, and the card has taken that out."
    return "The camera balanced the colours differently; the card has taken that out."
