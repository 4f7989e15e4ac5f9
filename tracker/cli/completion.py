"""``completion``: what a shell reads to complete this program's commands."""

from __future__ import annotations

import argparse
from pathlib import Path

from tracker.cli.files import file_or_input
from tracker.cli.terminal import say


def completion(parser: argparse.ArgumentParser, shell: str) -> int:
    """Print it, made by shtab from the parser itself.

    Parameters
    ----------
    parser : the parser of the whole program
    shell : str, ``bash``, ``zsh`` or ``fish``
    """
    import shtab

    _name_files(parser, shtab.FILE)
    say(shtab.complete(parser, shell))
    return 0


def _name_files(parser: argparse.ArgumentParser, how: object) -> None:
    """Let every word that names a file or folder be completed from the disk."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                _name_files(inner, how)
        elif action.type in (Path, file_or_input):
            action.complete = how  # type: ignore[attr-defined]  # what shtab looks for
