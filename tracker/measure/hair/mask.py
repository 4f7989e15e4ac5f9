"""The whole head of hair in a photo, as a mask on a small copy of it.

The mask says which places are hair; the outline is what a person sees and drags; the axis runs from root to tip.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from tracker.errors import HairNotFound
from tracker.maths.colorimetry import Floats
from tracker.measure.hair import doubt, grab, guess, looks, shape, strands
from tracker.measure.hair.outline import MOST, Outline, first_crossing
from tracker.measure.reading import Point

_NARROW = 0.12  # of the hair's width: how much of a neck or a pointed tip stays in the mask
_ENLARGED = 4  # times, before the rim is traced: a rim of whole small pixels would lie half a pixel too far in
_TOLERANCE = 0.004  # of the photo's longer side, the first try; each further try allows a quarter more
_GROWING = 1.25
_DEPTH = 0.10  # of the hair's width: how far from a drawn rim wall, skin and clothes may go
_RING = 0.12  # of the hair's width: how far outside it wall, skin and clothes are learnt


@dataclass(frozen=True, slots=True, eq=False)
class HairMask:
    """Which places of the photo are hair.

    Attributes
    ----------
    hair : (h, w) bool, on a small copy of the photo
    shrink : float, pixels of the small copy for one of the photo
    doubt : float, 0 (clear) to 1; from `doubt.LIMIT` on a person should look before the number counts
    reason : str, what is seen and what to do, two sentences; empty below the limit
    """

    hair: np.ndarray
    shrink: float
    doubt: float = 0.0
    reason: str = ""

    def at(self, x: Floats, y: Floats) -> np.ndarray:
        """Which places of the photo are hair.

        Parameters
        ----------
        x, y : (...), pixels of the photo; False outside it

        Returns
        -------
        bool, (...)
        """
        height, width = self.hair.shape
        column = np.floor(np.asarray(x, float) * self.shrink).astype(np.intp)
        row = np.floor(np.asarray(y, float) * self.shrink).astype(np.intp)
        inside = (column >= 0) & (row >= 0) & (column < width) & (row < height)
        return np.asarray(inside & self.hair[np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)])

    def grown(self, pixels: float) -> HairMask:
        """The mask with its rim moved outwards.

        Parameters
        ----------
        pixels : float, of the photo; below 0 inwards
        """
        inside, outside = (
            cv2.distanceTransform(side.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
            for side in (self.hair, ~self.hair)
        )
        return replace(self, hair=outside - inside <= pixels * self.shrink)

    def outline(self) -> Outline:
        """At most sixteen points about the largest piece of the mask, inside the photo.

        Raises
        ------
        HairNotFound : the mask is empty
        InvalidOutline : the mask is too small
        """
        height, width = self.hair.shape
        size = width * _ENLARGED, height * _ENLARGED
        large = cv2.resize(self.hair.astype(np.uint8) * 255, size, interpolation=cv2.INTER_LINEAR)
        rims, _ = cv2.findContours((large > 127).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        if not rims:
            raise _nothing_found()
        rim = max(rims, key=cv2.contourArea)
        tolerance = _TOLERANCE * max(size)
        points = cv2.approxPolyDP(rim, tolerance, True)[:, 0].astype(float)
        while len(points) > MOST or (len(points) > 3 and first_crossing(points) is not None):
            tolerance *= _GROWING
            points = cv2.approxPolyDP(rim, tolerance, True)[:, 0].astype(float)
        # the middle of an enlarged pixel, in pixels of the photo
        places = np.clip((points + 0.5) / _ENLARGED, 0, [width, height]) / self.shrink
        return Outline(tuple((float(x), float(y)) for x, y in places))


def find_hair(
    encoded: np.ndarray, card: tuple[Point, ...] | None = None, path: tuple[Point, ...] | None = None
) -> HairMask:
    """The whole head of hair.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    card : corners of the card, pixels, or None
    path : two points or more down the hair from root to tip, pixels; None looks for the hair without help

    Raises
    ------
    HairNotFound : nothing about the middle of the photo stands out
    """
    photo = _Copies.of(encoded, card)
    if path is not None:
        hair = photo.follow(np.asarray(path, float) * photo.shrink)
        return photo.judged(hair)
    found = [look for look in photo.looks() if look.any()]
    if not found:
        raise _nothing_found()
    return photo.judged(*looks.chosen(photo.small, found) if len(found) > 1 else (found[0], 0.0))


def hair_within(
    encoded: np.ndarray, outline: Outline, path: tuple[Point, ...], card: tuple[Point, ...] | None = None
) -> HairMask:
    """The hair inside an outline that a person has drawn.

    Only what lies along the rim and looks like what is just outside it may go, and the card. Whatever lies further in
    is hair, of whatever colour: a light or a low piece of painted hair differs from the rest as much as a wall does.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    outline : what the person drew, pixels
    path : root to tip, pixels; what lies on it is hair
    card : corners of the card, pixels, or None

    Raises
    ------
    HairNotFound : all of it lies on the card, or on a wall or a cloth
    """
    small, shrink = grab.small_copy(encoded, grab.FINE_EDGE)
    drawn = _inside(small.shape, outline, shrink)
    line = grab.drawn(small.shape, np.asarray(path, float) * shrink) & drawn
    corners = None if card is None else np.asarray(card, float) * shrink
    covered = grab.card_area(small.shape, corners, grab.CARD_GROWN_FINE)
    if not (drawn & ~covered).any():
        raise HairNotFound("Inside the outline there is nothing but the card.", "Draw the outline round the hair.")
    if doubt.is_bare(small, drawn & ~covered):
        raise HairNotFound(
            "Inside the outline are no strands, and nothing that differs from what is round it.",
            "Draw the outline round the hair.",
        )
    width = shape.hair_width(drawn)
    hair = grab.trimmed(small, drawn & ~covered, line & ~covered, depth=_DEPTH * width, ring=_RING * width)
    return HairMask(hair, shrink)


def _inside(shape: tuple[int, ...], outline: Outline, shrink: float) -> np.ndarray:
    """Pixels of the small copy whose middle lies inside, (h, w) bool.

    A filled polygon of OpenCV takes in every pixel that its border touches: on two sides a pixel of wall, which beside
    black hair is 3 L*.
    """
    height, width = shape[:2]
    x, y = (np.arange(width) + 0.5) / shrink, (np.arange(height) + 0.5) / shrink
    return outline.holds(x[None, :], y[:, None])


def suggest_axis(mask: HairMask) -> tuple[Point, ...]:
    """Five points from root to tip down the middle of the hair, pixels of the photo.

    Parameters
    ----------
    mask : the hair

    Raises
    ------
    HairNotFound : the mask is empty
    """
    if not mask.hair.any():
        raise _nothing_found()
    points = _middle(mask.hair) / mask.shrink
    return tuple((float(x), float(y)) for x, y in points)


def _middle(hair: np.ndarray) -> Floats:
    """The line down the broad part of a mask, or down all of it where no part is broad."""
    broad = shape.broad(hair)
    return shape.middle_line(broad if broad.any() else hair)


def _nothing_found() -> HairNotFound:
    return HairNotFound(
        "No hair was found about the middle of the photo.", "Tap the root, the middle and the tip of the hair."
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Copies:
    """The photo in the sizes that the search needs, and the card in pixels of the first."""

    small: np.ndarray
    shrink: float
    card: Floats | None
    coarse: np.ndarray
    to_coarse: float

    @classmethod
    def of(cls, encoded: np.ndarray, card: tuple[Point, ...] | None) -> _Copies:
        small, shrink = grab.small_copy(encoded, grab.FINE_EDGE)
        coarse, to_coarse = grab.small_copy(small, grab.COARSE_EDGE)
        return cls(small, shrink, None if card is None else np.asarray(card, float) * shrink, coarse, to_coarse)

    @property
    def coarse_card(self) -> Floats | None:
        """Corners of the card, pixels of the coarse copy, or None."""
        return None if self.card is None else self.card * self.to_coarse

    @property
    def covered(self) -> np.ndarray:
        """Where the card lies, (h, w) bool."""
        return grab.card_area(self.small.shape, self.card)

    def looks(self) -> tuple[np.ndarray, ...]:
        """What may be the hair, found in three ways, (h, w) bool each; none where nothing stands out."""
        tiny, to_tiny = grab.small_copy(self.small, guess.GUESS_EDGE)
        guessed = guess.guess_hair(tiny, None if self.card is None else self.card * to_tiny)
        if guessed is None:
            return ()
        best, any_of_them = guessed
        grown = looks.grown_from(self.coarse, best, self.coarse_card)
        wide = looks.resized(any_of_them, self.small.shape[:2])
        return self.followed(shape.middle_line(best) / to_tiny), self.finished(grown), self.finished(wide)

    def followed(self, line: Floats) -> np.ndarray:
        """The hair along a guessed path and what hangs below it, (h, w) bool."""
        first = self.follow(line)
        if not first.any():
            return first
        first = strands.with_strands_below(self.small, first, self.covered)
        # once more along its own middle: the first line comes from a picture of 120 pixels and may run into a neck
        hair = self.follow(_middle(first))
        if not hair.any():
            return hair
        return grab.with_notches(self.small, strands.with_strands_below(self.small, hair, self.covered), self.card)

    def follow(self, path: Floats) -> np.ndarray:
        """The hair along a path, (h, w) bool."""
        return self.finished(grab.coarse(self.coarse, path * self.to_coarse, self.coarse_card))

    def finished(self, first: np.ndarray) -> np.ndarray:
        """A first cut with its border moved to where the colour changes, without what is no hair, (h, w) bool."""
        hair = shape.even_sides(grab.fine(self.small, shape.even_sides(first), self.card))
        hair = grab.with_notches(self.small, hair, self.card)
        hair = strands.without_smooth(self.small, hair)
        broad = shape.broad(hair, _NARROW)
        return broad if broad.any() else hair

    def judged(self, hair: np.ndarray, support: float = 1.0) -> HairMask:
        """The mask without the card, and how sure it is."""
        hair = hair & ~grab.card_area(hair.shape, self.card, grab.CARD_GROWN_FINE)
        if not hair.any():
            raise _nothing_found()
        size, reason = doubt.of_mask(self.small, hair, support, self.card)
        return HairMask(hair, self.shrink, size, reason)
