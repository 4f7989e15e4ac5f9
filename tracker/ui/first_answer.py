"""The page as it first reaches the browser: with its style sheet in it, and the script that closes its fields."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.datastructures import Headers, MutableHeaders

from tracker.ui import look

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send


class StyledFromTheStart:
    """Puts the style sheet into the page itself: sent by the script it comes late, and a phone shows two menus first.

    With it goes the page's own script, which has to be there before the first field. Both stand at the end of the body,
    so that the rules win over those that Streamlit adds to the head. The page is asked for whole each time, because a
    browser that kept it would keep the style sheet of an earlier version.

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

        async def send_styled(message: Message) -> None:
            nonlocal start, body
            if message["type"] == "http.response.start":
                start = message
            if not MutableHeaders(scope=start).get("content-type", "").startswith("text/html"):
                await send(message)
            elif message["type"] == "http.response.body":
                body += message.get("body", b"")
                if not message.get("more_body", False):
                    ours = (look.page_style() + look.page_script()).encode()
                    await _send_whole(start, body.replace(b"</body>", ours + b"</body>"), send)

        await self._app(scope, receive, send_styled)


async def _send_whole(start: Message, body: bytes, send: Send) -> None:
    headers = MutableHeaders(scope=start)
    for name in ("etag", "last-modified"):
        if name in headers:
            del headers[name]
    headers["content-length"] = str(len(body))
    await send(start)
    await send({"type": "http.response.body", "body": body})
