"""The app's own routes: pictures of kept photos in allowed sizes, and the rules that every answer follows.

Pictures go by address, so that the browser can fetch them late and keep them; they never travel inside the page.
Nothing of the record is kept in memory here: an erased photo is gone with its record.
"""

from __future__ import annotations

import hashlib
import ipaddress
import logging
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import streamlit as st
from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware import Middleware
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from tracker.errors import NotFound, TrackerError
from tracker.ui.first_answer import StyledFromTheStart

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from starlette.requests import Request
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from tracker.records import PhotoRecord

EDGES = (320, 800, 1600)
"""Longest edges in which pictures are served, pixels."""

_QUALITY = 88
_ONE_DAY = 86_400
_AT_ONCE = 2
"""Pictures that are made at the same time: a phone's photo takes some hundred megabytes while it is opened."""

_log = logging.getLogger("tracker.ui")

# The browser itself refuses to talk to anything but this app. Streamlit's charts compile their formulas ('unsafe-eval')
# and its pages carry their styles in place ('unsafe-inline').
_CONTENT_RULES = (
    "default-src 'self' 'unsafe-inline' 'unsafe-eval' data: blob:; "
    "object-src 'none'; base-uri 'self'; form-action 'self'; frame-ancestors 'self'"
)
_EVERY_ANSWER = {
    "Content-Security-Policy": _CONTENT_RULES,
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "SAMEORIGIN",
    "X-Robots-Tag": "noindex, nofollow",
}


def routes() -> list[Route]:
    """The picture routes, for `st.App`."""
    pictures = Pictures()
    return [
        Route("/passing/{photo_id}.jpg", passing_picture),
        Route("/forgotten/{once}", forgotten),
        Route("/picture/{photo_id}/{edge:int}.jpg", pictures.plain),
        Route("/picture/{photo_id}/balanced/{edge:int}.jpg", pictures.balanced),
        Route("/picture/{photo_id}/measured/{edge:int}.jpg", pictures.measured),
        Route("/picture/{photo_id}/aligned/{edge:int}.jpg", pictures.aligned),
    ]


def passing_picture(request: Request) -> Response:
    """A photo that is being marked and will not be kept: from memory, and no browser may keep it either."""
    from tracker.photo import scaled_jpeg
    from tracker.ui.passing import held

    try:
        content = scaled_jpeg(held(request.path_params["photo_id"]).content, max(EDGES), _QUALITY)
    except TrackerError:
        return Response(status_code=404)
    return Response(content, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


def forgotten(_: Request) -> Response:
    """Asks the browser to drop every picture that it kept of this app (W3C Clear Site Data); asked after an erasure."""
    return Response(status_code=204, headers={"Clear-Site-Data": '"cache"', "Cache-Control": "no-store"})


def middleware() -> list[Middleware]:
    """The rules for every answer, for `st.App`."""
    return [Middleware(HouseRules), Middleware(StyledFromTheStart)]


class Pictures:
    """Answers for ``/picture/...``: the record is looked up each time, so what was erased is not found."""

    def __init__(self) -> None:
        self._making = threading.BoundedSemaphore(_AT_ONCE)

    def plain(self, request: Request) -> Response:
        """The photo as it was taken."""
        return self._answer(request, "plain", _plain)

    def balanced(self, request: Request) -> Response:
        """The photo in the same light as every other balanced photo."""
        return self._answer(request, "balanced", _balanced)

    def measured(self, request: Request) -> Response:
        """The photo with what was measured drawn on it."""
        return self._answer(request, "measured", _measured)

    def aligned(self, request: Request) -> Response:
        """The balanced photo with its hair brought onto that of the photo named by ``to``, of the same client."""
        try:
            earlier = _find(request.query_params.get("to", ""))
        except TrackerError:
            return Response(status_code=404)
        return self._answer(request, "aligned", lambda photo, edge: _aligned(photo, earlier, edge), earlier)

    def _answer(
        self,
        request: Request,
        kind: str,
        make: Callable[[PhotoRecord, int], bytes],
        beside: PhotoRecord | None = None,
    ) -> Response:
        edge = request.path_params["edge"]
        if edge not in EDGES:
            return Response(status_code=404)
        try:
            photo = _find(request.path_params["photo_id"])
            headers = {"ETag": _tag(photo, kind, edge, beside), "Cache-Control": _keeping(request)}
            if headers["ETag"] in request.headers.get("if-none-match", ""):
                return Response(status_code=304, headers=headers)
            with self._making:
                content = make(photo, edge)
        except NotFound:
            return Response(status_code=404)
        except TrackerError as error:
            _log.warning("no %s picture: %s", kind, error.code)
            return Response(status_code=422)
        return Response(content, media_type="image/jpeg", headers=headers)


class HouseRules:
    """Refuses strangers' host names and adds the headers of every answer.

    Parameters
    ----------
    app : the rest of the server
    local_only : function, True while only this computer may ask
    """

    def __init__(self, app: ASGIApp, local_only: Callable[[], bool] | None = None) -> None:
        self._app = app
        self._local_only = local_only or serves_this_computer_only

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, as every ASGI application does."""
        if scope["type"] not in {"http", "websocket"}:
            await self._app(scope, receive, send)
            return

        async def send_with_rules(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _EVERY_ANSWER.items():
                    headers[name] = value
            await send(message)

        if self._local_only() and not is_this_computer(Headers(scope=scope).get("host", "")):
            await _refuse(scope, receive, send_with_rules)
            return
        await self._app(scope, receive, send_with_rules)


def serves_this_computer_only() -> bool:
    """True while the configured address is a loopback one, as it is shipped."""
    return is_this_computer(str(st.get_option("server.address") or ""))


def is_this_computer(host: str) -> bool:
    """True for ``localhost`` and loopback addresses, with or without a port.

    Another name that leads here is how a foreign web page would reach the app through the owner's browser.
    """
    try:
        name = urlsplit(f"//{host}").hostname or ""
        return name == "localhost" or ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


async def _refuse(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    await PlainTextResponse("This app answers only on the computer it runs on.\n", 403)(scope, receive, send)


def _find(photo_id: str) -> PhotoRecord:
    from tracker.ui import session

    return session.find_photo(photo_id)


def _content(photo: PhotoRecord) -> bytes:
    from tracker.ui import session

    return session.open_store().picture(photo.file)


def _plain(photo: PhotoRecord, edge: int) -> bytes:
    from tracker.photo import scaled_jpeg

    return scaled_jpeg(_content(photo), edge, _QUALITY)


def _balanced(photo: PhotoRecord, edge: int) -> bytes:
    from tracker.overlay import balanced_picture
    from tracker.photo import read_kept

    if photo.reading is None:
        raise NotFound("This photo has no reading.")
    return _jpeg(balanced_picture(read_kept(_content(photo)), photo.reading.correction, edge))


def _aligned(photo: PhotoRecord, earlier: PhotoRecord, edge: int) -> bytes:
    from tracker.alignment import align, aligned_picture
    from tracker.overlay import balanced_picture
    from tracker.photo import read_kept

    if photo.client_id != earlier.client_id or photo.reading is None or photo.marks is None or earlier.marks is None:
        raise NotFound("These two photos cannot be laid on each other.")
    how = align(earlier.marks, photo.marks)
    if how is None:
        raise NotFound("These two photos cannot be laid on each other.")
    picture = balanced_picture(read_kept(_content(photo)), photo.reading.correction, edge)
    return _jpeg(aligned_picture(picture, photo.size, earlier.size, how, edge))


def _measured(photo: PhotoRecord, edge: int) -> bytes:
    from tracker.overlay import measured_picture
    from tracker.photo import read_kept

    if photo.reading is None or photo.marks is None:
        raise NotFound("This photo has no reading.")
    return _jpeg(measured_picture(read_kept(_content(photo)), photo.marks, photo.reading, edge))


def _jpeg(pixels: NDArray[np.uint8]) -> bytes:
    from tracker.photo import screen_jpeg

    return screen_jpeg(pixels, _QUALITY)


def _tag(photo: PhotoRecord, kind: str, edge: int, beside: PhotoRecord | None = None) -> str:
    """A name for exactly this picture: other pixels, another name."""
    seen: tuple[Any, ...] = (photo.id, photo.file, kind, edge, _QUALITY)
    if kind == "balanced":
        seen += (photo.reading and photo.reading.correction,)
    elif beside is not None:
        seen += (photo.reading and photo.reading.correction, photo.marks, beside.marks, beside.size)
    elif kind == "measured":
        seen += (photo.marks, photo.reading)
    return f'"{hashlib.sha256(repr(seen).encode()).hexdigest()[:32]}"'


def _keeping(request: Request) -> str:
    """A versioned address never changes what it shows; any other is asked for again, mostly to hear "unchanged"."""
    if "v" in request.query_params:
        return f"private, max-age={_ONE_DAY}, immutable"
    return "private, no-cache"
