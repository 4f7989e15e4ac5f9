"""Hands photos to the worker, one at a time, and replaces it when it ends or exceeds its limits."""

from __future__ import annotations

import logging
import os
import threading

from tracker.errors import PhotoError, ReaderFailed, TooCostly
from tracker.photo.model import Limits, Photo
from tracker.photo.read import check_file_size
from tracker.photo.turns import Turns
from tracker.photo.worker.bounds import Bounds
from tracker.photo.worker.handing import CAN_SHARE
from tracker.photo.worker.started import Started
from tracker.photo.worker.watch import Watch

_log = logging.getLogger("tracker.photo")


class PhotoWorker:
    """A process that reads photos, and the queue before it.

    Parameters
    ----------
    bounds : Bounds, limits on reading one photo
    share_memory : bool, whether code values come back in shared memory; else through a pipe

    Attributes
    ----------
    peak_memory : int, the most bytes that the process ever held, as it said last; 0 where it cannot tell
    """

    def __init__(self, bounds: Bounds = Bounds(), *, share_memory: bool = CAN_SHARE) -> None:  # noqa: B008 - frozen
        self.peak_memory = 0
        self._bounds, self._share_memory = bounds, share_memory
        self._turns = Turns()
        self._process: Started | None = None

    @property
    def pid(self) -> int | None:
        """The process in use; None where there is none."""
        return self._process.popen.pid if self._process else None

    def start(self) -> None:
        """Start the process if it is not running, without waiting until it is ready."""
        with self._turns:
            self._sound()

    def close(self) -> None:
        """End the process; the next photo starts another one."""
        with self._turns:
            self._drop()

    def read(self, content: bytes, limits: Limits = Limits()) -> Photo:  # noqa: B008 - frozen
        """Read a photo as `read_photo` does; other threads wait their turn, in the order of asking."""
        check_file_size(content, limits)
        with self._turns:
            found = self._ask(content, limits, again=True)
        if isinstance(found, PhotoError):
            raise found
        return found

    def _ask(self, content: bytes, limits: Limits, *, again: bool) -> Photo | PhotoError:
        process = self._sound()
        if not process.wait_until_ready():
            self._drop()
            return ReaderFailed("The part of the program that reads photos did not start.", "Start the program again.")
        with Watch(process.popen, self._bounds) as watch:
            found = process.ask(content, limits, self._bounds.seconds)
        self.peak_memory = process.peak_memory
        if watch.broken or found is None:
            _log.warning("the photo worker is replaced: %s", watch.broken or "it ended by itself")
            self._drop()
            self._sound()  # ready by the time that the next photo comes
            if again and not watch.broken and not process.begun:
                return self._ask(content, limits, again=False)  # it ended while idle, which is not the photo's fault
        return _why(watch.broken, self._bounds) if found is None else found

    def _sound(self) -> Started:
        """The process, or a new one if it has ended or does not free its memory."""
        if self._process is not None and (self._process.popen.poll() is not None or self._process.has_grown()):
            self._drop()
        if self._process is None:
            self._process = Started(self._bounds, self._share_memory)
        return self._process

    def _drop(self) -> None:
        if self._process is not None:
            self._process.end()
            self._process = None


_choosing = threading.Lock()
_shared: PhotoWorker | None = None
"""One for the whole program: it is the queue that keeps many uploads from taking memory at once."""


def read_photo(content: bytes, limits: Limits = Limits()) -> Photo:  # noqa: B008 - frozen
    """Read a photo: JPEG, HEIC, HEIF, AVIF, PNG, TIFF, WebP or a camera's raw file, recognised by content.

    Everything is decoded in a separate process, one photo at a time, within `Bounds`.

    Parameters
    ----------
    content : bytes of the file, not trusted in any way
    limits : Limits, checked before anything is decoded

    Returns
    -------
    Photo, as `decode_photo` makes it

    Raises
    ------
    UnsupportedFormat, TooLarge, Unreadable : as `decode_photo` does
    TooCostly : it takes more memory or time than `Bounds`; the process was ended
    ReaderFailed : the process ended without an answer, or cannot be started
    """
    return _worker().read(content, limits)


def start_reader() -> None:
    """Start the process that reads photos ahead of the first one, without waiting for it."""
    _worker().start()


def _worker() -> PhotoWorker:
    global _shared
    with _choosing:
        if _shared is None:
            _shared = PhotoWorker()
        return _shared


def _forget() -> None:
    """For a forked process: the worker answers its parent, not the fork."""
    global _shared, _choosing
    _choosing = threading.Lock()
    _shared = None


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_forget)


def _why(broken: str, bounds: Bounds) -> PhotoError:
    advice = "Save it as JPEG in the camera’s or phone’s own photo program, and hand that over."
    if broken == "memory":
        limit = bounds.memory / 1e6
        return TooCostly(f"Opening the photo takes more than {limit:.0f} MB of memory.", advice, limit=limit, unit="MB")
    if broken == "seconds":
        limit = bounds.seconds
        return TooCostly(f"Opening the photo takes longer than {limit:g} s.", advice, limit=limit, unit="s")
    return ReaderFailed("Opening the photo was broken off in the middle.", f"Try again. If that fails: {advice}")
