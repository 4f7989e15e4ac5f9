"""Photos that were marked along a ribbon, by the earlier method: what becomes of them in a draft."""

from __future__ import annotations

from dataclasses import dataclass, replace

import streamlit as st

from tracker.measure.reading import WHOLE, Marks
from tracker.record.records import PhotoRecord
from tracker.ui.pages.new_visit.draft_state import Work, keep, put_photo
from tracker.ui.parts.held import held
from tracker.ui.parts.reading_view import measured_photo, no_number, reading_swatches
from tracker.workflow.drafts import at_step, with_changed_photos

_MARKS_STEP = 1

_SAID = (
    "This draft was begun when a narrow ribbon along the hair was read. Now the whole hair is. The photos are kept; "
    "please look at their marks once more."
)
_KEPT = (
    "This photo was read along a narrow ribbon, by the earlier method, and keeps its number. Mark the whole hair to "
    "measure it anew: it then compares only with photos that are read in the same way."
)


@dataclass
class _Begun:
    """Whether the marks of a draft were started again in this window."""

    anew: bool = False


def start_marks_anew(work: Work) -> None:
    """Let the marks of a new visit start again where they were made along a ribbon, and say so.

    What changes a kept visit keeps its readings: there a person chooses, photo by photo.
    """
    if work.draft is None or work.tab is None or work.kept_visit is not None:
        return
    old = [photo for photo in work.photos if photo.marks is not None and photo.marks.hair != WHOLE]
    if not old:
        return
    keep(work, with_changed_photos(old, [whole(photo) for photo in old]))
    if work.tab.step > _MARKS_STEP:
        keep(work, at_step(_MARKS_STEP))
        work.tab.step = _MARKS_STEP
    held(_Begun, work.draft.id).anew = True


def say_marks_start_anew(work: Work) -> None:
    """Say that the marks were started again, until those of all photos were looked at."""
    if work.draft is None or not held(_Begun, work.draft.id).anew:
        return
    if all(photo.reading is not None or photo.failure is not None for photo in work.photos):
        held(_Begun, work.draft.id).anew = False
    else:
        st.info(_SAID)


def along_a_ribbon(work: Work, photo: PhotoRecord) -> bool:
    """A photo of a kept visit as it was measured, and the way to measure the whole hair; True where it may stay so."""
    st.markdown(_KEPT)
    stays = st.button("Keep it as it is", type="primary", key=f"right-{photo.role}")
    if st.button("Mark the whole hair", key=f"whole-{photo.role}"):
        put_photo(work, whole(photo), photo)
        st.rerun()
    if no_number(photo):
        st.markdown(no_number(photo))
    measured_photo(photo)
    reading_swatches(photo)
    return stays


def whole(photo: PhotoRecord) -> PhotoRecord:
    """The photo with its card where it was marked, and the whole hair still to be found."""
    return replace(photo, marks=None if photo.marks is None else of_whole(photo.marks), reading=None, failure=None)


def of_whole(marks: Marks) -> Marks:
    """The marks without the ribbon."""
    return replace(marks, path=(), width=None, outline=None)
