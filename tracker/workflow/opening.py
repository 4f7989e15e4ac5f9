"""The gate before everything that holds a whole opened photo: forty uploads at once need no more memory than one."""

from tracker.photo import Turns

OPENING = Turns()
"""One photo at a time in the whole program, in order of asking. Whoever waits holds only the bytes of the file."""
