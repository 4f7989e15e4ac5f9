"""What was agreed with the client, in words."""

from __future__ import annotations

from tracker.measure.reading import RIBBON, WHOLE
from tracker.record.agreed import AgreedLimits
from tracker.words import REGION_WORDS, listed, noun, sentence_case

_READ = {RIBBON: "by photos read along a ribbon", WHOLE: "by photos of the whole hair"}


def agreed_words(limits: AgreedLimits) -> str:
    """The limits as the middle of a sentence; empty where nothing was agreed."""
    where = REGION_WORDS[limits.region]
    return listed(
        (
            f"{where} no more than {limits.warmer:g} warmer" if limits.warmer is not None else "",
            f"{where} no darker than level {limits.darkest:g}" if limits.darkest is not None else "",
            f"{where} no lighter than level {limits.lightest:g}" if limits.lightest is not None else "",
            f"root no longer than {limits.root_mm:g} mm" if limits.root_mm is not None else "",
        )
    )


def agreed_on_words(limits: AgreedLimits) -> str:
    """The limits with how the photos were read when they were agreed; empty where nothing was agreed."""
    said = agreed_words(limits)
    return f"{said}, {_READ[limits.hair]}" if said and limits.of_colour else said


def washes_words(washes_per_week: float | None) -> str:
    """Washes as the middle of a sentence; empty where the client did not say."""
    if washes_per_week is None:
        return ""
    return f"washed {washes_per_week:g} {noun(washes_per_week, 'time')} a week"


def agreed_sentences(limits: AgreedLimits, washes_per_week: float | None) -> str:
    """The limits as a sentence, and how often the hair is washed as another; empty where neither is noted."""
    said = (agreed_words(limits), washes_words(washes_per_week))
    return " ".join(f"{sentence_case(each)}." for each in said if each)
