"""One client as a line of a list."""

from __future__ import annotations

from tracker.store import ClientSummary, Store
from tracker.ui.parts.pictures import SMALL
from tracker.ui.parts.rows import row
from tracker.ui.parts.words import plain
from tracker.words import MADE_UP, ago, count, listed, sentence_case


def client_line(store: Store, summary: ClientSummary, page: str) -> None:
    """Last photo, name, last service and how long ago; a tap opens `page` for this client."""
    about = "no visit yet"
    if summary.visits:
        last = store.visits.last_of(summary.client.id)
        done = last.services if last is not None else ()
        services = sentence_case(listed((plain(name) for name in done), empty="visit"))
        when = f", {ago(summary.last_visit)}" if summary.last_visit is not None else ""
        about = f"{services}{when} · {count(summary.visits, 'visit')}"
    if summary.client.demo:
        about += f" · {MADE_UP}"
    picture = None
    if summary.last_photo_id is not None:
        picture = (f"/picture/{summary.last_photo_id}/{SMALL}.jpg", "The last photo of this client’s hair")
    row(picture, summary.client.id, page, summary.client.name, about, client=summary.client.id)
