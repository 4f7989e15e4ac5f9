"""What a kind of reference card is: everything that the program knows about it.

A card's corners run clockwise from its own top left. Patches are boxes in the card's unit square.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracker.maths.colorimetry import Floats, luminance
from tracker.measure.camera_error import Undone
from tracker.measure.dark_half import contrast_left
from tracker.measure.reading import CardSummary, Correction, Point
from tracker.measure.reference_card.search.found import Search

Corners = tuple[Point, Point, Point, Point]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class CardReading:
    """What the patches read, in linear light.

    Attributes
    ----------
    linear : (n, 3), mean of each patch, linear sRGB primaries
    cov : (n, 3, 3), covariance of each mean, from block to block
    usable : (n,) bool, False for patches that are clipped
    clipped : float, share of clipped pixels of the worst sound patch that is used, 0..1
    gradient : float, change of light across the card, EV
    """

    kind: CardKind
    corners: Corners
    linear: Floats
    cov: Floats
    usable: np.ndarray
    clipped: float
    gradient: float

    @property
    def patch_left_out(self) -> bool:
        """True where the spare patch burnt out and the others gave the correction."""
        return self.kind.spare is not None and not bool(self.usable[self.kind.spare])


def _as_it_is(card: CardReading) -> CardReading:
    return card


def _accept(_card: CardReading) -> None:
    """Check nothing more."""


@dataclass(frozen=True, slots=True)
class CardKind:
    """A kind of reference card.

    Attributes
    ----------
    name : str, used in files; it never changes
    title, description : str, shown to the person who chooses a card
    size_of : str, which width and height to measure for the card's size
    corrected : str, how it corrects a photo, for anyone who asks where a number comes from
    boxes : (left, top, right, bottom) of each patch in the unit square
    sound : index and name of each patch that must not be clipped, covered or unevenly lit
    grey : int, index of the patch that fixes the balance
    reflectance : float, nominal reflectance of that patch, 0..1
    tolerance : float, relative half width of the maker's tolerance of it
    reference : gives the linear values of the patches under the standard white, (n, 3), for better known reflectances
        of the grey and of the dark patch (0..1), None for what is nominal
    correct : gives the correction that brings a reading to those reference values
    undone : the camera's error that this correction leaves
    dark : int or None, index of the patch that is as dark as hair and whose reflectance is only nominal
    spare : int or None, index of a sound patch that is left out where it burnt out, since the others do without it
    undone_without : the camera's error that the correction leaves without the spare patch; None as with it
    search : looks for the card in an upright photo of (h, w, 3) codes, also round a tap inside the card; it is found,
        asked about or not there. None where the program cannot find this kind
    require_plausible : refuses a reading that no card of this kind could give
    even_out : gives the reading as if the whole card were lit like its grey
    size_in : reads off the card, in a photo and at its corners there, its width and height in mm; None where nothing
        on the card tells its size, so that a person has to measure it
    """

    name: str
    title: str
    description: str
    size_of: str
    corrected: str
    boxes: tuple[Box, ...]
    sound: tuple[tuple[int, str], ...]
    grey: int
    reflectance: float
    tolerance: float
    reference: Callable[[float | None, float | None], Floats]
    correct: Callable[[CardReading, Floats], Correction]
    undone: Undone
    dark: int | None = None
    spare: int | None = None
    undone_without: Undone | None = None
    search: Search | None = None
    require_plausible: Callable[[CardReading], None] = _accept
    even_out: Callable[[CardReading], CardReading] = _as_it_is
    size_in: Callable[[np.ndarray, Corners], tuple[float, float] | None] | None = None

    def leaves(self, used: CardSummary) -> Undone:
        """The camera's error that the correction leaves.

        Parameters
        ----------
        used : CardSummary, of a card of this kind: what was used for the correction
        """
        alone = self.spare is None or used.patch_left_out
        undone = self.undone_without if used.patch_left_out and self.undone_without is not None else self.undone
        if used.dark is None or used.dark_u is None or not alone:
            return undone
        return replace(undone, contrast=contrast_left(used.reflectance, used.dark, used.dark_u))

    @property
    def nominal_dark(self) -> float | None:
        """Nominal reflectance of the dark patch, 0..1; None without one."""
        return None if self.dark is None else float(luminance(self.reference(None, None)[self.dark]))

    @property
    def dark_name(self) -> str:
        """What the dark patch is called, such as "dark half"; empty without one."""
        return "" if self.dark is None else dict(self.sound).get(self.dark, "dark patch")

    @property
    def is_plain(self) -> bool:
        """True for one even grey: nothing on it shows which way is up, so it may be held upright or sideways."""
        return len(self.boxes) == 1


def grid(columns: int, rows: int) -> tuple[Box, ...]:
    """Boxes of equal patches, row by row.

    Parameters
    ----------
    columns, rows : int, > 0, patches across and down
    """
    return tuple(
        (c / columns, r / rows, (c + 1) / columns, (r + 1) / rows) for r in range(rows) for c in range(columns)
    )


def neutral(nominal: Sequence[float], known: Mapping[int, float | None]) -> Floats:
    """Linear values of neutral patches under the standard white, (n, 3).

    Parameters
    ----------
    nominal : reflectance of each patch, 0..1
    known : better known reflectances by the index of their patch; None for what is nominal
    """
    patches = [nominal[k] if known.get(k) is None else known[k] for k in range(len(nominal))]
    return np.repeat(np.array(patches, float)[:, None], 3, axis=1)


def correction_from_card(card: CardReading, reflectance: float | None = None, dark: float | None = None) -> Correction:
    """The correction that makes the card read its own reflectance.

    Parameters
    ----------
    card : what the card reads
    reflectance, dark : float or None, replace the nominal reflectances of the grey and of the dark patch, 0..1

    Raises
    ------
    CardImplausible : patches that no correction fits
    """
    return card.kind.correct(card, card.kind.reference(reflectance, dark))
