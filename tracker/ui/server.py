"""The app's own routes: pictures of kept photos in allowed sizes, and files for saving.

Pictures go by address, so that the browser can fetch them late and keep them; they never travel inside the page.
Nothing from the record is kept in memory here: an erased photo goes with its record.
"""

from __future__ import annotations

import hashlib
import logging
import threading
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from starlette.formparsers import MultiPartParser
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Route, WebSocketRoute

from tracker.compare.alignment import align, aligned_picture
from tracker.errors import NotFound, TrackerError
from tracker.photo import read_kept, scaled_jpeg, screen_jpeg
from tracker.record.records import PhotoRecord
from tracker.show.overlay import balanced_picture, measured_picture
from tracker.ui import session
from tracker.ui.erasures import follow
from tracker.ui.first_answer import OursFromTheStart
from tracker.ui.house_rules import HouseRules
from tracker.ui.look import drawing
from tracker.ui.offers import offered
from tracker.ui.passing import held
from tracker.workflow.which_studio import studio_sign

EDGES = (320, 800, 1600)
"""Longest edges in which pictures are served, pixels."""

_QUALITY = 88
_ONE_DAY = 86_400
_AT_ONCE = 2
"""Most pictures made at the same time: a phone's photo takes some hundred megabytes while it is open."""

_log = logging.getLogger("tracker.ui")


def routes() -> list[BaseRoute]:
    """All of them, for `st.App`."""
    pictures = Pictures()
    return [
        Route("/which-studio", which_studio),
        Route("/favicon.png", icon),
        Route("/passing/{photo_id}.jpg", passing_picture),
        Route("/set-aside/{name}.jpg", set_aside_picture),
        Route("/forgotten/{once}", forgotten),
        Route("/download/{token}", offered_file),
        WebSocketRoute("/erasures", follow),
        Route("/picture/{photo_id}/{edge:int}.jpg", pictures.plain),
        Route("/picture/{photo_id}/balanced/{edge:int}.jpg", pictures.balanced),
        Route("/picture/{photo_id}/measured/{edge:int}.jpg", pictures.measured),
        Route("/picture/{photo_id}/aligned/{edge:int}.jpg", pictures.aligned),
    ]


def which_studio(_: Request) -> Response:
    """The sign of the studio that is served here, for a program that is started again."""
    try:
        return PlainTextResponse(studio_sign(), headers={"Cache-Control": "no-store"})
    except TrackerError:
        return Response(status_code=404)


def icon(_: Request) -> Response:
    """Our own drawing for the tab, at the address where Streamlit has its own and its page looks for one."""
    return Response(drawing("icon"), media_type="image/svg+xml", headers={"Cache-Control": f"max-age={_ONE_DAY}"})


def passing_picture(request: Request) -> Response:
    """A photo that is being marked and will not be kept: from memory, and no browser may keep it either."""
    try:
        content = scaled_jpeg(held(request.path_params["photo_id"]).content, max(EDGES), _QUALITY)
    except TrackerError:
        return Response(status_code=404)
    return Response(content, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


def set_aside_picture(request: Request) -> Response:
    """A picture that no record names, small; no browser may keep it, because an erasure removes it."""
    try:
        content = scaled_jpeg(session.open_store().set_aside.picture(request.path_params["name"]), min(EDGES), _QUALITY)
    except NotFound:
        return Response(status_code=404)
    except TrackerError as error:
        _log.warning("no picture of those set aside: %s", error.code)
        return Response(status_code=422)
    return Response(content, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


def offered_file(request: Request) -> Response:
    """A file that a page offers, made now (`parts.offer`); neither this program nor the browser's cache keeps it."""
    try:
        file = offered(request.path_params["token"])
        content = file.make()
    except TrackerError as error:
        return PlainTextResponse(
            f"{error.what} {error.advice}".strip() + "\n", 404 if isinstance(error, NotFound) else 422
        )
    headers = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(file.name, safe='')}"}
    return Response(content, media_type=file.mime, headers={**headers, "Cache-Control": "no-store"})


def forgotten(_: Request) -> Response:
    """Asks the browser to drop every picture that it kept of this app (W3C Clear Site Data); asked after an erasure."""
    return Response(status_code=204, headers={"Clear-Site-Data": '"cache"', "Cache-Control": "no-store"})


def keep_uploads_in_memory() -> None:
    """Have no upload pass through the computer's folder for temporary files; 0 means whatever its size.

    Its size is limited as it comes in, by ``server.maxUploadSize``.
    """
    MultiPartParser.spool_max_size = 0


def middleware() -> list[Middleware]:
    """What stands between a browser and the pages, outermost first, for `st.App`."""
    return [Middleware(HouseRules), Middleware(OursFromTheStart)]


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


def _find(photo_id: str) -> PhotoRecord:
    return session.find_photo(photo_id)


def _content(photo: PhotoRecord) -> bytes:
    return session.open_store().pictures.get(photo.file)


def _plain(photo: PhotoRecord, edge: int) -> bytes:
    return scaled_jpeg(_content(photo), edge, _QUALITY)


def _balanced(photo: PhotoRecord, edge: int) -> bytes:
    if photo.reading is None:
        raise NotFound("This photo has no reading.")
    return screen_jpeg(balanced_picture(read_kept(_content(photo)), photo.reading.correction, edge), _QUALITY)


def _aligned(photo: PhotoRecord, earlier: PhotoRecord, edge: int) -> bytes:
    if photo.client_id != earlier.client_id or photo.reading is None or photo.marks is None or earlier.marks is None:
        raise NotFound("These two photos cannot be laid over each other.")
    how = align(earlier.marks, photo.marks)
    if how is None:
        raise NotFound("These two photos cannot be laid over each other.")
    picture = balanced_picture(read_kept(_content(photo)), photo.reading.correction, edge)
    return screen_jpeg(aligned_picture(picture, photo.size, earlier.size, how, edge), _QUALITY)


def _measured(photo: PhotoRecord, edge: int) -> bytes:
    if photo.reading is None or photo.marks is None:
        raise NotFound("This photo has no reading.")
    return screen_jpeg(measured_picture(read_kept(_content(photo)), photo.marks, photo.reading, edge), _QUALITY)


def _tag(photo: PhotoRecord, kind: str, edge: int, beside: PhotoRecord | None = None) -> str:
    """A name for exactly this picture: different pixels, different name."""
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
