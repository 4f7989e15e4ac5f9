"""Whether a folder lies where a database should not: on another computer, or in a folder that is copied elsewhere."""

from __future__ import annotations

import re
import sys
from pathlib import Path

NETWORK, SYNCED = "network", "synced"

# names of file systems that live on another computer, as /proc/mounts has them (Linux, filesystems(5) and mount(8))
_REMOTE = re.compile(r"(?:nfs\d?|cifs|smb\w*|afs|ceph|glusterfs|9p|davfs|fuse\.\w*(?:ssh|dav|ftp|drive)\w*)$")

# words in folder names that give such folders away
_SYNCED_WORDS = re.compile(
    r"(?:^|[\s_.-])(?:cloud|sync|synced|synchronised|synchronized)(?:$|[\s_.-])|\w(?:cloud|drive)$"
)

# hidden folders or files that programs put at the top of a folder they copy elsewhere
_SYNCED_MARK = re.compile(r"\.(?:\w*sync\w*|\w*cloud\w*|\w*drive\w*|\w*box(?:\.cache)?)$", re.IGNORECASE)


def place_risk(folder: Path, mounts: str | None = None) -> str | None:
    """Why a folder is not a good place for the record.

    A database opened by two computers, or copied while it is being written, can be lost: file locks do not hold over a
    network, and a copy may take the file without its log (sqlite.org, "How To Corrupt An SQLite Database File").

    Parameters
    ----------
    folder : Path
    mounts : the system's list of mounted disks; None to read it

    Returns
    -------
    str or None : `NETWORK`, `SYNCED`, or None where nothing is wrong with it; a guess, made from names
    """
    path = folder.resolve()
    if _is_remote(path, _mounts() if mounts is None else mounts):
        return NETWORK
    return SYNCED if any(_looks_synced(each) for each in (path, *path.parents)) else None


def _is_remote(path: Path, mounts: str) -> bool:
    if sys.platform == "win32" and str(path).startswith("\\\\"):
        return True
    kinds = {}
    for line in mounts.splitlines():
        parts = line.split()
        if len(parts) >= 3:
            kinds[Path(parts[1].replace("\\040", " "))] = parts[2]
    nearest = next((kinds[each] for each in (path, *path.parents) if each in kinds), "")
    return _REMOTE.match(nearest) is not None


def _mounts() -> str:
    try:
        return Path("/proc/mounts").read_text("utf-8", "replace")
    except OSError:
        return ""


def _looks_synced(folder: Path) -> bool:
    if _SYNCED_WORDS.search(folder.name.casefold()):
        return True
    try:
        return _is_personal(folder) and any(_SYNCED_MARK.match(each.name) for each in folder.iterdir())
    except OSError:
        return False


def _is_personal(folder: Path) -> bool:
    """True for folders where such a mark means something: not the user's home, where programs keep settings."""
    return folder not in (Path.home(), Path(folder.anchor))
