"""What can be typed, and how each command ends.

Status 0: done. 1: done, but at least one photo or pair has no number. 2: bad input, said in one line on standard error.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from tracker import METHOD_VERSION, NAME, __version__
from tracker.cli.files import file_or_input
from tracker.cli.terminal import complain
from tracker.errors import TrackerError

PROGRAM = "measured-hair"
BAD_INPUT = 2
INTERRUPTED = 130  # 128 plus the number of the signal, as shells do

_MARKS = """\
MARKS is {"photos": [{"photo": "a.jpg", "card": {"kind": "grey18", "corners": [[x, y], [x, y], [x, y], [x, y]]},
"path": [[x, y], ...], "hair": "whole", "light": "daylight"}]}. Points are pixels of the upright photo; photo paths
are relative to the file, or to the current folder where MARKS comes from standard input. Kinds of card: grey18,
steps2, steps3, markers4, chart24. Corners run clockwise from the card's own top left; without them the card is
searched for.
The path runs from root to tip. "hair": "whole" finds the hair and reads its whole width; "outline": [[x, y], ...]
in its place says where it is, and "width": pixels reads a ribbon along the path instead. "card" may also have
"reflectance" (of its grey, 0 to 1), "dark" (the same of the dark part of a two-part card or a strip), and "size_mm":
[width, height] for lengths; "light" may be left out.
"""


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line."""

    def error(self, message: str) -> NoReturn:
        complain("usage", f"{message}. See {self.prog} --help.")
        raise SystemExit(BAD_INPUT)


@dataclass(frozen=True, slots=True)
class Command:
    """A command from another room.

    Attributes
    ----------
    name, says : str, its word, and what it does, in a few words
    takes : adds what it takes to its parser
    run : runs it with what was typed; returns the exit status
    """

    name: str
    says: str
    takes: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


def main(arguments: Sequence[str] | None = None, more: Sequence[Command] = ()) -> int:
    """Run one command; returns the exit status.

    Parameters
    ----------
    arguments : words after the program's name; by default those it was started with
    more : commands besides those of this room
    """
    parser = _parser(more)
    options = parser.parse_args(arguments)
    try:
        added = next((each for each in more if each.name == options.command), None)
        if options.command == "completion":
            from tracker.cli.completion import completion

            status = completion(parser, options.shell)
        else:
            status = added.run(options) if added else _run(options)
        sys.stdout.flush()
    except TrackerError as error:
        complain(error.code, error.message)
        return BAD_INPUT
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # the reader of the output has closed it; Python must not trip over that again when it exits
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    return status


def _parser(more: Sequence[Command]) -> argparse.ArgumentParser:
    parser = _Parser(
        prog=PROGRAM,
        description=f"{NAME}: measures what a hair colour service really changed.",
        epilog="Where a file is read, - stands for standard input.",
    )
    version = f"{NAME} {__version__}, measuring by method {METHOD_VERSION}"
    parser.add_argument("--version", action="version", version=version)
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for each in more:
        each.takes(commands.add_parser(each.name, help=each.says))
    common = _Parser(add_help=False)
    common.add_argument("--json", action="store_true", help="print the result as JSON")
    common.add_argument("--quiet", action="store_true", help="show no progress")
    _add_measuring(commands, common)
    commands.add_parser("demo", parents=[common], help="fill an empty studio with made-up clients")
    _add_printing(commands, common)
    _add_keeping(commands, common)
    completing = commands.add_parser("completion", help="print the script that lets a shell complete these commands")
    completing.add_argument("shell", choices=("bash", "zsh", "fish"))
    return parser


def _add_measuring(commands: argparse._SubParsersAction[_Parser], common: _Parser) -> None:
    measure = commands.add_parser("measure", parents=[common], help="measure marked photos", description=_MARKS)
    measure.add_argument("marks", type=file_or_input, metavar="MARKS.json")
    measure.add_argument("--out", type=Path, metavar="RESULT.json", help="write the result there")

    compare = commands.add_parser("compare", parents=[common], help="lift, colour difference and verdict per region")
    compare.add_argument("before", type=file_or_input, metavar="BEFORE.json", help="a result of measure")
    compare.add_argument(
        "after", type=file_or_input, metavar="AFTER.json", help="another with as many photos, in the same order"
    )
    compare.add_argument(
        "--together", action="store_true", help="all photos of each file show one state; counts may differ"
    )

    fade = commands.add_parser("fade", parents=[common], help="how a service wears, from a table of readings")
    fade.add_argument(
        "series",
        type=file_or_input,
        metavar="SERIES.csv",
        help="columns months, then L, a, b and optional uL, ua, ub, or value and optional u",
    )
    fade.add_argument("--washes", type=float, metavar="N", help="washes a week, according to the client")
    for side in ("above", "below"):
        fade.add_argument(
            f"--{side}",
            action="append",
            default=[],
            metavar="NAME=LIMIT",
            help=f"when that quantity first lies {side} a limit, such as b*=24; may be given several times",
        )


def _add_printing(commands: argparse._SubParsersAction[_Parser], common: _Parser) -> None:
    holder = commands.add_parser("holder", parents=[common], help="write the holder for a grey card, to print")
    papers = ("a4", "letter", "pocket-a4", "pocket-letter")
    holder.add_argument("--paper", choices=papers, default=papers[0], help="the paper in the printer, and the size")
    holder.add_argument("--out", type=Path, metavar="HOLDER.pdf", help="write it there, not to holder-PAPER.pdf")


def _add_keeping(commands: argparse._SubParsersAction[_Parser], common: _Parser) -> None:
    backup = commands.add_parser("backup", parents=[common], help="back up the data folder and check the copy")
    backup.add_argument(
        "folder", type=Path, nargs="?", metavar="FOLDER", help="where to put it, if not in the usual place"
    )
    check = commands.add_parser("check-backup", parents=[common], help="read every record and photo of a backup")
    check.add_argument("backup", type=Path, metavar="BACKUP")
    restore = commands.add_parser("restore", parents=[common], help="bring a backup back into an empty folder")
    restore.add_argument("backup", type=Path, metavar="BACKUP")
    restore.add_argument("folder", type=Path, metavar="FOLDER", help="empty, or one that does not exist yet")


def _run(options: argparse.Namespace) -> int:
    # each command is imported when it is asked for: help and refusals stay quick
    if options.command == "measure":
        from tracker.cli.measuring import measure

        return measure(options.marks, options.out, options.json, quiet=options.quiet)
    if options.command == "compare":
        from tracker.cli.comparing import compare

        return compare(options.before, options.after, options.json, options.together)
    if options.command == "fade":
        from tracker.cli.fading import fade

        limits = {"above": options.above, "below": options.below}
        return fade(options.series, options.json, options.washes, **limits, quiet=options.quiet)
    if options.command in ("backup", "check-backup", "restore"):
        from tracker.cli import keeping

        if options.command == "backup":
            return keeping.backup(options.folder, options.json)
        if options.command == "check-backup":
            return keeping.check(options.backup, options.json)
        return keeping.restore(options.backup, options.folder, options.json)
    if options.command == "holder":
        from tracker.cli.printing import holder

        return holder(options.paper, options.out, options.json)
    from tracker.cli.demo import demo

    return demo(options.json, quiet=options.quiet)
