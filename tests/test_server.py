"""The app's own answers: who may ask, which headers go with them, which pictures there are."""

from __future__ import annotations

import asyncio
import io
import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from starlette.applications import Starlette
from starlette.responses import HTMLResponse, PlainTextResponse
from starlette.routing import Route
from streamlit import file_util

from tracker import NAME
from tracker.errors import NotFound
from tracker.measure.reading import CardSummary, Correction, Marks, PhotoReading
from tracker.record.records import BEFORE, PhotoRecord, new_id
from tracker.ui import look, navigation, offers, passing, server, session
from tracker.ui.first_answer import OursFromTheStart, made_ours
from tracker.ui.house_rules import HouseRules
from tracker.workflow import PassingPhoto


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes


def ask(app: Any, path: str, query: str = "", **headers: str) -> Answer:
    """One GET, straight into the application."""
    given = {"host": "127.0.0.1:8501", **{name.replace("_", "-"): value for name, value in headers.items()}}
    scope = {
        "type": "http",
        "method": "GET",
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "headers": [(name.encode(), value.encode()) for name, value in given.items()],
        "http_version": "1.1",
        "scheme": "http",
        "root_path": "",
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8501),
    }
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    asyncio.run(app(scope, receive, send))
    found = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return Answer(sent[0]["status"], found, b"".join(message.get("body", b"") for message in sent[1:]))


def house() -> Any:
    return HouseRules(Starlette(routes=server.routes()))


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("/", {"host": "evil.example"}),
        ("/", {"host": "127.0.0.1:9999"}),
        ("/", {"origin": "http://127.0.0.1:9999"}),
        ("/nowhere", {"sec_fetch_site": "same-site", "sec_fetch_mode": "navigate", "sec_fetch_dest": "document"}),
    ],
)
def test_what_is_not_our_page_is_refused(path: str, headers: dict[str, str]) -> None:
    assert ask(house(), path).status == 404
    assert ask(house(), path, **headers).status == 403


def test_a_link_elsewhere_leads_to_every_page() -> None:
    leading = {"sec_fetch_site": "cross-site", "sec_fetch_mode": "navigate", "sec_fetch_dest": "document"}
    for entry in navigation.ENTRIES:
        assert ask(house(), navigation.address(entry.name), **leading).status == 404  # let in; there is no page here


@pytest.mark.parametrize("origin", [None, b"http://127.0.0.1:9999", b"http://evil.example", b"null"])
def test_a_refused_socket_is_closed_unopened(origin: bytes | None) -> None:
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "websocket.connect"}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    scope = {
        "type": "websocket",
        "scheme": "ws",
        "path": "/_stcore/stream",
        "headers": [(b"host", b"127.0.0.1:8501"), *([(b"origin", origin)] if origin else [])],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8501),
    }
    asyncio.run(house()(scope, receive, send))
    assert sent == [{"type": "websocket.close", "code": 1008}]


def test_every_answer_carries_the_headers() -> None:
    for answer in (ask(house(), "/nowhere"), ask(house(), "/", host="evil.example")):
        assert answer.headers["x-frame-options"] == "SAMEORIGIN"
        assert "noindex" in answer.headers["x-robots-tag"]
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert answer.headers["cross-origin-opener-policy"] == "same-origin"
        assert "http" not in answer.headers["content-security-policy"]


def page_of_the_server(request: Any) -> HTMLResponse:
    if "if-none-match" in request.headers:
        return HTMLResponse(status_code=304, headers={"ETag": '"old"'})
    return HTMLResponse("<html><body><p>Here.</p></body></html>", headers={"ETag": '"old"'})


def styled() -> Any:
    routes = [Route("/", page_of_the_server), Route("/told", lambda _: PlainTextResponse("</body>"))]
    return OursFromTheStart(Starlette(routes=routes))


def test_a_page_carries_its_style_at_the_end_of_its_body() -> None:
    answer = ask(styled(), "/", accept="text/html,*/*")
    before, style, after = answer.body.decode().partition(look.page_style())
    assert style
    assert before == "<html><body><p>Here.</p>"
    assert after == look.page_script() + "</body></html>"
    assert "</script>" not in look.page_script().removesuffix("</script>")
    assert int(answer.headers["content-length"]) == len(answer.body)


def test_a_page_kept_with_an_earlier_style_is_sent_again() -> None:
    answer = ask(styled(), "/", accept="text/html", if_none_match='"old"')
    assert answer.status == 200
    assert look.page_style().encode() in answer.body
    assert "etag" not in answer.headers


SHELL = "<html lang='en'><head><title>by another</title></head><body><noscript>by another</noscript></body></html>"


@pytest.mark.parametrize(
    ("path", "title"),
    [("/", f"Today · {NAME}"), ("/client", f"Client · {NAME}"), ("/studio", f"Studio · {NAME}"), ("/nowhere", NAME)],
)
def test_a_page_comes_with_its_own_title_and_no_other_name(path: str, title: str) -> None:
    page = made_ours(SHELL, path).partition("<style>")[0]
    assert re.findall("<title>(.*?)</title>", page) == [title]
    assert "by another" not in page


def test_the_title_is_put_in_where_streamlit_has_its_own() -> None:
    shell = (Path(file_util.get_static_dir()) / "index.html").read_text("utf-8")
    assert "<title>Streamlit</title>" in shell
    assert 'href="./favicon.png"' in shell
    shown = re.sub(r"<!--.*?-->|<(style|script).*?</\1>", "", made_ours(shell, "/clients"), flags=re.DOTALL)
    assert f"<title>Clients · {NAME}</title>" in shown
    assert re.findall("Streamlit", re.sub("<[^>]*>", "", shown)) == []  # files of theirs are named so


def test_the_icon_of_the_tab_is_ours() -> None:
    answer = ask(house(), "/favicon.png")
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert answer.body.decode() == look.drawing("icon")


def test_what_is_no_page_is_sent_as_it_is() -> None:
    assert ask(styled(), "/told", accept="text/html").body == b"</body>"
    assert ask(styled(), "/", accept="*/*").body == b"<html><body><p>Here.</p></body></html>"
    assert ask(styled(), "/nowhere", accept="text/html").status == 404


class Shelf:
    """Stands in for the store and the session: one photo that can be erased."""

    def __init__(self, photo: PhotoRecord, content: bytes) -> None:
        self.photos = {photo.id: photo}
        self.content = content

    def find_photo(self, photo_id: str) -> PhotoRecord:
        if photo_id not in self.photos:
            raise NotFound("There is no such photo.")
        return self.photos[photo_id]

    @property
    def pictures(self) -> Shelf:
        return self

    def get(self, name: str) -> bytes:
        assert name == "a" * 64
        return self.content


@pytest.fixture
def shelf(monkeypatch: pytest.MonkeyPatch) -> Shelf:
    from tracker.photo import clean_jpeg, read_photo, screen_jpeg

    pixels = np.full((1200, 900, 3), 120, np.uint8)
    pixels[:, :450] = 60
    content = clean_jpeg(read_photo(screen_jpeg(pixels, 88)))
    corners = ((10.0, 10.0), (110.0, 10.0), (110.0, 110.0), (10.0, 110.0))
    reading = PhotoReading(
        "1",
        CardSummary("grey18", corners, (50.0, 0.0, 0.0), 0.0, 0.0),
        Correction("grey18", (1.0, 1.1, 1.2)),
        (),
        (),
        (),
    )
    marks = Marks("grey18", corners, ((500.0, 100.0), (500.0, 1000.0)), 100.0)
    when = datetime(2026, 3, 1, tzinfo=UTC)
    photo = PhotoRecord(
        new_id(), new_id(), None, BEFORE, when, when, None, "daylight", "a" * 64, (900, 1200), marks, reading
    )
    found = Shelf(photo, content)
    monkeypatch.setattr(session, "find_photo", found.find_photo)
    monkeypatch.setattr(session, "open_store", lambda: found)
    return found


def longest_edge(content: bytes) -> int:
    with Image.open(io.BytesIO(content)) as image:
        assert image.format == "JPEG"
        return max(image.size)


@pytest.mark.parametrize("kind", ["", "balanced/", "measured/"])
def test_pictures_come_in_allowed_sizes(shelf: Shelf, kind: str) -> None:
    photo = next(iter(shelf.photos))
    answer = ask(house(), f"/picture/{photo}/{kind}320.jpg")
    assert [answer.status, answer.headers["content-type"]] == [200, "image/jpeg"]
    assert longest_edge(answer.body) == 320
    assert answer.headers["cache-control"] == "private, no-cache"
    kept = ask(house(), f"/picture/{photo}/{kind}320.jpg", "v=1")
    assert "immutable" in kept.headers["cache-control"]
    assert kept.headers["cache-control"].startswith("private")
    for edge in ("321", "4000", "0"):
        assert ask(house(), f"/picture/{photo}/{kind}{edge}.jpg").status == 404


def test_an_unchanged_picture_is_not_sent_again_and_a_new_reading_is(shelf: Shelf) -> None:
    photo = next(iter(shelf.photos.values()))
    path = f"/picture/{photo.id}/balanced/320.jpg"
    tag = ask(house(), path).headers["etag"]
    assert ask(house(), path, if_none_match=tag).status == 304
    assert photo.reading is not None
    other = replace(photo.reading, correction=Correction("grey18", (2.0, 2.0, 2.0)))
    shelf.photos[photo.id] = replace(photo, reading=other)
    assert ask(house(), path, if_none_match=tag).status == 200


def test_an_erased_photo_is_gone_at_once(shelf: Shelf) -> None:
    photo = next(iter(shelf.photos))
    tag = ask(house(), f"/picture/{photo}/320.jpg").headers["etag"]
    shelf.photos.clear()
    assert ask(house(), f"/picture/{photo}/320.jpg", if_none_match=tag).status == 404


@pytest.mark.parametrize("asked", ["0" * 32, "..", "%2e%2e", "x' OR 1=1"])
def test_an_unknown_photo_is_not_found(shelf: Shelf, asked: str) -> None:
    assert ask(house(), f"/picture/{asked}/320.jpg").status == 404


def test_a_photo_without_a_reading_has_no_balanced_picture(shelf: Shelf) -> None:
    photo = next(iter(shelf.photos.values()))
    shelf.photos[photo.id] = replace(photo, reading=None)
    assert ask(house(), f"/picture/{photo.id}/balanced/320.jpg").status == 404
    assert ask(house(), f"/picture/{photo.id}/320.jpg").status == 200


def test_a_damaged_file_says_nothing(shelf: Shelf) -> None:
    shelf.content = shelf.content[:200]
    answer = ask(house(), f"/picture/{next(iter(shelf.photos))}/320.jpg")
    assert [answer.status, answer.body] == [422, b""]


class TestAligned:
    """The later photo laid on the earlier one, for two photos of one client only."""

    @pytest.fixture
    def pair(self, shelf: Shelf) -> tuple[PhotoRecord, PhotoRecord]:
        earlier = next(iter(shelf.photos.values()))
        assert earlier.marks is not None
        moved = tuple((x + 40.0, y + 30.0) for x, y in earlier.marks.path)
        later = replace(earlier, id=new_id(), marks=replace(earlier.marks, path=moved))
        shelf.photos[later.id] = later
        return earlier, later

    def test_it_comes_in_the_frame_of_the_earlier_photo(
        self, shelf: Shelf, pair: tuple[PhotoRecord, PhotoRecord]
    ) -> None:
        earlier, later = pair
        shelf.photos[earlier.id] = replace(earlier, size=(1200, 1200))
        answer = ask(house(), f"/picture/{later.id}/aligned/320.jpg", f"to={earlier.id}&v=1")
        assert [answer.status, answer.headers["content-type"]] == [200, "image/jpeg"]
        assert "immutable" in answer.headers["cache-control"]
        with Image.open(io.BytesIO(answer.body)) as image:
            assert image.size == (320, 320)

    def test_moved_marks_are_another_picture(self, shelf: Shelf, pair: tuple[PhotoRecord, PhotoRecord]) -> None:
        earlier, later = pair
        path, query = f"/picture/{later.id}/aligned/320.jpg", f"to={earlier.id}"
        tag = ask(house(), path, query).headers["etag"]
        assert ask(house(), path, query, if_none_match=tag).status == 304
        assert earlier.marks is not None
        other = replace(earlier.marks, path=tuple((x, y + 9.0) for x, y in earlier.marks.path))
        shelf.photos[earlier.id] = replace(earlier, marks=other)
        assert ask(house(), path, query, if_none_match=tag).status == 200

    @pytest.mark.parametrize("change", ["another client", "upside down", "no marks", "no reading", "gone"])
    def test_what_cannot_be_laid_on_it_is_not_found(
        self, shelf: Shelf, pair: tuple[PhotoRecord, PhotoRecord], change: str
    ) -> None:
        earlier, later = pair
        assert later.marks is not None
        changed = {
            "another client": replace(later, client_id=new_id()),
            "upside down": replace(later, marks=replace(later.marks, path=later.marks.path[::-1], corners=None)),
            "no marks": replace(later, marks=None),
            "no reading": replace(later, reading=None),
        }
        shelf.photos[later.id] = changed.get(change, later)
        if change == "gone":
            del shelf.photos[earlier.id]
        assert ask(house(), f"/picture/{later.id}/aligned/320.jpg", f"to={earlier.id}").status == 404
        assert ask(house(), f"/picture/{later.id}/aligned/320.jpg").status == 404


class TestOffers:
    """Files for saving, which are made when they are fetched."""

    @pytest.fixture(autouse=True)
    def _none_stand(self) -> Any:
        yield
        offers.withdraw_offers()

    def test_a_file_is_made_when_it_is_fetched_and_kept_by_nobody(self) -> None:
        made: list[str] = []

        def make() -> bytes:
            made.append("once more")
            return f"{len(made)}".encode()

        address = offers.offer("a-token", offers.Offer(make, "record of Zoë.zip", "application/zip"))
        assert made == []
        for number in (b"1", b"2"):
            answer = ask(house(), address)
            assert (answer.status, answer.body, answer.headers["content-type"]) == (200, number, "application/zip")
            assert answer.headers["cache-control"] == "no-store"
        # RFC 8187: the name's octets in UTF-8, those that may not stand there by their number
        assert answer.headers["content-disposition"] == "attachment; filename*=UTF-8''record%20of%20Zo%C3%AB.zip"

    def test_an_erasure_takes_back_every_offer(self) -> None:
        address = offers.offer("a-token", offers.Offer(lambda: b"", "a.svg", "image/svg+xml"))
        offers.withdraw_offers()
        answer = ask(house(), address)
        assert (answer.status, b"not offered any more" in answer.body) == (404, True)

    def test_what_cannot_be_made_any_more_is_said(self) -> None:
        def make() -> bytes:
            raise NotFound("There is no such client.")

        address = offers.offer("a-token", offers.Offer(make, "a.zip", "application/zip"))
        assert ask(house(), address).status == 404

    def test_only_so_many_stand_at_once(self) -> None:
        files = [offers.Offer(lambda: b"", f"{number}.txt", "text/plain") for number in range(offers.MOST + 2)]
        for number, file in enumerate(files):
            offers.offer(str(number), file)
        with pytest.raises(NotFound):
            offers.offered("1")
        assert offers.offered("2") is files[2]


def test_a_photo_that_is_not_kept_is_shown_from_memory_until_it_is_let_go() -> None:
    written = io.BytesIO()
    Image.new("RGB", (2000, 1000), (90, 80, 70)).save(written, "JPEG")
    photo = PassingPhoto(
        new_id(), written.getvalue(), (2000, 1000), Marks("grey18", None, ((0, 0), (9, 9)), 5), None, ()
    )
    assert ask(house(), passing.passing_url(photo)).status == 404
    passing.hold(photo)
    answer = ask(house(), passing.passing_url(photo))
    assert (answer.status, answer.headers["cache-control"]) == (200, "no-store")
    assert longest_edge(answer.body) == 1600
    passing.let_go(photo.id)
    assert ask(house(), passing.passing_url(photo)).status == 404


def test_only_so_many_photos_are_held_in_memory() -> None:
    marks = Marks("grey18", None, ((0, 0), (9, 9)), 5)
    photos = [PassingPhoto(new_id(), b"", (1, 1), marks, None, ()) for _ in range(passing.MOST + 3)]
    for photo in photos:
        passing.hold(photo)
    with pytest.raises(NotFound):
        passing.held(photos[2].id)
    assert passing.held(photos[3].id) is photos[3]
    for photo in photos:
        passing.let_go(photo.id)
