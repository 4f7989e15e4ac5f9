"""The page as it first reaches the browser: with its title, its style sheet and the script that closes its fields."""

from __future__ import annotations

import re
from html import escape

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tracker.ui import look
from tracker.ui.navigation import PATHS, tab_title

_TITLE = re.compile(r"<title>.*?</title>", re.DOTALL)
_WITHOUT_SCRIPTS = re.compile(r"<noscript>.*?</noscript>", re.DOTALL)


class OursFromTheStart:
    """Puts the title and the style sheet into the page itself: what the script sends comes late.

    Until then the tab would carry Streamlit's name, and a phone would show two menus. The page's own script goes in
    too, as it must be there before the first field. Style and script come at the end of the body, so that the rules win
    over those that Streamlit adds to the head. The page is never cached, because a browser that kept it would keep the
    style sheet of an earlier version.

    Parameters
    ----------
    app : the rest of the server
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, as every ASGI application does."""
        if scope["type"] != "http" or "text/html" not in Headers(scope=scope).get("accept", ""):
            await self._app(scope, receive, send)
            return
        unsaid = {b"if-none-match", b"if-modified-since", b"accept-encoding", b"range"}
        scope = {**scope, "headers": [item for item in scope["headers"] if item[0] not in unsaid]}
        start: Message = {}
        body = b""

        async def send_ours(message: Message) -> None:
            nonlocal start, body
            if message["type"] == "http.response.start":
                start = message
            if not MutableHeaders(scope=start).get("content-type", "").startswith("text/html"):
                await send(message)
            elif message["type"] == "http.response.body":
                body += message.get("body", b"")
                if not message.get("more_body", False):
                    await _send_whole(start, made_ours(body.decode(), scope["path"]).encode(), send)

        await self._app(scope, receive, send_ours)


def made_ours(page: str, path: str) -> str:
    """Streamlit's page as ours.

    Parameters
    ----------
    page : str, HTML
    path : str, under which it was asked for
    """
    title = f"<title>{escape(tab_title(PATHS.get(path, '')))}</title>"
    page = _TITLE.sub(title, page, count=1)
    page = _WITHOUT_SCRIPTS.sub("<noscript><p>This page needs JavaScript.</p></noscript>", page)
    return page.replace("</body>", look.page_style() + look.page_script() + "</body>")


async def _send_whole(start: Message, body: bytes, send: Send) -> None:
    headers = MutableHeaders(scope=start)
    for name in ("etag", "last-modified"):
        if name in headers:
            del headers[name]
    headers["content-length"] = str(len(body))
    await send(start)
    await send({"type": "http.response.body", "body": body})
