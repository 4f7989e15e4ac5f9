"""Two records of one client become one, and nobody agrees to more than they did."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from crash_studio import add_client, answer, files_with, new_draft, new_photo, new_visit, pictures_in, save_pair
from sqlalchemy import select

from tracker import workflow
from tracker.errors import Conflict, InvalidEntry, NotFound
from tracker.record.records import MEASURING, PORTFOLIO, PURPOSES, Client, new_id, now
from tracker.store import Store, restore, schema
from tracker.wear import Due
from tracker.workflow.learning import stamp_now
from tracker.workflow.merging import merge_clients, plan_merge
from tracker.workflow.wearing import client_wear
from tracker.workflow.words import NOTE_LIMIT


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def with_everything(store: Store, name: str, on: date) -> Client:
    client = add_client(store, name, f"note of {name}")
    visit = new_visit(client.id, on)
    photo = new_photo(store, client.id, name.encode(), visit_id=visit.id)
    saved = store.visits.save(visit, [photo])
    store.visits.save(replace(saved, note="changed"), [photo])
    store.photos.save(new_photo(store, client.id, f"later {name}".encode(), role="progress"))
    store.drafts.save(new_draft(client.id, new_visit(client.id), (new_photo(store, client.id, f"d {name}".encode()),)))
    return client


def test_everything_moves(store: Store) -> None:
    kept, other = with_everything(store, "Ada", date(2026, 1, 1)), with_everything(store, "Ada M", date(2026, 2, 2))
    pictures = pictures_in(store.root)
    merged = store.clients.merge(replace(kept, note="both notes"), other.id, by="me")
    assert merged.to_ask_again == ()
    assert len(store.drafts.find(kept.id)) == 2
    assert [summary.client for summary in store.clients.summaries()] == [replace(kept, note="both notes")]
    assert [visit.on for visit in store.visits.of_client(kept.id)] == [date(2026, 2, 2), date(2026, 1, 1)]
    assert len(store.photos.find(kept.id)) == 4
    assert {photo.client_id for photo in store.photos.find()} == {kept.id}
    for draft in store.drafts.find():
        assert draft.client_id == draft.visit.client_id == kept.id
        assert {photo.client_id for photo in draft.photos} == {kept.id}
    assert {consent.client_id for consent in store.consents.of_client(kept.id)} == {kept.id}
    assert pictures_in(store.root) == pictures
    assert store.damaged_records() == []
    assert [summary.client.name for summary in store.clients.summaries("both")] == ["Ada"]
    with store.database.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
        for table in schema.metadata.sorted_tables:
            # the log of edits says what the other record was: see below
            query = select(table).where(table.c.kind != "client") if table.name == "edit" else select(table)
            if table.name not in ("merge",):
                assert other.id not in repr(connection.execute(query).all()), table.name


def test_both_records_can_be_read_as_they_were(store: Store) -> None:
    kept, other, third = add_client(store, "Ada", "cool"), add_client(store, "Bea", "warm"), add_client(store, "Cora")
    store.clients.change(other.id, lambda kept: replace(kept, name="Beatrice"), by="me")
    workflow.note_contact(store, other.id, "phone 555-1234")
    known = {edit.number: edit for edit in store.edits.find(other.id)}
    before = store.clients.get(kept.id), store.clients.get(other.id)
    merge_clients(store, kept.id, other.id, "me")
    edits = store.edits.find(kept.id)
    assert [edit.before for edit in edits if edit.what == "merged"] == list(before)
    assert {edit.number: edit for edit in edits if edit.number in known} == known
    assert [edit.before.name for edit in store.edits.find(record_id=other.id)] == ["Beatrice", "Beatrice", "Bea"]
    merged = store.clients.get(kept.id)
    assert (merged.note, merged.contact) == ("cool\nAlso noted as Beatrice.\nwarm", "phone 555-1234")
    assert [each.client for each in store.clients.summaries("555")] == [merged]
    merge_clients(store, third.id, kept.id, "me")
    assert [edit for edit in store.edits.find(third.id) if edit.number <= edits[0].number] == edits
    assert store.clients.get(third.id).contact == "phone 555-1234"


def test_both_contact_notes_are_kept_each_once(store: Store) -> None:
    kept, other, same = (add_client(store, "Ada") for _ in range(3))
    for client, contact in ((kept, "text, mornings"), (other, "phone"), (same, "text, mornings\nphone")):
        workflow.note_contact(store, client.id, contact)
    merge_clients(store, kept.id, other.id, "me")
    assert store.clients.get(kept.id).contact == "text, mornings\nphone"
    merge_clients(store, kept.id, same.id, "me")
    assert store.clients.get(kept.id).contact == "text, mornings\nphone"


def test_contact_notes_that_are_too_long_together_are_refused(store: Store) -> None:
    kept, other = add_client(store, "Ada"), add_client(store, "Ada")
    workflow.note_contact(store, kept.id, "a" * NOTE_LIMIT)
    workflow.note_contact(store, other.id, "b")
    with pytest.raises(InvalidEntry, match="contact notes"):
        plan_merge(store, kept.id, other.id)
    assert len(store.clients.summaries()) == 2


def test_wear_of_a_record_before_the_merge_is_not_kept(store: Store) -> None:
    kept, other = with_everything(store, "Ada", date(2026, 1, 1)), with_everything(store, "Bea", date(2026, 2, 2))
    stamp = stamp_now(store)
    for client in (kept, other):
        client_wear(store, client.id)
    early = {client.id: store.wear.record_of(client.id) for client in (kept, other)}
    merge_clients(store, kept.id, other.id, "me")
    assert store.wear.record_of(kept.id).changes > early[kept.id].changes
    for record in early.values():
        assert not store.wear.keep(record, Due(record.client_id), (), stamp)
    assert store.wear.record_of(other.id).changes == 0
    assert store.wear.to_work_out(stamp, 9) == [kept.id]
    client_wear(store, kept.id)
    assert {service.client_id for service in store.wear.services()} <= {kept.id}
    assert store.wear.to_work_out(stamp, 9) == []


@pytest.mark.parametrize(
    ("ours", "theirs", "agreed", "asked_again"),
    [
        (True, True, True, False),
        (True, False, False, True),
        (False, True, False, True),
        (False, False, False, False),
        (True, None, True, False),
        (None, True, True, False),
        (None, None, False, False),
    ],
)
def test_the_stricter_answer_wins_until_asked_again(
    store: Store, ours: bool | None, theirs: bool | None, agreed: bool, asked_again: bool
) -> None:
    clients = [add_client(store, name, purposes=()) for name in ("Ada", "Ada M")]
    for client, given in reversed(list(zip(clients, (ours, theirs), strict=True))):
        if given is not None:
            store.consents.add(answer(client.id, PORTFOLIO, given=given))
    kept, other = clients
    before = len(store.consents.of_client(kept.id)) + len(store.consents.of_client(other.id))
    assert store.consents.differing(kept.id, other.id) == ((PORTFOLIO,) if asked_again else ())
    merged = store.clients.merge(kept, other.id, by="me")
    assert store.consents.given(kept.id, PORTFOLIO) is agreed
    assert merged.to_ask_again == ((PORTFOLIO,) if asked_again else ())
    history = store.consents.of_client(kept.id)
    assert len(history) == before + asked_again
    store.consents.add(answer(kept.id, PORTFOLIO))
    assert store.consents.given(kept.id, PORTFOLIO)


def test_who_withdrew_once_leaves_the_portfolio(store: Store) -> None:
    kept, other = add_client(store, "Ada"), add_client(store, "Ada M", purposes=PURPOSES)
    save_pair(store, other.id)
    store.consents.add(answer(kept.id, PORTFOLIO, given=False))
    assert len(store.portfolio.entries()) == 1
    store.clients.merge(kept, other.id, by="me")
    assert store.portfolio.entries() == []
    assert store.consents.given(kept.id, MEASURING)


def test_what_cannot_be_merged(store: Store) -> None:
    ada = add_client(store, "Ada")
    made_up = store.clients.add(Client(new_id(), "Noor", "", now(), demo=True))
    with pytest.raises(Conflict, match="itself"):
        store.clients.merge(ada, ada.id, by="me")
    with pytest.raises(Conflict, match="made-up"):
        store.clients.merge(ada, made_up.id, by="me")
    with pytest.raises(NotFound):
        store.clients.merge(ada, new_id(), by="me")
    assert len(store.clients.summaries()) == 2


# promises 31 and 32: the record that was merged away is in older backups under its own identifier
def test_erasing_the_merged_client_erases_the_other_record_in_older_backups(store: Store, tmp_path: Path) -> None:
    kept, other, third = (add_client(store, name) for name in ("qxonexq", "qxtwoxq", "qxthreexq"))
    save_pair(store, other.id, b"qxpicturexq")
    old = store.backups.make(tmp_path / "backups")
    store.clients.merge(other, third.id, by="me")
    store.clients.merge(kept, other.id, by="me")
    store.erasures.erase(kept.id)
    restore(old, tmp_path / "new", erased=store.erasures.all())
    assert files_with(tmp_path / "new", [b"qxonexq", b"qxtwoxq", b"qxthreexq", b"qxpicturexq"]) == []
    with Store(tmp_path / "new") as restored:
        assert restored.is_empty()


def test_a_deletion_in_the_record_that_went_cannot_be_taken_back(store: Store) -> None:
    kept, other = add_client(store, "Ada"), add_client(store, "Ada M")
    deletion = store.visits.delete(save_pair(store, other.id).id)
    store.clients.merge(kept, other.id, by="me")
    assert not store.deletions.can_put_back(deletion.token)


def test_a_damaged_byte_does_not_stop_a_merge(store: Store) -> None:
    kept, other = add_client(store, "Ada"), add_client(store, "Ada again")
    save_pair(store, other.id)
    with store.database.writing() as connection:
        connection.exec_driver_sql("UPDATE visit SET record = CAST(replace(record, 'toner', x'ff') AS TEXT)")
    store.clients.merge(kept, other.id, by="the owner")
    with store.database.reading() as connection:
        row = connection.exec_driver_sql("SELECT client_id, CAST(record AS BLOB) FROM visit").one()
    assert row.client_id == kept.id
    assert b"\xff" in row[1]
    assert other.id.encode() not in row[1]
