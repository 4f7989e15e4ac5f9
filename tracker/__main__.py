"""``measured-hair`` and ``python -m tracker``: the command line, and the way into the pages."""

from collections.abc import Sequence

from tracker import cli
from tracker.open import OPEN


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    return cli.main(arguments, (OPEN,))


if __name__ == "__main__":
    raise SystemExit(main())
