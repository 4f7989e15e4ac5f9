"""The worker: waits for a photo, decodes it, answers, and ends with the program that started it."""

from __future__ import annotations

import contextlib
import logging
import os
import queue
import signal
import socket
import sys
import threading
from importlib import import_module
from typing import IO, Any

from PIL import Image

from tracker.errors import PhotoError, Unreadable
from tracker.photo.model import Limits, Photo
from tracker.photo.raw import can_read_raw
from tracker.photo.read import decode_photo
from tracker.photo.worker.bounds import hold_memory, hold_processor, leave_no_dump, peak_memory
from tracker.photo.worker.handing import flat, share
from tracker.photo.worker.messages import error_to_json, exactly, photo_to_json, receive, send

_log = logging.getLogger("tracker.photo")


def main() -> None:
    """Serve the keeper: ``sys.argv`` holds the limit of memory, and where to hand over what is shared."""
    leave_no_dump()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C in a terminal is meant for the keeper, which ends us
    requests, answers = _own_pipes()
    memory, *shared = map(int, sys.argv[1:])
    sharing = socket.socket(fileno=shared[0]) if shared else None
    _load_decoders()
    hold_memory(memory)
    send(answers, {"ready": True})
    waiting: queue.SimpleQueue[tuple[dict[str, Any], bytes]] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(requests, waiting), daemon=True).start()
    while True:
        asked, content = waiting.get()
        send(answers, {"begun": True})  # from here on, if the process ends, the photo is to blame
        hold_processor(asked["seconds"])
        _answer(_decoded(content, Limits(**asked["limits"])), answers, sharing)


def _own_pipes() -> tuple[IO[bytes], IO[bytes]]:
    """The pipes to the keeper, out of reach of whatever a library prints."""
    requests, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 0)
    os.dup2(nowhere, 1)
    os.close(nowhere)
    return requests, answers


def _load_decoders() -> None:
    """Load the decoders, so that the first photo does not wait for them."""
    Image.init()
    for name in ("pillow_heif", *(["rawpy"] if can_read_raw() else [])):
        with contextlib.suppress(ImportError):
            import_module(name)


def _listen(requests: IO[bytes], waiting: queue.SimpleQueue[tuple[dict[str, Any], bytes]]) -> None:
    """Take in requests; end at once if the keeper has ended, whatever is being decoded."""
    try:
        while True:
            asked = dict(receive(requests))
            waiting.put((asked, exactly(requests, asked["body"])))
    except (OSError, EOFError, ValueError):
        os._exit(0)


def _decoded(content: bytes, limits: Limits) -> Photo | PhotoError:
    try:
        return decode_photo(content, limits)
    except PhotoError as error:
        return error
    except Exception as error:  # a bug of ours must not end in silence
        _log.warning("reading a photo failed: %s", type(error).__name__)
        return Unreadable("The photo cannot be read.", "Save it as JPEG and try again.")


def _answer(found: Photo | PhotoError, answers: IO[bytes], sharing: socket.socket | None) -> None:
    if isinstance(found, PhotoError):
        send(answers, {"error": error_to_json(found), "peak": peak_memory()})
    elif sharing is None:
        send(answers, {"photo": photo_to_json(found), "peak": peak_memory()}, flat(found.encoded))
    else:
        send(answers, {"photo": photo_to_json(found), "peak": peak_memory()})
        share(found.encoded, sharing)
