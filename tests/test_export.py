"""What goes out: everything, clean, readable without this program, and harmless in a spreadsheet."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import time
import typing
import zipfile
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, date, datetime
from html.parser import HTMLParser
from typing import Any

import pytest
from crash_studio import add_client, files_with, new_draft, new_photo, new_visit, note_syncs, save_pair
from PIL import Image
from test_pages_harness import NASTY, Filled, at, drawn_photo

from tracker import workflow
from tracker.errors import Conflict, NotFound, StoreFull
from tracker.record.records import Consent, PhotoRecord, Visit, from_json, to_json
from tracker.report import SheetTable, as_typed, sheet_tables, to_csv
from tracker.store import Store, archive
from tracker.store.exports import Exports
from tracker.words import UNITS, units_in
from tracker.workflow.export import export_client, export_everything

pytest_plugins = ("test_pages_harness",)

# EXIF 2.32 tags: maker, model, artist, and the directory of the place
MAKER, ARTIST, PLACE = 0x010F, 0x013B, 0x8825
TOKENS = (b"qxmakerxq", b"qxartistxq", b"qxcommentxq", b"qxxmpxq")


def unpacked(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        assert packed.testzip() is None
        return {name: packed.read(name) for name in packed.namelist()}


def sheet(content: bytes) -> list[dict[str, str]]:
    """A table as a spreadsheet reads it."""
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


class Page(HTMLParser):
    """The words of a page, and every address in it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.addresses: list[str] = []
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "srcset", "action")]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


# promise 33
def test_one_client_as_a_zip(filled: Filled) -> None:
    content, exported = export_client(filled.store, filled.client.id)
    files = unpacked(content)
    photos = filled.store.photos.find(filled.client.id)
    assert (exported.clients, exported.visits, exported.photos, exported.missing) == (1, 1, 4, 0)
    kept = {hashlib.sha256(body).hexdigest() for name, body in files.items() if name.endswith(".jpg")}
    assert kept == {photo.file for photo in photos}
    whole = json.loads(files["record.json"])
    entries = whole["entries"]
    assert [from_json(Visit, json.dumps(entry)) for entry in entries["visit"]] == [
        filled.store.visits.get(filled.visit.id)
    ]
    assert [from_json(Consent, json.dumps(entry)) for entry in entries["consent"]] == filled.store.consents.of_client(
        filled.client.id
    )
    again = [
        from_json(PhotoRecord, json.dumps({k: v for k, v in e.items() if k != "picture"})) for e in entries["photo"]
    ]
    assert sorted(again, key=lambda photo: photo.id) == sorted(photos, key=lambda photo: photo.id)
    assert all(entry["picture"] in files for entry in entries["photo"])
    assert whole["units"]["minutes"] == "min"
    assert filled.nobody.id not in content.decode("latin-1")


def test_the_tables_hold_each_number_with_its_unit(filled: Filled) -> None:
    files = unpacked(export_client(filled.store, filled.client.id)[0])
    regions = sheet(files["tables/photo_reading_regions.csv"])
    photos = {photo.id: photo for photo in filled.store.photos.find(filled.client.id)}
    assert len(regions) == 3 * len(photos)
    for row in regions:
        region = photos[row["photo id"]].reading.region(row["name"])
        for axis, value, u in zip(("L*", "a*", "b*"), region.lab.lab, region.lab.u, strict=True):
            assert float(row[axis]) == value
            assert float(row[f"standard uncertainty of {axis}"]) == pytest.approx(u)
        assert float(row["dimension (L*)"]) == region.dimension.value
        assert float(row["dimension standard uncertainty (L*)"]) == region.dimension.u
    (step,) = sheet(files["tables/visit_steps.csv"])
    assert (step["visit id"], step["minutes (min)"], step["what"]) == (filled.visit.id, "45.0", NASTY[1])


# OWASP, CSV injection: cells that begin with one of these are run as formulas
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


# promises 16 and 33: a text that a spreadsheet would run as a formula
@pytest.mark.parametrize("sign", FORMULA_SIGNS)
def test_a_formula_goes_out_as_text_and_a_number_as_a_number(sign: str) -> None:
    table = SheetTable([{"name": f"{sign}1+1", "names": [f"{sign}A1", "b"], "number": -2.5, "size": [-1, 2]}])
    (row,) = sheet(to_csv(table))
    assert row == {"name": f"'{sign}1+1", "names": f"'{sign}A1; b", "number": "-2.5", "size": "-1; 2"}


@pytest.mark.parametrize("sign", FORMULA_SIGNS)
def test_a_formula_in_a_heading_or_inside_a_text_goes_out_as_text(sign: str) -> None:
    texts = [f"root;{sign}1+1", f"root\n{sign}1+1", f"root;'{sign}1", f"{sign};{sign}", "a;b", "it's", "'quoted'"]
    written = to_csv(SheetTable([{f"{sign}hyperlink()": text} for text in texts]))
    (heading, *cells) = (cell for (cell,) in csv.reader(io.StringIO(written.decode("utf-8-sig"), newline="")))
    assert heading == f"'{sign}hyperlink()"
    # as a spreadsheet reads it for which a semicolon begins a cell and a quote inside a cell means nothing
    parts = [part.strip('"') for line in written.decode("utf-8-sig").split("\r\n") for part in re.split("[;\n]", line)]
    assert [part for part in parts if part.startswith(FORMULA_SIGNS)] == []
    assert [as_typed(cell) for cell in cells] == texts
    assert as_typed(heading) == f"{sign}hyperlink()"


def test_every_text_is_quoted() -> None:
    written = to_csv(SheetTable([{"name": "root;=1+1", "number": -2.5}])).decode("utf-8-sig")
    assert written.splitlines() == ['"name","number"', '"root;\'=1+1",-2.5']


def test_the_page_loads_nothing_and_shows_what_was_typed(filled: Filled) -> None:
    filled.store.clients.change(filled.client.id, lambda kept: replace(kept, name=NASTY[1], note="\n".join(NASTY)))
    page = Page(unpacked(export_client(filled.store, filled.client.id)[0])["record.html"].decode())
    said = " ".join(page.words)
    for typed in (
        *NASTY,
        "toner",
        "45 min",
        "lighter, by ",
        "asked by me",
        "L*",
        " ± ",
        "at 95 %",
    ):
        assert typed in said, typed
    assert page.addresses
    assert all(address.startswith("data:image/jpeg;base64,") for address in page.addresses)
    assert not page.tags & {"script", "link", "iframe", "form", "base"}


# promise 8
def test_no_metadata_goes_out(filled: Filled) -> None:
    picture = Image.open(io.BytesIO(drawn_photo(50.0)))
    exif = Image.Exif()
    exif[MAKER], exif[ARTIST] = "qxmakerxq", "qxartistxq"
    exif.get_ifd(PLACE)[1] = "N"
    stream = io.BytesIO()
    picture.save(stream, "JPEG", exif=exif, comment=b"qxcommentxq", xmp=b"<x>qxxmpxq</x>")
    assert all(token in stream.getvalue() for token in TOKENS)
    record, _ = workflow.take_in(
        filled.store, stream.getvalue(), client_id=filled.client.id, role="progress", light="daylight"
    )
    filled.store.photos.save(replace(record, taken_at=at(filled.visit.on)))
    for name, body in unpacked(export_client(filled.store, filled.client.id)[0]).items():
        if name.endswith(".jpg"):
            assert not [token for token in (*TOKENS, b"Exif") if token in body], name
            assert not Image.open(io.BytesIO(body)).getexif()


def test_drafts_and_damaged_things_go_out_too(store: Store) -> None:
    client = add_client(store, "Ada")
    visit = save_pair(store, client.id, b"before", b"after")
    waiting = new_photo(store, client.id, b"in a draft")
    store.drafts.save(new_draft(client.id, new_visit(client.id, note="half"), (waiting,)))
    (before,) = store.photos.find(visit_id=visit.id, role="before")
    store.pictures.path(before.file).write_bytes(b"altered")
    with store.database.writing() as connection:
        connection.exec_driver_sql("UPDATE visit SET record = '{broken'")
        connection.exec_driver_sql("UPDATE client SET record = '{broken'")
    content, exported = export_client(store, client.id)
    files = unpacked(content)
    assert exported.missing == 1
    assert {body for name, body in files.items() if name.endswith(".jpg")} == {b"after", b"in a draft"}
    entries = json.loads(files["record.json"])["entries"]
    assert [entry["damaged"] for entry in entries["visit"]] == ["{broken"]
    assert entries["draft"][0]["visit"]["note"] == "half"
    said = " ".join(Page(files["record.html"].decode()).words)
    assert "half" in said
    assert "not_hair" not in said
    assert "not_hair" in files["record.json"].decode()


def test_a_damaged_byte_does_not_keep_the_rest_in(store: Store) -> None:
    client = add_client(store, "Ada")
    save_pair(store, client.id)
    store.drafts.save(new_draft(client.id, new_visit(client.id, note="half"), ()))
    with store.database.writing() as connection:
        for kind, word in (("draft", "half"), ("visit", "toner")):
            changed = f"UPDATE {kind} SET record = CAST(replace(record, ?, x'ff') AS TEXT)"
            connection.exec_driver_sql(changed, (word,))
    assert "Ada" in unpacked(export_client(store, client.id)[0])["record.html"].decode()
    assert export_everything(store)[1].clients == 1


def test_pictures_are_named_by_the_day_that_the_pages_show(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "America/New_York")
    time.tzset()
    try:
        client = add_client(store, "Ada")
        store.photos.save(new_photo(store, client.id, b"late", taken_at=datetime(2026, 3, 15, 2, tzinfo=UTC)))
        names = [name for name in unpacked(export_client(store, client.id)[0]) if name.startswith("photos/")]
        assert [name[:18] for name in names] == ["photos/2026-03-14_"]
        assert [absent.last_seen for absent in store.clients.not_seen_since(date(2026, 3, 15))] == [date(2026, 3, 14)]
        assert store.clients.not_seen_since(date(2026, 3, 14)) == []
    finally:
        monkeypatch.undo()
        time.tzset()


def test_everything_as_a_folder(store: Store) -> None:
    clients = [add_client(store, f"Client {number}", "=note") for number in range(3)]
    for number, client in enumerate(clients):
        save_pair(store, client.id, b"before %d" % number, b"after %d" % number)
    place, exported = export_everything(store)
    assert (exported.clients, exported.visits, exported.photos) == (3, 3, 6)
    assert [export.folder for export in store.exports.all()] == [place]
    assert not place.is_relative_to(store.root)
    listed = [json.loads(line) for line in (place / "studio" / "client.jsonl").read_text("utf-8").splitlines()]
    assert {entry["id"] for entry in listed} == {client.id for client in clients}
    assert json.loads((place / "studio" / "units.json").read_bytes())["minutes"] == "min"
    assert len(sheet((place / "studio" / "tables" / "photo_reading_regions.csv").read_bytes())) == 6
    assert {row["note"] for row in sheet((place / "studio" / "tables" / "client.csv").read_bytes())} == {"'=note"}
    for client in clients:
        folder = place / "clients" / client.id
        page = Page((folder / "record.html").read_text("utf-8"))
        assert len(page.addresses) == 2
        assert all((folder / address).is_file() for address in page.addresses)
    assert {oct(path.stat().st_mode & 0o077) for path in (place, place / "read-me.txt")} == {"0o0"}


def test_an_export_that_fails_leaves_nothing(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    add_client(store, "Ada")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(archive, "private_file", fail)
    with pytest.raises(StoreFull):
        export_everything(store)
    assert store.exports.all() == []
    assert list(store.database.layout.exports.iterdir()) == []


# promise 31: exports are among what an erasure clears
def test_an_erasure_takes_every_export_along(store: Store) -> None:
    gone, kept = add_client(store, "qxgonexq"), add_client(store, "Kept")
    save_pair(store, gone.id, b"qxpicturexq")
    save_pair(store, kept.id)
    place, _ = export_everything(store)
    exports = store.database.layout.exports
    (exports / ".left.tmp").mkdir()
    (exports / ".left.tmp" / "half").write_bytes(b"qxgonexq")
    assert files_with(place, [b"qxgonexq"])
    receipt = store.erasures.erase(gone.id)
    assert receipt.counts.exports == 1
    assert files_with(exports, [b"qxgonexq", b"qxpicturexq"]) == []
    assert store.exports.all() == []


# promise 31: neither half an export nor one that still holds the client
@pytest.mark.parametrize("moment", ["before the client is written", "after the client is written", "at the end"])
def test_an_erasure_during_an_export_throws_it_away(store: Store, moment: str) -> None:
    clients = [add_client(store, "qxgonexq"), add_client(store, "Kept")]
    for client in clients:
        save_pair(store, client.id, b"qxpicturexq" if client is clients[0] else b"kept")
    first, *_ = store.clients.ids()
    gone = first if moment == "after the client is written" else store.clients.ids()[-1]
    told: list[str] = []

    def erase(share: float, text: str) -> None:
        told.append(text)
        moment_told = "of the kind visit" if moment == "at the end" else "client 2 of 2"
        if moment_told in text and gone in store.clients.ids():
            store.erasures.erase(gone)

    with pytest.raises((Conflict, NotFound)):
        export_everything(store, erase)
    assert gone not in store.clients.ids()
    assert list(store.database.layout.exports.iterdir()) == []
    assert export_everything(store)[1].clients == 1


def test_an_export_that_an_erasure_overtakes_at_its_last_step_is_thrown_away(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = add_client(store, "qxgonexq")
    settle = archive.FolderArchive.settle

    def erase(self: archive.FolderArchive) -> None:
        settle(self)
        monkeypatch.setattr(Exports, "remove_all", lambda _self: None)  # as if it came just before this export
        store.erasures.erase(client.id)

    monkeypatch.setattr(archive.FolderArchive, "settle", erase)
    with pytest.raises(Conflict, match="was erased"):
        export_everything(store)
    assert list(store.database.layout.exports.iterdir()) == []


def test_an_export_whose_folder_is_removed_meanwhile_fails(store: Store) -> None:
    for name in ("Ada", "Bea"):
        add_client(store, name)

    def remove(_share: float, text: str) -> None:
        if text == "client 2 of 2":
            store.exports.remove_all()

    with pytest.raises(Conflict, match="removed while it was being written"):
        export_everything(store, remove)
    assert list(store.database.layout.exports.iterdir()) == []


# promise 33: an export that is listed is whole, whatever happens to the power
def test_an_export_is_on_the_disk_before_it_has_its_name(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    save_pair(store, add_client(store, "Ada").id)
    synced = note_syncs(monkeypatch)
    place, _ = export_everything(store)
    written = [place.parent, place, *place.rglob("*")]
    assert [path for path in written if path.stat().st_ino not in synced] == []


def shapes(kind: Any, seen: set[Any]) -> set[Any]:
    """A record's shape and all shapes inside it."""
    if is_dataclass(kind) and kind not in seen:
        seen.add(kind)
        for hint in typing.get_type_hints(kind).values():
            shapes(hint, seen)
    for inner in typing.get_args(kind):
        shapes(inner, seen)
    return seen


def numeric(hint: Any) -> bool:
    inner = typing.get_args(hint)
    return hint in (float, int) or any(numeric(each) for each in inner)


SELF_TOLD = {"value", "limit", "u", "dof", "cov"}
"""Numbers with their unit in a field beside them, and parts of a measured value."""


def test_every_number_that_is_kept_has_its_unit() -> None:
    from tracker.store.rows import KINDS

    found = set()
    for kind in KINDS:
        for shape in shapes(kind, set()):
            hints = typing.get_type_hints(shape)
            found |= {each.name for each in fields(shape) if numeric(hints[each.name])}
    assert found - SELF_TOLD - set(UNITS) == set()


def test_a_field_that_is_new_appears_by_itself() -> None:
    record = {"id": "a", "later": {"inner": [1, 2]}, "rows": [{"new": "x", "minutes": 3.0}], "nested": [[1, 2], [3]]}
    tables = sheet_tables("thing", [record])
    assert tables["thing"].rows == [{"id": "a", "later inner": [1, 2], "nested": [[1, 2], [3]]}]
    assert tables["thing_rows"].rows == [{"thing id": "a", "number": 1, "new": "x", "minutes (min)": 3.0}]
    assert units_in(record) == {"minutes": "min"}


def test_file_names_in_an_export_say_no_name(store: Store) -> None:
    client = add_client(store, "qxnamexq")
    save_pair(store, client.id)
    names = list(unpacked(export_client(store, client.id)[0]))
    assert not [name for name in names if "qxnamexq" in name]
    assert all(re.fullmatch(r"[\w/.-]+", name) for name in names)
    assert to_json(client)
