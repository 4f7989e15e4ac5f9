"""What a visit changed, in words to read aloud to the client: how sure it is, without symbols or decimals."""

from __future__ import annotations

import math
from collections.abc import Sequence

from tracker.compare.change import CANNOT_TELL, CHANGED, NO_CHANGE
from tracker.compare.comparison import RegionChange
from tracker.compare.cut import Cut
from tracker.compare.transition import Blend
from tracker.maths.quantities import Measured
from tracker.said.cut import tell_cut
from tracker.words import REGION_PLURALS, listed, number_word

_TENTHS = ("none", "a tenth", "a fifth", "a third", "four tenths", "half", "six tenths", "seven tenths")
_MOST = (*_TENTHS, "eight tenths", "nine tenths", "all")
_SURENESS = ((0.001, "thousand"), (0.01, "hundred"))


def tell(
    changes: Sequence[RegionChange],
    *,
    blend: Blend | None = None,
    length: Measured | None = None,
    lightened: Measured | None = None,
    cut: Cut | None = None,
) -> str:
    """A few sentences for the client.

    Parameters
    ----------
    changes : each band before and after
    blend : where the lightening starts, or None
    length : of the hair from root to tip with its uncertainty, mm, or None where the card gives no scale
    lightened : share of the hair that is lighter than before, 0..1, or None
    cut : Cut or None, what was cut off in between

    Returns
    -------
    str : empty where there is nothing to compare
    """
    if not changes:
        return ""
    real = [change for change in changes if change.verdict == CHANGED]
    unclear = listed(REGION_PLURALS[change.name] for change in changes if change.verdict == CANNOT_TELL)
    same = listed(REGION_PLURALS[change.name] for change in changes if change.verdict == NO_CHANGE)
    sentences = [_changed(change) for change in sorted(real, key=lambda change: -change.change.size.value)]
    if same:
        sentences.append(f"Your {same} {'are as they were' if real else 'have not changed in a way that shows'}.")
    if unclear:
        sentences.append(f"For your {unclear} it is too close to call from these photos.")
    if any(change.lightness.low > 0 for change in real):
        sentences += _where(blend, length, lightened)
    if real:
        sentences.append(_sure(real))
    return " ".join(filter(None, [*sentences, tell_cut(cut)]))


def _changed(change: RegionChange) -> str:
    parts = [part for part in (_lighter(change), _warmer(change)) if part]
    return f"Your {REGION_PLURALS[change.name]} are {', and '.join(parts)}."


def _lighter(change: RegionChange) -> str:
    if not change.lightness.changed:
        return ""
    word, levels = change.lightness.says, change.levels
    graded = f"{change.lightness.grade} {word}".strip()
    if levels is None:
        return graded
    reach = max(levels.high - levels.value, levels.value - levels.low)
    if abs(levels.value) < 0.25:
        return f"a touch {word}"
    size, around = _levels(abs(levels.value)), _give_or_take(reach)
    # rounded to halves the two may be alike, as if it were not sure
    return graded if size == around else f"about {size} {word}, give or take {around}"


def _warmer(change: RegionChange) -> str:
    if not change.tone.changed:
        return ""
    return f"{change.tone.grade} {change.tone.says} in tone".strip()


def _levels(value: float) -> str:
    """A number of levels to the nearest half, in words."""
    whole, half = divmod(max(round(2 * value), 1), 2)
    if whole == 0:
        return "half a level"
    number = number_word(whole)
    if half:
        return "one and a half levels" if whole == 1 else f"{number} and a half levels"
    return "one level" if whole == 1 else f"{number} levels"


def _give_or_take(reach: float) -> str:
    """Half the 95 % interval in words, at most a tenth of a level smaller than it is."""
    if reach <= 0.3:
        return "a quarter of a level"
    return _levels(math.ceil(2 * (reach - 0.1)) / 2)


def _where(blend: Blend | None, length: Measured | None, lightened: Measured | None) -> list[str]:
    found = []
    if blend is not None and blend.start.high - blend.start.low < 0.4:
        found.append(f"The lighter hair starts {_start(blend, length)}.")
    if lightened is not None and 1.96 * lightened.u < 0.4 and lightened.value >= 0.05:
        found.append(_share(min(lightened.value, 1.0), 1.96 * lightened.u))
    return found


def _share(share: float, reach: float) -> str:
    """How much of the hair is lighter, in tenths; one bound only where the other would pass all or none of it."""
    tenths, around = round(10 * share), _up_to_tenths(reach)
    if tenths + around > 10:
        how_sure = f"at least {_in_tenths(max(tenths - around, 1))} of it"
    elif tenths - around < 0:
        how_sure = f"at most {_in_tenths(tenths + around)} of it"
    else:
        how_sure = f"give or take {_in_tenths(around)}"
    return f"About {_MOST[tenths]} of the hair we looked at is lighter than before, {how_sure}."


def _start(blend: Blend, length: Measured | None) -> str:
    if blend.start.value < 0.05:
        return "at the root"
    if length is None:
        reach = max(blend.start.high - blend.start.value, blend.start.value - blend.start.low)
        tenths = _MOST[max(round(10 * blend.start.value), 1)]
        return f"about {tenths} of the way down, give or take {_in_tenths(_up_to_tenths(reach))}"
    start = blend.start_mm(length)
    reach = max(start.high - start.value, start.value - start.low, 10.0)
    return f"about {start.value / 10:.0f} centimetres from the root, give or take {reach / 10:.0f}"


def _up_to_tenths(reach: float) -> int:
    """Half an interval in whole tenths, rounded up."""
    return max(math.ceil(10 * reach - 0.2), 1)


def _in_tenths(count: int) -> str:
    return "a tenth" if count == 1 else f"{number_word(count)} tenths"


def _sure(real: Sequence[RegionChange]) -> str:
    """How often chance alone would show as much, for the least certain of the changes."""
    worst = max(change.change.p_value for change in real)
    odds = next((word for limit, word in _SURENESS if worst < limit), "")
    rare = f"less than once in a {odds} times" if odds else "less than once in twenty times"
    these = "this is a real change" if len(real) == 1 else "these are real changes"
    return f"We are sure that {these}: photos of hair that had not changed would differ this much {rare}."
