"""How to make a two-part card for little money: reached from the guide to a photo and from Studio."""

from __future__ import annotations

import streamlit as st

from tracker.ui.look import show_greys
from tracker.ui.navigation import link
from tracker.ui.parts.opening import begin

# the gain: the last rows of the table of rendered heads in DEVELOPERS.md, one photo each and a look that changes from
# photo to photo, hair found; a quarter and a fifth of median and worst tenth alike
_WHY = (
    "A plain grey card shows the colour and strength of the light. It cannot show the look that a phone puts on a "
    "photo: brighter here, flatter there, and different again in the next photo. A dark half beside the grey shows it. "
    "On photos of 64 rendered heads with such looks, the error of a change of warmth was then a quarter smaller, that "
    "of a change of lightness a fifth."
)

# common practice, no source: what to make it of, and the tilt that tells gloss
_STEPS = (
    "**Buy** a matt grey card (18 %, as photographers use it) and a piece of matt black card, such as the mount board "
    "that picture framers cut. White is not needed: it burns out first.",
    "**Test the black for shine.** Hold it up at the window and tilt it. Matt card stays as dark as it is; what turns "
    "lighter when tilted is glossy, and no use here. Test the grey in the same way.",
    "**Cut both to the same size**, about 10\u00a0×\u00a07\u00a0cm each.",
    "**Glue them onto a stiff board** of 10\u00a0×\u00a014\u00a0cm: grey above, black below, flat, edge against edge "
    "without a gap. Both reach to the rim of the board on every side.",
    "**Keep it clean and flat**, in an envelope, and hold it by its rim. Write nothing on it.",
)

_SAME = (
    "Always use this same card. Another black card reflects a little more or less, and that could be taken for a "
    "change of the hair. If you have to make a new one, do it between two services, never between before and after."
)


def page() -> None:
    """The page."""
    begin()
    st.title("A two-part card for little money", anchor=False)
    st.markdown(_WHY)
    picture, words = st.columns(2, gap="large", vertical_alignment="center")
    with picture:
        show_greys(
            "two part",
            "Left: a card, its upper half grey, its lower half black, of the same size and without a gap. Right: the "
            "black card tilted at a window. What stays dark is matt; what turns lighter is glossy",
        )
    words.markdown("\n".join(f"{number}. {step}" for number, step in enumerate(_STEPS, start=1)))
    st.markdown(f"{_SAME} When you add the photos, choose **Two-part card, grey and dark**.")
    link("photo_guide", "How to take the photo")
