"""Several photos of one state: how many count, which of them disagrees, and leaving one out."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from tracker.compare.photo_set import State, leave_out, use_again
from tracker.compare.replicates import Disagreement
from tracker.maths.uncertainty import format_measured, format_number
from tracker.record.records import PhotoRecord, now
from tracker.ui.look import failure
from tracker.ui.look import photo as show_photo
from tracker.ui.parts.notices import told
from tracker.ui.parts.pictures import SMALL, balanced_url, photo_words
from tracker.ui.parts.words import plain
from tracker.words import REGION_WORDS, ROLE_WORDS, as_date, count, day, listed, noun

_SMALL = [1, 3]  # width of the picture relative to the words


def odd_notes(*states: State) -> None:
    """What disagrees, for the top of a page; what to do about it is beside the photos below."""
    for state in states:
        for odd in state.odd:
            failure(f"{ROLE_WORDS[state.standing.role]}: {_small(odd_words(state, odd))}", "Look at it below.")


def repeats(state: State, keep: Callable[[PhotoRecord], object]) -> None:
    """What the photos of a state say together; nothing where there is one photo only.

    Parameters
    ----------
    state : State
    keep : called with a photo that was left out, or that counts again
    """
    if len(state.photos) < 2:
        return
    role = ROLE_WORDS[state.standing.role]
    st.markdown(f"**{role}.** {together_words(state)}")
    for odd in state.odd:
        failure(odd_words(state, odd), odd_advice(odd))
    with st.expander(f"The {role.lower()} photos, one by one", expanded=bool(state.odd)):
        st.caption("In CIELAB units; ± is how far repeats of one photo may lie apart, at 95 %.")
        for photo in state.photos:
            with st.container(key=f"repeat-{photo.id}"):
                _one(state, photo, keep)


def together_words(state: State) -> str:
    """How many photos count, and what became of the others."""
    if not state.used:
        return f"{count(len(state.photos), 'photo')}, none with a number."
    if len(state.used) == 1:
        parts = ["One photo counts."]
    else:
        parts = [f"{count(len(state.used), 'photo')}, read together: their mean."]
    if state.left_out:
        parts.append(f"Left out: {_numbers(state, state.left_out)}.")
    if state.doubles:
        parts.append(f"The same picture as another, so not counted again: {_numbers(state, state.doubles)}.")
    if state.otherwise:
        parts.append(
            f"Read along a ribbon or over the whole hair, unlike the others, so not counted: "
            f"{_numbers(state, state.otherwise)}. Measure older photos again on the client’s page."
        )
    if state.without_number:
        parts.append(f"Without a number: {_numbers(state, state.without_number)}.")
    return " ".join(parts)


def odd_words(state: State, odd: Disagreement) -> str:
    """Which photo disagrees, by how much, against what limit."""
    photo = state.used[odd.photo]
    where = REGION_WORDS[odd.region]
    apart = f"{odd.distance:.1f} apart" if odd.pair else f"{odd.distance:.1f} away from the others"
    which = "Two photos disagree" if odd.pair else f"Photo {state.number(photo)} disagrees"
    return f"{which} at the {where}: {apart} (limit {odd.limit:.1f}), {_direction(odd)}."


def _small(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def odd_advice(odd: Disagreement) -> str:
    """What to do about it."""
    if odd.pair:
        return (
            "Nothing shows which of the two is right. Take one more, or look at marks, card and light and leave one "
            "out. Until then both count, and the ± is wider for it."
        )
    return "Look at its marks, card and light. Leave it out if you see why; until then it counts, and the ± is wider."


def _direction(odd: Disagreement) -> str:
    """Where most of the difference lies, in words."""
    most = odd.delta[odd.axis]
    words = (("darker", "lighter"), ("greener", "redder"), ("bluer", "yellower"))[odd.axis]
    return f"mostly {words[most > 0]} ({format_number(abs(most))})"


def _numbers(state: State, photos: tuple[PhotoRecord, ...]) -> str:
    return f"{noun(len(photos), 'photo')} {listed(str(state.number(photo)) for photo in photos)}"


def _one(state: State, photo: PhotoRecord, keep: Callable[[PhotoRecord], object]) -> None:
    """One photo with its own reading, and the way to leave it out or count it again."""
    picture, words = st.columns(_SMALL, gap="medium", wrap=False)
    with picture:
        show_photo(balanced_url(photo, SMALL), photo_words(photo), ratio=3 / 4)
    with words:
        st.markdown(f"**Photo {state.number(photo)}**  \n{plain(_alone(photo))}")
        if photo.left_out is not None:
            st.caption(f"Left out on {day(as_date(photo.left_out.at))}. {plain(photo.left_out.why)}")
            if st.button("Count it again", key=f"count-{photo.id}"):
                _keep(use_again(photo), keep)
        elif photo in state.used and len(state.used) > 1 and st.button("Leave it out", key=f"leave-{photo.id}"):
            why = next((odd_words(state, odd) for odd in state.odd if odd.pair or state.used[odd.photo] is photo), "")
            _keep(leave_out(photo, why or "It did not disagree with the others.", now()), keep)


def _keep(photo: PhotoRecord, keep: Callable[[PhotoRecord], object]) -> None:
    with told():
        keep(photo)
        st.rerun()


def _alone(photo: PhotoRecord) -> str:
    """L* of each band of one photo."""
    if photo.reading is None or not photo.reading.ok:
        return "No number."
    return "L* " + ", ".join(
        f"{REGION_WORDS[region.name]} {format_measured(region.repeat_lightness)}" for region in photo.reading.regions
    )
