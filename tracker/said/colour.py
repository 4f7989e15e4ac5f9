"""A level, a lift, a warmth, and what differs between two photos, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tracker.calibrate.level import DARKEST, LIGHTEST, LevelReading, Lift, Outside
from tracker.compare.change import CANNOT_TELL, CHANGED
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import format_measured
from tracker.measure.kit import KitMatch
from tracker.words import REGION_TITLES, listed, number_word, sentence_case

if TYPE_CHECKING:
    from tracker.calibrate.warmth import WarmthReading
    from tracker.compare.comparison import RegionChange

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
    """The change of one band; `to_others` without what would make it surer."""
    where = REGION_TITLES[change.name]
    if change.verdict == CHANGED:
        return f"{where}: {_say_what(change)}. That is a real change."
    if change.verdict == CANNOT_TELL:
        return f"{where}: too close to call{'' if to_others else f' {_say_remedy(change)}'}."
    return f"{where}: no meaningful change; {say_lift(change.lift)}."


def _say_what(change: RegionChange) -> str:
    """The primary quantities that changed; the colour as a whole where neither changed on its own."""
    found, parts = change.change, []
    if found.lightness:
        parts.append(say_lift(change.lift))
    if found.warmth:
        parts.append(say_warmer(change.warmth))
    size = found.size
    tone = f"another tone (colour difference {size.value:.1f}, {size.low:.1f} to {size.high:.1f})"
    return listed(parts, empty=tone)


def _say_remedy(change: RegionChange) -> str:
    """How many photos there are, and how many more would settle it."""
    if change.remedy == "one kit":
        return "between photos from unlike kits"
    (before, after), needed = change.photos, change.change.photos_needed
    have = f"with {number_word(before)} before and {number_word(after)} after"
    if before == after:
        have = "with one photo each" if before == 1 else f"with {number_word(before)} photos each"
    if change.remedy == "photos anew" and change.change.photos_anew is not None:
        anew = number_word(change.change.photos_anew)
        return f"{have}; {anew} of each should settle it, with the hair combed and the card taken up again between them"
    if change.remedy == "set-up check":
        return f"{have}; more photos would not settle it, a set-up check on five days may"
    if change.remedy == "nothing" or needed is None:
        return f"{have}, and more photos would not settle it: visits here differ by more than that"
    more = f"{number_word(needed - before)} more" if before == after else number_word(needed)
    return f"{have}; {more} of each should settle it"


def say_kits(match: KitMatch) -> str:
    """Whether two photos are like for like, by the `match` of their kits."""
    unlike = f"taken with {' and '.join(f'another {part}' for part in match.unlike)}" if match.unlike else ""
    methods = f"measured by versions {' and '.join(match.methods)} of the method" if match.methods else ""
    if not match.same:
        return f"{', and '.join(filter(None, (unlike, methods))).capitalize()}, so the result is less certain."
    if len(match.assumed) == 1:
        return f"The {match.assumed[0]} was not noted and is assumed to be the same."
    if match.assumed:
        return f"{sentence_case(listed(match.assumed))} were not noted and are assumed to be the same."
    return "Same camera, card and light."
