"""Which yardsticks levels, warmth and ± rest on, and how far photos of one hair differ, in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from tracker.calibrate.gauge_study import GaugeStudy, Shot
from tracker.calibrate.level import LevelScale
from tracker.calibrate.warmth import NeutralLocus
from tracker.measure import Settings
from tracker.measure.light import light_beside_card
from tracker.measure.reading import WHOLE
from tracker.measure.repeatability import Repeatability, lightness_u
from tracker.ui.parts.words import plain
from tracker.words import count


def scale_words(scale: LevelScale) -> str:
    """Which scale levels are read on."""
    if scale.provisional:
        return "Levels are provisional: read on the built-in scale."
    return f"Levels are read on your {scale.name}."


def locus_words(locus: NeutralLocus) -> str:
    """What warmth counts from."""
    if locus.own is None:
        return "Warmth counts from published natural hair of the same lightness."
    low, high = locus.own
    return (
        f"Warmth counts from your {locus.name}, between L* {low:.0f} and {high:.0f}; outside that, from published hair."
    )


def spread_words(spread: Repeatability) -> str:
    """What the ± between photos rests on."""
    if counts_no_more(spread):
        return f"The ± rests on general figures: {EARLIER_CHECK} It does not say how photos of the whole hair differ."
    if spread.provisional:
        return (
            "The ± rests on general figures: nobody has measured yet how far photos repeat in your own studio. A "
            "set-up check in the studio does that."
        )
    return f"The ± rests on your {spread.name}."


REPEAT_IT = (
    "Your check was made on a ribbon, by the earlier method. It does not say how photos of the whole hair differ: "
    "repeat it."
)
EARLIER_CHECK = "the set-up check here was made on a ribbon, by the earlier method."


def counts_no_more(spread: Repeatability) -> bool:
    """True for a set-up check that was made on a ribbon: it says nothing of photos of the whole hair."""
    return spread.over(WHOLE) is not spread


_AT_LEVEL = 6


def smallest_words(spread: Repeatability, scale: LevelScale) -> str:
    """The smallest real change in levels, and what it becomes with more photos."""
    spread = spread.over(WHOLE)
    light = light_at_level(scale, spread)
    changes = (spread.smallest_change(photos, *light) for photos in (1, 2, 3))
    one, two, three = (f"{scale.levels(change, _AT_LEVEL):.1f}" for change in changes)
    whose = "Provisional: on general figures," if spread.provisional else "In your studio,"
    more = f"with two or three photos each {two}" if two == three else f"with two photos each {two}, with three {three}"
    return (
        f"{whose} a change of {one} level at level {_AT_LEVEL} stands out with one photo before and one after; {more}."
    )


def light_at_level(scale: LevelScale, spread: Repeatability) -> tuple[float, float]:
    """L* that light differing between card and hair adds there, standard uncertainties: shared, and each photo's own.

    As where the light was not noted, the card was held and nothing of its own shows on it; nothing where the studio's
    own spread holds it already.
    """
    lit = light_beside_card(WHOLE, None, 0.0, Settings(repeatability=spread.over(WHOLE)))
    lightness = scale.lightness(_AT_LEVEL)
    return lightness_u(lightness, lit.occasion), lightness_u(lightness, lit.photo)


def what_it_is_made_of(spread: GaugeStudy) -> str:
    """Repeats, people and days as a table, for Markdown."""
    rows = [("Photo to photo, same person and session", spread.repeat)]
    for what, part in (("Between people", spread.operator), ("Between sessions", spread.session)):
        if part is not None:
            rows.append((what, part))
    if any(spread.occasion):
        rows.append(("How one hair differs from another, by person and session", spread.occasion))
    rows.append(("**One photo, all together**", spread.total))
    lines = [f"| {what} | {part[0]:.2f} | {part[1]:.2f} | {part[2]:.2f} |" for what, part in rows]
    both = (("people", spread.operator, spread.operators), ("sessions", spread.session, spread.sessions))
    missing = [
        f"{word} ({'only one' if number == 1 else 'not every hair by everyone in every session'})"
        for word, part, number in both
        if part is None
    ]
    said = f"\n\nNot told apart: {' and '.join(missing)}." if missing else ""
    head = "| Standard deviation | L\\* | a\\* | b\\* |\n|---|---|---|---|\n"
    return head + "\n".join(lines) + said + f" Degrees of freedom: {spread.dof:.0f}."


def photos_table(shots: Sequence[Shot]) -> str:
    """How many photos there are of each hair, a line for each person and session, for Markdown."""
    counted = Counter((shot.operator, shot.session, shot.sample) for shot in shots)
    lines = []
    for person, session in dict.fromkeys((shot.operator, shot.session) for shot in shots):
        here = [(sample, number) for (who, when, sample), number in counted.items() if (who, when) == (person, session)]
        each = ", ".join(f"{plain(sample)} × {number}" for sample, number in here)
        lines.append(f"- **{plain(person)}, {plain(session)}**: {each}")
    return "\n".join(lines) + f"\n\n{count(len(shots), 'photo')} measured, none kept."
