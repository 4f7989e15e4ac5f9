"""How a service wears, in words: why there is no rate or no date, and which group lasts longest."""

from __future__ import annotations

from dataclasses import replace

from tracker.fade import Overlay, WhyNot
from tracker.fade.compare import FEWEST, Difference, way_of
from tracker.fade.rate import NoRate
from tracker.fade.window import NoDate, NoForecast
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import format_measured
from tracker.words import REGION_WORDS, sentence_case

_NO_RATE: dict[NoRate, str] = {
    "one photo": "one photo shows no movement.",
    "two photos": "two photos show that the colour moved, not how fast.",
    "does not fit": "the photos jump by more than their ± explains. Was there a service in between?",
    "no fast part": "no quick change at first stands out from the ± of the photos.",
    "over at once": "the quick change may have been over before the second photo. Next time take one sooner after the "
    "service.",
    "may be straight": "the colour may as well have moved evenly from the start.",
    "not narrowed": "the photos add too little to what was assumed before them. One or two more will help.",
}

_NO_DATE: dict[NoDate | NoForecast, str] = {
    "passed at once": "{Limit} was passed right after the service.",
    "too close": "{Limit} is too close to the colour right after the service to tell one from the other.",
    "passed": "{Limit} was passed before the last photo.",
    "not soon": "{Limit} will most likely not be passed within {0:.0f} months of the last photo.",
    "not sure": "No date can be given yet: {limit} is passed within {0:.0f} months of the last photo in {1:.0f} of 100 "
    "cases. One more photo would make it more certain.",
    "impossible": "{Limit} is {0:g}, which no hair can have: agree one between {1:g} and {2:g}.",
    "washes unknown": "Ask how often the hair is washed now: without that, nothing can be said about fewer washes.",
    "no limit": "No limit was agreed for this service.",
    "no service": "There is no colour service on record yet.",
    "nothing agreed": "No limit was agreed at this service, so nothing falls due.",
    "no start": "The photo right after the service is missing or has no number, so its wear cannot be predicted.",
    "no root": "No photo since the service shows where the natural level ends.",
    "not grown": "The root did not change as hair grows: was it coloured in between, or marked from another place?",
    "impossible root": "No root has that length: enter the longest root that was agreed, in millimetres.",
}

_LIMITS = {
    "warmth": "warmth at the {}",
    "lightness": "lightness at the {}",
    "depth": "depth at the {}",
    "root": "length of the root",
}
_WAYS = {"": ("higher", "lower"), "warmth": ("warmer", "cooler"), "L*": ("lighter", "darker")}

ASSUMPTIONS = (
    "Assumed: clients are independent of each other, each counts once in a group, and groups do not differ "
    "in how well or how late photos are taken. Change is read off each client's own curve between their photos. "
    "The comparison is of how far colour moved, up or down: a difference counts where both the means of the groups and "
    "their single clients show it. Tested by Welch's t at 5 %, adjusted for the number of pairs (Holm); up to 100 "
    "clients by exchanging them between the groups."
)
"""What the comparison of groups assumes."""


def say_no_rate(why: NoRate | None) -> str:
    """Why there is no rate; nothing where `why` is None."""
    return f"No rate can be given: {_NO_RATE[why]}" if why else ""


def say_limit(name: str, region: str) -> str:
    """What an agreed limit is about, inside a sentence; a name that is no code stays as it is."""
    return _LIMITS[name].format(REGION_WORDS[region]) if name in _LIMITS else name


def say_no_date(why: WhyNot | str | None, region: str = "end") -> str:
    """Why no date is given for the limits of a band, or the sentence of an error; nothing where `why` is None."""
    if not isinstance(why, WhyNot):
        return why or ""
    limit = f"the limit for {say_limit(why.name, region)}" if why.name else "the agreed limit"
    return _NO_DATE[why.code].format(*why.numbers, limit=limit, Limit=sentence_case(limit))


def say_longest(found: Overlay) -> str:
    """Which of the groups `found` lasts longest, and which way each goes where they go opposite ways."""
    opposite = _opposite(found)
    least = "changes least in size" if opposite else "lasts longest"
    best = found.groups[0].group
    if found.longest == "one group":
        return "All services are of one group: nothing to compare."
    if found.longest == "cannot say":
        return f"Cannot say which lasts longest: a group needs photos of {FEWEST} clients."
    if found.longest == "not shown":
        return (
            f"{opposite}Cannot say which {least}: the difference between {best} and {found.rival} is not beyond doubt."
        )
    some = "Of the groups that can be compared, " if any(each.p is None for each in found.differences) else ""
    return f"{opposite}{some}{best} {least}, and the difference is real."


def _opposite(found: Overlay) -> str:
    """Which way each group moves, where they clearly move opposite ways; else nothing."""
    ways = {each.group: way_of(each.at_compared) for each in found.groups if each.at_compared}
    more, less = (", ".join(group for group, way in ways.items() if way == side) for side in (1, -1))
    up, down = _WAYS.get(found.unit, _WAYS[""])
    return f"Groups move opposite ways: {more} {up}; {less} {down}. " if more and less else ""


def say_difference(found: Difference, at: float | None) -> str:
    """What was found between two groups by that month, and what each does unless both clearly move the same way."""
    more, less = found.first, found.second
    if found.size is None:
        few, clients = min(zip((more, less), found.clients, strict=True), key=lambda group: group[1])
        return (
            f"Cannot say whether {more} and {less} differ: {clients} clients of {few} have photos that late, {FEWEST} "
            "are needed."
        )
    amount = f"{format_measured(found.size)} by month {at:.1f}"
    ways = {way_of(mean) for mean in found.means}
    alike, real = len(ways) == 1 and 0 not in ways, found.verdict == "real"
    if alike and real:
        return f"{less} lasts longer than {more}: it changes less by {amount}, more than chance explains."
    if alike:
        return f"No difference between {less} and {more} beyond chance: {amount}."
    moves = f"{less} {_moves(found.means[1])}; {more} {_moves(found.means[0])}"
    each = f"They move opposite ways: {moves}" if 0 not in ways else moves
    if real:
        return f"{less} changes less in size than {more}, by {amount}, more than chance explains. {each}."
    return f"Which of {less} and {more} changes less by month {at:.1f} is not beyond doubt. {each}."


def _moves(mean: Measured) -> str:
    more, less = _WAYS.get(mean.unit, _WAYS[""])
    way = way_of(mean)
    if way == 0:
        return f"does not clearly get {more} or {less} ({format_measured(mean)})"
    return f"gets {more if way > 0 else less} by {format_measured(replace(mean, value=abs(mean.value)))}"
