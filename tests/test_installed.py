"""The installed program works outside the tree: from an empty folder, without one file beside it."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import tomllib
import zipfile
from email import message_from_bytes
from pathlib import Path

import pytest

from tests.installed import (
    MARK,
    REPOSITORY,
    Installed,
    build_wheel,
    fetch,
    find_installed,
    free_port,
    started,
    surroundings,
)
from tests.samples import SAMPLES, sample_photo
from tracker import METHOD_VERSION, NAME, __version__
from tracker.maths.colorimetry import delta_e_2000

pytestmark = pytest.mark.skipif(os.name == "nt", reason="looks for programs and sends signals as POSIX has them")

MB = 1024**2


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    return find_installed(tmp_path_factory.mktemp("installed"))


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, installed: Installed) -> Path:
    """A studio that the installed program filled."""
    folder = tmp_path_factory.mktemp("filled")
    (folder / "empty").mkdir()
    done = installed.run("demo", "--json", "--quiet", cwd=folder / "empty", home=folder / "studio")
    assert (done.returncode, done.stderr) == (0, "")
    # Noor's before, after and five months, and one photo each of Ines, Maja and Orla: the demo's ten
    assert json.loads(done.stdout) == {"folder": str(folder / "studio"), "clients": 4, "visits": 4, "photos": 10}
    assert list((folder / "empty").iterdir()) == []
    return folder / "studio"


def test_the_wheel_holds_every_file_of_the_program_and_nothing_else(tmp_path: Path) -> None:
    wheel = build_wheel(tmp_path)
    listed = subprocess.run(
        ["git", "-C", str(REPOSITORY), "ls-files", "-z", "tracker"], capture_output=True, text=True, check=True
    )
    tree = {name for name in listed.stdout.split("\0") if name and (REPOSITORY / name).is_file()}
    with zipfile.ZipFile(wheel) as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
        (about,) = (archive.read(name) for name in archive.namelist() if name.endswith("/METADATA"))
    assert held == tree
    told = message_from_bytes(about)
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text("utf-8"))["project"]
    assert (told["Name"], told["Version"]) == ("measured-hair", __version__)
    assert (told["Summary"], told["Requires-Python"]) == (project["description"], project["requires-python"])
    assert f"# {NAME}\n" in told.get_payload()
    # the demo's photos are most of it, and are JPEGs, which do not pack
    photos = sum(path.stat().st_size for path in (REPOSITORY / "tracker/workflow/demo_photos").glob("*.jpg"))
    assert photos < wheel.stat().st_size < photos + MB


def test_it_says_its_version(installed: Installed, tmp_path: Path) -> None:
    done = installed.run("--version", cwd=tmp_path, home=tmp_path / "studio")
    said = f"{NAME} {__version__}, measuring by method {METHOD_VERSION}\n"
    assert (done.returncode, done.stdout, done.stderr) == (0, said, "")


def test_it_measures_marks_that_come_on_standard_input(installed: Installed, tmp_path: Path) -> None:
    # the true colours are the renderer's: sample_images/truth.json
    truth = next(photo for photo in SAMPLES if photo["file"] == "noor_after_daylight.jpg")
    (tmp_path / "a.jpg").write_bytes(sample_photo(truth["file"]).read_bytes())
    marks = {"photos": [{"photo": "a.jpg", **{key: truth[key] for key in ("card", "path", "width")}}]}
    done = installed.run("measure", "-", "--json", cwd=tmp_path, home=tmp_path / "studio", given=json.dumps(marks))
    assert (done.returncode, done.stderr) == (0, "")
    (photo,) = json.loads(done.stdout)["photos"]
    for region, true in truth["regions"].items():
        assert delta_e_2000(photo["regions"][region]["lab"], true["lab"]) <= 2.0


def test_it_opens_the_studio_and_closes_it_in_one_line(installed: Installed, home: Path, tmp_path: Path) -> None:
    port = free_port()
    words = ("open", "--no-browser", "--port", str(port))
    with started([installed.program, *words], port, tmp_path, home) as server:
        status, page = fetch(port, "/clients", "text/html")
        assert status == 200
        assert MARK.encode() in page
        picture = picture_of(home)
        assert fetch(port, picture)[1][:2] == b"\xff\xd8"  # a JPEG (ITU-T T.81, B.1.1.3), of the demo
        again = installed.run(*words, cwd=tmp_path, home=home)
        assert (again.returncode, again.stderr) == (0, "")
        assert again.stdout.startswith(f"The studio is open already: http://127.0.0.1:{port}\n")
        other = installed.run(*words, cwd=tmp_path, home=tmp_path / "another")
        assert (other.returncode, other.stdout) == (2, "")
        assert other.stderr.startswith(f"conflict: The port {port} is taken by other programs.")
        server.send_signal(signal.SIGINT)
        said, _ = server.communicate(timeout=60)
    assert server.returncode == 0
    assert said.splitlines() == [
        "Starting ...",
        f"The studio is open: http://127.0.0.1:{port}",
        "Open this address in a browser on this computer.",
        "Leave this window open while you work. Ctrl and C together close the studio.",
        "The studio is closed.",
    ]


def picture_of(home: Path) -> str:
    """The address of the smallest picture of a kept photo."""
    from tracker.store import Store

    with Store(home) as store:
        return f"/picture/{store.photos.find()[0].id}/320.jpg"


@pytest.mark.parametrize("way", ["streamlit run app.py", "python app.py"])
def test_a_checkout_runs_its_own_code_where_the_program_is_installed_too(
    way: str, installed: Installed, tmp_path: Path
) -> None:
    port, python = free_port(), installed.programs / "python"
    app = str(REPOSITORY / "app.py")
    (tmp_path / ".streamlit").mkdir()
    (tmp_path / ".streamlit" / "config.toml").write_text(f"[server]\nport = {port}\nheadless = true\n")
    command = [python, app] if way == "python app.py" else [python, "-m", "streamlit", "run", app]
    with started(command, port, tmp_path, tmp_path / "studio"):
        status, page = fetch(port, "/", "text/html")
    assert status == 200
    assert b"t-action" in page  # a name of our own style sheet: it is there, in the copy without the mark
    assert MARK.encode() not in page
    where = "import tracker; print(tracker.__path__[0])"
    beside = subprocess.run(
        [python, "-c", where], cwd=REPOSITORY, env=surroundings(tmp_path, tmp_path), capture_output=True, check=True
    )
    assert Path(beside.stdout.decode().strip()).samefile(REPOSITORY / "tracker")
