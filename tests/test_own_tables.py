"""What goes out as tables comes in again: clients with notes and contact, visits with services, steps and notes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from crash_studio import add_client, new_photo, new_visit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tracker.errors import InvalidList
from tracker.measure.reading import RIBBON, WHOLE
from tracker.record.agreed import AgreedLimits
from tracker.record.mixing import Amount, Strength
from tracker.record.records import Client, Step, Visit, new_id
from tracker.report import as_list, as_typed, sheet_tables, to_csv
from tracker.report.tables import SheetTable
from tracker.store import Store
from tracker.workflow.bring_in import bring_in, plan_files
from tracker.workflow.export import export_client, export_everything
from tracker.workflow.words import clean_line, clean_note

TABLES = ("client", "visit", "visit_steps")
MOMENT = datetime(2026, 3, 14, 10, 11, 12, 131415, tzinfo=UTC)


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def tables_of(store: Store) -> list[bytes]:
    """The tables of a whole studio as the export writes them."""
    folder = export_everything(store)[0] / "studio" / "tables"
    return [path.read_bytes() for name in TABLES if (path := folder / f"{name}.csv").exists()]


def rich(store: Store) -> tuple[Client, Visit]:
    client = add_client(store, "Zoë; =1+1", "=a\n'quoted'\n- list")
    client = store.clients.change(client.id, lambda kept: replace(kept, contact="+49 30 123; calls back"))
    steps = (
        Step(
            "mid-lengths",
            "lightener",
            "=powder",
            12.5,
            "two\nlines",
            Strength(6.0, "%"),
            "1:1.5",
            Amount(42.524, "oz"),
            ("foils", "own; word"),
            "fine",
            "diagonal back",
            (),
            7.5,
        ),
        Step("root", "toner"),
    )
    visit = replace(
        new_visit(client.id, date(2025, 4, 3), "-note"),
        services=("toner", "cut, dry; style"),
        steps=steps,
        next_time="@next",
        history="box colour",
        starting_point="brassy",
        limits=AgreedLimits(4.0, None, 8.5, 20.0, "end"),
        washes_per_week=2.5,
    )
    return client, store.visits.save(visit, [new_photo(store, client.id, b"x", visit_id=visit.id)])


def test_everything_out_and_in_again_in_a_new_studio(store: Store, tmp_path: Path) -> None:
    client, visit = rich(store)
    twins = [add_client(store, "Twin", note) for note in ("one", "two")]
    for twin in twins:
        store.visits.save(new_visit(twin.id, note=twin.note), [])
    with Store(tmp_path / "other") as other:
        plan = plan_files(other, tables_of(store))
        assert plan.refused == ()
        assert bring_in(other, plan) == 6
        assert other.clients.get(client.id) == client
        assert other.visits.of_client(client.id) == [replace(visit, revision=1)]
        assert {twin.note: [each.note for each in other.visits.of_client(twin.id)] for twin in twins} == {
            "one": ["one"],
            "two": ["two"],
        }
        assert other.consents.of_client(client.id) == []
        assert other.photos.find(client_id=client.id) == []
        again = plan_files(other, tables_of(store))
        assert (again.clients, again.visits) == ((), ())
        assert {refusal.why.rsplit(" ", 3)[-1] for refusal in again.refused} <= {"here.", "services."}


def test_limits_come_in_with_how_the_hair_was_read_when_they_were_agreed(store: Store, tmp_path: Path) -> None:
    client = add_client(store)
    whole = replace(new_visit(client.id), limits=AgreedLimits(warmer=4.0, hair=WHOLE))
    store.visits.save(whole, [])
    tables = tables_of(store)
    with Store(tmp_path / "one") as other:
        bring_in(other, plan_files(other, tables))
        assert other.visits.of_client(client.id)[0].limits == whole.limits
    # tables of an earlier version have no such column: photos were read along a ribbon
    earlier = [table.replace(b'"limits hair"', b'"other"') for table in tables]
    assert earlier != tables
    with Store(tmp_path / "two") as other:
        bring_in(other, plan_files(other, earlier))
        assert other.visits.of_client(client.id)[0].limits == replace(whole.limits, hair=RIBBON)


def test_one_clients_own_tables_come_in_too(store: Store, tmp_path: Path) -> None:
    import io
    import zipfile

    client, visit = rich(store)
    with zipfile.ZipFile(io.BytesIO(export_client(store, client.id)[0])) as archive:
        files = [archive.read(f"tables/{name}.csv") for name in TABLES]
    with Store(tmp_path / "other") as other:
        bring_in(other, plan_files(other, files))
        assert other.visits.of_client(client.id) == [replace(visit, revision=1)]


def test_an_erased_client_comes_in_under_another_identifier(store: Store) -> None:
    client, visit = rich(store)
    files = tables_of(store)
    store.erasures.erase(client.id)
    bring_in(store, plan_files(store, files))
    [summary] = store.clients.summaries()
    back = summary.client
    # an older backup that is restored is erased again by the old identifier, and must not take this record along
    assert back.id != client.id
    assert replace(back, id=client.id) == client
    [kept] = store.visits.of_client(back.id)
    assert replace(kept, id=visit.id, client_id=client.id, revision=visit.revision) == visit


def test_tables_one_after_the_other(store: Store, tmp_path: Path) -> None:
    client, visit = rich(store)
    clients, visits, steps = tables_of(store)
    with Store(tmp_path / "other") as other:
        alone = plan_files(other, [visits])
        assert [each.why for each in alone.refused] == [
            "Its client is not here. Choose the table of clients together with this one."
        ]
        with pytest.raises(InvalidList, match="together with their visits"):
            plan_files(other, [steps])
        bring_in(other, plan_files(other, [clients]))
        bring_in(other, plan_files(other, [visits, steps]))
        assert other.visits.of_client(client.id) == [replace(visit, revision=1)]


def test_a_client_of_that_name_is_not_doubled_and_gets_the_visits(store: Store, tmp_path: Path) -> None:
    client, _ = rich(store)
    with Store(tmp_path / "other") as other:
        there = add_client(other, client.name.upper(), "stays as it is")
        plan = plan_files(other, tables_of(store))
        assert [refusal.why for refusal in plan.refused] == [f"A client named {client.name} is already here."]
        bring_in(other, plan)
        assert [summary.client for summary in other.clients.summaries()] == [there]
        assert [visit.note for visit in other.visits.of_client(there.id)] == ["-note"]


@pytest.mark.parametrize(
    ("column", "cell", "why"),
    [
        ("minutes (min)", "soon", "soon is not a number (minutes)."),
        ("minutes (min)", "1e400", "Step 1: the time is inf minutes (from 0 to 1440)."),
        ("developer value", "900", "stronger than any"),
        ("amount unit", "stone", "has no unit"),
        ("visit id", "0" * 32, "Its visit is not in these tables."),
    ],
)
def test_a_table_that_was_changed_by_hand_is_checked(
    store: Store, tmp_path: Path, column: str, cell: str, why: str
) -> None:
    rich(store)
    clients, visits, _ = tables_of(store)
    table = sheet_tables("visit", store.kept.entries("visit"))["visit_steps"]
    steps = to_csv(SheetTable([{**table.rows[0], column: cell}]))
    with Store(tmp_path / "other") as other:
        plan = plan_files(other, [clients, visits, steps])
        assert any(why in refusal.why for refusal in plan.refused)


def test_other_tables_are_named_and_left_out(store: Store, tmp_path: Path) -> None:
    rich(store)
    folder = export_everything(store)[0] / "studio" / "tables"
    files = [path.read_bytes() for path in sorted(folder.glob("*.csv"))]
    with Store(tmp_path / "other") as other:
        plan = plan_files(other, files)
        assert len(plan.clients) == len(plan.visits) == 1
        assert len(plan.left_out) == len(files) - len(TABLES)
        with pytest.raises(InvalidList, match="Nothing in this table"):
            plan_files(other, [(folder / "consent.csv").read_bytes()])
        with pytest.raises(InvalidList, match="one list of your own"):
            plan_files(other, [b"name\nAda\n", (folder / "client.csv").read_bytes()])


LINES = st.text(max_size=40).map(lambda text: clean_line(text, "It"))
NOTES = st.text(alphabet=st.characters(exclude_categories=["Cs"]) | st.sampled_from("=+-@'\";,\n\t["), max_size=60).map(
    lambda text: clean_note(text, "It")
)


@given(
    name=LINES.filter(bool),
    notes=st.lists(NOTES, min_size=6, max_size=6),
    services=st.lists(LINES.filter(bool), max_size=3),
    words=st.lists(LINES, min_size=5, max_size=5),
    placement=st.lists(LINES.filter(bool), max_size=3),
    minutes=st.none() | st.floats(0, 1440),
)
@settings(max_examples=60, suppress_health_check=list(HealthCheck))
def test_any_words_go_out_and_come_in_again(
    name: str, notes: list[str], services: list[str], words: list[str], placement: list[str], minutes: float | None
) -> None:
    client = Client(new_id(), name, notes[0], MOMENT, contact=notes[1])
    step = Step(words[0], words[1], words[2], minutes, notes[2], None, "", None, tuple(placement), words[3], words[4])
    visit = Visit(
        new_id(), client.id, date(2025, 4, 3), tuple(services), (step,), notes[3], notes[4], MOMENT, history=notes[5]
    )
    out = [_table("client", client), *_tables("visit", visit)]
    plan = plan_files(EMPTY, out)  # type: ignore[arg-type]
    assert plan.refused == ()
    assert plan.clients == (client,)
    assert [each for _, each in plan.visits] == [visit]


class _Empty:
    """A studio without records, so that a property need not make one on the disk each time."""

    @property
    def importing(self) -> _Empty:
        return self

    @property
    def visits(self) -> _Empty:
        return self

    def taken_ids(self) -> set[str]:
        return set()

    def client_names(self) -> dict[str, str]:
        return {}

    def visit_days(self) -> set[object]:
        return set()

    def has(self, _visit_id: str) -> bool:
        return False


EMPTY = _Empty()


def _entry(record: object) -> dict[str, object]:
    import json

    from tracker.record.records import to_json

    return json.loads(to_json(record))  # type: ignore[no-any-return]


def _table(name: str, record: object) -> bytes:
    return to_csv(sheet_tables(name, [_entry(record)])[name])


def _tables(name: str, record: object) -> list[bytes]:
    return [to_csv(table) for table in sheet_tables(name, [_entry(record)]).values()]


@given(st.lists(LINES.filter(bool), max_size=4))
def test_a_row_of_texts_in_one_cell_is_told_apart_again(texts: list[str]) -> None:
    import csv
    import io

    written = to_csv(SheetTable([{"texts": texts, "more": 1}])).decode("utf-8-sig")
    cell = next(csv.DictReader(io.StringIO(written, newline=""))).get("texts", "")
    assert as_list(as_typed(cell.strip())) == tuple(texts)
