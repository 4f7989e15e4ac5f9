"""The command line: ``measured-hair`` and ``python -m tracker`` are the same program."""

from tracker.cli.command import Command, main

__all__ = ["Command", "main"]
