"""The warning about a folder on another computer or one that is copied elsewhere (promise 27)."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tracker.store.place import NETWORK, SYNCED, place_risk

# lines in the form of proc(5), /proc/mounts
MOUNTS = """\
/dev/sda1 / ext4 rw 0 0
server:/export {root}/far nfs4 rw 0 0
//server/share {root}/office\\040share cifs rw 0 0
someone@server: {root}/shell fuse.sshfs rw 0 0
/dev/sdb1 {root}/stick fuseblk rw 0 0
tmpfs {root}/far/local tmpfs rw 0 0
"""

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="mounts as Linux lists them")


@pytest.mark.parametrize(
    ("folder", "risk"),
    [
        ("far/studio", NETWORK),
        ("office share/a/b", NETWORK),
        ("shell", NETWORK),
        ("far/local/studio", None),
        ("stick/studio", None),
        ("studio", None),
        ("My Cloud/studio", SYNCED),
        ("SomeDrive/studio", SYNCED),
        ("sync/studio", SYNCED),
        ("async/studio", None),
        ("sandbox/studio", None),
        ("driver/studio", None),
    ],
)
def test_where_the_data_lies(tmp_path: Path, folder: str, risk: str | None) -> None:
    root = tmp_path.resolve()
    mounts = MOUNTS.replace("{root}", str(root))
    assert place_risk(root / folder, mounts) == risk


@pytest.mark.parametrize(("mark", "risk"), [(".synced", SYNCED), (".some.cache", None), (".anybox.cache", SYNCED)])
def test_a_mark_that_such_programs_leave(tmp_path: Path, mark: str, risk: str | None) -> None:
    (tmp_path / mark).mkdir()
    (tmp_path / "studio").mkdir()
    assert place_risk(tmp_path / "studio", "") == risk
