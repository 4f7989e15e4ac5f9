"""Which yardsticks levels, warmth and ± rest on, in a sentence each."""

from __future__ import annotations

from tracker.calibrate.level import LevelScale
from tracker.calibrate.warmth import NeutralLocus
from tracker.measure.repeatability import Repeatability


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
    if spread.provisional:
        return (
            "The ± rests on general figures: nobody has measured yet how far photos repeat in your own studio. A "
            "set-up check in the studio does that."
        )
    return f"The ± rests on your {spread.name}."
