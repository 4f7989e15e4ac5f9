"""``measure``: from marked photos to a RESULT, one photo at a time."""

from pathlib import Path

from tracker.cli.files import read_text, require_writable, write_whole
from tracker.cli.result import Json, document, failed_entry, lengths, measured_entry
from tracker.cli.terminal import Progress, complain, printable, say, say_json, to_text
from tracker.errors import InvalidMarks, TrackerError, Unreadable
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import format_measured
from tracker.measure import measure_photo, with_card
from tracker.measure.card_scale import in_cm
from tracker.measure.marks_file import MarkedPhoto, parse_marks
from tracker.photo import Limits, Photo, read_photo, start_reader
from tracker.photo.read import refuse_larger
from tracker.words import REGION_TITLES, noun


def measure(marks: Path | None, out: Path | None, as_json: bool, *, quiet: bool = False) -> int:
    """Measure every photo of a marks file; status 1 where any has no number.

    Parameters
    ----------
    marks : Path of the marks file, None for standard input; photos lie relative to it, or to the current folder
    out : Path or None, where to write the RESULT
    as_json : bool, print the RESULT instead of sentences
    quiet : bool, show no progress

    Raises
    ------
    TrackerError : the input as a whole is bad; what is wrong with one photo goes into the RESULT
    """
    start_reader()
    found = parse_marks(read_text(marks, InvalidMarks))
    folder = marks.parent if marks else Path()
    if out is not None:
        require_writable(out, (*filter(None, [marks]), *(folder / marked.photo for marked in found.photos)))
    entries: list[Json] = []
    with Progress(quiet) as progress:
        for marked in found.photos:
            progress.show(len(entries) / len(found.photos), marked.photo)
            entries.append(_entry(marked, folder))
    if found.ignored:
        complain("note", f"Not part of a marks file and ignored: {', '.join(found.ignored)}.")
    result = document(entries)
    if out is not None:
        write_whole(out, to_text(result) + "\n")
    if as_json:
        say_json(result)
    else:
        _say_all(entries, out)
    return 0 if all(entry["ok"] for entry in entries) else 1


def _entry(marked: MarkedPhoto, folder: Path) -> Json:
    try:
        photo = _read(folder / marked.photo)
        marks = with_card(photo, marked.marks)
        reading = measure_photo(photo, marks, light=marked.light)
        found = lengths(reading, marks, photo.size)
        return measured_entry(marked.photo, reading, photo.camera, marked.light, found)
    except TrackerError as error:
        return failed_entry(marked.photo, error.code, error.message, marked.light)
    except Exception as error:  # a fault of this program on one photo must not cost the others their numbers
        fault = f"The program failed on this photo ({type(error).__name__}: {error}). Please report it."
        return failed_entry(marked.photo, "unexpected", fault, marked.light)


def _read(path: Path) -> Photo:
    """The photo in a file, whose size is checked before it is read.

    Raises
    ------
    PhotoError
    """
    limits = Limits()
    try:
        if not path.is_file():
            raise Unreadable("There is no such photo file.", "Check its name and its place beside the marks file.")
        # which of both limits holds is known once it is read
        refuse_larger(path.stat().st_size, max(limits.max_bytes, limits.max_raw_bytes))
        content = path.read_bytes()
    except OSError as error:
        raise Unreadable(
            f"The photo file cannot be opened ({error.strerror}).", "Check its name and permissions."
        ) from error
    return read_photo(content, limits)


def _say_all(entries: list[Json], out: Path | None) -> None:
    for entry in entries:
        name = printable(entry["photo"])
        if not entry["ok"]:
            say(f"{name}: no number. {printable(entry['error']['message'])}")
            continue
        say(f"{name}: measured.")
        for region, found in entry["regions"].items():
            level, warmth = found["level"]["text"], found["warmth"]["text"]
            say(f"  {REGION_TITLES[region]}: level {level}; {warmth}; {found['text']}.")
        _say_length(entry["lengths"])
        for check in entry["checks"]:
            if not check["ok"]:
                say(f"  Look at this: {printable(check['says'])} {printable(check['advice'])}")
    measured = [entry for entry in entries if entry["ok"]]
    say(f"{len(measured)} of {len(entries)} {noun(len(entries), 'photo')} measured.")
    if any(found["level"]["provisional"] for entry in measured for found in entry["regions"].values()):
        say("Levels are read on a provisional scale.")
    if out is not None:
        say(f"Written to {printable(str(out))}.")


def _say_length(found: Json | None) -> None:
    if found is None:
        return
    if found["error"]:
        say(f"  {printable(found['error']['message'])}")
        return
    path = in_cm(Measured(found["path_mm"]["value"], found["path_mm"]["u"]))
    say(f"  The hair is {format_measured(path)} cm long, as it hangs.")
