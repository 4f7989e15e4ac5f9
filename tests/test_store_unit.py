"""One unit of work: whatever is saved, log, words, past results and wear are what the record says, and nobody can save
past it."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from crash_studio import add_client, answer, new_draft, new_photo, new_visit, save_pair
from sqlalchemy import Connection, insert, select, text

from tracker.calibrate.calibration import SPREAD, Yardstick
from tracker.compare.past_results import outcomes_of
from tracker.measure.repeatability import Repeatability
from tracker.record.mixing import PriceLine
from tracker.record.records import AFTER, MEASURING, Client, Draft, PhotoRecord, Visit, new_id, now
from tracker.store import Deletion, Store, schema
from tracker.store.outcomes import outcome_row
from tracker.store.rows import client_row, read_records, visit_row
from tracker.store.searching import text_row
from tracker.store.yardsticks import standing_yardsticks
from tracker.workflow.learning import basis_now
from tracker.workflow.wearing import catch_up, work_out

if TYPE_CHECKING:
    from conftest import MadeOnce

OWN = Repeatability("check", (0.5, 0.2, 0.3), 18.0, False, "Own.")
STORE = Path(__file__).parents[1] / "tracker" / "store"


@dataclass(frozen=True)
class Studio:
    """A small studio with everything that a save can touch, its wear worked out."""

    store: Store
    ada: Client
    bea: Client
    visit: Visit
    shots: list[PhotoRecord]
    loose: PhotoRecord
    draft: Draft
    price: PriceLine
    gone: Deletion
    own: Yardstick


@pytest.fixture
def studio(made_once: MadeOnce, tmp_path: Path) -> Iterator[Studio]:
    doomed, holds = made_once.copy("unit-studio", fill, tmp_path / "studio")
    with Store(tmp_path / "studio") as store:
        gone = store.visits.delete(doomed)  # here: what is deleted can be taken back only until the studio is closed
        catch_up(store)
        yield Studio(store, gone=gone, **holds)


def fill(root: Path) -> tuple[str, dict[str, Any]]:
    """Build the studio of `Studio`, with one visit that is still to be deleted; gives that one, and what it holds."""
    with Store(root) as store:
        ada, bea = add_client(store, "Ada"), add_client(store, "Bea")
        store.consents.add(answer(bea.id, given=False))
        store.consents.add(answer(bea.id))
        visit = save_pair(store, ada.id)
        save_pair(store, bea.id, b"hers", b"hers later")
        loose = store.photos.save(
            new_photo(store, ada.id, b"later", role="progress", taken_at=datetime(2026, 4, 14, 10, tzinfo=UTC))
        )
        draft = store.drafts.save(new_draft(ada.id, None, (new_photo(store, ada.id, b"draft"),)))
        price = store.prices.save(PriceLine(new_id(), "Toner", 60.0, "ml", 12.0, "EUR", now()))
        own = store.yardsticks.add(Yardstick(new_id(), SPREAD, now(), spread=OWN))
        store.yardsticks.stand(own.id, stands=False)
        doomed = save_pair(store, ada.id, b"gone", b"gone too")
        catch_up(store)
        shots = sorted(store.photos.find(visit_id=visit.id), key=lambda photo: photo.role == AFTER)
    holds = {"ada": ada, "bea": bea, "visit": visit, "shots": shots, "loose": loose, "draft": draft, "price": price}
    return doomed.id, {**holds, "own": own}


def refresh(studio: Studio) -> None:
    studio.store.yardsticks.stand(studio.own.id, stands=True)
    assert studio.store.outcomes.count_stale() == 2
    assert studio.store.outcomes.refresh_stale(9) == 0


def keep_wear(studio: Studio) -> None:
    studio.store.photos.save(replace(studio.loose, light="salon lamps"))
    work_out(studio.store, studio.ada.id, basis_now(studio.store))


def fresh(client: Client) -> Visit:
    return new_visit(client.id, note="brought in")


EVERY_ROW = None  # the log says what the rows say
CALLS: dict[str, tuple[Callable[[Studio], object], list[tuple[str, str]] | None]] = {
    "clients.add": (lambda it: it.store.clients.add(Client(new_id(), "Cy", "", now())), EVERY_ROW),
    "clients.change": (lambda it: it.store.clients.change(it.ada.id, lambda kept: replace(kept, note="x")), EVERY_ROW),
    "clients.merge": (
        lambda it: it.store.clients.merge(it.ada, it.bea.id, by="me"),
        [("client", "merged"), ("client", "merged")],
    ),
    "consents.add": (lambda it: it.store.consents.add(answer(it.ada.id, given=False)), [("consent", "answered")]),
    "visits.save": (lambda it: it.store.visits.save(replace(it.visit, note="warm"), it.shots[:1]), EVERY_ROW),
    "visits.delete": (lambda it: it.store.visits.delete(it.visit.id), [("visit", "removed")]),
    "photos.save": (lambda it: it.store.photos.save(replace(it.shots[1], role="before")), EVERY_ROW),
    "photos.delete": (lambda it: it.store.photos.delete(it.shots[0].id), [("photo", "removed")]),
    "pictures.put": (lambda it: it.store.pictures.put(b"not named yet"), []),
    "pictures.let_go": (lambda it: it.store.pictures.let_go([it.store.pictures.put(b"not named yet")]), []),
    "drafts.save": (
        lambda it: it.store.drafts.save(replace(it.draft, photos=()), apart=it.draft),
        [("draft", "set aside")],
    ),
    "drafts.delete": (lambda it: it.store.drafts.delete(it.draft.id), []),
    "prices.save": (lambda it: it.store.prices.save(replace(it.price, price=13.0)), EVERY_ROW),
    "remeasuring.save": (
        lambda it: it.store.remeasuring.save(it.loose, replace(it.loose, light="salon lamps")),
        EVERY_ROW,
    ),
    "remeasuring.leave": (lambda it: it.store.remeasuring.leave(it.loose.id, "2.0", "hair", "why"), []),
    "remeasuring.try_again": (lambda it: it.store.remeasuring.try_again(), []),
    "prices.delete": (lambda it: it.store.prices.delete(it.price.id), EVERY_ROW),
    "deletions.delete": (lambda it: it.store.deletions.delete(schema.photo, it.loose.id), [("photo", "removed")]),
    "deletions.put_back": (lambda it: it.store.deletions.put_back(it.gone.token), [("visit", "put back")]),
    "outcomes.refresh_stale": (refresh, []),
    "wear.keep": (keep_wear, EVERY_ROW),
    "yardsticks.add": (
        lambda it: it.store.yardsticks.add(replace(it.own, id=new_id(), made_at=now(), undone_at=None)),
        [],
    ),
    "yardsticks.stand": (lambda it: it.store.yardsticks.stand(it.own.id, stands=True), []),
    "settings.put": (lambda it: it.store.settings.put("a", 1), []),
    "settings.change_list": (lambda it: it.store.settings.change_list("b", lambda kept: [*kept, 1]), []),
    "importing.add": (
        lambda it: it.store.importing.add([made := Client(new_id(), "Cy", "", now())], [fresh(made), fresh(it.ada)]),
        EVERY_ROW,
    ),
    "exports.new": (lambda it: it.store.exports.new().__enter__(), []),
    "erasures.erase": (lambda it: it.store.erasures.erase(it.ada.id), []),
    "erasures.clean_up": (lambda it: it.store.erasures.clean_up(), []),
    "set_aside.keep": (lambda it: it.store.set_aside.keep(), []),
    "set_aside.remove": (lambda it: it.store.set_aside.remove(["ab" * 32]), []),
}


@pytest.mark.parametrize("name", CALLS)
def test_what_is_derived_is_what_the_record_says(studio: Studio, name: str) -> None:
    store, (call, told) = studio.store, CALLS[name]
    with store.database.reading() as connection:
        before, log = records(connection), set(lines(connection))
        assert (words(connection), past(connection)) == anew(connection)
        assert len(past(connection)) == 2
    call(studio)
    with store.database.reading() as connection:
        after = records(connection)
        kept_words, kept_past = words(connection), past(connection)
        expected_words, expected_past = anew(connection)
        since = [line for line in lines(connection) if line not in log]
    assert kept_words == expected_words
    # by a spread that is no more in force, past results are not told until they are worked out anew
    stale = store.outcomes.count_stale()
    assert stale == (2 if name.startswith("yardsticks.") else 0)
    assert stale or kept_past == expected_past
    assert bool(store.outcomes.find("mid")) == (bool(kept_past) and not stale)
    if told is None:
        assert sorted(since, key=repr) == sorted(logged(before, after), key=repr)
    else:
        assert [(kind, what) for kind, _, what, _ in since] == told
    worn_as_worked_out_anew(store)


def worn_as_worked_out_anew(store: Store) -> None:
    """What is kept of the wear is what would be worked out now, and no client is forgotten."""
    basis = basis_now(store)
    waiting = store.wear.to_work_out(basis.stamp, 99)
    for client_id in store.clients.ids():
        kept = store.wear.due_of(client_id, basis.stamp), store.wear.services_of(client_id, basis.stamp)
        if kept == (None, None):
            agreed = store.consents.given(client_id, MEASURING)
            assert client_id in waiting or not agreed
        else:
            assert kept == work_out(store, client_id, basis)


def test_a_save_of_two_lines_is_enough(studio: Studio) -> None:
    """Whoever writes a row, and knows nothing of what hangs on it."""
    store = studio.store
    with store.database.writing("somebody") as connection:
        connection.execute(text("UPDATE visit SET record = json_set(record, '$.note', 'smoky') WHERE id = :visit"),
                           {"visit": studio.visit.id})  # fmt: skip
        connection.execute(text("DELETE FROM photo WHERE id = :photo"), {"photo": studio.shots[0].id})
    assert [found.visit.id for found in store.visits.find("smoky")[0]] == [studio.visit.id]
    assert [(edit.kind, edit.what, edit.by) for edit in reversed(store.edits.find(studio.ada.id)[:2])] == [
        ("visit", "changed", "somebody"),
        ("photo", "removed", "somebody"),
    ]
    with store.database.reading() as connection:
        assert (words(connection), past(connection)) == anew(connection)
        assert len(past(connection)) == 1
    assert store.wear.to_work_out(basis_now(store).stamp, 9) == [studio.ada.id]
    assert not store.database.pictures.is_there(studio.shots[0].file)


def test_what_fails_leaves_no_note_behind(studio: Studio) -> None:
    store = studio.store
    before = store.edits.find(studio.ada.id)
    with suppress(ZeroDivisionError), store.database.writing() as connection:
        connection.execute(text("DELETE FROM photo"))
        raise ZeroDivisionError
    store.settings.put("a", 1)
    assert store.edits.find(studio.ada.id) == before
    assert len(store.photos.find(studio.ada.id)) == 3


@pytest.mark.parametrize("table", ["client", "visit"])
def test_no_row_is_written_outside_the_unit(studio: Studio, table: str) -> None:
    rows = {"client": client_row(Client(new_id(), "Cy", "", now())), "visit": visit_row(fresh(studio.ada))}
    for engine in (studio.store.database.engine, studio.store.database.engine.execution_options(write=False)):
        with pytest.raises(RuntimeError, match="outside"), engine.begin() as connection:
            connection.execute(insert(schema.metadata.tables[table]), rows[table])
    assert len(studio.store.clients.summaries()) == 2
    assert len(studio.store.visits.recent(9)) == 2


# Where the store opens a database otherwise than through `Database`: none of these writes a record of an open studio.
PAST_THE_UNIT = {
    "backup": "reads a copy",
    "backup_shelf": "reads a finished backup",
    "engine": "makes the connections",
    "erasure": "rewrites the file without what was deleted",
    "identity": "reads, before anything opens",
    "migrate": "upgrades, before anything opens, and copies",
    "presence": "a lock",
    "restore": "fills a studio that nobody has open",
    "soundness": "reads every page",
    "unchanged": "reads without touching a file",
}
OPENS = {"begin", "raw_connection", "make_engine", "create_engine"}


@pytest.mark.parametrize("path", sorted(STORE.glob("*.py")), ids=lambda path: path.stem)
def test_only_the_unit_opens_a_transaction_that_writes(path: Path) -> None:
    opens = {
        name
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call)
        for name in [ast.unparse(node.func)]
        if name.split(".")[-1] in OPENS or name == "sqlite3.connect"
    }
    if path.stem == "database":
        assert opens == {"make_engine", "self.engine.begin", "self._readers.begin"}
    else:
        assert bool(opens) == (path.stem in PAST_THE_UNIT)


def test_every_saving_method_is_called_above() -> None:
    assert saving_methods() == set(CALLS)


def saving_methods() -> set[str]:
    """Every public method of a part that opens a unit of work, itself or through another method."""
    parts = parts_of_the_store()
    calls = {
        f"{part}.{method.name}": {
            name.removeprefix("self.")
            for node in ast.walk(method)
            if isinstance(node, ast.Attribute)
            for name in [ast.unparse(node)]
        }
        for part, found in parts.items()
        for method in found.body
        if isinstance(method, ast.FunctionDef)
    }
    opening = {"database.writing", "database.discard_files", "database.tidy_files"}
    saving: set[str] = set()
    grown = True
    while grown:
        grown = False
        for name, called in calls.items():
            part = name.split(".")[0]
            here = {each.removeprefix("_") for each in called} | {f"{part}.{each}" for each in called}
            if name not in saving and here & (opening | saving):
                saving.add(name)
                grown = True
    return {name for name in saving if not name.split(".")[1].startswith("_")}


def parts_of_the_store() -> dict[str, ast.ClassDef]:
    """The class of each part, by the name that the store has for it."""
    classes = {
        node.name: node
        for path in STORE.glob("*.py")
        for node in ast.parse(path.read_text("utf-8")).body
        if isinstance(node, ast.ClassDef)
    }
    made = [
        node
        for node in ast.walk(classes["Store"])
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Call) and isinstance(node.value.func, ast.Name)
    ]
    return {
        node.targets[0].attr: classes[node.value.func.id]  # type: ignore[attr-defined]
        for node in made
        if isinstance(node.targets[0], ast.Attribute)
        and not node.targets[0].attr.startswith("_")
        and node.targets[0].attr != "database"
    }


def records(connection: Connection) -> dict[tuple[str, str], str]:
    """JSON of every record whose changes are logged."""
    tables = (schema.client, schema.visit, schema.photo, schema.price)
    return {(table.name, row.id): row.record for table in tables for row in connection.execute(select(table))}


def logged(before: dict[tuple[str, str], str], after: dict[tuple[str, str], str]) -> list[tuple[str, str, str, str]]:
    """What the log must say about two states of the record."""
    return [
        (*key, "changed" if key in after else "removed", old) for key, old in before.items() if after.get(key) != old
    ]


def lines(connection: Connection) -> list[tuple[Any, ...]]:
    table = schema.edit
    query = select(table.c.kind, table.c.record_id, table.c.what, table.c.before).order_by(table.c.number)
    return [tuple(row) for row in connection.execute(query)]


def words(connection: Connection) -> dict[str, str]:
    return {row.visit_id: row.search for row in connection.execute(select(schema.visit_text))}


def past(connection: Connection) -> dict[tuple[str, str], dict[str, Any]]:
    rows = [dict(row._mapping) for row in connection.execute(select(schema.outcome))]
    return {(row["visit_id"], row["region"]): row for row in rows}


def anew(connection: Connection) -> tuple[dict[str, str], dict[tuple[str, str], dict[str, Any]]]:
    """Words and outcomes of all visits, from their records."""
    found_words, found_past = {}, {}
    spread = standing_yardsticks(connection).spread
    in_order = select(schema.photo).order_by(schema.photo.c.taken_at, schema.photo.c.id)
    photos = list(read_records(PhotoRecord, connection.execute(in_order)))
    for visit in read_records(Visit, connection.execute(select(schema.visit))):
        found_words[visit.id] = text_row(visit)["search"]
        for outcome in outcomes_of(visit, [photo for photo in photos if photo.visit_id == visit.id], spread):
            found_past[visit.id, outcome.region] = outcome_row(outcome, spread)
    return found_words, found_past
