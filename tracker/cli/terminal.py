"""What is said on the terminal: results on standard output, everything else on standard error."""

from __future__ import annotations

import json
import sys
from typing import Any, Self


def say(text: str) -> None:
    """One line of a result; characters missing from the terminal's encoding are replaced."""
    encoding = sys.stdout.encoding or "utf-8"
    print(text.encode(encoding, "replace").decode(encoding), flush=True)


def say_json(document: dict[str, Any]) -> None:
    """A whole result as JSON."""
    print(to_text(document))


def to_text(document: dict[str, Any]) -> str:
    """JSON in ASCII, so that it means the same in any encoding; numbers are finite."""
    return json.dumps(document, indent=2, allow_nan=False)


def complain(name: str, text: str) -> None:
    """What is wrong, in one line on standard error, after its name."""
    line = f"{name}: {printable(text)}"
    encoding = sys.stderr.encoding or "utf-8"
    print(line.encode(encoding, "replace").decode(encoding), file=sys.stderr)


def printable(text: str) -> str:
    """The text in one line, without characters that could control a terminal."""
    return "".join(sign if sign.isprintable() else "?" for sign in " ".join(text.split()))


class Progress:
    """A line on standard error that says how far a command has got; nothing where that is not a terminal.

    Parameters
    ----------
    quiet : bool, True to show nothing on a terminal either
    """

    def __init__(self, quiet: bool = False) -> None:
        self._shown = sys.stderr.isatty() and not quiet

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_raised: object) -> None:
        self._write("")

    def show(self, share: float, text: str) -> None:
        """Replace the line.

        Parameters
        ----------
        share : float, what is done, 0..1
        text : str, what is being done
        """
        self._write(f"{share:4.0%} {printable(text)}")

    def _write(self, line: str) -> None:
        if self._shown:
            # carriage return, then erase to the end of the line (ECMA-48, EL)
            print(f"\r\x1b[K{line}", end="", file=sys.stderr, flush=True)
