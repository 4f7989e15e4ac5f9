"""The file of settings in the studio's folder: written by the page, and by a person with any text editor."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from tracker.store.faults import disk_faults
from tracker.store.folder import replace_file

GIGABYTE = 10**9

_HEAD = """\
# Settings of the studio. Change a value and save the file; it takes effect from the next photo on.

# The most that the studio's folder may hold, in GB. Without this line it is what is already used and half of what is
# free on the disk.
"""
_LIMIT = "limit_gb"
_MOST_GB = 1e9


@dataclass(frozen=True, slots=True)
class FileSettings:
    """What the file says.

    Attributes
    ----------
    limit_bytes : int or None, the most that the studio's folder may hold; None for the usual share of the disk
    fault : str, what is wrong with the file and what applies instead, as sentences; empty if nothing is
    """

    limit_bytes: int | None = None
    fault: str = ""


def read_settings(path: Path) -> FileSettings:
    """Read the file; without one everything is as usual, and a damaged one changes nothing but is reported."""
    try:
        found = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return FileSettings()
    except (OSError, ValueError) as error:  # errors of TOML and of the encoding too
        return FileSettings(fault=f"{path.name} cannot be read ({_reason(error)}). {_INSTEAD}")
    if _LIMIT not in found:
        return FileSettings()
    limit = found[_LIMIT]
    if isinstance(limit, bool) or not isinstance(limit, int | float) or not 0 < limit <= _MOST_GB:
        return FileSettings(fault=f"In {path.name}, {_LIMIT} is {limit!r}, not a number of GB above 0. {_INSTEAD}")
    return FileSettings(math.ceil(limit * GIGABYTE))


_INSTEAD = "Until it is put right, the usual limit applies."


def write_limit(path: Path, limit_gb: float | None) -> None:
    """Write the limit and leave everything else in the file as it is; a damaged file is replaced.

    Parameters
    ----------
    path : Path of the file, made if it is not there
    limit_gb : float above 0, GB of 1,000,000,000 bytes; None for the usual share of the disk

    Raises
    ------
    StoreFull, StoreError : the disk refuses it; the file is as it was
    """
    kept = _kept(path)
    if limit_gb is None:
        kept.pop(_LIMIT, None)
    else:
        kept[_LIMIT] = limit_gb
    _replace(path, tomlkit.dumps(kept).encode())


def copy_settings(source: Path, target: Path) -> None:
    """Copy the file as it is; one that is missing or unreadable is left out.

    Raises
    ------
    StoreFull, StoreError : the disk refuses the copy
    """
    try:
        content = source.read_bytes()
    except OSError:
        return
    _replace(target, content)


def _kept(path: Path) -> Any:
    try:
        return tomlkit.parse(path.read_text("utf-8"))
    except (OSError, ValueError, TOMLKitError):
        return tomlkit.parse(_HEAD)


def _replace(path: Path, content: bytes) -> None:
    with disk_faults("The settings could not be kept"):
        replace_file(path, content)


def _reason(error: Exception) -> str:
    return error.strerror or type(error).__name__ if isinstance(error, OSError) else str(error)
