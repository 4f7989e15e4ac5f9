"""What is made once in a run and shared by all tests, also by those in another process of the same run."""

from __future__ import annotations

import os
import pickle
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# how long an example takes says how busy the machine is
settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")

_PATIENCE_SECONDS = 300

Build = Callable[[Path], Any]


class MadeOnce:
    """Folders that cost seconds to build and milliseconds to copy, such as a studio with measured photos.

    Parameters
    ----------
    shared : Path of a folder that all processes of the run see
    """

    def __init__(self, shared: Path) -> None:
        self._shared = shared

    def copy(self, name: str, build: Build, target: Path) -> Any:
        """Copy the folder of that name to a path where nothing lies; gives what `build` returned when it made it.

        Parameters
        ----------
        build : fills the folder it is given and closes whatever it opened there; what it returns is pickled
        """
        folder = self._made(name, build)
        shutil.copytree(folder / "folder", target)
        return pickle.loads((folder / "returned").read_bytes())  # noqa: S301 - written by this run

    def _made(self, name: str, build: Build) -> Path:
        folder, growing = self._shared / name, self._shared / f"{name}.growing"
        if folder.exists():
            return folder
        with self._alone(name):
            if not folder.exists():
                shutil.rmtree(growing, ignore_errors=True)  # what is there when it failed before
                growing.mkdir()
                returned = build(growing / "folder")
                (growing / "returned").write_bytes(pickle.dumps(returned))
                growing.rename(folder)
        return folder

    @contextmanager
    def _alone(self, name: str) -> Iterator[None]:
        """Keep the other processes of the run out meanwhile."""
        claim, until = self._shared / f"{name}.claim", time.monotonic() + _PATIENCE_SECONDS
        while True:
            try:
                claim.touch(exist_ok=False)
                break
            except FileExistsError:
                if time.monotonic() > until:
                    pytest.fail(f"another process of this run never finished making the {name}")
                time.sleep(0.05)
        try:
            yield
        finally:
            claim.unlink()


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> MadeOnce:
    """What `MadeOnce` does, in a folder of this run."""
    base = tmp_path_factory.getbasetemp()
    shared = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "made-once"
    shared.mkdir(exist_ok=True)
    return MadeOnce(shared)


@pytest.fixture
def empty_studio(made_once: MadeOnce, tmp_path: Path) -> Path:
    """The folder of a new studio, in which nothing was saved yet."""
    root = tmp_path / "studio"
    made_once.copy("empty-studio", new_studio, root)
    return root


def new_studio(root: Path) -> None:
    """Make the folder of a studio, with its database."""
    from tracker.store import Store

    Store(root).close()
