"""Photos of an earlier version of the method, measured again: what becomes of each, and that nothing is ever lost."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from crash_studio import add_client, pictures_in
from scenes import CARD, PATH, WIDTH
from test_pages_harness import drawn_photo

from tracker import METHOD_VERSION, errors, workflow
from tracker.measure.hair import DOUBTS
from tracker.measure.reading import WHOLE, Marks, PhotoReading
from tracker.record.records import AFTER, BEFORE, MEASURING, PROGRESS, Client, PhotoRecord, Visit, new_id, now
from tracker.store import Store
from tracker.workflow import photos, remeasuring
from tracker.workflow.remeasuring import Tally, mark_anew, measure_again, remeasure

EARLIER = "1.2"
RIBBON_MARKS = Marks("grey18", CARD, PATH, WIDTH)
SHOT_AT = datetime(2026, 3, 14, 10, tzinfo=UTC)


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


@pytest.fixture
def client(store: Store) -> Client:
    return add_client(store)


def along_a_ribbon(
    store: Store, client: Client, role: str = PROGRESS, seed: int = 1, visit_id: str | None = None
) -> PhotoRecord:
    """A photo as an earlier version kept it."""
    record, _ = workflow.take_in(store, drawn_photo(55.0, seed=seed), client_id=client.id, role=role, light="daylight")
    photo = workflow.measure_record(store, record, RIBBON_MARKS)
    assert photo.reading is not None
    reading = replace(photo.reading, method_version=EARLIER)
    return replace(photo, reading=reading, visit_id=visit_id, taken_at=SHOT_AT, time_noted=True)


def kept_photo(store: Store, client: Client, seed: int = 1) -> PhotoRecord:
    return store.photos.save(along_a_ribbon(store, client, seed=seed))


def kept_visit(store: Store, client: Client) -> tuple[Visit, list[PhotoRecord]]:
    visit = Visit(new_id(), client.id, date(2026, 3, 14), ("toner",), (), "note", "", now())
    row = [along_a_ribbon(store, client, role, seed, visit.id) for role, seed in ((BEFORE, 1), (AFTER, 2))]
    return store.visits.save(visit, row), row


def in_doubt(monkeypatch: pytest.MonkeyPatch) -> None:
    found, doubt = photos.find_marks, errors.HairInDoubt(*DOUBTS["unclear"])
    monkeypatch.setattr(photos, "find_marks", lambda *given, **named: replace(found(*given, **named), doubt=doubt))


def reading_of(photo: PhotoRecord) -> PhotoReading:
    assert photo.reading is not None
    return photo.reading


class TestOne:
    def test_the_whole_hair_is_looked_for_along_the_ribbon(self, store: Store, client: Client) -> None:
        old = kept_photo(store, client)
        new = remeasure(store, old.id, by="Kim")
        assert store.photos.get(old.id) == new
        assert (reading_of(new).hair, reading_of(new).method_version, new.failure) == (WHOLE, METHOD_VERSION, None)
        assert reading_of(new).ok
        assert new.marks is not None
        assert (new.marks.path, new.marks.corners, new.marks.width) == (PATH, CARD, None)
        assert new.marks.outline == reading_of(new).outline != ()
        # only what measuring makes is new
        assert replace(new, marks=old.marks, reading=old.reading) == old
        [edit] = store.edits.find(record_id=old.id)
        assert (edit.before, edit.by, edit.what) == (old, "Kim", "changed")

    def test_doing_it_twice_gives_the_same_and_writes_nothing_new(self, store: Store, client: Client) -> None:
        first = remeasure(store, kept_photo(store, client).id)
        assert remeasure(store, first.id) == first
        assert len(store.edits.find(record_id=first.id)) == 1

    def test_a_whole_hair_of_an_older_version_keeps_its_outline(
        self, store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        whole = remeasure(store, kept_photo(store, client).id)
        older = replace(whole, reading=replace(reading_of(whole), method_version="1.9", regions=()))
        store.photos.save(older)
        in_doubt(monkeypatch)  # not asked: a person has seen this outline
        again = remeasure(store, whole.id)
        assert again == whole

    def test_in_doubt_or_not_found_nothing_changes(
        self, store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        old = kept_photo(store, client)
        with monkeypatch.context() as patch:
            in_doubt(patch)
            with pytest.raises(errors.HairInDoubt, match="edge of the hair is unclear"):
                remeasure(store, old.id)
        nowhere = replace(old, marks=replace(RIBBON_MARKS, path=((-5.0, -5.0), (-4.0, 40.0))))
        store.photos.save(nowhere)
        with pytest.raises(errors.HairError):
            remeasure(store, old.id)
        assert store.photos.get(old.id) == nowhere

    def test_a_number_is_never_lost(self, store: Store, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
        old = kept_photo(store, client)
        monkeypatch.setattr(
            remeasuring,
            "measure_record",
            lambda _store, photo, marks, **_: replace(photo, reading=None, failure="Dark."),
        )
        with pytest.raises(errors.NoNumberAgain, match="Dark"):
            remeasure(store, old.id)
        assert store.photos.get(old.id) == old
        # where there was none, the newer reason is kept
        store.photos.save(replace(old, reading=replace(reading_of(old), regions=())))
        assert remeasure(store, old.id).failure == "Dark."

    def test_unmarked_or_withdrawn(self, store: Store, client: Client) -> None:
        old = kept_photo(store, client)
        store.photos.save(replace(old, marks=None))
        with pytest.raises(errors.InvalidMarks):
            remeasure(store, old.id)
        workflow.answer_consent(store, client.id, MEASURING, False, "the owner")
        with pytest.raises((errors.ConsentMissing, errors.InvalidMarks)):
            remeasure(store, old.id)

    def test_what_a_person_changed_meanwhile_stays(
        self, store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        old, real = kept_photo(store, client), remeasuring.measure_record
        changes = [replace(old, light="salon lamps")]

        def slowly(*given: object, **named: object) -> PhotoRecord:
            measured = real(*given, **named)  # type: ignore[arg-type]
            if changes:
                store.photos.save(changes.pop())
            return measured

        monkeypatch.setattr(remeasuring, "measure_record", slowly)
        # the first try meets the change; the second measures what the person saved
        assert measure_again(store, [old.id]) == Tally(1, measured=1)
        now_kept = store.photos.get(old.id)
        assert (now_kept.light, reading_of(now_kept).hair) == ("salon lamps", WHOLE)

    def test_an_open_draft_gets_the_new_reading(self, store: Store, client: Client) -> None:
        visit, (before, after) = kept_visit(store, client)
        draft = workflow.start_draft(store, client.id, "visit", visit)
        marked = replace(after, light="salon lamps")
        # both were taken at the same moment, so either may come first
        with_note = tuple(marked if photo == after else photo for photo in draft.photos)
        workflow.change_draft(store, draft.id, lambda kept: remeasuring.Change(replace(kept, photos=with_note)))
        new = remeasure(store, before.id)
        kept = {photo.id: photo for photo in store.drafts.get(draft.id).photos}
        assert kept == {new.id: new, marked.id: marked}  # what was changed in the draft stays


class TestMany:
    def test_all_of_them_once(self, store: Store, client: Client) -> None:
        other = add_client(store, "Grace")
        row = [kept_photo(store, who, seed) for who, seed in ((client, 1), (other, 2), (client, 3))]
        told: list[Tally] = []
        assert store.remeasuring.older(METHOD_VERSION).waiting == 3
        assert len(store.remeasuring.waiting(METHOD_VERSION, client.id)) == 2
        tally = measure_again(store, store.remeasuring.waiting(METHOD_VERSION), progress=told.append)
        assert tally == Tally(3, measured=3) == told[-1]
        assert [each.done for each in told] == [1, 2, 3]
        assert store.remeasuring.older(METHOD_VERSION).all == 0
        assert store.remeasuring.waiting(METHOD_VERSION) == []
        assert all(len(store.edits.find(record_id=photo.id)) == 1 for photo in row)

    def test_it_stops_after_the_photo_in_hand_and_goes_on_where_it_stopped(self, store: Store, client: Client) -> None:
        row = [kept_photo(store, client, seed) for seed in (1, 2, 3)]
        stop = threading.Event()
        waiting = store.remeasuring.waiting(METHOD_VERSION)
        tally = measure_again(store, waiting, stop=stop.is_set, progress=lambda _: stop.set())
        assert tally == Tally(3, measured=1)
        rest = store.remeasuring.waiting(METHOD_VERSION)
        assert rest == waiting[1:]
        assert measure_again(store, rest) == Tally(2, measured=2)
        assert all(len(store.edits.find(record_id=photo.id)) == 1 for photo in row)

    def test_what_needs_a_person_is_said_and_not_tried_again_by_itself(
        self, store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        old = kept_photo(store, client)
        with monkeypatch.context() as patch:
            in_doubt(patch)
            assert measure_again(store, [old.id]) == Tally(1, left=1)
        [left] = store.remeasuring.left(METHOD_VERSION)
        assert (left.photo_id, left.why) == (old.id, "hair")
        assert "edge of the hair is unclear" in left.said
        assert store.photos.get(old.id) == old
        assert store.edits.find(record_id=old.id) == []
        found = store.remeasuring.older(METHOD_VERSION, client.id)
        assert (found.waiting, found.left) == (0, 1)
        store.remeasuring.try_again(client.id)
        assert store.remeasuring.waiting(METHOD_VERSION) == [old.id]
        measure_again(store, [old.id])
        assert store.remeasuring.left(METHOD_VERSION) == []

    def test_a_picture_that_is_gone_keeps_its_reading_and_is_said(self, store: Store, client: Client) -> None:
        old, other = kept_photo(store, client, 1), kept_photo(store, client, 2)
        store.pictures.path(old.file).write_bytes(b"\xff\xd8 damaged")
        assert measure_again(store, [old.id, other.id]) == Tally(2, measured=1, left=1)
        assert [(left.photo_id, left.why) for left in store.remeasuring.left(METHOD_VERSION)] == [(old.id, "picture")]
        assert store.photos.get(old.id) == old

    def test_clients_who_withdrew_are_skipped_and_counted(self, store: Store, client: Client) -> None:
        other = add_client(store, "Grace")
        mine, theirs = kept_photo(store, client, 1), kept_photo(store, other, 2)
        workflow.answer_consent(store, other.id, MEASURING, False, "the owner")
        found = store.remeasuring.older(METHOD_VERSION)
        assert (found.waiting, found.withdrawn, found.clients_withdrawn, found.all) == (1, 1, 1, 2)
        assert store.remeasuring.waiting(METHOD_VERSION) == [mine.id]
        assert measure_again(store, [theirs.id, mine.id]) == Tally(2, measured=1, gone=1)
        assert store.photos.get(theirs.id) == theirs

    def test_a_photo_deleted_meanwhile_and_a_fault_of_the_program(
        self, store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        old = kept_photo(store, client)
        assert measure_again(store, [new_id()]) == Tally(1, gone=1)

        def fault(*_given: object, **_named: object) -> PhotoRecord:
            raise ZeroDivisionError

        monkeypatch.setattr(remeasuring, "measure_record", fault)
        assert measure_again(store, [old.id]) == Tally(1, left=1)
        assert store.photos.get(old.id) == old

    def test_a_full_disk_ends_it(self, store: Store, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
        old = kept_photo(store, client)

        def full(*_given: object, **_named: object) -> PhotoRecord:
            raise errors.StoreFull("No room.", "Make some.")

        monkeypatch.setattr(store.remeasuring, "save", full)
        with pytest.raises(errors.StoreFull):
            measure_again(store, [old.id])
        assert store.photos.get(old.id) == old

    def test_what_was_left_goes_with_the_photo(self, store: Store, client: Client) -> None:
        old = kept_photo(store, client)
        store.remeasuring.leave(old.id, METHOD_VERSION, "hair", "x")
        deletion = store.photos.delete(old.id)
        assert store.remeasuring.left(METHOD_VERSION) == []
        store.deletions.put_back(deletion.token)
        assert [left.photo_id for left in store.remeasuring.left(METHOD_VERSION)] == [old.id]
        store.remeasuring.leave(new_id(), METHOD_VERSION, "hair", "x")  # gone: nothing to note
        store.erasures.erase(client.id)
        assert store.remeasuring.older(METHOD_VERSION).all == 0


class TestMarking:
    """The way to the marks of a photo that needs a person."""

    def test_of_a_visit(self, store: Store, client: Client) -> None:
        visit, (before, after) = kept_visit(store, client)
        draft = mark_anew(store, after.id)
        assert (draft.visit, draft.kind, draft.step) == (visit, "visit", 1)
        beside, anew = sorted(draft.photos, key=lambda photo: photo.id == after.id)
        assert beside == before
        assert (anew.id, anew.reading, anew.failure) == (after.id, None, None)
        assert anew.marks is not None
        assert (anew.marks.hair, anew.marks.path) == (WHOLE, PATH)
        # the visit stays as it is until the draft is saved
        assert store.photos.get(after.id) == after
        assert mark_anew(store, after.id).id == draft.id
        both = mark_anew(store, before.id)
        assert (both.id, [photo.reading for photo in both.photos]) == (draft.id, [None, None])
        assert anew in both.photos  # what was begun there is not begun again
        measured = tuple(workflow.measure_record(store, photo, photo.marks) for photo in both.photos if photo.marks)
        workflow.record_visit(store, replace(both, photos=measured), by="Kim")
        assert [reading_of(photo).hair for photo in store.photos.find(visit_id=visit.id)] == [WHOLE, WHOLE]
        assert store.remeasuring.older(METHOD_VERSION).all == 0

    def test_of_a_progress_photo(self, store: Store, client: Client) -> None:
        old = kept_photo(store, client)
        store.remeasuring.leave(old.id, METHOD_VERSION, "hair", "x")
        draft = mark_anew(store, old.id)
        assert (draft.kind, draft.step, [photo.id for photo in draft.photos]) == (PROGRESS, 1, [old.id])
        store.drafts.delete(draft.id)
        assert store.photos.get(old.id) == old  # thrown away: photo and picture stay
        assert pictures_in(store.root) == {old.file}
        draft = mark_anew(store, old.id)
        [anew] = draft.photos
        assert anew.marks is not None
        measured = workflow.measure_record(store, anew, anew.marks)
        saved = workflow.record_progress(store, replace(draft, photos=(measured,)), by="Kim")
        assert (saved.id, reading_of(saved).hair, store.drafts.find()) == (old.id, WHOLE, [])
        assert store.photos.find(client.id) == [saved]
        [edit] = store.edits.find(record_id=old.id)
        assert (edit.before, edit.by) == (old, "Kim")
        assert store.remeasuring.left(METHOD_VERSION) == []

    def test_marks_over_the_whole_hair_are_left_as_they_are(self, store: Store, client: Client) -> None:
        whole = remeasure(store, kept_photo(store, client).id)
        assert mark_anew(store, whole.id).photos == (whole,)
