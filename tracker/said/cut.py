"""What was cut away between two photos, and which hair is compared because of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tracker.maths.quantities import Measured
from tracker.words import number_word

if TYPE_CHECKING:
    from tracker.compare.cut import Cut

_REACH = 1.96  # standard uncertainties in half an interval of 95 %

_OTHER_ENDS = "The ends were cut, so the ends of the two photos are not the same hair."
_NOTE_SIZE = "Note the card's size to compare at the same distance from the root."


def say_cut(cut: Cut | None, *, to_others: bool = False, reason: str = "") -> str:
    """What a `cut` means for the comparison; empty where there was none.

    Parameters
    ----------
    cut : Cut or None, from `compare.cut.cut_between`
    to_others : bool, True where somebody else than the client sees it: without what would make it surer
    reason : str, why the card gave no lengths; empty where its size was not noted
    """
    if cut is None:
        return ""
    away = cut.away
    if away is None:
        return _OTHER_ENDS if to_others else f"{_OTHER_ENDS} {reason or _NOTE_SIZE}"
    if not cut.shows:
        most = (away.value + _REACH * away.u) / 10
        return (
            f"The cut is too short to measure in these photos: less than {most:.0f} cm. The bands of the earlier photo "
            "are read at the same distance from the root as far as the lengths tell."
        )
    size = f"about {_cm(away)} (± {_whole(_REACH * away.u)})"
    what = f"{size[0].upper()}{size[1:]} were cut off" if cut.noted else f"The hair is {size} shorter than before"
    return f"{what}; the ends compare with what lay at the same distance from the root before."


def tell_cut(cut: Cut | None) -> str:
    """The same to the client, to be read aloud; empty where there is nothing to say."""
    if cut is None:
        return ""
    away = cut.away
    if away is None:
        return "Your ends were cut, so the ends in the two photos are not the same hair."
    if not cut.shows:
        return ""
    around, reach = round(away.value / 10), max(round(_REACH * away.u / 10), 1)
    if reach >= around:
        length = f"at most {_centimetres(round((away.value + _REACH * away.u) / 10))}"
    else:
        length = f"about {_centimetres(around)}, give or take {number_word(reach)}"
    what = f"We cut off {length}" if cut.noted else f"Your hair is shorter than before, by {length}"
    return f"{what}. Your ends are compared with what hung at the same distance from the root before."


def _cm(length: Measured) -> str:
    return f"{max(length.value / 10, 1):.0f} cm"


def _whole(reach: float) -> str:
    return f"{max(reach / 10, 1):.0f}"


def _centimetres(number: int) -> str:
    number = max(number, 1)
    return "one centimetre" if number == 1 else f"{number_word(number)} centimetres"
