"""Whether a photo is framed like an earlier one: photos with the same framing compare best."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tracker.maths import polyline
from tracker.maths.uncertainty import format_share
from tracker.measure.quality import limits
from tracker.measure.reading import Check, Marks


@dataclass(frozen=True, slots=True)
class Framing:
    """The place of hair and card in a photo.

    Attributes
    ----------
    length : float, of the line from root to tip, as a share of the photo's longer side
    to_card : float or None, that length over the mean side of the card
    middle : of that line, as shares of the photo's longer side, from its top left
    """

    length: float
    to_card: float | None
    middle: tuple[float, float]

    @classmethod
    def of(cls, marks: Marks, size: tuple[int, int]) -> Framing:
        """The framing of a photo with these marks.

        Parameters
        ----------
        marks : Marks, pixels
        size : width and height of the photo, pixels
        """
        longer = float(max(size))
        length = polyline.length(marks.path)
        x, y = polyline.places(marks.path, length / 2) / longer
        side = None
        if marks.corners is not None:
            side = float(polyline.sides(marks.corners).mean())
        return cls(length / longer, length / side if side else None, (float(x), float(y)))


def check_framing(now: Framing, earlier: Framing, when: str = "last time") -> tuple[Check, ...]:
    """Compare the framing of a photo with an earlier one of the same hair; these checks only warn.

    Parameters
    ----------
    now, earlier : Framing
    when : str, the earlier photo in words that fit after "as" and "than"
    """
    checks = [_distance(now, earlier, when)]
    if now.to_card is not None and earlier.to_card is not None:
        checks.append(_stretch(now.to_card, earlier.to_card, when))
    checks.append(_place(now, earlier, when))
    return tuple(checks)


def _distance(now: Framing, earlier: Framing, when: str) -> Check:
    ratio = _either_way(now.length / earlier.length)
    ok = ratio <= limits.NEARER
    larger = now.length > earlier.length
    return Check(
        "framing_distance",
        ok,
        ratio,
        limits.NEARER,
        "times",
        f"The hair is as large in the photo as {when}."
        if ok
        else f"The hair is {'larger' if larger else 'smaller'} in the photo than {when} ({ratio:.1f} times).",
        "" if ok else f"Stand {'farther away' if larger else 'closer'}, as {when}.",
        stops=False,
    )


def _stretch(now: float, earlier: float, when: str) -> Check:
    ratio = _either_way(now / earlier)
    ok = ratio <= limits.NEARER
    longer = now > earlier
    return Check(
        "framing_hair",
        ok,
        ratio,
        limits.NEARER,
        "times",
        f"The marked hair is as long against the card as {when}."
        if ok
        else f"The marked hair is {'longer' if longer else 'shorter'} against the card than {when} "
        f"({ratio:.1f} times).",
        "" if ok else f"Unless it was cut, mark it from root to tip and hold the card beside the hair, as {when}.",
        stops=False,
    )


def _place(now: Framing, earlier: Framing, when: str) -> Check:
    moved = math.dist(now.middle, earlier.middle)
    ok = moved <= limits.MOVED
    return Check(
        "framing_place",
        ok,
        moved,
        limits.MOVED,
        "share",
        f"The hair is in the same place in the photo as {when}."
        if ok
        else f"The hair is in another place in the photo than {when} ({format_share(moved)} of its longer side).",
        "" if ok else f"Hold the phone as {when}, with the hair in the same place.",
        stops=False,
    )


def _either_way(ratio: float) -> float:
    return max(ratio, 1 / ratio)
