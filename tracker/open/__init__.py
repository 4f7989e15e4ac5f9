"""``open``: the way into the pages for whoever has installed the program."""

from tracker.open.command import OPEN

__all__ = ["OPEN"]
