"""The notes of step 1: light, card and combing, chosen once and followed by the photos that are already in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from tracker import workflow
from tracker.errors import TrackerError
from tracker.measure import Suggestion
from tracker.measure.reading import LIGHTS, DarkHalf
from tracker.record.records import PhotoRecord
from tracker.ui.opened import OPENED
from tracker.ui.pages.new_visit.draft_state import Work, fields_of, keep
from tracker.ui.parts.card_choice import choose_card, choose_card_stood
from tracker.ui.parts.marking import note_card_found, note_found
from tracker.ui.parts.notices import sorry
from tracker.words import ROLE_WORDS, sentence_case
from tracker.workflow import ChosenCard
from tracker.workflow.drafts import with_changed_photos

TELL_MORE = (
    "Photos between which the hair was combed anew and the card taken up again tell more: their errors average out."
)


@dataclass(frozen=True, slots=True)
class Noted:
    """What was noted about the photos of one state.

    Attributes
    ----------
    light : str, one of `reading.LIGHTS`
    card_stood, combed_anew : bool or None, as in `PhotoRecord`; None where not noted
    """

    light: str
    card_stood: bool | None
    combed_anew: bool | None

    def on(self, photo: PhotoRecord) -> PhotoRecord:
        """The photo with these notes."""
        return replace(photo, light=self.light, card_stood=self.card_stood, combed_anew=self.combed_anew)


def choose_the_card(work: Work) -> ChosenCard:
    """The card in the photos: its kind, and what it reflects where that is known better."""
    last = _last_photo(work)
    known = last.marks if last is not None else None
    key = _field(work, "card")
    if known is None:
        return choose_card(key, partial(workflow.dark_half, work.store))
    card = ChosenCard.of(known)

    def own(kind: str) -> DarkHalf | None:
        # photos that are in stay as they are, whatever the studio has learnt since
        stays = bool(work.photos) and kind == card.kind and (card.dark is None or card.dark.u is not None)
        return card.dark if stays else workflow.dark_half(work.store, kind)

    learnt = card.dark is not None and card.dark.u is not None
    return choose_card(key, own, replace(card, dark=None) if learnt else card)


def follow_card(work: Work, card: ChosenCard) -> None:
    """Photos that are already in are searched again when another card is chosen."""
    if work.draft is None:
        return
    alike = all(photo.marks is None or ChosenCard.of(photo.marks) == card for photo in work.photos)
    _follow(work, "card", card, alike=alike)
    if alike:
        return
    try:
        with st.spinner("Looking for the card"):
            photos = tuple(_find_card(work, photo, card) for photo in work.photos)
    except TrackerError as error:
        sorry(error)
        return
    keep(work, with_changed_photos(work.photos, photos))
    st.rerun()


def choose_notes(work: Work, role: str, below: DeltaGenerator) -> Noted:
    """What is noted about the photos of one state: before and after may differ, and the result must know.

    Parameters
    ----------
    below : DeltaGenerator, below the photos, where it is asked what was done between them
    """
    present = work.of(role)
    one = "the photo" if len(work.roles) == 1 else f"the {ROLE_WORDS[role].lower()} photo"
    light, stood = _light(work, role, one), _card_stood(work, role, one)
    with below:
        noted = Noted(light, stood, _combed_anew(work, role))
    alike = {
        "light": all(photo.light == noted.light for photo in present),
        "card-stood": all(photo.card_stood == noted.card_stood for photo in present),
        "combed": len(present) < 2 or all(photo.combed_anew == noted.combed_anew for photo in present),
    }
    read = {"light": noted.light, "card-stood": noted.card_stood, "combed": noted.combed_anew}
    for name, same in alike.items():
        _follow(work, f"{name}-{role}", read[name], alike=same)
    if work.draft is not None and not all(alike.values()):
        keep(work, with_changed_photos(present, [_noted_anew(work, photo, noted) for photo in present]))
        st.rerun()
    return noted


def _light(work: Work, role: str, one: str) -> str:
    """The light that the field reads."""
    present = work.of(role)
    likely = next(iter(present), None) or _last_photo(work)
    chosen = st.pills(
        f"Light of {one}",
        LIGHTS[:-1],
        default=likely.light if likely is not None and likely.light in LIGHTS[:-1] else None,
        format_func=sentence_case,
        key=_field(work, f"light-{role}"),
        wrap=True,
    )
    if chosen is None and present:
        st.caption("Note the light: it makes every ± smaller.")
    return chosen or LIGHTS[-1]


def _card_stood(work: Work, role: str, one: str) -> bool | None:
    """Whether the card stood, as the field reads; it begins as with the last photos."""
    present = work.of(role)
    known = next((photo.card_stood for photo in present if photo.card_stood is not None), None)
    likely = known if present else _stood_last(work)
    return choose_card_stood(_field(work, f"card-stood-{role}"), likely, f"Card in {one}")


def _combed_anew(work: Work, role: str) -> bool | None:
    """Whether the hair was combed between the photos of a state, as the field reads; None for a single photo."""
    present = work.of(role)
    if len(present) < 2:
        return None
    known = next((photo.combed_anew for photo in present if photo.combed_anew is not None), None)
    chosen = st.pills(
        "Between these photos the hair was combed anew and the card taken up again",
        (True, False),
        default=known,
        format_func={True: "Yes", False: "No"}.__getitem__,
        key=_field(work, f"combed-{role}"),
    )
    st.caption(TELL_MORE)
    return chosen


def _stood_last(work: Work) -> bool | None:
    """Whether the card stood in the photos of this job, else in the client's last ones or the studio's."""
    here = next((photo.card_stood for photo in work.photos if photo.card_stood is not None), None)
    return workflow.card_stood_last(work.store, work.client.id) if here is None else here


def with_card(work: Work, record: PhotoRecord, card: ChosenCard) -> tuple[PhotoRecord, Suggestion]:
    """The photo with the marks that were found for that card, and what the search was not sure of."""
    found = workflow.suggest_marks(work.store, record, card.kind, card.reflectance, decoded=OPENED, dark=card.dark)
    return replace(record, marks=found.marks, reading=None, failure=None), found


def _find_card(work: Work, record: PhotoRecord, card: ChosenCard) -> PhotoRecord:
    """The photo with another card; the hair stays as it is marked."""
    marked, found = with_card(work, record, card)
    if record.marks is None or marked.marks is None or record.marks.outline is None:
        note_found(record.id, found)
        return marked
    note_card_found(record.id, found)
    return replace(marked, marks=replace(marked.marks, outline=record.marks.outline, path=record.marks.path))


def _follow(work: Work, name: str, read: object, *, alike: bool) -> None:
    """Where another window chose differently for the photos, start afresh any field that was not touched here."""
    if work.tab is None:
        return
    untouched = name in work.tab.chosen and work.tab.chosen[name] == read
    work.tab.chosen[name] = read
    if untouched and not alike:
        del work.tab.chosen[name]
        work.tab.turns[name] += 1
        st.rerun()


def _noted_anew(work: Work, photo: PhotoRecord, noted: Noted) -> PhotoRecord:
    """The photo with other notes; measured again if it had been and its uncertainty depends on what changed."""
    changed = noted.on(photo)
    measured = changed.marks is not None and (changed.reading is not None or changed.failure is not None)
    if changed.marks is None or not measured or (photo.light, photo.card_stood) == (noted.light, noted.card_stood):
        return changed
    return workflow.measure_record(work.store, changed, changed.marks)


def _field(work: Work, name: str) -> str:
    """Key of a field of this step, a new one each time the field starts afresh."""
    turn = work.tab.turns[name] if work.tab is not None else 0
    return f"{name}-{fields_of(work)}-{turn}" if turn else f"{name}-{fields_of(work)}"


def _last_photo(work: Work) -> PhotoRecord | None:
    """The newest photo whose light and card are likeliest to be used again."""
    if work.photos:
        return work.photos[0]
    earlier = sorted(work.store.photos.find(client_id=work.client.id), key=lambda photo: photo.added_at)
    return earlier[-1] if earlier else None
