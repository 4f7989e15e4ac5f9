"""The note on a card that gave its correction without one of its patches."""

from __future__ import annotations

from tracker.measure.reading import Check


def check_spare(part: str) -> Check:
    """That a patch burnt out and the others gave the correction: it passes, with a note.

    Parameters
    ----------
    part : str, what the patch is called, such as "white step"
    """
    return Check(
        "card_spare",
        True,
        1.0,
        1.0,
        "patch",
        f"The {part} of the card burnt out and was left out; the others gave the light and the contrast.",
        "With a little less exposure it counts too.",
    )
