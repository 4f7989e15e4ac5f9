"""What may be in the repository: no metadata of photos, nothing huge, no one's folders, and a README that holds."""

from __future__ import annotations

import io
import re
import struct
import subprocess
from collections.abc import Iterator
from pathlib import Path

from PIL import Image

from tests import samples

REPOSITORY = Path(__file__).parents[1]

START = "python3 -m venv .venv && .venv/bin/pip install -e . && .venv/bin/streamlit run app.py"
TESTS = (
    "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && "
    '.venv/bin/python -m pytest -n logical --dist worksteal -m "not slow"'
)
STUDIES = ".venv/bin/python -m pytest -n logical --dist worksteal -m slow --durations=15"

MB = 1024**2
LARGEST_FILE = 2 * MB
LARGEST_SAMPLES = 12 * MB

# JPEG segments that may hold what somebody else must not learn (ITU-T T.81, table B.1): all application segments but
# JFIF's, a colour profile's and the colour transform's, and comments
PERSONAL = {*range(0xE0, 0xF0), 0xFE}
HARMLESS = {0xE0: b"JFIF\0", 0xE2: b"ICC_PROFILE\0", 0xEE: b"Adobe"}

# folders of people and of build machines; in pieces, so that this file does not contain what it looks for
OWN_FOLDER = re.compile(
    r"(?<![\w.~-])/(?:" + "|".join(("home", "Users", "root", "work")) + r")/[\w.-]+|[A-Z]:\\Users\\"
)


def git(*words: str) -> str:
    command = ["git", "-C", str(REPOSITORY), *words]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


def tracked_files() -> list[Path]:
    listed = (REPOSITORY / name for name in git("ls-files", "-z").split("\0") if name)
    return [path for path in listed if path.is_file()]


def personal_segments(content: bytes) -> Iterator[str]:
    """Names of the segments of a JPEG that may say who, where or with what."""
    at = 2
    while at < len(content) and content[at + 1] != 0xDA:
        marker, (length,) = content[at + 1], struct.unpack_from(">H", content, at + 2)
        body = content[at + 4 : at + 2 + length]
        if marker in PERSONAL and not (marker in HARMLESS and body.startswith(HARMLESS[marker])):
            yield f"{marker:#x} {body[:12]!r}"
        at += 2 + length


def sh_blocks(text: str) -> list[str]:
    return [block.strip() for block in re.findall(r"^```sh\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)]


def own_folders(text: str) -> list[str]:
    return OWN_FOLDER.findall(text)


def sample_photos() -> list[Path]:
    photos = sorted(path for path in tracked_files() if path.suffix in (".jpg", ".jpeg"))
    assert {*samples.sample_photos()} < {*photos}
    return photos


def test_sample_photos_carry_no_metadata() -> None:
    found = {path.name: [*personal_segments(path.read_bytes())] for path in sample_photos()}
    assert {name: segments for name, segments in found.items() if segments} == {}


def test_sample_photos_are_small_together() -> None:
    assert sum(path.stat().st_size for path in sample_photos()) < LARGEST_SAMPLES


def test_each_sample_photo_is_there_once() -> None:
    names = [path.name for path in sample_photos()]
    assert sorted(set(names)) == sorted(names)


def test_metadata_in_a_photo_is_found() -> None:
    tags = Image.Exif()
    tags[0x010F] = "a maker"
    content = io.BytesIO()
    Image.new("RGB", (8, 8)).save(content, "JPEG", exif=tags, comment=b"a comment")
    assert [found.split()[0] for found in personal_segments(content.getvalue())] == ["0xe1", "0xfe"]


def test_no_file_is_huge() -> None:
    assert [path.name for path in tracked_files() if path.stat().st_size > LARGEST_FILE] == []


def test_the_studios_data_stays_out_of_git() -> None:
    assert git("check-ignore", "studio-data/database.sqlite").strip() == "studio-data/database.sqlite"
    assert [path.name for path in tracked_files() if path.suffix in (".sqlite", ".db", ".log")] == []


def test_no_file_names_a_folder_of_the_machine_it_was_written_on() -> None:
    found = {}
    for path in tracked_files():
        content = path.read_bytes()
        if b"\0" not in content and (folders := own_folders(content.decode("utf-8"))):
            found[path.name] = folders
    assert found == {}


def test_a_folder_of_a_machine_is_found() -> None:
    slash = "/"
    assert own_folders(f'open("{slash}home/somebody/x")') == [f"{slash}home/somebody"]
    assert own_folders("see tests/home/page and https://example.org/home/shop") == []


def test_the_readme_starts_with_its_two_commands() -> None:
    readme = (REPOSITORY / "README.md").read_text("utf-8")
    assert sh_blocks(readme)[:2] == [START, TESTS]
    before = readme.split("```sh")[0]
    assert len([block for block in before.split("\n\n") if block.strip() and not block.startswith("#")]) <= 2


def test_continuous_integration_types_what_the_readme_says() -> None:
    script = REPOSITORY / ".ci" / "run"
    shown = subprocess.run(["bash", str(script), "--commands"], capture_output=True, text=True, check=True).stdout
    assert shown.splitlines() == [START, TESTS]
    # what the README's command leaves out is run as well
    assert STUDIES in script.read_text("utf-8").splitlines()
    # but for the locked dependencies before it, each checked by its hash, and the lowest in an environment of their own
    installs = [line.strip() for line in script.read_text("utf-8").splitlines() if "pip install" in line]
    assert installs == [
        ".venv/bin/pip install --quiet --require-hashes -r requirements.lock",
        # and the program once more from its wheel, into an environment outside the tree, in the same versions
        '.venv/bin/uv pip install --quiet --cache-dir "$scratch/cache" --python "$scratch/installed/bin/python" \\',
        """.venv/bin/uv pip install --quiet --python "$scratch/lowest" --resolution lowest-direct -e '.[test]'""",
    ]
    assert script.stat().st_mode & 0o111
