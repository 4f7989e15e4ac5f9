"""One at a time, first come, first served."""

from __future__ import annotations

import threading
from collections import deque


class Turns:
    """A lock handed on in the order of asking; the plain one promises no order.

    A waiting thread holds only what it brought along. A thread that has its turn must not ask for another.
    """

    def __init__(self) -> None:
        self._changing = threading.Lock()
        self._taken = False
        self._waiting: deque[threading.Event] = deque()

    def __enter__(self) -> None:
        with self._changing:
            if not self._taken:
                self._taken = True
                return
            mine = threading.Event()
            self._waiting.append(mine)
        try:
            mine.wait()
        except BaseException:  # interrupted while waiting: the turn must not go to nobody
            with self._changing:
                handed_over = mine.is_set()
                if not handed_over:
                    self._waiting.remove(mine)
            if handed_over:
                self._hand_on()
            raise

    def __exit__(self, *_raised: object) -> None:
        self._hand_on()

    def _hand_on(self) -> None:
        with self._changing:
            if self._waiting:
                self._waiting.popleft().set()
            else:
                self._taken = False
