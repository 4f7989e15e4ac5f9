"""The studio's verbs: each all done or not at all, by the rules of consent, through real photos."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from tests.samples import sample_photo
from tests.scenes import marks, photograph, scene
from tracker import workflow
from tracker.errors import (
    Conflict,
    ConsentMissing,
    InvalidEntry,
    NotFound,
    StoreError,
    TooLarge,
    TrackerError,
    UnsupportedFormat,
)
from tracker.photo import Limits
from tracker.record.records import (
    AFTER,
    BEFORE,
    MEASURING,
    PORTFOLIO,
    PROGRESS,
    Client,
    Draft,
    PhotoRecord,
    Visit,
    from_json,
    new_id,
    now,
    to_json,
)
from tracker.store import Store
from tracker.workflow import photos

HIDDEN = "qxhiddenxq"
MARKS = marks()


@cache
def jpeg(tip: float = 55.0) -> bytes:
    """A drawn photo with a card, as a phone would hand it over: with camera, time and a hidden word in its tags."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x010E] = "Maker", "Model", HIDDEN  # make, model, description
    exif.get_ifd(0x8769)[0x9003] = "2026:03:14 10:20:30"  # when it was taken
    exif.get_ifd(0x8769)[0x9011] = "+00:00"
    out = io.BytesIO()
    picture = Image.fromarray(photograph(scene(tip=(tip, 6.0, 24.0))).encoded)
    picture.save(out, "JPEG", quality=92, exif=exif, comment=HIDDEN.encode())
    return out.getvalue()


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


@pytest.fixture
def client(store: Store) -> Client:
    return workflow.add_client(store, "Ada", "", {MEASURING: True, PORTFOLIO: True}, "the owner")


def taken_in(store: Store, client: Client, role: str = BEFORE, tip: float = 55.0) -> PhotoRecord:
    record, _ = workflow.take_in(store, jpeg(tip), client_id=client.id, role=role, light="daylight")
    return record


def full_draft(store: Store, client: Client) -> Draft:
    """A kept visit draft with a visit and two photos."""
    draft = workflow.start_draft(store, client.id, "visit")
    visit = Visit(new_id(), client.id, date(2026, 3, 14), ("toner",), (), " note ", "", now())
    photos = (taken_in(store, client), taken_in(store, client, AFTER, 70.0))
    return workflow.keep_draft(store, replace(draft, visit=visit, photos=photos))


# clients and consent


def test_a_client_with_answers(store: Store) -> None:
    client = workflow.add_client(store, "  Zoë \t Q ", " a\r\nb\0 ", {MEASURING: True, PORTFOLIO: False}, " the owner ")
    assert (client.name, client.note, client.demo) == ("Zoë Q", "a\nb", False)
    assert store.clients.get(client.id) == client
    answers = {consent.purpose: consent for consent in store.consents.of_client(client.id)}
    assert {purpose: consent.given for purpose, consent in answers.items()} == {MEASURING: True, PORTFOLIO: False}
    assert answers[MEASURING].recorded_by == "the owner"
    assert answers[MEASURING].wording_version == "1"


@pytest.mark.parametrize("consents", [{}, {MEASURING: False}, {PORTFOLIO: True}, {MEASURING: True, "other": True}])
def test_without_a_yes_nothing_is_kept(store: Store, consents: dict[str, bool]) -> None:
    with pytest.raises(ConsentMissing):
        workflow.add_client(store, "Ada", "", consents, "the owner")
    assert store.is_empty()


@pytest.mark.parametrize(
    ("name", "note", "by"),
    [("", "", "me"), (" \n\t", "", "me"), ("x" * 10_000, "", "me"), ("Ada", "x" * 10_000, "me"), ("Ada", "", " ")],
)
def test_words_that_are_missing_or_too_long(store: Store, name: str, note: str, by: str) -> None:
    with pytest.raises(StoreError) as caught:
        workflow.add_client(store, name, note, {MEASURING: True}, by)
    assert caught.value.what
    assert caught.value.advice
    assert store.is_empty()


@pytest.mark.parametrize("name", ["'); DROP TABLE client;--", "<img src=x onerror=alert(1)>", "=1+1", "👩🏽‍🦱 Zoë"])
def test_names_are_kept_literally(store: Store, name: str) -> None:
    assert workflow.add_client(store, name, name, {MEASURING: True}, name).name == name
    assert store.clients.summaries(name)[0].client.note == name


def test_half_a_character_is_dropped(store: Store) -> None:
    assert workflow.add_client(store, "Ada\ud83d", "", {MEASURING: True}, "me").name == "Ada"


def test_edit_client(store: Store, client: Client) -> None:
    assert workflow.edit_client(store, client, " Grace ", "n").name == "Grace"
    assert store.clients.get(client.id).note == "n"
    with pytest.raises(StoreError):
        workflow.edit_client(store, client, "", "")
    with pytest.raises(NotFound):
        workflow.edit_client(store, replace(client, id="nobody"), "Grace", "")


def test_a_note_that_another_window_saved_is_not_overwritten(store: Store, client: Client) -> None:
    workflow.note_contact(store, client.id, "Fridays")
    here = workflow.edit_client(store, client, client.name, "from here")
    with pytest.raises(Conflict, match="another window"):
        workflow.edit_client(store, client, "Grace", client.note)
    assert store.clients.get(client.id) == here
    assert here.contact == "Fridays"
    workflow.edit_client(store, here, "Grace", here.note)
    assert store.clients.get(client.id) == replace(here, name="Grace")


def test_a_visit_that_another_window_removed_does_not_come_back(store: Store, client: Client) -> None:
    draft = workflow.start_draft(store, client.id, "visit")
    visit = Visit(new_id(), client.id, date(2026, 1, 2), (), (), "", "", now())
    kept = workflow.record_visit(store, replace(draft, visit=visit))
    editing = workflow.start_draft(store, client.id, "visit", kept)
    store.visits.delete(kept.id)
    with pytest.raises(Conflict, match="removed"):
        workflow.record_visit(store, editing)
    assert store.visits.of_client(client.id) == []


def test_a_draft_recorded_in_another_window_is_not_begun_again(store: Store, client: Client) -> None:
    draft = workflow.start_draft(store, client.id, "visit")
    visit = Visit(new_id(), client.id, date(2026, 1, 2), (), (), "mine", "", now())
    workflow.record_visit(store, replace(draft, visit=visit))
    with pytest.raises(Conflict, match="another window"):
        workflow.keep_draft(store, replace(draft, visit=replace(visit, note="theirs")))
    assert [kept.note for kept in store.visits.of_client(client.id)] == ["mine"]


@pytest.mark.parametrize("typed", ["\u202aAda\u202c", "\u200bAda", "A\u00adda", "\ufeffAda", "Ada\u2069"])
def test_invisible_characters_of_a_name_are_dropped(store: Store, typed: str) -> None:
    assert workflow.add_client(store, typed, "", {MEASURING: True}, "me").name == "Ada"


def test_joiners_that_words_are_written_with_stay(store: Store) -> None:
    name = "\u0646\u200c\u0627 \U0001f469\u200d\U0001f9b0"
    assert workflow.add_client(store, name, "", {MEASURING: True}, "me").name == name


def test_withdrawing_takes_out_of_the_portfolio_at_once(store: Store, client: Client) -> None:
    workflow.record_visit(store, full_draft(store, client))
    assert len(store.portfolio.entries()) == 1
    workflow.answer_consent(store, client.id, PORTFOLIO, False, "the owner")
    assert store.portfolio.entries() == []
    assert [c.given for c in store.consents.of_client(client.id) if c.purpose == PORTFOLIO] == [True, False]
    with pytest.raises(ConsentMissing):
        workflow.answer_consent(store, client.id, "marketing", True, "the owner")
    with pytest.raises(NotFound):
        workflow.answer_consent(store, "nobody", PORTFOLIO, True, "the owner")


# photos


def test_take_in_keeps_the_picture_and_nothing_else(store: Store, client: Client) -> None:
    record, photo = workflow.take_in(store, jpeg(), client_id=client.id, role=BEFORE, light="daylight")
    assert record.size == (photo.encoded.shape[1], photo.encoded.shape[0])
    assert (record.marks, record.reading, record.failure) == (None, None, None)
    assert record.taken_at == datetime(2026, 3, 14, 10, 20, 30, tzinfo=UTC)
    assert record.camera == "Maker Model"
    kept = store.pictures.get(record.file)
    assert kept != jpeg()
    assert HIDDEN.encode() in jpeg()
    for path in store.root.rglob("*"):
        assert path.is_dir() or HIDDEN.encode() not in path.read_bytes()


@pytest.mark.parametrize(
    ("content", "error"),
    [(b"", TrackerError), (b"GIF89a" + b"\0" * 99, UnsupportedFormat), (b"\xff\xd8\xff", TrackerError)],
)
def test_what_is_no_photo_leaves_nothing(
    store: Store, client: Client, content: bytes, error: type[TrackerError]
) -> None:
    with pytest.raises(error):
        workflow.take_in(store, content, client_id=client.id, role=BEFORE, light="daylight")
    assert store.disk.usage().pictures == 0


def test_take_in_checks_before_it_reads(store: Store, client: Client) -> None:
    wanted = {"client_id": client.id, "role": BEFORE, "light": "daylight"}
    with pytest.raises(TooLarge):
        workflow.take_in(store, jpeg(), limits=Limits(max_bytes=1000), **wanted)
    for wrong, error in (
        ({"client_id": "nobody"}, NotFound),
        ({"role": "x"}, StoreError),
        ({"light": "x"}, StoreError),
    ):
        with pytest.raises(error):
            workflow.take_in(store, jpeg(), **{**wanted, **wrong})
    workflow.answer_consent(store, client.id, MEASURING, False, "the owner")
    with pytest.raises(ConsentMissing):
        workflow.take_in(store, jpeg(), **wanted)
    assert store.disk.usage().pictures == 0


def test_marks_are_suggested_and_measured_from_the_kept_picture(store: Store, client: Client) -> None:
    record = taken_in(store, client)
    found = workflow.suggest_marks(store, record, "grey18", 0.2)
    assert (found.card, found.hair) == (None, None)
    assert found.marks.reflectance == 0.2
    measured = workflow.measure_record(store, record, MARKS)
    assert measured.failure is None
    assert measured.reading is not None
    assert measured.reading.ok
    assert measured == workflow.measure_record(store, record, MARKS)
    assert replace(measured, marks=None, reading=None) == record


def test_why_there_is_no_number_is_kept(store: Store, client: Client) -> None:
    record = taken_in(store, client)
    failed = workflow.measure_record(store, record, replace(MARKS, path=((-500.0, -500.0), (-400.0, -400.0))))
    assert failed.reading is None
    assert failed.failure
    again = workflow.measure_record(store, failed, MARKS)
    assert again.failure is None
    store.pictures.path(record.file).write_bytes(b"altered")
    lost = workflow.measure_record(store, record, MARKS)
    assert lost.failure is not None
    assert "not what was kept" in lost.failure


def test_opened_photos_are_held_and_let_go(store: Store, client: Client) -> None:
    decoded = workflow.DecodedPhotos(capacity=1)
    first, second = taken_in(store, client), taken_in(store, client, tip=70.0)
    photo = decoded.get(store, first.file)
    assert decoded.get(store, first.file) is photo
    decoded.get(store, second.file)
    assert decoded.get(store, first.file) is not photo
    plain = workflow.measure_record(store, first, MARKS)
    assert workflow.measure_record(store, first, MARKS, decoded=decoded) == plain
    with pytest.raises(NotFound):
        decoded.get(store, "ab" * 32)


def test_opened_photos_take_so_much_memory_and_no_more(store: Store, client: Client) -> None:
    first, second, third = (taken_in(store, client, tip=tip) for tip in (40.0, 55.0, 70.0))
    size = workflow.DecodedPhotos().get(store, first.file).encoded.nbytes
    decoded = workflow.DecodedPhotos(most_bytes=2 * size)
    kept = {photo.file: decoded.get(store, photo.file) for photo in (first, second, third)}
    assert decoded.get(store, third.file) is kept[third.file]
    assert decoded.get(store, second.file) is kept[second.file]
    assert decoded.get(store, first.file) is not kept[first.file]
    small = workflow.DecodedPhotos(most_bytes=1)
    assert small.get(store, first.file) is small.get(store, first.file)  # the last one is held whatever it takes
    decoded.forget([first.file])
    again = decoded.get(store, second.file)
    decoded.forget()
    assert decoded.get(store, second.file) is not again


def test_whole_photos_are_open_one_at_a_time(store: Store, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    at_once, most = [0], [0]

    def counted(function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any, **named: Any) -> Any:
            at_once[0] += 1
            most[0] = max(most[0], at_once[0])
            try:
                return function(*given, **named)
            finally:
                at_once[0] -= 1

        return call

    for name in ("read_photo", "clean_jpeg", "find_marks", "measure_photo", "read_kept"):
        monkeypatch.setattr(photos, name, counted(getattr(photos, name)))
    opened = workflow.DecodedPhotos()

    def job(number: int) -> bool:
        record = workflow.take_in(store, jpeg(40 + number), client_id=client.id, role=BEFORE, light="daylight")[0]
        workflow.suggest_marks(store, record, "grey18", decoded=opened)
        return workflow.measure_record(store, record, MARKS, decoded=opened).reading is not None

    with ThreadPoolExecutor(8) as threads:
        assert all(threads.map(job, range(8)))
    assert most == [1]
    assert store.disk.usage().pictures == 8


# visits


def test_a_draft_becomes_a_visit_once(store: Store, client: Client) -> None:
    draft = full_draft(store, client)
    visit = workflow.record_visit(store, draft)
    assert workflow.record_visit(store, draft) == visit
    assert visit.note == "note"
    assert store.visits.of_client(client.id) == [visit]
    assert [photo.visit_id for photo in store.photos.find(client.id)] == [visit.id] * 2
    assert store.drafts.find() == []


def test_two_taps_at_once_make_one_visit(store: Store, client: Client) -> None:
    draft = full_draft(store, client)
    saved: list[Visit] = []
    taps = [threading.Thread(target=lambda: saved.append(workflow.record_visit(store, draft))) for _ in range(4)]
    for tap in taps:
        tap.start()
    for tap in taps:
        tap.join()
    assert len(saved) == 4
    assert store.visits.of_client(client.id) == [saved[0]] == list({visit.id: visit for visit in saved}.values())


def test_a_day_that_is_still_to_come_is_refused(store: Store, client: Client) -> None:
    draft = full_draft(store, client)
    assert draft.visit is not None
    tomorrow = date.today() + timedelta(days=1)
    with pytest.raises(InvalidEntry, match="in the future"):
        workflow.record_visit(store, replace(draft, visit=replace(draft.visit, on=tomorrow)))
    progress = workflow.start_draft(store, client.id, "progress")
    photo = replace(taken_in(store, client, PROGRESS, 62.0), taken_at=now() + timedelta(days=1), time_noted=False)
    with pytest.raises(InvalidEntry, match="in the future"):
        workflow.record_progress(store, replace(progress, photos=(photo,)))
    assert store.photos.find(client_id=client.id) == []
    # a camera whose clock is wrong is not the colourist's to correct
    assert workflow.record_progress(store, replace(progress, photos=(replace(photo, time_noted=True),)))


def test_changing_a_visit_through_a_draft(store: Store, client: Client) -> None:
    visit = workflow.record_visit(store, full_draft(store, client))
    draft = workflow.start_draft(store, client.id, "visit", visit)
    assert len(draft.photos) == 2
    changed = workflow.record_visit(store, replace(draft, visit=replace(visit, note="other"), photos=draft.photos[:1]))
    assert (changed.id, changed.note, changed.revision) == (visit.id, "other", 2)
    assert [photo.id for photo in store.photos.find(visit_id=visit.id)] == [draft.photos[0].id]
    assert store.disk.usage().pictures == 1


def test_a_window_left_open_does_not_bring_a_saved_draft_back(store: Store, client: Client) -> None:
    draft = full_draft(store, client)
    workflow.record_visit(store, draft)
    with pytest.raises(Conflict, match="another window"):
        workflow.keep_draft(store, draft)
    assert store.drafts.find() == []


def test_progress(store: Store, client: Client) -> None:
    draft = workflow.start_draft(store, client.id, PROGRESS)
    with pytest.raises(Conflict):
        workflow.record_progress(store, draft)
    draft = workflow.keep_draft(store, replace(draft, photos=(taken_in(store, client, PROGRESS),)))
    photo = workflow.record_progress(store, draft)
    assert workflow.record_progress(store, draft) == photo
    assert store.photos.find(client.id, role=PROGRESS) == [photo]
    assert store.drafts.find() == []


def test_drafts_of_the_wrong_kind(store: Store, client: Client) -> None:
    with pytest.raises(StoreError):
        workflow.start_draft(store, client.id, "party")
    with pytest.raises(Conflict):
        workflow.record_visit(store, workflow.start_draft(store, client.id, "visit"))
    with pytest.raises(Conflict):
        workflow.record_visit(store, workflow.start_draft(store, client.id, PROGRESS))
    with pytest.raises(Conflict):
        workflow.record_progress(store, full_draft(store, client))


def test_nothing_starts_without_consent(store: Store, client: Client) -> None:
    draft = full_draft(store, client)
    workflow.answer_consent(store, client.id, MEASURING, False, "the owner")
    for ask in (
        lambda: workflow.start_draft(store, client.id, "visit"),
        lambda: workflow.keep_draft(store, draft),
        lambda: workflow.record_visit(store, draft),
    ):
        with pytest.raises(ConsentMissing):
            ask()
    assert store.visits.of_client(client.id) == []


def test_discarding(store: Store, client: Client) -> None:
    draft = full_draft(store, client)
    store.drafts.delete(draft.id)
    store.drafts.delete(draft.id)
    assert store.drafts.find() == []
    assert store.disk.usage().pictures == 0
    with pytest.raises(NotFound):
        workflow.keep_draft(store, draft)


def test_too_long_a_note(store: Store, client: Client) -> None:
    draft = full_draft(store, client)
    assert draft.visit is not None
    with pytest.raises(StoreError, match="4001 characters"):
        workflow.record_visit(store, replace(draft, visit=replace(draft.visit, next_time="x" * 4001)))
    assert store.drafts.find() == [draft]


def test_erase(store: Store, client: Client) -> None:
    workflow.record_visit(store, full_draft(store, client))
    receipt = store.erasures.erase(client.id)
    assert (receipt.counts.visits, receipt.counts.photos, receipt.counts.files) == (1, 2, 2)
    assert store.is_empty()


def test_every_number_can_be_made_again_from_a_backup(store: Store, client: Client, tmp_path: Path) -> None:
    from tracker.store import restore

    draft = full_draft(store, client)
    marks = {photo.id: workflow.suggest_marks(store, photo, "grey18").marks for photo in draft.photos}
    photos = tuple(workflow.measure_record(store, photo, marks[photo.id]) for photo in draft.photos)
    workflow.record_visit(store, replace(draft, photos=photos))
    restore(store.backups.make(tmp_path / "backups"), tmp_path / "new")
    with Store(tmp_path / "new") as restored:
        for photo in store.photos.find():
            assert workflow.remeasure(restored, photo.id) == photo


def test_importing_does_not_load_the_screen() -> None:
    code = "import sys, json; from tracker import workflow; print(json.dumps(sorted(sys.modules)))"
    loaded = json.loads(subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout)
    assert not {"streamlit", "altair", "colour"} & set(loaded)


def test_what_was_odd_about_the_file_is_still_a_note_on_the_reading(store: Store, client: Client) -> None:
    with Image.open(io.BytesIO(jpeg())) as plain:
        odd = io.BytesIO()
        plain.save(odd, "JPEG", quality=95, icc_profile=b"not a profile")
    photo, _ = workflow.take_in(store, odd.getvalue(), client_id=client.id, role=BEFORE, light="daylight")
    assert photo.warnings == ("profile_unreadable",)
    measured = workflow.measure_record(store, photo, MARKS)
    assert measured.reading is not None
    assert [check.ok for check in measured.reading.checks if check.name == "profile"] == [True]


def flashed(content: bytes) -> bytes:
    """The photo with tags as of a phone whose flash fired (CIPA DC-008: Flash, bit 0), through a lens of 26 mm."""
    with Image.open(io.BytesIO(content)) as plain:
        tags, out = plain.getexif(), io.BytesIO()
        tags.get_ifd(0x8769)[0x9209], tags.get_ifd(0x8769)[0xA405] = 1, 26
        plain.save(out, "JPEG", quality=95, exif=tags)
    return out.getvalue()


def test_that_the_flash_fired_stays_with_the_record(store: Store, client: Client) -> None:
    photo, _ = workflow.take_in(store, flashed(jpeg()), client_id=client.id, role=BEFORE, light="daylight")
    assert photo.warnings == ("flash_fired",)
    kept = from_json(PhotoRecord, to_json(photo))
    assert (kept.warnings, kept.lens_mm) == (("flash_fired",), 26)
    # the tags themselves are gone from the kept picture
    with Image.open(store.pictures.path(photo.file)) as picture:
        assert dict(picture.getexif()) == {}
    for again in range(2):
        measured = workflow.measure_record(store, kept, MARKS)
        assert measured.reading is not None, again
        assert [check.name for check in measured.reading.warnings] == ["flash"]
        assert measured.reading.ok


def test_a_two_part_card_serves_for_photos_that_are_not_kept(store: Store) -> None:
    """As those of a set-up check: found without help, and read with its own correction."""
    photo = workflow.look_at(sample_photo("noor_before_two_part.jpg").read_bytes(), "steps2")
    assert (photo.found.card, photo.found.hair) == (None, None)
    reading, why = workflow.measure_passing(store, photo, photo.found.marks)
    assert reading is not None, why
    assert (reading.card.kind, len(reading.regions)) == ("steps2", 3)


def test_a_photo_that_is_not_kept_is_warned_of_too(store: Store) -> None:
    photo = workflow.look_at(flashed(jpeg()), "grey18")
    reading, _ = workflow.measure_passing(store, photo, MARKS)
    assert reading is not None
    assert [check.name for check in reading.warnings] == ["flash"]


# photos that are too small or may be copies


def resaved(content: bytes, quality: int = 70, scale: float = 1.0) -> bytes:
    """The picture saved again, as a program for messages would."""
    out = io.BytesIO()
    with Image.open(io.BytesIO(content)) as picture:
        size = (round(picture.width * scale), round(picture.height * scale))
        picture.resize(size, Image.Resampling.LANCZOS).save(out, "JPEG", quality=quality)
    return out.getvalue()


def test_a_tiny_photo_is_told_that_no_marks_would_help(store: Store, client: Client) -> None:
    small = resaved(jpeg(), scale=60 / 900)
    record, _ = workflow.take_in(store, small, client_id=client.id, role=BEFORE, light="daylight")
    suggested = workflow.suggest_marks(store, record, "grey18").marks
    measured = workflow.measure_record(store, record, suggested)
    assert measured.reading is None
    assert measured.failure is not None
    assert "60 × 73 pixels: too small to measure" in measured.failure
    assert "root to tip" not in measured.failure
    assert workflow.too_small((900, 1100)) is None


@pytest.mark.parametrize(("quality", "scale"), [(50, 1.0), (70, 0.5), (95, 1.0)])
def test_a_picture_that_was_saved_again_looks_like_a_copy(
    store: Store, client: Client, quality: int, scale: float
) -> None:
    contents = (jpeg(), resaved(jpeg(), quality, scale), jpeg(58.0))
    one, again, other = (
        workflow.take_in(store, content, client_id=client.id, role=BEFORE, light="daylight")[0] for content in contents
    )
    found = workflow.look_like_copies([one, other, again], lambda photo: workflow.small_picture_of(store, photo))
    assert found == [(one, again)]


def test_a_repeat_in_which_something_moved_is_no_copy(store: Store, client: Client) -> None:
    out = io.BytesIO()
    with Image.open(io.BytesIO(jpeg())) as picture:
        moved = picture.transform(picture.size, Image.Transform.AFFINE, (1, 0, 2, 0, 1, 1))
        moved.save(out, "JPEG", quality=92)
    one, other = (
        workflow.take_in(store, content, client_id=client.id, role=BEFORE, light="daylight")[0]
        for content in (jpeg(), out.getvalue())
    )
    assert workflow.look_like_copies([one, other], lambda photo: workflow.small_picture_of(store, photo)) == []
