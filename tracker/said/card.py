"""What is known of a card's dark half, in sentences."""

from __future__ import annotations

from datetime import datetime

from tracker.calibrate.learnt_dark import LearntDark
from tracker.measure.reading import DarkHalf
from tracker.words import as_date, day, noun


def say_share(known: DarkHalf) -> str:
    """A reflectance in per cent, with its uncertainty where photos told it.

    Parameters
    ----------
    known : DarkHalf
    """
    said = f"{100 * known.reflectance:.1f} %"
    return said if known.u is None else f"{said} (± {200 * known.u:.1f})"


def say_dark(part: str, known: DarkHalf | None, nominal: float, photos: int, noted_at: datetime | None) -> str:
    """What the dark patch of the studio's card counts as, and since when.

    Parameters
    ----------
    part : str, what that patch is called, such as "dark half"
    known : DarkHalf or None, None for the nominal value
    nominal : float, 0..1
    photos : int, that told it; 0 where a person gave it
    noted_at : datetime or None, when it was given or learnt; None for the nominal value
    """
    if known is None:
        return f"Its {part} counts as {100 * nominal:.2g} %, as is usual."
    date = day(as_date(noted_at)) if noted_at is not None else "some day"
    told = f"by {photos} {noun(photos, 'photo')}, since {date}" if photos else f"as you gave it on {date}"
    return f"Its {part} counts as {say_share(known)}, {told}."


def say_learnt(part: str, learnt: LearntDark) -> str:
    """What photos tell of a dark patch that may count from now on.

    Parameters
    ----------
    part : str, what that patch is called, such as "dark half"
    learnt : LearntDark
    """
    seen = f"In {learnt.photos} photos from {learnt.visits} visits your {part} reads like {say_share(learnt.known)}"
    return f"{seen}, set against those with your earlier card." if learnt.compared else f"{seen}."
