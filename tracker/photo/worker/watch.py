"""Watches a process from outside, and kills it when it exceeds its limits."""

from __future__ import annotations

import subprocess
import threading
import time
from typing import Self

import psutil

from tracker.photo.worker.bounds import Bounds

_BETWEEN_LOOKS = 0.02


class Watch(threading.Thread):
    """Kills a process that passes its bounds while the context is open.

    Attributes
    ----------
    broken : str, ``"seconds"`` or ``"memory"`` where the process was killed for it; else empty
    """

    def __init__(self, process: subprocess.Popen[bytes], bounds: Bounds) -> None:
        super().__init__(name="photo watch", daemon=True)
        self.broken = ""
        self._process, self._bounds = process, bounds
        self._done = threading.Event()

    def run(self) -> None:
        """Check again and again until the context closes."""
        until = time.monotonic() + self._bounds.seconds
        while not self._done.wait(_BETWEEN_LOOKS):
            if held_memory(self._process.pid) > self._bounds.memory:
                self.broken = "memory"
            elif time.monotonic() > until:
                self.broken = "seconds"
            else:
                continue
            self._process.kill()
            return

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_raised: object) -> None:
        self._done.set()
        self.join()


def held_memory(pid: int) -> int:
    """Bytes that a process holds in memory; 0 where it has ended."""
    try:
        return int(psutil.Process(pid).memory_info().rss)
    except psutil.Error:
        return 0
