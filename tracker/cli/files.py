"""Reading the files that the person names, and writing a result whole or not at all."""

from __future__ import annotations

import os
import sys
import tempfile
from contextlib import nullcontext, suppress
from pathlib import Path

from tracker.errors import StoreError, TrackerError

_LARGEST = 64 * 1024**2  # bytes of text; a photo's result takes some 15 kB


def file_or_input(word: str) -> Path | None:
    """The file of that name; None, which stands for standard input, where the word is ``-``."""
    return None if word == "-" else Path(word)


def read_text(path: Path | None, wrong: type[TrackerError]) -> str:
    """The text of a file.

    Parameters
    ----------
    path : Path, or None for standard input
    wrong : the error to raise where it cannot be read or is not text
    """
    name = named(path)
    try:
        with path.open("rb") if path else nullcontext(sys.stdin.buffer) as file:
            content = file.read(_LARGEST + 1)
    except (OSError, ValueError) as error:
        raise wrong(f"{name} cannot be read ({_reason(error)}).", "Check its name and place.") from error
    if len(content) > _LARGEST:
        raise wrong(f"{name} is larger than {_LARGEST // 1024**2} MB.", "Check that it is the right file.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise wrong(f"{name} is not text in UTF-8.", "Check that it is the right file.") from error


def named(path: Path | None) -> str:
    """What a message calls a file; None is standard input."""
    return "Standard input" if path is None else str(path)


def require_writable(path: Path, sources: tuple[Path, ...]) -> None:
    """Find out before the work is done that its result could not be written.

    Parameters
    ----------
    sources : files that must not be overwritten

    Raises
    ------
    StoreError
    """
    if path.is_dir() or not path.parent.is_dir():
        raise StoreError(f"{path} is not a place for a file.", "Name a file in a folder that exists.")
    if any(path.exists() and path.samefile(source) for source in sources):
        raise StoreError(f"{path} would be overwritten by its own result.", "Name another file.")


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file in one go: after a crash or a full disk the old one is there, never half of the new.

    Parameters
    ----------
    content : text, written as UTF-8, or bytes

    Raises
    ------
    StoreError : where it cannot be written
    """
    target = path.resolve()
    try:
        descriptor, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:40]}.")
    except OSError as error:
        raise StoreError(f"{path} cannot be written ({_reason(error)}).", "Name another file.") from error
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content.encode() if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(target)
    except OSError as error:
        raise StoreError(f"{path} cannot be written ({_reason(error)}).", "Name another file.") from error
    finally:
        with suppress(FileNotFoundError):
            Path(name).unlink()


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or "not a name for a file"
