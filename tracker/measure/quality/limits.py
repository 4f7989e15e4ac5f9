"""The limits of the checks: weak choices of our own, to be changed only on the strength of a measurement."""

from __future__ import annotations

DARKEST, BRIGHTEST = 25.0, 82.0  # L* of the card's grey as photographed
CAST = 45.0  # chroma of the card's grey as photographed; beyond it one grey cannot undo the light
GRADIENT = 0.3  # EV across the card: up to 4 L* at L* 40
# share of a band's pixels that are burnt out or crushed; on the truth bench, bands with 2 to 5 % are off by 7 ΔE00 at
# the median
CLIPPED = 0.02
KEPT = 0.45  # smallest share of a ribbon's pixels in a band that are body hair
FILLED = 0.75  # smallest share of the heights of a band, over the whole hair, at which there is any
COLOURED = 0.01  # smallest share of pixels whose three codes differ; zero in a black-and-white photo
# share of the ribbon on the card: marks are not exact, and a hundredth of the path can be a twentieth of a band
ON_CARD = 0.01
_BLUR = 0.48  # of a piece that lights and lows are made of
_BLUR_PIXELS = 1.8  # less than this never counts as blurred: sharp hair itself reads up to 1.2
_A_PIECE = 3.0  # pixels across each of those pieces
DOUBT = 0.5  # that what was found is the hair, 0 to 1: from here on a person has to look
# share of the hair that shines; our rendered heads of dry hair have 0 to 0.03 along a ribbon, 0 to 0.05 over the whole
GLOSS = 0.08
LIGHT_AT_HAIR = 0.5  # EV, least difference between the light on hair and card, by the fall-off across the card
# what lies on a card; in brackets the most that 130 good photos of the rendered heads give, of all kinds of card
STRANGE = 0.05  # share of a patch's pixels (0.014; 0.035 on another 30 charts); from 0.08 on the card is refused
SHINE = 0.08  # EV by which a part is lighter than the rest (0.033)
BEND = 0.18  # EV between the middle of a patch and its edges (0.142); the mean is then off by a third of it
BOW = 0.02  # share of a side's length (0.014, at the rims of a chart's patches and where hair lies along a side)
DARK_SHINE = 0.10  # EV across the dark patch and not the grey one (0.034); all over it, the exponent moves by 0.05
FRAMED = 0.5  # share of the sides that have a dark frame of one width (0.25); a hand hides one side of a phone
MARGIN = 3.0  # pixels between the card and the edge of the photo
NEARER = 1.25  # ratio between two visits of the length of the hair in the photo, also relative to the card
MOVED = 0.15  # share of the photo's longer side by which the hair has moved in it between two visits
ZOOM = 1.1  # times that digital zoom enlarged the photo; a weak choice of our own


def largest_blur(width: float, pieces: int) -> float:
    """The most blur that hair may have: standard deviation, pixels.

    Parameters
    ----------
    width : float, across the hair that is read, pixels
    pieces : int, > 0, pieces side by side across it
    """
    return max(_BLUR * width / pieces, _BLUR_PIXELS)


def narrowest(pieces: int) -> float:
    """The fewest pixels across hair that is read in so many `pieces` side by side."""
    return _A_PIECE * pieces
