"""Hands code values from the worker to the keeper.

On Linux they go in anonymous memory: the worker fills it, the keeper seals it and maps it read-only. Nothing is copied
on arrival, nothing appears in ``/dev/shm``, and whichever process is killed, the system frees the memory with the last
one that holds it. Elsewhere they go through the pipe of the answer.
"""

from __future__ import annotations

import math
import mmap
import os
import socket
import sys
from collections.abc import Sequence
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

CAN_SHARE = sys.platform == "linux"

_TYPES = {8: np.uint8, 16: np.uint16}


def share(encoded: NDArray[Any], to: socket.socket) -> None:
    """Put code values into memory that the keeper can map."""
    place = os.memfd_create("photo", os.MFD_CLOEXEC | os.MFD_ALLOW_SEALING)
    try:
        rest = flat(encoded)
        while rest:
            rest = rest[os.write(place, rest) :]
        socket.send_fds(to, [b"\0"], [place])
    finally:
        os.close(place)


def take_shared(shape: Sequence[int], bits: int, sent_by: socket.socket) -> NDArray[Any]:
    """The code values that the worker shared, read-only; the memory is freed with the array.

    Raises
    ------
    EOFError : the worker has ended
    ValueError : it shared something else
    """
    _, places, _, _ = socket.recv_fds(sent_by, 1, 1)
    if not places:
        raise EOFError
    try:
        return _mapped(places[0], shape, bits)
    finally:
        os.close(places[0])


def take_piped(shape: Sequence[int], bits: int, stream: IO[bytes]) -> NDArray[Any]:
    """The code values that follow in the pipe, read-only.

    Raises
    ------
    EOFError : the worker has ended
    """
    encoded: NDArray[Any] = np.empty(shape, _TYPES[bits])
    rest = flat(encoded)
    while rest:
        read = stream.readinto(rest)  # type: ignore[attr-defined]
        if not read:
            raise EOFError
        rest = rest[read:]
    encoded.setflags(write=False)
    return encoded


def flat(encoded: NDArray[Any]) -> memoryview:
    """The bytes of code values, copied only if they are not contiguous."""
    return np.ascontiguousarray(encoded).data.cast("B")


def _mapped(place: int, shape: Sequence[int], bits: int) -> NDArray[Any]:
    import fcntl

    # the worker can neither change nor shorten what the keeper reads from here on
    fcntl.fcntl(place, fcntl.F_ADD_SEALS, fcntl.F_SEAL_WRITE | fcntl.F_SEAL_SHRINK | fcntl.F_SEAL_GROW)
    size = math.prod(shape) * bits // 8
    if os.fstat(place).st_size != size:
        raise ValueError(f"{os.fstat(place).st_size} bytes for a photo of {size}")
    held = mmap.mmap(place, size, flags=mmap.MAP_PRIVATE | mmap.MAP_POPULATE, prot=mmap.PROT_READ)
    return np.frombuffer(held, _TYPES[bits]).reshape(shape)
