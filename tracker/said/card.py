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


def say_dark(known: DarkHalf | None, nominal: float, photos: int, noted_at: datetime | None) -> str:
    """What the dark half of the studio's card counts as, and since when.

    Parameters
    ----------
    known : DarkHalf or None, None for the nominal value
    nominal : float, 0..1
    photos : int, that told it; 0 where a person gave it
    noted_at : datetime or None, when it was given or learnt
    """
    if known is None:
        return f"Its dark half counts as {100 * nominal:.2g} %, as is usual for matt black card."
    when = f" on {day(as_date(noted_at))}" if noted_at is not None else ""
    told = f"as {photos} {noun(photos, 'photo')} told{when}" if photos else f"as you gave it{when}"
    return f"Its dark half counts as {say_share(known)}, {told}."


def say_learnt(learnt: LearntDark) -> str:
    """What photos tell of a dark half that may count from now on.

    Parameters
    ----------
    learnt : LearntDark
    """
    seen = f"In {learnt.photos} photos from {learnt.visits} visits your dark half reads like {say_share(learnt.known)}"
    return f"{seen}, set against those with your earlier card." if learnt.compared else f"{seen}."
