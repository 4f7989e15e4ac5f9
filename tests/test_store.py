"""Records go in and come out as they were, under the rules of consent and revision."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from crash_studio import add_client, answer, new_draft, new_photo, new_visit, pictures_in, reading, save_pair
from sqlalchemy import event

from tracker.errors import Conflict, ConsentMissing, NotFound, StoreDamaged, StoreError
from tracker.record.records import MEASURING, PORTFOLIO, PURPOSES, Client, new_id, now
from tracker.store import ClientSummary, Store
from tracker.store.rows import DamagedRecord


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def test_a_new_studio_is_empty(store: Store) -> None:
    assert store.is_empty()
    assert store.clients.summaries() == []
    assert store.portfolio.entries() == []
    usage = store.disk.usage()
    assert (usage.pictures, usage.clients, usage.visits) == (0, 0, 0)
    assert usage.bytes > 0


def test_records_come_back_equal_after_reopening(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client = add_client(store, "Zoë ✂️", "two\nlines")
        visit = new_visit(client.id)
        photo = new_photo(store, client.id, b"jpeg", visit_id=visit.id)
        store.visits.save(visit, [photo])
        draft = store.drafts.save(new_draft(client.id, new_visit(client.id), (replace(photo, id=new_id()),)))
    with Store(tmp_path) as store:
        assert store.clients.get(client.id) == client
        assert store.visits.get(visit.id) == visit
        assert store.photos.get(photo.id) == photo
        assert store.photos.get(photo.id).reading == reading()
        assert store.drafts.get(draft.id) == draft
        assert store.pictures.get(photo.file) == b"jpeg"


def test_change_client(store: Store) -> None:
    client = add_client(store, "Ada")
    assert store.clients.change(client.id, lambda kept: replace(kept, name="Grace")) == replace(client, name="Grace")
    assert store.clients.get(client.id).name == "Grace"
    assert store.clients.summaries("ada") == []
    assert len(store.clients.summaries("grace")) == 1


@pytest.mark.parametrize(
    "name", ["'); DROP TABLE client;--", "<img src=x onerror=alert(1)>", "=1+1", "👩🏽‍🦱", "x" * 10_000]
)
def test_any_text_is_stored_literally(store: Store, name: str) -> None:
    client = add_client(store, name, note=name)
    assert store.clients.get(client.id).name == name
    assert [summary.client for summary in store.clients.summaries(name)] == [client]


def test_text_that_no_file_can_hold_is_refused(store: Store) -> None:
    with pytest.raises(StoreError, match="cannot be stored"):
        store.clients.add(Client(new_id(), "half \ud83d", "", now()))


@pytest.mark.parametrize(
    ("search", "found"),
    [
        ("zoe", ["Zoë Straße"]),
        ("STRASSE", ["Zoë Straße"]),
        ("ZOË", ["Zoë Straße"]),
        ("50%", ["Per Cent"]),
        ("%", ["Per Cent"]),
        ("_", ["Under_score"]),
        ("\\", ["back\\slash"]),
        ("  cent ", ["Per Cent"]),
        ("nobody", []),
        ("'", []),
        ("", ["back\\slash", "Per Cent", "Under_score", "Zoë Straße"]),
    ],
)
def test_search(store: Store, search: str, found: list[str]) -> None:
    add_client(store, "Zoë Straße", "walks in the rain")
    add_client(store, "Under_score")
    add_client(store, "Per Cent", "wants 50% grey")
    add_client(store, "back\\slash")
    assert [summary.client.name for summary in store.clients.summaries(search)] == found


def test_summary_holds_what_a_list_shows(store: Store) -> None:
    client = add_client(store, "Ada", purposes=[MEASURING])
    add_client(store, "Bea", purposes=[MEASURING, PORTFOLIO])
    first = new_visit(client.id, date(2026, 1, 2))
    store.visits.save(first, [new_photo(store, client.id, b"one", visit_id=first.id)])
    store.visits.save(new_visit(client.id, date(2026, 3, 4)), [])
    late = new_photo(store, client.id, b"two", role="progress", taken_at=datetime(2026, 5, 6, tzinfo=UTC))
    store.photos.save(late)
    ada, bea = store.clients.summaries()
    assert ada == ClientSummary(client, 2, date(2026, 3, 4), late.id)
    assert (bea.visits, bea.last_visit, bea.last_photo_id) == (0, None, None)
    assert [purpose for purpose in PURPOSES if store.consents.given(bea.client.id, purpose)] == [MEASURING, PORTFOLIO]


def test_a_list_of_clients_is_one_query(store: Store) -> None:
    for number in range(5):
        save_pair(store, add_client(store, f"Client {number}").id)
    asked = []
    event.listen(store.database.engine, "before_cursor_execute", lambda *args: asked.append(args[2]))
    assert len(store.clients.summaries()) == 5
    assert len([statement for statement in asked if statement.startswith("SELECT")]) == 1


def test_latest_answer_counts_and_history_stays(store: Store) -> None:
    client = add_client(store, purposes=[MEASURING])
    assert store.consents.given(client.id, MEASURING)
    assert not store.consents.given(client.id, PORTFOLIO)
    withdrawn = store.consents.add(answer(client.id, MEASURING, given=False))
    assert not store.consents.given(client.id, MEASURING)
    again = store.consents.add(answer(client.id, MEASURING))
    assert store.consents.given(client.id, MEASURING)
    history = store.consents.of_client(client.id)
    assert [consent.given for consent in history] == [True, False, True]
    assert history[1:] == [withdrawn, again]


def test_a_withdrawal_counts_even_if_the_clock_was_set_back(store: Store) -> None:
    client = add_client(store)
    store.consents.add(replace(answer(client.id, PORTFOLIO, given=False), recorded_at=now() - timedelta(days=400)))
    assert not store.consents.given(client.id, PORTFOLIO)


@pytest.mark.parametrize("gap", [{"wording_version": ""}, {"recorded_by": ""}, {"purpose": "marketing"}])
def test_an_incomplete_answer_is_refused(store: Store, gap: dict[str, str]) -> None:
    client = add_client(store)
    with pytest.raises(ConsentMissing):
        store.consents.add(replace(answer(client.id), **gap))


def test_consent_of_nobody(store: Store) -> None:
    with pytest.raises(NotFound):
        store.consents.add(answer("nobody"))


def test_nothing_is_measured_without_consent(store: Store) -> None:
    client = add_client(store, purposes=[PORTFOLIO])
    photo = new_photo(store, client.id, b"jpeg")
    visit = new_visit(client.id)
    with pytest.raises(ConsentMissing):
        store.visits.save(visit, [replace(photo, visit_id=visit.id)])
    with pytest.raises(ConsentMissing):
        store.photos.save(photo)
    with pytest.raises(ConsentMissing):
        store.drafts.save(new_draft(client.id, None, (photo,)))
    assert store.visits.of_client(client.id) == []
    assert store.photos.find(client.id) == []


def test_a_visit_needs_its_pictures(store: Store) -> None:
    client = add_client(store)
    visit = new_visit(client.id)
    photo = replace(new_photo(store, client.id, b"jpeg", visit_id=visit.id), file="ab" * 32)
    with pytest.raises(NotFound):
        store.visits.save(visit, [photo])
    assert store.visits.of_client(client.id) == []


def test_saving_a_visit_again_replaces_its_photos(store: Store) -> None:
    client = add_client(store)
    visit = new_visit(client.id)
    one, two, three = (new_photo(store, client.id, name, visit_id=visit.id) for name in (b"1", b"2", b"3"))
    store.visits.save(visit, [one, two])
    saved = store.visits.save(replace(visit, note="changed"), [two, three])
    assert saved.revision == 2
    assert store.visits.get(visit.id) == saved
    assert {photo.id for photo in store.photos.find(visit_id=visit.id)} == {two.id, three.id}
    assert pictures_in(store.root) == {two.file, three.file}


def test_a_stale_visit_is_refused(store: Store) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id)
    store.visits.save(replace(visit, note="first"), store.photos.find(visit_id=visit.id))
    with pytest.raises(Conflict, match="another window"):
        store.visits.save(replace(visit, note="second"), [])
    assert store.visits.get(visit.id).note == "first"
    assert len(store.photos.find(visit_id=visit.id)) == 2


def test_a_removed_visit_does_not_come_back(store: Store) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id)
    changed = store.visits.save(visit, [])
    store.visits.delete(visit.id)
    with pytest.raises(Conflict, match="removed"):
        store.visits.save(changed, [])


def test_nothing_moves_to_another_client(store: Store) -> None:
    ada, bea = add_client(store, "Ada"), add_client(store, "Bea")
    visit = save_pair(store, ada.id)
    photo = store.photos.find(visit_id=visit.id)[0]
    with pytest.raises(Conflict):
        store.visits.save(visit, [new_photo(store, bea.id, b"x", visit_id=visit.id)])
    with pytest.raises(Conflict):
        store.visits.save(replace(visit, client_id=bea.id), [])
    with pytest.raises(Conflict):
        store.photos.save(replace(photo, client_id=bea.id))
    with pytest.raises(NotFound):  # a photo of one client in the visit of another: the database itself refuses
        store.photos.save(new_photo(store, bea.id, b"y", visit_id=visit.id))
    draft = store.drafts.save(new_draft(ada.id, None, ()))
    with pytest.raises(Conflict):
        store.drafts.save(replace(draft, client_id=bea.id))
    with pytest.raises(Conflict):
        store.drafts.save(replace(draft, photos=(new_photo(store, bea.id, b"z"),)))


def test_visits_newest_first(store: Store) -> None:
    ada, bea = add_client(store, "Ada"), add_client(store, "Bea")
    days = [date(2026, 1, 1), date(2026, 3, 1), date(2026, 2, 1)]
    for client, on in zip((ada, bea, ada), days, strict=True):
        store.visits.save(new_visit(client.id, on), [])
    assert [visit.on for visit in store.visits.of_client(ada.id)] == [days[2], days[0]]
    assert [visit.on for visit in store.visits.recent(2)] == [days[1], days[2]]


def test_photos_by_client_visit_and_role(store: Store) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id)
    progress = store.photos.save(new_photo(store, client.id, b"later", role="progress"))
    assert len(store.photos.find()) == len(store.photos.find(client.id)) == 3
    assert {photo.role for photo in store.photos.find(visit_id=visit.id)} == {"before", "after"}
    assert store.photos.find(client_id=client.id, role="progress") == [progress]
    assert store.photos.find("nobody") == []


def test_deleting_takes_the_picture_along_unless_it_is_shared(store: Store) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id, b"shared", b"own")
    shared = store.photos.save(new_photo(store, client.id, b"shared", role="progress"))
    store.visits.delete(visit.id)
    assert pictures_in(store.root) == {shared.file}
    store.photos.delete(shared.id)
    assert pictures_in(store.root) == set()
    for gone in (lambda: store.visits.delete(visit.id), lambda: store.photos.delete(shared.id)):
        with pytest.raises(NotFound):
            gone()


def test_drafts(store: Store) -> None:
    ada, bea = add_client(store, "Ada"), add_client(store, "Bea")
    photo = new_photo(store, ada.id, b"draft")
    older = store.drafts.save(new_draft(ada.id, None, (photo,)))
    newer = store.drafts.save(new_draft(bea.id, None, ()))
    assert store.drafts.find() == [newer, older]
    assert store.drafts.find(ada.id) == [older]
    changed = store.drafts.save(replace(older, photos=(), updated_at=now()))
    assert store.drafts.get(older.id) == changed
    assert pictures_in(store.root) == set()
    store.drafts.delete(older.id)
    store.drafts.delete(older.id)
    assert store.drafts.find() == [newer]


def test_saving_a_draft_as_a_visit_happens_once(store: Store) -> None:
    client = add_client(store)
    visit = new_visit(client.id)
    photo = new_photo(store, client.id, b"p", visit_id=visit.id)
    draft = store.drafts.save(new_draft(client.id, visit, (photo,)))
    first = store.visits.save(visit, [photo], draft_id=draft.id)
    second = store.visits.save(visit, [photo], draft_id=draft.id)
    assert first == second
    assert store.drafts.find() == []
    assert store.visits.of_client(client.id) == [first]
    assert pictures_in(store.root) == {photo.file}


def test_portfolio_only_with_consent_and_without_words(store: Store) -> None:
    client = add_client(store, "Ada", purposes=[MEASURING])
    visit = save_pair(store, client.id)
    store.visits.save(
        replace(visit, note="Ada wants it cooler", next_time="ask Ada"), store.photos.find(visit_id=visit.id)
    )
    assert store.portfolio.entries() == []
    store.consents.add(answer(client.id, PORTFOLIO))
    (entry,) = store.portfolio.entries()
    assert (entry.client_id, entry.before.role, entry.after.role) == (client.id, "before", "after")
    assert "Ada" not in repr(entry)
    store.consents.add(answer(client.id, PORTFOLIO, given=False))
    assert store.portfolio.entries() == []
    assert len(store.consents.of_client(client.id)) == 3


def test_who_takes_back_being_photographed_leaves_the_portfolio_too(store: Store) -> None:
    client = add_client(store, "Ada", purposes=[MEASURING, PORTFOLIO])
    save_pair(store, client.id)
    assert len(store.portfolio.entries()) == 1
    store.consents.add(answer(client.id, MEASURING, given=False))
    assert store.portfolio.entries() == []


def test_portfolio_prefers_measured_photos_and_needs_both(store: Store) -> None:
    client = add_client(store)
    visit = new_visit(client.id, date(2026, 5, 1))
    unmeasured = replace(new_photo(store, client.id, b"1", visit_id=visit.id), reading=None)
    measured = replace(new_photo(store, client.id, b"2", visit_id=visit.id), taken_at=now())
    after = new_photo(store, client.id, b"3", visit_id=visit.id, role="after")
    store.visits.save(visit, [unmeasured, measured, after])
    lonely = new_visit(client.id, date(2026, 6, 1))
    store.visits.save(lonely, [new_photo(store, client.id, b"4", visit_id=lonely.id)])
    save_pair(store, client.id)
    newest, oldest = store.portfolio.entries()
    assert newest.before == measured
    assert newest.visit.on > oldest.visit.on


@pytest.mark.parametrize("text", ["", "{", "{}", "null", '{"id": 3}', "[1]"])
def test_a_damaged_record_is_named_and_the_others_stay_readable(store: Store, text: str) -> None:
    broken, whole = add_client(store, "Broken"), add_client(store, "Whole")
    for table, identifier in (("client", broken.id), ("visit", save_pair(store, broken.id).id)):
        with closing(sqlite3.connect(store.root / "database.sqlite")) as connection:
            connection.execute(f"UPDATE {table} SET record = ? WHERE id = ?", (text, identifier))
            connection.commit()
    with pytest.raises(StoreDamaged, match=broken.id):
        store.clients.get(broken.id)
    assert [summary.client for summary in store.clients.summaries()] == [whole]
    assert store.visits.recent(9) == []
    assert {found.kind for found in store.damaged_records()} == {"client", "visit"}
    assert DamagedRecord("client", broken.id) in store.damaged_records()


def test_a_byte_that_is_no_text_damages_one_record_only(store: Store) -> None:
    broken, whole = add_client(store, "Broken"), add_client(store, "Whole")
    with closing(sqlite3.connect(store.root / "database.sqlite")) as connection:
        raw = connection.execute("SELECT CAST(record AS BLOB) FROM client WHERE id = ?", (broken.id,)).fetchone()[0]
        altered = raw.replace(b"Broken", b"Brok\xff\xfe")
        connection.execute("UPDATE client SET record = CAST(? AS TEXT) WHERE id = ?", (altered, broken.id))
        connection.commit()
    assert [summary.client for summary in store.clients.summaries()] == [whole]
    assert store.damaged_records() == [DamagedRecord("client", broken.id)]


@pytest.mark.parametrize("record", [b"{}", b"{", b'{"services": "x"}', b'{"services": [1]}', b'{"services": ["\xff"]}'])
def test_a_damaged_visit_is_no_part_of_the_portfolio(store: Store, record: bytes) -> None:
    client = add_client(store)
    broken, whole = save_pair(store, client.id), save_pair(store, client.id, b"b", b"a")
    with store.database.writing() as connection:
        changed = "UPDATE visit SET record = CAST(? AS TEXT) WHERE id = ?"
        connection.exec_driver_sql(changed, (record, broken.id))
    assert [(each.visit_id, each.services) for each in store.portfolio.visits()] == [(whole.id, whole.services)]
    assert [entry.visit.id for entry in store.portfolio.entries()] == [whole.id]


@pytest.mark.parametrize("services", ["7", '"toner"', "null", "[1, null]", "{}"])
def test_days_of_visits_are_read_past_damaged_ones(store: Store, services: str) -> None:
    client = add_client(store)
    kept, damaged = (store.visits.save(new_visit(client.id), []) for _ in range(2))
    with store.database.writing() as connection:
        text = f"UPDATE visit SET record = json_set(record, '$.services', json('{services}')) WHERE id = '{damaged.id}'"
        connection.exec_driver_sql(text)
    assert (client.id, kept.on, tuple(sorted(kept.services))) in store.importing.visit_days()


def test_a_damaged_photo_is_not_removed_by_saving_its_visit(store: Store) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id)
    broken, whole = store.photos.find(visit_id=visit.id)
    with closing(sqlite3.connect(store.root / "database.sqlite")) as connection:
        connection.execute("UPDATE photo SET record = '{' WHERE id = ?", (broken.id,))
        connection.commit()
    store.visits.save(visit, store.photos.find(visit_id=visit.id))
    assert store.damaged_records() == [DamagedRecord("photo", broken.id)]
    assert pictures_in(store.root) == {broken.file, whole.file}


@pytest.mark.parametrize("kind", ["client", "visit", "photo", "draft"])
def test_missing_records(store: Store, kind: str) -> None:
    with pytest.raises(NotFound, match=kind):
        getattr(store, f"{kind}s").get("no such id")


def test_the_same_identifier_twice(store: Store) -> None:
    client = add_client(store)
    with pytest.raises(Conflict):
        store.clients.add(client)
    with pytest.raises(NotFound):
        store.clients.change("nobody", lambda kept: kept)
