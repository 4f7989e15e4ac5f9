"""How to take a photo that can be measured, step by step, with our own drawings."""

from __future__ import annotations

import streamlit as st

from tracker.ui.look import show_drawing
from tracker.ui.navigation import link

# common practice, no source: distances, the card a third of the way, light from one side, dry combed hair, a lock of
# focus and brightness by pressing and holding. Whole hair before a plain wall, and photos between which hair and card
# are moved: the bench of rendered heads (DEVELOPERS.md)
_STEPS = (
    (
        "combed",
        "Left: dry, combed hair falls evenly. Right: wet or glossy hair sticks together and shines",
        "Dry, combed, and down over the back",
        "Dry the hair and comb it so that it falls flat, all of it over the back: none in front of the shoulders, no "
        "ponytail, no plait, no clip. Wet, oiled or freshly sprayed hair reads darker and shines.",
    ),
    (
        "light",
        "From above: daylight from a window at one side, lamps off, the phone on the side of the window",
        "One light, from the side and a little from the front",
        "Daylight from a window with the lamps off is best. Lamps are good too, as long as they are always the same. "
        "Daylight and lamps together are worst. No flash, and no sun on the hair.",
    ),
    (
        "card",
        "From above: the grey card beside the hair, turned a third of the way from the camera to the window",
        "The card beside the hair, turned a little to the light",
        "Hold it where the hair is, not in front and not behind. Face it to the phone, then turn it a little towards "
        "the light, a third of the way: it is lit like the hair, and nothing shines on it. No fingers and no shadow "
        "on it. A stand is better than a hand: the light on the card then changes less from photo to photo.",
    ),
    (
        "distance",
        "From the side: the phone level, as high as the middle of the hair, about one metre away",
        "About a metre away, level, half way down the hair",
        "An arm and a half away. Hold the phone upright and level, as high as the middle of the hair. Closer distorts "
        "the head; farther leaves too little hair in the photo.",
    ),
    (
        "frame",
        "What the phone shows: all of the hair from root to tips, the whole card beside it, a plain wall behind",
        "All of the hair, the whole card, a plain wall",
        "The whole head of hair is measured, so all of it should be in the photo, with a little room around it and "
        "around the card. A plain wall and a cape of another colour than the hair let the program find it.",
    ),
    (
        "phone",
        "What the phone shows: a finger pressed on the card until a lock appears; zoom at 1, the flash struck out",
        "Locked on the card, no zoom, no filter",
        "The main lens at 1×, no zoom. Press and hold on the card until the phone shows that focus and brightness are "
        "locked, and touch nothing more. Flash, filters, styles, beauty, portrait and night mode off: each changes "
        "light and colour in its own way. Keep the same settings next time.",
    ),
    (
        "three",
        "Three photos of the same hair, numbered; between them it is combed anew and the card taken up again",
        "Three photos, combed anew in between",
        "Before and after alike: take a photo, comb the hair anew, take the card up again, and take the next. Hair "
        "falls a little differently each time, and so does the light on the card; the mean of three is surer.",
    ),
)

_AGAIN = (
    "Do the same next time: same place, same phone, same card, same light. Stand where you stood, with the hair in "
    "the same place in the photo. Numbers then compare best."
)


_CARDS = (
    "A plain grey card is enough. With a phone, a two-part card is better: its dark half shows how the phone "
    "brightened or darkened the photo, which one grey cannot show."
)


def photo_advice() -> None:
    """All steps, each with its drawing, two beside one another where there is room."""
    numbered = list(enumerate(_STEPS, start=1))
    for first in range(0, len(numbered), 2):
        columns = st.columns(2, gap="large")
        for column, (number, (drawing, alt, what, how)) in zip(columns, numbered[first : first + 2], strict=False):
            with column:
                st.subheader(f"{number}. {what}", anchor=False)
                show_drawing(drawing, alt)
                st.markdown(how)
    with columns[-1]:  # the number of steps is odd
        st.subheader("And again", anchor=False)
        st.markdown(_AGAIN)
        st.subheader("Which card", anchor=False)
        st.markdown(_CARDS)
        link("card_guide", "Make a two-part card")


def short_photo_advice() -> None:
    """The one drawing and the few words that matter most."""
    drawing, alt, *_ = _STEPS[2]
    show_drawing(drawing, alt)
    st.markdown(
        "Dry, combed hair, all of it down over the back. Hold the card beside the hair, facing the phone and turned a "
        "little towards the light (a third of the way): then nothing shines on it. Press and hold on the card until "
        "focus and brightness lock; no zoom, flash, filter or portrait mode. Stand about a metre away before a plain "
        "wall of another colour, with all of the hair and the card in the photo. Take three, and in between comb the "
        "hair anew and take the card up again. Same place, phone and card before and after."
    )
