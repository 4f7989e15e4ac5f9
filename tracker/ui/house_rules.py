"""The outermost layer of the server: refuses what the gatekeeper refuses, and adds the headers of every answer."""

from __future__ import annotations

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tracker.ui.gatekeeper import Asked, refusal
from tracker.ui.navigation import PATHS

# The browser itself refuses to talk to anything but this app. Streamlit's charts compile their formulas ('unsafe-eval')
# and its pages carry their styles in place ('unsafe-inline').
_CONTENT_RULES = (
    "default-src 'self' 'unsafe-inline' 'unsafe-eval' data: blob:; "
    "object-src 'none'; base-uri 'self'; form-action 'self'; frame-ancestors 'self'"
)
_EVERY_ANSWER = {
    "Content-Security-Policy": _CONTENT_RULES,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "SAMEORIGIN",
    "X-Robots-Tag": "noindex, nofollow",
}


class HouseRules:
    """Lets through only what may talk to the app, before Streamlit sees it, and adds the headers of every answer.

    Parameters
    ----------
    app : the rest of the server
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request or socket, as every ASGI application does."""
        if scope["type"] not in {"http", "websocket"}:
            await self._app(scope, receive, send)
            return

        async def send_with_rules(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _EVERY_ANSWER.items():
                    headers[name] = value
            await send(message)

        why_not = refusal(asked_by(scope), PATHS)
        if why_not:
            await _refuse(why_not, scope, receive, send_with_rules)
        else:
            await self._app(scope, receive, send_with_rules)


def asked_by(scope: Scope) -> Asked:
    """What the server knows of a request, for the gatekeeper."""
    headers = Headers(scope=scope)
    return Asked(
        socket=scope["type"] == "websocket",
        secure=scope.get("scheme") in ("https", "wss"),
        port=int((scope.get("server") or ("", 0))[1] or 0),
        peer=str((scope.get("client") or ("", 0))[0]),
        method=scope.get("method", "GET"),
        path=scope["path"],
        hosts=tuple(headers.getlist("host")),
        origins=tuple(headers.getlist("origin")),
        site=headers.get("sec-fetch-site", ""),
        mode=headers.get("sec-fetch-mode", ""),
        dest=headers.get("sec-fetch-dest", ""),
    )


async def _refuse(why_not: str, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    await PlainTextResponse(f"{why_not}\n", 403)(scope, receive, send)
