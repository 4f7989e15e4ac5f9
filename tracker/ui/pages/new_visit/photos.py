"""Step 1: the photos, the light and the card."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from tracker import workflow
from tracker.errors import TrackerError
from tracker.measure import CARD_KINDS
from tracker.photo import can_read_raw
from tracker.reading import LIGHTS
from tracker.records import PROGRESS, PhotoRecord
from tracker.ui.look import photo as show_photo
from tracker.ui.look import show_drawing
from tracker.ui.pages.new_visit.draft_state import Work, card_problem_key, decoded, go_to_step, keep, keep_photo
from tracker.ui.parts.notices import sorry
from tracker.ui.parts.pictures import MEDIUM, photo_words, picture_ratio, picture_url
from tracker.ui.parts.words import ROLE_WORDS

FORMATS = ["jpg", "jpeg", "heic", "heif", "png", "webp", "avif", "tif", "tiff"]
RAW_FORMATS = ["dng", "cr2", "cr3", "nef", "arw", "raf", "orf", "rw2", "pef"]
LARGEST_MB = 25
LARGEST_RAW_MB = 80


def show(work: Work) -> None:
    """The step."""
    uploads = st.container()
    card, reflectance = _card(work)
    _follow_card(work, card, reflectance)
    if not work.photos:
        with st.expander("How to take a photo that can be measured"):
            show_drawing(
                "card",
                "From above: the grey card beside the hair, turned a third of the way from the camera to the window",
            )
            st.markdown(
                "Hold the card beside the hair, turned a third of the way from the camera to the light: "
                "then nothing shines on it. No flash and no filter. "
                "Fill the photo with hair and card. Same place, phone and card before and after."
            )
    with uploads:
        places = st.columns(len(work.roles), gap="large") if len(work.roles) > 1 else [st.container()]
        for place, role in zip(places, work.roles, strict=True):
            with place:
                _slot(work, role, _light(work, role), card, reflectance)
        _onward(work)


def _slot(work: Work, role: str, light: str, card: str, reflectance: float | None) -> None:
    """One photo, or the place to add it."""
    label = "Progress photo" if role == PROGRESS else f"{ROLE_WORDS[role]} photo"
    present = work.photo(role)
    if present is not None:
        st.markdown(f"**{label}**")
        show_photo(picture_url(present, MEDIUM), photo_words(present), ratio=picture_ratio(present), eager=True)
        if st.button("Remove this photo", key=f"remove-{role}"):
            _remove(work, present)
        return
    turn_key = f"upload-turn-{role}"
    turn = st.session_state.setdefault(turn_key, 0)
    formats, largest = (FORMATS + RAW_FORMATS, LARGEST_RAW_MB) if can_read_raw() else (FORMATS, LARGEST_MB)
    upload = st.file_uploader(label, type=formats, max_upload_size=largest, key=f"upload-{role}-{turn}")
    if upload is None:
        return
    try:
        with st.spinner("Reading the photo and looking for the card"):
            record = _take_in(work, upload.getvalue(), role, light, card, reflectance)
    except TrackerError as error:
        sorry(error)
        return
    st.session_state[turn_key] = turn + 1
    keep_photo(work, record)
    st.rerun()


def _take_in(work: Work, content: bytes, role: str, light: str, card: str, reflectance: float | None) -> PhotoRecord:
    record, _ = workflow.take_in(work.store, content, client_id=work.client.id, role=role, light=light)
    return _find_card(work, record, card, reflectance)


def _find_card(work: Work, record: PhotoRecord, card: str, reflectance: float | None) -> PhotoRecord:
    """The photo with the marks that were found for that card; what went wrong is said at the marks."""
    found, problem = workflow.suggest_marks(work.store, record, card, reflectance, decoded=decoded())
    st.session_state[card_problem_key(record)] = problem
    return replace(record, marks=found, reading=None, failure=None)


def _follow_card(work: Work, card: str, reflectance: float | None) -> None:
    """Photos that are already in are searched again when another card is chosen."""
    if work.draft is None:
        return
    wanted = (card, reflectance)
    if all(photo.marks is None or (photo.marks.card_kind, photo.marks.reflectance) == wanted for photo in work.photos):
        return
    try:
        with st.spinner("Looking for the card"):
            photos = tuple(_find_card(work, photo, card, reflectance) for photo in work.photos)
    except TrackerError as error:
        sorry(error)
        return
    keep(work.store, replace(work.draft, photos=photos))
    st.rerun()


def _remove(work: Work, photo: PhotoRecord) -> None:
    if work.draft is not None:
        rest = tuple(other for other in work.draft.photos if other.id != photo.id)
        keep(work.store, replace(work.draft, photos=rest))
    st.rerun()


def _light(work: Work, role: str) -> str:
    """The light of one photo: before and after may be taken under unlike ones, and the result must know."""
    present = work.photo(role)
    likely = present or _last_photo(work)
    chosen = st.segmented_control(
        "Light" if len(work.roles) == 1 else f"Light of the {ROLE_WORDS[role].lower()} photo",
        LIGHTS[:-1],
        default=likely.light if likely is not None and likely.light in LIGHTS[:-1] else None,
        key=f"light-{role}",
    )
    light = chosen or LIGHTS[-1]
    if work.draft is not None and present is not None and present.light != light:
        noted = replace(present, light=light)
        if present.marks is not None and (present.reading is not None or present.failure is not None):
            noted = workflow.measure_record(work.store, noted, present.marks)  # how sure it is rests on the light
        photos = tuple(noted if photo.id == present.id else photo for photo in work.photos)
        keep(work.store, replace(work.draft, photos=photos))
        st.rerun()
    return light


def _card(work: Work) -> tuple[str, float | None]:
    """The kind of card in the photos, and the reflectance of its grey where it is known better."""
    last = _last_photo(work)
    known = last.marks if last is not None else None
    kinds = list(CARD_KINDS)
    kind = st.radio(
        "Card in the photos",
        kinds,
        index=kinds.index(known.card_kind) if known is not None and known.card_kind in kinds else 0,
        format_func=lambda name: CARD_KINDS[name].title,
        key="card-kind",
        horizontal=True,
    )
    with st.expander("My card’s grey is not 18 %"):
        percent = st.number_input(
            "Reflectance of the grey in per cent, as printed on the card or its sheet",
            min_value=2.0,
            max_value=98.0,
            value=known.reflectance * 100 if known is not None and known.reflectance else None,
            step=0.5,
            placeholder="leave empty for the usual value",
            key="card-reflectance",
        )
    return kind, percent / 100 if percent else None


def _last_photo(work: Work) -> PhotoRecord | None:
    """The newest photo whose light and card are the likeliest to be used again."""
    if work.photos:
        return work.photos[0]
    earlier = sorted(work.store.photos(client_id=work.client.id), key=lambda photo: photo.added_at)
    return earlier[-1] if earlier else None


def _onward(work: Work) -> None:
    if not work.photos:
        return
    if len(work.photos) < len(work.roles):
        st.markdown("One photo alone gives a level and warmth, but no lift: that needs both.")
        label = "Go on with one photo"
    else:
        label = "Next: check the marks"
    if st.button(label, type="primary", key="to-marks"):
        go_to_step(work, 1)
