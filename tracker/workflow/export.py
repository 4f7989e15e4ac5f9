"""Hand over what is kept in formats that outlive this program: pictures, JSON, CSV and a page to read."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any

from tracker import METHOD_VERSION
from tracker.calibrate.calibration import Yardsticks
from tracker.compare.comparison import compare_readings
from tracker.compare.cut import at_like_distance, cut_of
from tracker.compare.photo_set import match_states, state_of
from tracker.errors import TrackerError
from tracker.record.records import AFTER, BEFORE, Client, PhotoRecord, Visit, now
from tracker.report import ClientRecord, client_page, columns_of, csv_lines, sheet_tables, to_csv
from tracker.said.colour import say_change, say_kits
from tracker.said.cut import say_cut
from tracker.store import Archive, FolderArchive, Store, ZipArchive
from tracker.words import UNITS, units_in

Progress = Callable[[float, str], object]
Entry = dict[str, Any]

_TOLD_ON_THE_PAGE = frozenset({"client", "consent", "visit", "photo", "outcome"})
_AT_ONCE = 100  # records of a kind in memory
_EMBEDDED_EDGE = 800  # pixels: sharp on a phone, and a hundred of them still make a page that opens
_BALANCED = (
    "The pictures on this page are balanced to the same light where a card was read; those in the folder photos are as "
    "taken."
)
_AS_TAKEN = "The pictures are as taken, not balanced to the same light."

_READ_ME = """\
record.html   to read, in any browser
record.json   everything that is kept, with the units of its numbers
tables        the same as CSV for a spreadsheet: UTF-8, commas; an apostrophe stands before a text that would run as a
              formula
photos        the pictures as taken, without place, camera or time inside
"""
_IN_CLIENTS = "In clients a folder for each client, named as the client is in the tables:\n\n"
_IN_STUDIO = """
In studio all clients together and what belongs to no client: as tables, and as JSON with one record on each line, whose
units are in units.json.
"""


@dataclass(frozen=True, slots=True)
class Exported:
    """What an export holds.

    Attributes
    ----------
    clients, visits, photos : int, how many
    missing : int, pictures named by a record that could not be read; the records are there
    """

    clients: int
    visits: int
    photos: int
    missing: int

    def __add__(self, other: Exported) -> Exported:
        return Exported(
            self.clients + other.clients,
            self.visits + other.visits,
            self.photos + other.photos,
            self.missing + other.missing,
        )


def export_client(store: Store, client_id: str, progress: Progress | None = None) -> tuple[bytes, Exported]:
    """Everything kept about one client, as a zip; none of it touches the disk.

    Parameters
    ----------
    progress : called with the share done, 0..1, and what is being done

    Returns
    -------
    bytes : of the zip
    Exported : what it holds

    Raises
    ------
    NotFound : no such client
    """
    with ZipArchive() as archive:
        exported = _write_client(store, archive, client_id, "", progress or _silent, embedded=True)
        archive.add("read-me.txt", _READ_ME.encode())
        return archive.finish(), exported


def export_everything(
    store: Store, progress: Progress | None = None, elsewhere: Path | None = None
) -> tuple[Path, Exported]:
    """Everything that the studio keeps: a folder for each client, and tables of the whole studio.

    Parameters
    ----------
    progress : as for `export_client`
    elsewhere : Path of a folder to write into; None for one beside the studio's own

    Returns
    -------
    Path : the folder of this export
    Exported : what it holds

    Raises
    ------
    StoreFull, StoreError : the disk refuses it; nothing is left
    """
    tell = progress or _silent
    total = Exported(0, 0, 0, 0)
    with store.exports.new(elsewhere) as (archive, place):
        clients = store.clients.ids()
        for number, client_id in enumerate(clients):
            tell(number / len(clients), f"client {number + 1} of {len(clients)}")
            total += _write_client(store, archive, client_id, f"clients/{client_id}/", _silent, embedded=False)
        for kind in store.kept.kinds():
            tell(1.0, f"all of the kind {kind}")
            _write_kind(archive, store, kind)
        archive.add("studio/units.json", json.dumps(UNITS, indent=1).encode())
        archive.add("read-me.txt", f"{_IN_CLIENTS}{_READ_ME}{_IN_STUDIO}".encode())
    return place, total


def _write_client(
    store: Store, archive: Archive, client_id: str, folder: str, progress: Progress, *, embedded: bool
) -> Exported:
    entries = store.kept.of_client(client_id)
    photos = _photos_of(store, client_id)
    names, missing = {}, 0
    for number, photo in enumerate(photos):
        progress(number / (len(photos) + 1), f"photo {number + 1} of {len(photos)}")
        try:
            content = store.pictures.get(photo.file)
        except TrackerError:
            missing += 1
            continue
        names[photo.id] = f"photos/{photo.taken_at.astimezone():%Y-%m-%d}_{photo.role}_{photo.id[:8]}.jpg"
        archive.add(f"{folder}{names[photo.id]}", content)
    for entry in entries.get("photo", ()):
        entry["picture"] = names.get(entry["id"])
    made_at = now()
    _write_entries(archive, folder, entries, made_at)
    progress(len(photos) / (len(photos) + 1), "the page")
    page = _page(store, client_id, entries, made_at, names, embedded=embedded)
    archive.add(f"{folder}record.html", page.encode("utf-8", "replace"))
    return Exported(1, len(entries.get("visit", ())), len(photos), missing)


def _photos_of(store: Store, client_id: str) -> list[PhotoRecord]:
    """Photos of the record and of drafts, each once."""
    drafts = (photo for draft in store.drafts.find(client_id) for photo in draft.photos)
    return list({photo.id: photo for photo in (*drafts, *store.photos.find(client_id))}.values())


def _write_entries(archive: Archive, folder: str, entries: Mapping[str, Sequence[Entry]], made_at: datetime) -> None:
    whole = {
        "made_at": made_at.isoformat(),
        "method_version": METHOD_VERSION,
        "units": units_in(entries),
        "entries": entries,
    }
    archive.add(f"{folder}record.json", json.dumps(whole, ensure_ascii=False, indent=1).encode("utf-8", "replace"))
    for kind, records in entries.items():
        for name, table in sheet_tables(kind, records).items():
            archive.add(f"{folder}tables/{name}.csv", to_csv(table))


def _write_kind(archive: FolderArchive, store: Store, kind: str) -> None:
    """Everything of one kind, some at a time: the photos of a large studio do not all fit into memory."""
    headings = columns_of(store.kept.entries(kind), kind)
    with ExitStack() as stack:
        lines = stack.enter_context(archive.writing(f"studio/{kind}.jsonl"))
        files = {name: stack.enter_context(archive.writing(f"studio/tables/{name}.csv")) for name in headings}
        for name, file in files.items():
            file.write(csv_lines(headings[name], (), first=True))
        entries = iter(store.kept.entries(kind))
        while some := list(islice(entries, _AT_ONCE)):
            for entry in some:
                lines.write(json.dumps(entry, ensure_ascii=False).encode("utf-8", "replace") + b"\n")
            for name, table in sheet_tables(kind, some).items():
                files[name].write(csv_lines(headings[name], table.rows))


def _page(
    store: Store,
    client_id: str,
    entries: Mapping[str, Sequence[Entry]],
    made_at: datetime,
    names: Mapping[str, str],
    *,
    embedded: bool,
) -> str:
    own = store.yardsticks.in_force()
    photos = store.photos.find(client_id)
    visits = store.visits.of_client(client_id)
    record = ClientRecord(
        client=_client(store, client_id),
        consents=store.consents.of_client(client_id),
        visits=visits,
        photos=photos,
        made_at=made_at,
        findings={
            visit.id: _findings(visit, [each for each in photos if each.visit_id == visit.id], own) for visit in visits
        },
        own=own,
        more={kind: found for kind, found in entries.items() if kind not in _TOLD_ON_THE_PAGE},
    )

    def beside(photo: PhotoRecord) -> str:
        return names.get(photo.id, "")

    def inside(photo: PhotoRecord) -> str:
        return _embedded(store, photo) if photo.id in names else ""

    return client_page(record, inside if embedded else beside, _BALANCED if embedded else _AS_TAKEN)


def _findings(visit: Visit, photos: Sequence[PhotoRecord], own: Yardsticks) -> tuple[str, ...]:
    """What a visit changed, a sentence for each part of the hair; nothing where there is no pair with numbers."""
    before, after = state_of(photos, BEFORE, own.spread), state_of(photos, AFTER, own.spread)
    if before is None or after is None or before.reading is None or after.reading is None:
        return ()
    match, cut = match_states(before, after), cut_of(before, after, visit)
    try:
        changes = compare_readings(
            at_like_distance(before.reading, cut),
            after.reading,
            same_kit=match.same,
            light=match.light,
            scale=own.scale,
            locus=own.locus,
            repeatability=own.spread.over(before.reading.hair),
        )
    except TrackerError:
        return ()
    answers = [say_change(change, to_others=True) for change in changes]
    said = (*answers, say_cut(cut, to_others=True), say_kits(match))
    return tuple(sentence for sentence in said if sentence)


def _client(store: Store, client_id: str) -> Client:
    """The client, or a stand-in if the record is damaged: the rest must still go out."""
    try:
        return store.clients.get(client_id)
    except TrackerError:
        return Client(client_id, "A client whose name can no longer be read", "", now())


def _embedded(store: Store, photo: PhotoRecord) -> str:
    """The picture itself as an address, balanced where a card was read."""
    from base64 import b64encode

    from tracker.photo import read_kept, scaled_jpeg, screen_jpeg
    from tracker.show.overlay import balanced_picture

    content = store.pictures.get(photo.file)
    try:
        if photo.reading is None:
            small = scaled_jpeg(content, _EMBEDDED_EDGE)
        else:
            small = screen_jpeg(balanced_picture(read_kept(content), photo.reading.correction, _EMBEDDED_EDGE), 80)
    except TrackerError:
        return ""
    return f"data:image/jpeg;base64,{b64encode(small).decode()}"


def _silent(_share: float, _text: str) -> None:
    """Report to nobody."""
