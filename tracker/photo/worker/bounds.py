"""Limits on reading one photo, and how the worker imposes them on itself where the system can.

On every system, time and memory are watched from outside (`watch`). Linux itself also refuses memory and processor time
beyond the limit. On Windows and macOS, memory can overshoot by what a decoder fills between two checks, a fiftieth of a
second apart.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path

_MORE_PROCESSOR_SECONDS = 5


@dataclass(frozen=True, slots=True)
class Bounds:
    """The most that reading one photo may take.

    Attributes
    ----------
    memory : int, bytes that the worker holds, without the code values on their way back, at most 300 MB; by then the
        decoder has freed its own
    seconds : float, from the start of the photo's turn
    """

    memory: int = 1_400_000_000
    seconds: float = 20.0


def leave_no_dump() -> None:
    """Keep a worker that crashes from leaving the photo in a core file."""
    if sys.platform != "win32":
        import resource

        # a limit of one byte also keeps Linux from handing the dump to another program (core(5))
        most = 1 if sys.platform == "linux" else 0
        resource.setrlimit(resource.RLIMIT_CORE, (most, most))


def hold_memory(memory: int) -> None:
    """Make Linux refuse this process more than `memory` bytes from now on.

    Memory already held counts; libraries and memory shared with the keeper do not (RLIMIT_DATA).
    """
    if sys.platform == "linux":
        import resource

        sizes = _sizes()
        most = sizes["VmData:"] + max(memory - sizes["RssAnon:"], 0)
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))


def hold_processor(seconds: float) -> None:
    """End this process after that many more seconds of work on every core, in case nobody is left to watch it."""
    if sys.platform != "win32":
        import resource

        used = resource.getrusage(resource.RUSAGE_SELF)
        more = seconds * (os.cpu_count() or 1) + _MORE_PROCESSOR_SECONDS
        hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
        soft = round(used.ru_utime + used.ru_stime + more)
        resource.setrlimit(resource.RLIMIT_CPU, (soft if hard < 0 else min(soft, hard), hard))


def peak_memory() -> int:
    """The most bytes that this process ever held; 0 where the system does not say."""
    if sys.platform == "linux":  # the other number starts at what the keeper held when it started this process
        return _sizes()["VmHWM:"]
    if sys.platform == "win32":
        return 0
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def _sizes() -> dict[str, int]:
    """Bytes of this process by name, such as ``VmData:`` for what is laid out (proc(5), status)."""
    lines = [line.split() for line in Path("/proc/self/status").read_text("ascii").splitlines()]
    return {line[0]: 1024 * int(line[1]) for line in lines if line[-1] == "kB"}
