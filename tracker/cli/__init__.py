"""The command line: ``python -m tracker measure | compare | fade | demo``."""

from tracker.cli.command import main

__all__ = ["main"]
