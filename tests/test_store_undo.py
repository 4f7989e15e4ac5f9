"""The last deletion can be taken back, all of it; an erasure cannot, and leaves nothing to take back."""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest
from crash_studio import add_client, new_draft, new_photo, pictures_in, save_pair

from tracker.errors import Conflict, NotFound, StoreFull
from tracker.record.mixing import PriceLine
from tracker.record.records import new_id, now
from tracker.store import Store, edits, undo
from tracker.store.pictures import Pictures


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def everything(store: Store) -> dict[str, object]:
    """All that is kept, save the log, which grows by what happened."""
    found = {kind: sorted(map(repr, store.kept.entries(kind))) for kind in store.kept.kinds() if kind != "edit"}
    return {**found, "pictures": pictures_in(store.root)}


def test_a_visit_comes_back_with_photos_pictures_and_log(store: Store) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id)
    store.visits.save(replace(visit, note="changed"), store.photos.find(visit_id=visit.id))
    before, log = everything(store), store.edits.find(record_id=visit.id)
    deletion = store.visits.delete(visit.id)
    assert pictures_in(store.root) == set()
    assert store.visits.of_client(client.id) == []
    assert deletion.kind == "visit"
    assert store.deletions.put_back(deletion.token) == deletion
    assert everything(store) == before
    told = store.edits.find(record_id=visit.id)
    assert next(edit.what for edit in told if edit not in log) == edits.PUT_BACK
    assert {edit.before for edit in log} <= {edit.before for edit in told}
    with store.database.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []


def test_a_visit_with_a_damaged_byte_comes_back_as_it_was(store: Store) -> None:
    visit = save_pair(store, add_client(store).id)
    with store.database.writing() as connection:
        changed = "UPDATE visit SET record = CAST(replace(CAST(record AS BLOB), 'toner', x'ff') AS TEXT)"
        connection.exec_driver_sql(changed)

    def kept() -> list[tuple[str, bytes]]:
        with store.database.reading() as connection:
            found = connection.exec_driver_sql("SELECT typeof(record), CAST(record AS BLOB) FROM visit").all()
        return [(kind, content) for kind, content in found]

    before = kept()
    assert b"\xff" in before[0][1]
    store.deletions.put_back(store.visits.delete(visit.id).token)
    assert kept() == before


def test_a_photo_a_draft_and_a_price_come_back(store: Store) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id)
    draft = store.drafts.save(new_draft(client.id, None, (new_photo(store, client.id, b"draft"),)))
    price = store.prices.save(PriceLine(new_id(), "Toner", 60.0, "ml", 12.0, "EUR", now()))
    before = everything(store)
    for photo in store.photos.find(visit_id=visit.id):
        deletion = store.photos.delete(photo.id)
        assert everything(store) != before
        store.deletions.put_back(deletion.token)
        assert everything(store) == before
    for delete, identifier in ((store.drafts.delete, draft.id), (store.prices.delete, price.id)):
        deletion = delete(identifier)
        assert deletion is not None
        assert everything(store) != before
        store.deletions.put_back(deletion.token)
        assert everything(store) == before
    assert store.drafts.delete(new_id()) is None


def test_a_deletion_is_taken_back_once(store: Store) -> None:
    deletion = store.visits.delete(save_pair(store, add_client(store).id).id)
    assert store.deletions.can_put_back(deletion.token)
    store.deletions.put_back(deletion.token)
    assert not store.deletions.can_put_back(deletion.token)
    with pytest.raises(NotFound, match="can no longer be taken back"):
        store.deletions.put_back(deletion.token)


def test_what_is_there_again_is_not_overwritten(store: Store) -> None:
    client = add_client(store)
    draft = store.drafts.save(new_draft(client.id, None, ()))
    deletion = store.drafts.delete(draft.id)
    assert deletion is not None
    again = store.drafts.save(replace(draft, step=2, revision=0))
    with pytest.raises(Conflict):
        store.deletions.put_back(deletion.token)
    assert store.drafts.get(draft.id) == again


def test_a_visit_whose_picture_cannot_be_read_can_be_deleted(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id)

    def broken_disk(path: Path) -> bytes:
        raise OSError(errno.EIO, "Input/output error", str(path))

    with monkeypatch.context() as broken:
        broken.setattr(Path, "read_bytes", broken_disk)
        deletion = store.visits.delete(visit.id)
    assert store.visits.of_client(client.id) == []
    store.deletions.put_back(deletion.token)
    assert store.visits.of_client(client.id) == [visit]


def test_a_clock_that_was_set_back_is_no_hindrance(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    client, other = add_client(store, "Ada"), add_client(store, "Bea")
    visit = save_pair(store, client.id)
    for number in range(4):
        visit = store.visits.save(replace(visit, note=f"{number}"), store.photos.find(visit_id=visit.id))
    deletion = store.visits.delete(visit.id)
    earlier = now() - timedelta(hours=1)
    monkeypatch.setattr(edits, "now", lambda: earlier)
    for number in range(4):
        store.clients.change(other.id, partial(replace, note=str(number)))
    store.deletions.put_back(deletion.token)
    assert store.visits.get(visit.id) == visit
    assert [edit.what for edit in store.edits.find(other.id)].count("changed") == 4


def test_the_log_stays_in_order_however_often_one_takes_back(store: Store) -> None:
    client, other = add_client(store, "Ada"), add_client(store, "Bea")
    visit = save_pair(store, client.id)
    store.visits.save(replace(visit, note="changed"), store.photos.find(visit_id=visit.id))
    for number in range(3):
        deletion = store.visits.delete(visit.id)
        store.clients.change(other.id, partial(replace, note=str(number)))
        store.deletions.put_back(deletion.token)
    for identifier in (client.id, other.id):
        told = store.edits.find(identifier)
        assert [edit.at for edit in told] == sorted((edit.at for edit in told), reverse=True)
    assert [edit.what for edit in reversed(store.edits.find(client.id))] == [
        "changed",
        *(["removed", edits.PUT_BACK] * 3),
    ]
    numbers = [edit.number for edit in (*store.edits.find(client.id), *store.edits.find(other.id))]
    by_time = sorted((*store.edits.find(client.id), *store.edits.find(other.id)), key=lambda edit: edit.at)
    assert [edit.number for edit in by_time] == sorted(numbers)


# promise 31: no deletion defeats an erasure
def test_an_erasure_empties_the_memory_and_cannot_be_undone(store: Store) -> None:
    gone, other = add_client(store, "Gone"), add_client(store, "Other")
    lost = store.visits.delete(save_pair(store, gone.id, b"qx", b"qy").id)
    kept = store.visits.delete(save_pair(store, other.id).id)
    store.erasures.erase(gone.id)
    assert not store.deletions.can_put_back(lost.token)
    assert b"qx" not in [content for held in store.deletions._deleted.values() for content in held.pictures.values()]
    with pytest.raises(NotFound):
        store.deletions.put_back(lost.token)
    assert store.photos.find(gone.id) == []
    store.deletions.put_back(kept.token)
    assert len(store.photos.find(other.id)) == 2


def test_a_client_erased_in_another_program_does_not_come_back(store: Store) -> None:
    client = add_client(store)
    deletion = store.visits.delete(save_pair(store, client.id).id)
    with Store(store.root) as other:
        other.erasures.erase(client.id)
    with pytest.raises(NotFound):
        store.deletions.put_back(deletion.token)
    assert store.photos.find() == []
    store.close()
    with Store(store.root) as again:
        assert pictures_in(again.root) == set()


# promise 31: an undo that fails puts no picture back
def test_an_undo_that_comes_after_an_erasure_leaves_no_picture(store: Store) -> None:
    client = add_client(store)
    lost = store.visits.delete(save_pair(store, client.id).id)
    other_lost = store.photos.delete(store.photos.save(new_photo(store, client.id, b"another")).id)
    with Store(store.root) as other:
        other.erasures.erase(client.id)
    with pytest.raises(NotFound):
        store.deletions.put_back(lost.token)
    assert pictures_in(store.root) == set()
    assert not store.deletions.can_put_back(lost.token)
    assert not store.deletions.can_put_back(other_lost.token)


def test_an_undo_that_fails_leaves_no_picture(store: Store) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id)
    (before,) = store.photos.find(visit_id=visit.id, role="before")
    photo_lost = store.photos.delete(before.id)
    visit_lost = store.visits.delete(visit.id)
    with pytest.raises(NotFound):
        store.deletions.put_back(photo_lost.token)
    assert pictures_in(store.root) == set()
    store.deletions.put_back(visit_lost.token)
    store.deletions.put_back(photo_lost.token)
    assert len(store.photos.find(visit_id=visit.id)) == 2


def test_an_undo_without_room_leaves_no_picture(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    lost = store.visits.delete(save_pair(store, add_client(store).id).id)
    put, kept = Pictures.put, [b""]

    def full(self: Pictures, content: bytes, require_room: Callable[[int], None]) -> str:
        if kept:
            kept.pop()
            return put(self, content, require_room)
        raise StoreFull("The disk is full.")

    with monkeypatch.context() as patched:
        patched.setattr(Pictures, "put", full)
        with pytest.raises(StoreFull):
            store.deletions.put_back(lost.token)
    assert pictures_in(store.root) == set()
    assert store.photos.find() == []
    store.deletions.put_back(lost.token)
    assert len(store.photos.find()) == 2


def test_the_memory_is_bounded_and_ends_with_the_program(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    client = add_client(store)
    monkeypatch.setattr(undo, "_MOST", 3)
    tokens = [
        store.photos.delete(store.photos.save(new_photo(store, client.id, b"%d" % number)).id).token
        for number in range(5)
    ]
    assert [store.deletions.can_put_back(token) for token in tokens] == [False, False, True, True, True]
    monkeypatch.setattr(undo, "_MOST_BYTES", 1)
    large = store.photos.delete(store.photos.save(new_photo(store, client.id, b"more than that")).id)
    assert not store.deletions.can_put_back(large.token)
    with Store(store.root) as other:
        assert not other.deletions.can_put_back(tokens[-1])


def test_a_line_of_the_price_list_comes_back_and_its_log_never_left(store: Store) -> None:
    line = store.prices.save(PriceLine(new_id(), "Toner", 60.0, "ml", 12.0, "EUR", now()))
    dearer = store.prices.save(replace(line, price=13.0))
    store.deletions.put_back(store.prices.delete(line.id).token)
    assert store.prices.all() == [dearer]
    assert [(edit.what, edit.before) for edit in reversed(store.edits.find())] == [
        ("changed", line),
        ("removed", dearer),
        (edits.PUT_BACK, None),
    ]
