"""Who was erased while the program runs. Every open tab hears at once, as it may be showing that client.

Only opaque identifiers are kept and none is sent: a tab hears a number and draws its page again.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Collection
from contextlib import suppress

from starlette.websockets import WebSocket

_erased: list[tuple[frozenset[str], str]] = []
_bells: set[Callable[[], None]] = set()
_one_at_a_time = threading.Lock()


def latest() -> int:
    """How many erasures there were so far."""
    with _one_at_a_time:
        return len(_erased)


def erased_after(number: int) -> frozenset[str]:
    """The identifiers of everything that was erased after that many erasures."""
    with _one_at_a_time:
        return frozenset().union(*(identifiers for identifiers, _ in _erased[number:]))


def tell(identifiers: Collection[str], by: str) -> None:
    """Tell every open tab that there was an erasure; call once it is done, from any thread.

    Parameters
    ----------
    identifiers : of the client and everything that went with them
    by : str, the tab that asked for it, which redraws its page anyway
    """
    with _one_at_a_time:
        _erased.append((frozenset(identifiers), by))
        bells = tuple(_bells)
    for ring in bells:
        with suppress(RuntimeError):  # its server has ended
            ring()


async def follow(socket: WebSocket) -> None:
    """Tell one tab the number of erasures now and after each one, until it is closed."""
    rung = asyncio.Event()
    loop = asyncio.get_running_loop()

    def ring() -> None:
        loop.call_soon_threadsafe(rung.set)

    await socket.accept()
    closed = asyncio.ensure_future(socket.receive())  # all a tab ever says is that it is leaving
    with _one_at_a_time:
        _bells.add(ring)
    try:
        while not closed.done():
            rung.clear()
            await socket.send_json(_news())
            waiting = asyncio.ensure_future(rung.wait())
            await asyncio.wait({closed, waiting}, return_when=asyncio.FIRST_COMPLETED)
            waiting.cancel()
    finally:
        with _one_at_a_time:
            _bells.discard(ring)
        closed.cancel()


def _news() -> dict[str, int | str]:
    with _one_at_a_time:
        return {"number": len(_erased), "by": _erased[-1][1] if _erased else ""}
