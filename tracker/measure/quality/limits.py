"""The limits of the checks."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CheckLimits:
    """Limits of the checks: weak choices of our own, to be changed only on the strength of a measurement.

    Attributes
    ----------
    darkest, brightest : float, L* of the card's grey as photographed
    cast : float, chroma of the card's grey as photographed; beyond it one grey cannot undo the light
    gradient : float, EV across the card; 0.3 EV there means up to 4 L* at L* 40
    clipped : float, share of a band's pixels that are burnt out or crushed; on the truth bench, bands with 2 to 5 %
        are off by 7 ΔE00 at the median
    kept : float, smallest share of a band's pixels that are body hair
    coloured : float, smallest share of pixels whose three codes differ; zero in a black-and-white photo
    on_card : float, share of the ribbon that lies on the card: marks are not exact, and a hundredth of the path can be
        a twentieth of a band
    blur : float, standard deviation of the blur at the hair as a share of the ribbon's width: half a piece, of the
        twelve across that lights and lows are made of
    blur_pixels : float, pixels; less than this never counts as blurred: sharp hair itself reads up to 1.2
    across : float, pixels across the ribbon: three for each of those pieces
    gloss : float, share of the ribbon that shines; our rendered heads of dry hair have 0 to 0.03
    light_at_hair : float, EV, least difference between the light on hair and card, predicted from the fall-off across
        the card
    margin : float, pixels between the card and the edge of the photo
    nearer : float, ratio between two visits of the length of the hair in the photo, also relative to the card
    moved : float, share of the photo's longer side by which the hair has moved in it between two visits
    """

    darkest: float = 25.0
    brightest: float = 82.0
    cast: float = 45.0
    gradient: float = 0.3
    clipped: float = 0.02
    kept: float = 0.45
    coloured: float = 0.01
    on_card: float = 0.01
    blur: float = 0.04
    blur_pixels: float = 1.8
    across: float = 36.0
    gloss: float = 0.08
    light_at_hair: float = 0.5
    margin: float = 3.0
    nearer: float = 1.25
    moved: float = 0.15

    def largest_blur(self, width: float) -> float:
        """The most blur, pixels, that a ribbon of that `width`, pixels, may have."""
        return max(self.blur * width, self.blur_pixels)
