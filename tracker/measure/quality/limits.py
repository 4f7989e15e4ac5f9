"""When a check fails."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CheckLimits:
    """Limits of the checks. Weak choices of our own, to be moved by measurement only.

    Attributes
    ----------
    darkest, brightest : float, L* of the card's grey as photographed
    cast : float, chroma of the card's grey as photographed; beyond it one grey cannot undo the light
    gradient : float, EV across the card; 0.3 EV there means up to 4 L* at L* 40
    clipped : float, share of a band's pixels that are burnt out or crushed; on the truth bench bands with 2 to 5 % of
        them are 7 ΔE00 off at the median
    kept : float, smallest share of a band's pixels that are body hair
    coloured : float, smallest share of pixels whose three codes differ; in a black-and-white photo none does
    on_card : float, share of the ribbon that lies on the card: marks are not exact, and a twentieth of a band is what
        a hundredth of the path can be
    blur : float, standard deviation of the blur at the hair as a share of the ribbon's width: half a piece of hair
        as lights and lows are told apart (twelve pieces across)
    blur_pixels : float, pixels; less blur than this is never called blurred: sharp hair itself reads up to 1.2
    across : float, pixels across the ribbon: three for each of those pieces
    gloss : float, share of the ribbon that shines; our rendered heads of dry hair have 0 to 0.03
    light_at_hair : float, EV by which the light on the hair differs at least from that on the card, as the fall of
        light across the card foretells
    margin : float, pixels between the card and the edge of the photo
    nearer : float, ratio between two visits of the hair's length in the photo, and of that length to the card
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
