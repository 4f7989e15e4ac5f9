"""The process that decodes photos: what comes back, what it may take, and what is left when it or its keeper dies."""

from __future__ import annotations

import dataclasses
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import numpy as np
import psutil
import pytest
from PIL import Image

from tests.hostile_photos import HOSTILE, MEGABYTE, many_scans, overlapping_exif, small_claim_of_a_huge_avif
from tests.photo_samples import curv, jpeg, matrix_profile, save, scene
from tests.raw_samples import camera_codes, dng, neutral
from tests.test_photo_hostile import SAMPLES
from tracker.errors import PhotoError, ReaderFailed, TooCostly, TooLarge, Unreadable, UnsupportedFormat
from tracker.photo import Limits, Photo, decode_photo, read_photo
from tracker.photo.turns import Turns
from tracker.photo.worker import PhotoWorker
from tracker.photo.worker.bounds import Bounds

REPOSITORY = Path(__file__).parents[1]
LINUX = pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")
READ = {"EXIF that overlaps", "EXIF that overlaps in a WebP", "WebP of many frames"}
REFUSED = [name for name in HOSTILE if name not in READ]


@pytest.fixture
def new_worker() -> Iterator[Callable[..., PhotoWorker]]:
    """Makes workers with bounds of their own, and ends them."""
    made: list[PhotoWorker] = []

    def make(*, share_memory: bool | None = None, **bounds: float) -> PhotoWorker:
        how = {} if share_memory is None else {"share_memory": share_memory}
        made.append(PhotoWorker(Bounds(**bounds), **how))  # type: ignore[arg-type]
        return made[-1]

    yield make
    for worker in made:
        worker.close()


@pytest.fixture(scope="module")
def worker() -> Iterator[PhotoWorker]:
    """One for all hostile files: the most that it ever held counts all of them."""
    made = PhotoWorker()
    yield made
    made.close()


def wait_for(happened: Callable[[], bool]) -> None:
    for _ in range(3000):
        if happened():
            return
        time.sleep(0.01)
    raise AssertionError("it did not happen within half a minute")


def is_gone(pid: int) -> bool:
    try:
        return bool(psutil.Process(pid).status() == psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return True


def same(one: Photo, other: Photo) -> bool:
    rest = [field.name for field in dataclasses.fields(Photo) if field.name != "encoded"]
    alike = all(getattr(one, name) == getattr(other, name) for name in rest)
    return alike and np.array_equal(one.encoded, other.encoded)


@cache
def slow() -> bytes:
    """A photo within every limit that takes seconds to open."""
    return many_scans(90, (6_000, 5_000))


def keeper(folder: Path, *lines: str) -> subprocess.CompletedProcess[str]:
    """Run a program that has read a photo, and may do so again."""
    (folder / "small.jpg").write_bytes(jpeg(scene()))
    (folder / "slow.jpg").write_bytes(slow())
    begin = (
        "import os, signal, threading, time",
        "from pathlib import Path",
        "from tracker.photo import read_photo",
        "from tracker.photo.worker.keeper import _worker",
        f"small, slow = (Path({str(folder)!r}, name).read_bytes() for name in ('small.jpg', 'slow.jpg'))",
        "read_photo(small)",
    )
    program = "\n".join([*begin, *lines])
    return subprocess.run([sys.executable, "-c", program], cwd=REPOSITORY, stdout=subprocess.PIPE, text=True)


SAMPLED = matrix_profile("Display P3", curv(0, 9, 40_000, 65_535))
ALL = {
    **SAMPLES,
    "sampled curves": lambda: save(scene(), "PNG", icc_profile=SAMPLED),
    "no tags": lambda: jpeg(scene()),
    "raw": lambda: dng(camera_codes(np.full((40, 60, 3), 0.3)), as_shot=neutral()),
}


class TestWhatComesBack:
    @pytest.mark.parametrize("share_memory", [True, False], ids=["shared", "piped"])
    def test_is_what_decoding_here_gives(self, new_worker: Callable[..., PhotoWorker], share_memory: bool) -> None:
        if share_memory and sys.platform != "linux":
            pytest.skip("memory without a name is Linux's")
        worker = new_worker(share_memory=share_memory)
        for name, make in ALL.items():
            content = make()
            photo, expected = worker.read(content), decode_photo(content)
            assert same(photo, expected), name
            assert photo.encoded.dtype == expected.encoded.dtype
            assert not photo.encoded.flags.writeable
            with pytest.raises(ValueError, match=r"read-only|WRITEABLE"):
                photo.encoded.setflags(write=True) if share_memory else photo.encoded.__setitem__(0, 0)

    def test_pixels_stay_when_the_worker_goes(self, new_worker: Callable[..., PhotoWorker]) -> None:
        worker = new_worker()
        photo = worker.read(jpeg(scene()))
        worker.close()
        assert same(photo, decode_photo(jpeg(scene())))

    @pytest.mark.parametrize(
        ("content", "limits", "error"),
        [
            (b"", Limits(), Unreadable),
            (b"GIF89a" + bytes(99), Limits(), UnsupportedFormat),
            (jpeg(scene()), Limits(max_bytes=100), TooLarge),
            (jpeg(scene()), Limits(max_pixels=100), TooLarge),
        ],
    )
    def test_refusals_come_back_whole(self, content: bytes, limits: Limits, error: type[PhotoError]) -> None:
        with pytest.raises(error) as here:
            decode_photo(content, limits)
        with pytest.raises(error) as there:
            read_photo(content, limits)
        assert vars(there.value) == vars(here.value)
        assert there.value.advice

    def test_a_file_far_too_large_is_not_even_handed_over(self, new_worker: Callable[..., PhotoWorker]) -> None:
        worker = new_worker()
        with pytest.raises(TooLarge):
            worker.read(bytes(2001), Limits(max_bytes=1000, max_raw_bytes=2000))
        assert worker.pid is None

    def test_forty_at_once_all_get_their_own(self) -> None:
        contents = [save(scene(64 + number, 48), "PNG") for number in range(40)]
        with ThreadPoolExecutor(40) as threads:
            photos = list(threads.map(read_photo, contents))
        assert [photo.size for photo in photos] == [(64 + number, 48) for number in range(40)]


class TestHostileFiles:
    """Each is small, and each took gigabytes, minutes or a picture of another size before it was checked."""

    @LINUX
    @pytest.mark.parametrize("name", REFUSED)
    def test_refused_in_words_at_no_cost(self, worker: PhotoWorker, name: str) -> None:
        content = HOSTILE[name]()
        assert len(content) < Limits().max_bytes
        with pytest.raises((TooLarge, Unreadable)) as caught:
            worker.read(content)
        assert caught.value.advice
        assert worker.peak_memory < 250 * MEGABYTE  # a fresh one holds 65, and a file of 24 is there twice

    @LINUX
    @pytest.mark.parametrize("kind", ["PNG", "WEBP", "JPEG"])
    def test_exif_that_overlaps_is_passed_over(self, new_worker: Callable[..., PhotoWorker], kind: str) -> None:
        size = 60_000 if kind == "JPEG" else 8 * MEGABYTE  # a segment of a JPEG holds no more
        worker = new_worker()
        assert worker.read(overlapping_exif(kind, 60_000 if size > MEGABYTE else 4_000, size)).size == (64, 48)
        assert worker.peak_memory < 250 * MEGABYTE

    @LINUX
    def test_a_long_animation_costs_one_picture(self, new_worker: Callable[..., PhotoWorker]) -> None:
        worker = new_worker()
        assert worker.read(HOSTILE["WebP of many frames"]()).size == (7_000, 7_000)
        assert worker.peak_memory < Bounds().memory

    def test_a_hundred_scans_are_read(self) -> None:
        healthy = jpeg(scene(), progressive=True)
        more = 101 - healthy.count(b"\xff\xda")  # the last one is among them
        assert read_photo(many_scans(more, (64, 48))).size == (64, 48)
        with pytest.raises(TooLarge):
            read_photo(many_scans(more + 1, (64, 48)))

    def test_the_picture_in_the_avif_counts(self) -> None:
        content = small_claim_of_a_huge_avif()
        with pytest.raises(TooLarge) as caught:
            read_photo(content)
        assert (caught.value.value, caught.value.unit) == (256, "megapixels")


class TestBounds:
    """The limits behind the checks, for whatever no check foresees."""

    BIG = staticmethod(lambda: save(Image.new("RGB", (6_000, 5_000)), "PNG"))  # 120 MB open, 0.1 MB closed

    def test_too_much_memory_is_an_error_in_words(self, new_worker: Callable[..., PhotoWorker]) -> None:
        worker = new_worker(memory=150_000_000)
        with pytest.raises((TooCostly, Unreadable)):  # a decoder may call the system's refusal damage
            worker.read(self.BIG())
        assert worker.read(jpeg(scene())).size == (64, 48)
        assert worker.peak_memory < 150_000_000 or sys.platform != "linux"

    def test_memory_is_watched_where_the_system_does_not(
        self, new_worker: Callable[..., PhotoWorker], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        # as on Windows and macOS: the process is told of no limit, and its keeper looks at what it holds
        worker = new_worker(memory=10**12)
        assert worker.read(jpeg(scene())).size == (64, 48)
        first = worker.pid
        monkeypatch.setattr(worker, "_bounds", Bounds(memory=150_000_000))
        with pytest.raises(TooCostly, match=r"more than 150 MB of memory") as caught:
            worker.read(slow())
        assert (caught.value.limit, caught.value.unit) == (150, "MB")
        monkeypatch.undo()
        assert worker.read(jpeg(scene())).size == (64, 48)
        assert first is not None
        assert worker.pid != first
        assert is_gone(first)

    def test_too_much_time_is_an_error_in_words(self, new_worker: Callable[..., PhotoWorker]) -> None:
        worker = new_worker(seconds=0.2)
        with pytest.raises(TooCostly, match=r"longer than 0\.2 s") as caught:
            worker.read(slow())
        assert caught.value.advice
        assert worker.read(jpeg(scene())).size == (64, 48)


@LINUX
class TestDeath:
    def test_killed_in_the_middle(self, new_worker: Callable[..., PhotoWorker]) -> None:
        worker = new_worker()
        worker.read(jpeg(scene()))
        first = worker.pid
        assert first is not None
        at_work = psutil.Process(first)
        before = at_work.cpu_times().user
        with ThreadPoolExecutor(1) as threads:
            asked = threads.submit(worker.read, slow())
            wait_for(lambda: at_work.cpu_times().user > before + 0.1)
            os.kill(first, signal.SIGKILL)
            with pytest.raises(ReaderFailed, match="broken off") as caught:
                asked.result()
        assert caught.value.advice
        assert worker.read(jpeg(scene())).size == (64, 48)
        assert is_gone(first)

    @pytest.mark.parametrize("seen", [True, False], ids=["long ago", "just now"])
    def test_killed_while_idle_costs_nobody_a_photo(self, new_worker: Callable[..., PhotoWorker], seen: bool) -> None:
        worker = new_worker()
        worker.read(jpeg(scene()))
        os.kill(worker.pid or 0, signal.SIGKILL)
        if seen:
            wait_for(lambda: is_gone(worker.pid or 0))
        assert worker.read(jpeg(scene())).size == (64, 48)

    def test_one_that_does_not_start_is_said(
        self, new_worker: Callable[..., PhotoWorker], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(sys, "executable", "/bin/false")
        with pytest.raises(ReaderFailed, match="did not start"):
            new_worker().read(jpeg(scene()))

    def test_nothing_is_left_behind(self, new_worker: Callable[..., PhotoWorker], tmp_path: Path) -> None:
        before = {*Path("/dev/shm").iterdir()}  # noqa: S108 - to see that nothing is there
        worker = new_worker()
        kept = worker.read(jpeg(scene()))
        os.kill(worker.pid or 0, signal.SIGKILL)
        assert {*Path("/dev/shm").iterdir()} <= before  # noqa: S108
        assert kept.size == (64, 48)

    @pytest.mark.parametrize("busy", [False, True], ids=["idle", "busy"])
    @pytest.mark.parametrize("end", ["pass", "os._exit(1)", "os.kill(os.getpid(), signal.SIGKILL)"])
    def test_it_ends_with_its_keeper(self, tmp_path: Path, end: str, busy: bool) -> None:
        done = keeper(
            tmp_path,
            "print(_worker().pid, flush=True)",
            f"threading.Thread(target=read_photo, args=(slow,), daemon=True).start() if {busy} else None",
            f"time.sleep(0.3) if {busy} else None",
            end,
        )
        wait_for(lambda: is_gone(int(done.stdout)))

    def test_it_holds_nothing_of_the_program_open(self, tmp_path: Path, new_worker: Callable[..., PhotoWorker]) -> None:
        secret = tmp_path / "studio.sqlite"
        with secret.open("w") as held:
            os.set_inheritable(held.fileno(), True)
            worker = new_worker()
            worker.read(jpeg(scene()))
            opened = [str(link.readlink()) for link in Path(f"/proc/{worker.pid}/fd").iterdir()]
        assert str(secret) not in opened
        # pipes to the keeper and nowhere, the way out for pixels, and the pixels themselves until they are let go
        assert {name.partition(":")[0] for name in opened} <= {"pipe", "/dev/null", "socket", "/memfd"}
        assert len([name for name in opened if name.startswith("socket:")]) == 1

    def test_a_fork_has_a_worker_of_its_own(self, tmp_path: Path) -> None:
        done = keeper(
            tmp_path,
            "child = os.fork()",
            "assert read_photo(small).size == (64, 48)",
            "assert child == 0 or os.waitpid(child, 0)[1] == 0",
        )
        assert done.returncode == 0


class TestTurns:
    def test_first_come_first_served(self) -> None:
        turns, order = Turns(), list[int]()

        def go(number: int) -> None:
            with turns:
                order.append(number)

        with turns:
            threads = [threading.Thread(target=go, args=(number,)) for number in range(20)]
            for waiting, thread in enumerate(threads, 1):
                thread.start()
                wait_for(lambda waiting=waiting: len(turns._waiting) == waiting)  # type: ignore[misc]
        for thread in threads:
            thread.join()
        assert order == [*range(20)]

    def test_an_error_hands_the_turn_on(self) -> None:
        turns = Turns()
        with pytest.raises(KeyError), turns:
            raise KeyError
        with turns:
            pass

    def test_who_is_interrupted_while_waiting_gives_up_the_place(self, monkeypatch: pytest.MonkeyPatch) -> None:
        turns = Turns()

        def interrupted(_: object, timeout: float | None = None) -> bool:
            raise KeyboardInterrupt

        with turns:
            with monkeypatch.context() as patched:
                patched.setattr(threading.Event, "wait", interrupted)
                with pytest.raises(KeyboardInterrupt), turns:
                    pass
            assert not turns._waiting
        with turns:
            pass
