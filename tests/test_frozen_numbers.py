"""No measured number moves while the method keeps its version: known photos and series against frozen numbers.

What they should be is checked elsewhere, against truth from outside; here only that they stay what they were.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, ClassVar

import pytest

from tests import freeze
from tests.freeze import differences, frozen_file, read_frozen, write
from tests.frozen_numbers import drawn_reading, makers, of_drawn
from tests.frozen_scenes import DRAWINGS, drawn
from tests.samples import SAMPLES as TRUTH
from tracker import METHOD_VERSION

MAKERS = makers()
EVERYTHING = [(kind, name) for kind, each in MAKERS.items() for name in each]


@cache
def frozen(kind: str) -> dict[str, Any]:
    return read_frozen(kind)


def assert_frozen(kind: str, name: str, make: Callable[[], Any]) -> None:
    assert name in frozen(kind), f"{name} is not frozen yet; `{freeze.COMMAND} --add` adds it."
    moved = list(differences(frozen(kind)[name], make(), name))
    more = [f"... and {len(moved) - 20} more."] if len(moved) > 20 else []
    if moved:
        pytest.fail(
            "\n".join([f"{frozen_file(kind).name} no longer holds.", *moved[:20], *more, freeze.advice()]), False
        )


@pytest.mark.parametrize(("kind", "name"), EVERYTHING, ids=[name for _, name in EVERYTHING])
def test_nothing_moves_without_a_new_version_of_the_method(kind: str, name: str) -> None:
    assert_frozen(kind, name, MAKERS[kind][name])


@pytest.mark.parametrize("kind", MAKERS)
def test_everything_frozen_is_still_measured(kind: str) -> None:
    assert frozen(kind).keys() - MAKERS[kind].keys() == set()


def test_there_are_twenty_scenes_and_they_are_unlike() -> None:
    assert len(DRAWINGS) == 20
    assert {drawing.kind for drawing in DRAWINGS.values()} == {"grey18", "steps3", "chart24"}
    assert {frozen("readings")[f"drawn {name}"]["ok"] for name in DRAWINGS} == {True, False}
    lightness = [
        region["lab"][0] for name in DRAWINGS for region in frozen("readings")[f"drawn {name}"]["regions"].values()
    ]
    assert min(lightness) < 10
    assert max(lightness) > 85
    assert all(f"photo {photo['file']}" in frozen("readings") for photo in TRUTH)


def test_a_scene_is_drawn_alike_every_time() -> None:
    first = drawn("plain").encoded.copy()
    drawn.cache_clear()
    assert (drawn("plain").encoded == first).all()


class TestMoved:
    """Each kind of number is found where it moved by a little more than it may, and says so."""

    @pytest.mark.parametrize(
        ("place", "step", "said"),
        [
            (("regions", "mid", "lab", 0), 0.011, "regions, mid, lab [0]: "),
            (("regions", "root", "u", 2), -0.003, "regions, root, u [2]: "),
            (("regions", "end", "light cov", 0), 0.02, "light cov [0]: "),
            (("regions", "end", "level", "level"), 0.003, "level, level: "),
            (("regions", "end", "warmth", "lab"), 0.011, "warmth, lab: "),
            (("regions", "mid", "pixels"), 7, "pixels: "),
            (("card", "gradient value"), 0.002, "card, gradient value: "),
            (("checks", "sharp", "value"), 0.01, "checks, sharp, value: "),
            (("checks", "gloss", "limit exact"), 0.001, "checks, gloss, limit exact: "),
            (("lengths", "path mm", 0), 0.5, "lengths, path mm [0]: "),
            (("profile lab", 17, 0), 0.011, "profile lab [17] [0]: "),
        ],
    )
    def test_a_number_that_moved_is_named(self, place: tuple[Any, ...], step: float, said: str) -> None:
        found = of_drawn("lightened ends")
        moved = copy.deepcopy(found)
        *way, last = place
        inner = moved
        for key in way:
            inner = inner[key]
        inner[last] += step
        assert list(differences(found, found)) == []
        [sentence] = differences(found, moved, "drawn lightened ends")
        assert sentence.startswith("drawn lightened ends, ")
        assert said in sentence
        assert f"moved by {step:+.4g}" in sentence

    def test_the_sentence_says_from_where_to_where_and_what_is_allowed(self) -> None:
        assert list(differences({"lab": [50.0, 5.0]}, {"lab": [50.04, 5.0]}, "scene")) == [
            "scene, lab [0]: 50 became 50.04, moved by +0.04 (allowed 0.01)."
        ]

    @pytest.mark.parametrize(
        ("now", "said"),
        [
            ({"lab": [50.009, 5.0], "tone": "warm"}, []),
            ({"lab": [50.0, 5.0], "tone": "cool"}, ["tone: 'warm' became 'cool'."]),
            ({"lab": [50.0, 5.0]}, ["tone: is frozen and was not found."]),
            ({"lab": [50.0, float("nan")], "tone": "warm"}, ["lab [1]: 5 became nan, moved by +nan (allowed 0.01)."]),
            ({"lab": None, "tone": "warm"}, ["lab: [50.0, 5.0] became None."]),
            ({"lab": [50.0], "tone": "warm"}, ["lab: 2 frozen, 1 found."]),
            (
                {"lab": [50.0, 5.0], "tone": "warm", "u": 1.0},
                ["u: is not frozen yet; `python -m tests.freeze --add` adds it."],
            ),
        ],
    )
    def test_what_counts_as_moved(self, now: dict[str, Any], said: list[str]) -> None:
        assert list(differences({"lab": [50.0, 5.0], "tone": "warm"}, now)) == said

    def test_a_measurement_that_moved_is_red(self, monkeypatch: pytest.MonkeyPatch) -> None:
        # the whole way: a shadow of a hundredth on the codes, and the frozen scene no longer holds
        photo = drawn("plain")
        darker = type(photo)((photo.encoded * 0.99).astype(photo.encoded.dtype))
        monkeypatch.setattr("tests.frozen_numbers.drawn", lambda name: darker)
        drawn_reading.cache_clear()
        with pytest.raises(pytest.fail.Exception, match="drawn plain, regions, root, lab") as caught:
            assert_frozen("readings", "drawn plain", MAKERS["readings"]["drawn plain"])
        drawn_reading.cache_clear()
        assert str(caught.value).startswith(f"readings_{METHOD_VERSION}.json no longer holds.")
        assert "raise METHOD_VERSION in tracker/__init__.py and run `python -m tests.freeze`" in str(caught.value)


class TestFiles:
    NUMBERS: ClassVar[dict[str, dict[str, Any]]] = {
        "readings": {"scene": {"lab": [50.123456789, 5.0]}},
        "fits": {"root": 1},
    }

    def test_a_version_without_a_file_is_red_and_says_the_command(self, tmp_path: Path) -> None:
        with pytest.raises(AssertionError, match=r"for version 9\.9 .* `python -m tests\.freeze`"):
            read_frozen("readings", "9.9", tmp_path)

    def test_raising_the_version_writes_beside_the_old_file(self, tmp_path: Path) -> None:
        old = write(tmp_path, "1.2", self.NUMBERS)
        kept = [file.read_bytes() for file in old]
        moved = {**self.NUMBERS, "readings": {"scene": {"lab": [51.0, 5.0]}}}
        new = write(tmp_path, "1.3", moved)
        assert [file.name for file in new] == ["readings_1.3.json", "fits_1.3.json"]
        assert [file.read_bytes() for file in old] == kept
        assert read_frozen("readings", "1.3", tmp_path) == {"scene": {"lab": [51.0, 5.0]}}
        assert read_frozen("readings", "1.2", tmp_path) == {"scene": {"lab": [50.1235, 5.0]}}

    @pytest.mark.parametrize("left", [["readings"], ["fits"], ["readings", "fits"]])
    def test_a_file_of_the_same_version_is_never_written_over(self, tmp_path: Path, left: list[str]) -> None:
        write(tmp_path, "1.2", {kind: self.NUMBERS[kind] for kind in left})
        before = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
        with pytest.raises(FileExistsError, match="Raise METHOD_VERSION"):
            write(tmp_path, "1.2", {"readings": {"scene": {"lab": [0.0, 0.0]}}, "fits": {"root": 2}})
        assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == before

    def test_adding_leaves_every_frozen_number(self, tmp_path: Path) -> None:
        write(tmp_path, "1.2", self.NUMBERS)
        more = {"readings": {"scene": {"lab": [9.0, 9.0], "u": 1.0}, "other": {"lab": [1.0]}}, "fits": {}}
        write(tmp_path, "1.2", more, add=True)
        assert read_frozen("readings", "1.2", tmp_path) == {
            "scene": {"lab": [50.1235, 5.0], "u": 1.0},
            "other": {"lab": [1.0]},
        }
        assert read_frozen("fits", "1.2", tmp_path) == {"root": 1}

    def test_the_command_refuses_and_says_why(self, capsys: pytest.CaptureFixture[str]) -> None:
        before = frozen_file("readings").read_bytes()
        assert freeze.main([]) == 1
        assert "readings_" in (said := capsys.readouterr().err)
        assert "numbers of a version never change" in said
        assert frozen_file("readings").read_bytes() == before

    def test_the_command_writes_what_a_new_version_measures(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setattr(freeze, "GOLDEN", tmp_path)
        monkeypatch.setattr(freeze, "METHOD_VERSION", "9.9")
        monkeypatch.setattr(freeze, "makers", lambda: {"fits": {"root": MAKERS["fits"]["root"]}})
        assert freeze.main([]) == 0
        assert capsys.readouterr().out == "Written: fits_9.9.json\n"
        written = json.loads((tmp_path / "fits_9.9.json").read_text("utf-8"))
        assert written["method_version"] == "9.9"
        assert list(differences(frozen("fits")["root"], written["numbers"]["root"])) == []

    @pytest.mark.parametrize("kind", MAKERS)
    def test_the_file_says_its_version(self, kind: str) -> None:
        assert json.loads(frozen_file(kind).read_text("utf-8"))["method_version"] == METHOD_VERSION
