"""One process of the worker, from its start to its end."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import weakref
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import IO, cast

import tracker
from tracker.errors import PhotoError
from tracker.photo.model import Limits, Photo
from tracker.photo.worker.bounds import Bounds
from tracker.photo.worker.handing import take_piped, take_shared
from tracker.photo.worker.messages import error_from_json, photo_from_json, receive, send
from tracker.photo.worker.watch import Watch, held_memory

_START_SECONDS = 60.0
_END_SECONDS = 1.0
_MOST_LEFT_OVER = 200 * 1024**2
"""Bytes more than a fresh worker holds: one that keeps more between two photos is replaced, or leaks would add up."""

# from the answer of a process that broke off, or that hostile bytes have taken over
_BROKEN_OFF = (OSError, EOFError, ValueError, LookupError, TypeError)


class Started:
    """A started process; it ends with `end`, or at the latest with this program.

    Parameters
    ----------
    bounds : Bounds that it holds itself to
    share_memory : bool, whether it hands code values over in shared memory

    Attributes
    ----------
    begun : bool, whether it confirmed that it had taken the last photo
    """

    def __init__(self, bounds: Bounds, share_memory: bool) -> None:
        ours, theirs = socket.socketpair() if share_memory else (None, None)
        handed = [theirs.fileno()] if theirs is not None else []
        self.popen = subprocess.Popen(  # noqa: S603 - nothing in it comes from outside
            [sys.executable, "-P", "-m", "tracker.photo.worker", *map(str, [bounds.memory, *handed])],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=_surroundings(),
            pass_fds=handed,  # no other descriptor: not the database, not a socket of the server
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
        if theirs is not None:
            theirs.close()
        self.begun, self.peak_memory = False, 0
        self.end: Callable[[], object] = weakref.finalize(self, _end, self.popen, ours, os.getpid())
        self._bounds, self._shared = bounds, ours
        self._requests, self._answers = cast(IO[bytes], self.popen.stdin), cast(IO[bytes], self.popen.stdout)
        self._rested = 0  # bytes that it holds when idle, once it is ready

    def wait_until_ready(self) -> bool:
        """True once the process has loaded its decoders; False where it ended instead."""
        if not self._rested:
            patient = Bounds(self._bounds.memory, _START_SECONDS)
            with contextlib.suppress(*_BROKEN_OFF), Watch(self.popen, patient):
                receive(self._answers)
                self._rested = held_memory(self.popen.pid)
        return self._rested > 0

    def ask(self, content: bytes, limits: Limits, seconds: float) -> Photo | PhotoError | None:
        """The process's answer to a photo; None where it ended without one."""
        self.begun = False
        try:
            send(self._requests, {"limits": asdict(limits), "seconds": seconds}, content)
            self.begun = bool(receive(self._answers)["begun"])
            answer = receive(self._answers)
            self.peak_memory = int(answer["peak"])
            if "error" in answer:
                return error_from_json(answer["error"])
            told = answer["photo"]
            if self._shared is not None:
                return photo_from_json(told, take_shared(told["shape"], told["bits"], self._shared))
            return photo_from_json(told, take_piped(told["shape"], told["bits"], self._answers))
        except _BROKEN_OFF:
            return None

    def has_grown(self) -> bool:
        """Whether the idle process holds far more memory than when it was fresh."""
        return self._rested > 0 and held_memory(self.popen.pid) > self._rested + _MOST_LEFT_OVER


def _surroundings() -> dict[str, str]:
    """The environment of the process: this same package, and large pages for large pictures."""
    root = str(Path(tracker.__file__).parents[1])
    found = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    # Fresh pages take a fifth of the time of decoding; glibc asks for large ones when told to (glibc manual, tunables).
    return {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(found),
        "GLIBC_TUNABLES": "glibc.malloc.hugetlb=1",
        "OPENBLAS_NUM_THREADS": "1",
    }


def _end(popen: subprocess.Popen[bytes], shared: socket.socket | None, owner: int) -> None:
    """Close the pipes, which makes the process end by itself; kill it if it does not."""
    for stream in (popen.stdin, popen.stdout, shared):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()
    if os.getpid() != owner:  # a fork holds a copy of the pipes, but has no such child
        return
    try:
        popen.wait(_END_SECONDS)
    except subprocess.TimeoutExpired:
        popen.kill()
        popen.wait()
