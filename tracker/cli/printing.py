"""``holder``: the sheet to print that holds a grey card."""

from __future__ import annotations

from pathlib import Path

from tracker.cli.files import require_writable, write_whole
from tracker.cli.terminal import printable, say, say_json
from tracker.report.papers import HOLDER_PAPERS, holder_pdf


def holder(paper: str, out: Path | None, as_json: bool) -> int:
    """Write the sheet as a PDF.

    Parameters
    ----------
    paper : str, a key of `HOLDER_PAPERS`
    out : Path or None, where to write it; None for a file named after the paper in the current folder
    as_json : bool, print what was written as JSON

    Raises
    ------
    TrackerError : no such paper, or the file cannot be written
    """
    target = out or Path(f"holder-{paper}.pdf")
    require_writable(target, ())
    write_whole(target, holder_pdf(paper))
    if as_json:
        say_json({"paper": paper, "file": str(target)})
    else:
        sheet = HOLDER_PAPERS[paper].title
        say(f"Written to {printable(str(target))} ({sheet}). Print it at actual size, and measure its 100 mm line.")
    return 0
