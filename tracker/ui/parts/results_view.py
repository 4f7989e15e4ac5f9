"""Past results in words: the middle of several cases, its interval, their spread."""

from __future__ import annotations

from tracker.compare.past_results import AT_LEAST, AT_MOST, FEW, FEWEST, Middle, PastResults
from tracker.maths.uncertainty import format_number, format_share
from tracker.words import count


def headline(results: PastResults) -> str:
    """The finding as a sentence."""
    number = len(results.cases)
    visits = count(number, "visit")
    if number == 0:
        return "No visit like this yet."
    if number < FEWEST:
        below = "See it below." if number == 1 else "See each one below."
        return f"{visits} like this so far: too few to say what is usual. {below}"
    if results.lift is None:
        return f"{visits} like this, but too many lie beyond the scale to say what lift is usual."
    few = "Few cases: of" if number < FEW else "Of"
    return f"{few} {visits}, the one in the middle became {lift_text(results.lift)}."


def lift_text(middle: Middle) -> str:
    """A middle lift as ``2.1 levels lighter``, with ``at least`` where it is open."""
    size = format_number(abs(middle.median))
    if size == "0.0":
        return "no lighter and no darker"
    level = "level" if size == "1.0" else "levels"
    # a bound on a negative number turns with its sign
    bound = middle.bound if middle.median > 0 else {AT_LEAST: AT_MOST, AT_MOST: AT_LEAST}.get(middle.bound, "")
    return f"{bound} {size} {level} {'lighter' if middle.median > 0 else 'darker'}".strip()


def spread_sentence(middle: Middle, unit: str) -> str:
    """Where the cases fell, and how sure their middle is."""
    share = "Half of the cases lay" if middle.quarters else "All cases lay"
    spread = f"{share} between {signed(middle.spread_low)} and {signed(middle.spread_high)}{unit and f' {unit}'}."
    sure = format_share(min(middle.coverage, 0.99))
    low, high = signed(middle.low), signed(middle.high)
    if middle.coverage >= 0.95:
        within = f"lie within {low} to {high}" if low != high else f"be {low} to the digit shown"
        return f"{spread} The middle of many such cases would {within} ({sure} sure)."
    return f"{spread} With so few, the middle of many such cases lies within this range with only {sure} certainty."


def warmth_headline(middle: Middle) -> str:
    """The middle final warmth as a sentence."""
    return f"Final warmth in the middle: {signed(middle.median)}."


def signed(value: float) -> str:
    """A number with its sign."""
    text = format_number(value)
    return f"+{text}" if value > 0 and text != "0.0" else text
