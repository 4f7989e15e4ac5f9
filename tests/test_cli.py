"""The command line measures and compares as the contract says."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from command_line import after, before, entry, picture, require_refusal, require_result, run, write_marks
from PIL import Image

from tests.photo_samples import save
from tests.scenes import CARD, WIDTH, marks, photograph, scene
from tracker import METHOD_VERSION
from tracker.cli import command, measuring, terminal
from tracker.compare.comparison import compare_readings
from tracker.compare.replicates import mean_of_replicates
from tracker.errors import Conflict, StoreError, TrackerError
from tracker.measure import measure_photo
from tracker.measure.repeatability import PROVISIONAL
from tracker.photo import read_photo
from tracker.said.colour import say_change


def test_the_shape_is_really_checked() -> None:
    wrong = {"method_version": "1", "photos": [{"photo": "a", "ok": True, "error": None, "checks": [], "card": None}]}
    with pytest.raises(AssertionError, match=r"RESULT\.card"):
        require_result(wrong)


def test_measure_gives_the_contract_and_the_same_numbers_as_the_core(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    status, out, err = run("measure", write_marks(tmp_path, entry("a.jpg", light="daylight")), "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    require_result(found)
    assert found["method_version"] == METHOD_VERSION
    (photo,) = found["photos"]
    assert (photo["photo"], photo["camera"], photo["light"]) == ("a.jpg", "Maker Model", "daylight")
    reading = measure_photo(read_photo(before()), marks(), light="daylight")
    assert photo["card"]["corners"] == [list(corner) for corner in CARD]
    for region in reading.regions:
        shown = photo["regions"][region.name]
        assert (shown["lab"], shown["u"]) == (list(region.lab.lab), list(region.lab.u))
        assert shown["pixels"] == region.pixels


@pytest.mark.parametrize("given", [{"hair": "whole", "outline": None}, {}], ids=["found", "given"])
def test_the_whole_width_of_the_hair(tmp_path: Path, given: dict[str, Any]) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    path = write_marks(tmp_path, {**entry("a.jpg"), **given})
    status, out, err = run("measure", path, "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    require_result(found)
    (photo,) = found["photos"]
    assert photo["hair"] == "whole"
    assert 3 <= len(photo["outline"]) <= 16
    assert photo["reading"]["method_version"] == METHOD_VERSION


def test_a_ribbon_and_the_whole_are_never_compared(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    results = []
    for name, given in (("ribbon", {"outline": None, "width": WIDTH}), ("whole", {})):
        results.append(tmp_path / f"{name}.json")
        marked = write_marks(tmp_path, {**entry("a.jpg"), **given})
        assert run("measure", marked, "--out", results[-1])[0] == 0
    status, out, _ = run("compare", *results, "--json")
    assert status != 0
    assert "ribbon" in json.dumps(json.loads(out))


def test_measure_in_words(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    status, out, err = run("measure", write_marks(tmp_path, entry("a.jpg")))
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "a.jpg: measured."
    assert [line.split(":")[0].strip() for line in lines[1:4]] == ["Root", "Mid-lengths", "Ends"]
    assert "provisional scale" in lines[-1]


def test_a_level_outside_the_scale_is_said_and_not_made_up(tmp_path: Path) -> None:
    (tmp_path / "black.png").write_bytes(save(picture(root=(10.0, 0.0, 0.0), tip=(12.0, 0.0, 0.0), spread=1.0), "PNG"))
    _, out, _ = run("measure", write_marks(tmp_path, entry("black.png")), "--json")
    level = json.loads(out)["photos"][0]["regions"]["root"]["level"]
    assert (level["value"], level["u"], level["text"]) == (None, None, "darker than 1")


def test_one_bad_photo_does_not_stop_the_others(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    path = write_marks(tmp_path, entry("missing.jpg"), entry("a.jpg"), entry("a.jpg", path=[[1, 1]]))
    status, out, err = run("measure", path, "--json")
    found = json.loads(out)
    require_result(found)
    assert (status, err) == (1, "")
    assert [photo["ok"] for photo in found["photos"]] == [False, True, False]


def test_a_fault_of_the_program_does_not_stop_the_others(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    calls = iter([ZeroDivisionError("on purpose"), None])

    def sometimes(*words: Any, **named: Any) -> Any:
        fault = next(calls)
        if fault:
            raise fault
        return measure_photo(*words, **named)

    monkeypatch.setattr(measuring, "measure_photo", sometimes)
    status, out, _ = run("measure", write_marks(tmp_path, entry("a.jpg"), entry("a.jpg")), "--json")
    first, second = json.loads(out)["photos"]
    assert status == 1
    assert first["error"]["code"] == "unexpected"
    assert "ZeroDivisionError: on purpose" in first["error"]["message"]
    assert second["ok"]


def test_a_failed_check_stops_the_number_and_shows_why(tmp_path: Path) -> None:
    (tmp_path / "dark.png").write_bytes(save(photograph(scene() * 0.15).encoded, "PNG"))
    status, out, _ = run("measure", write_marks(tmp_path, entry("dark.png")), "--json")
    found = json.loads(out)
    require_result(found)
    (photo,) = found["photos"]
    assert status == 1
    assert photo["error"]["code"] == "check_failed"
    assert photo["card"]["kind"] == "grey18"
    failed = [check for check in photo["checks"] if not check["ok"]]
    assert photo["error"]["message"] == f"{failed[0]['says']} {failed[0]['advice']}"


def test_compare_gives_what_the_core_gives(tmp_path: Path) -> None:
    results = []
    for name, content in (("before", before()), ("after", after())):
        (tmp_path / f"{name}.jpg").write_bytes(content)
        results.append(tmp_path / f"{name} result.json")
        run("measure", write_marks(tmp_path, entry(f"{name}.jpg", light="daylight")), "--out", results[-1])
    status, out, err = run("compare", *results, "--json")
    assert (status, err) == (0, "")
    (pair,) = json.loads(out)["pairs"]
    assert pair["same_kit"] == {"same": True, "says": "Same camera, card and light."}
    readings = [measure_photo(read_photo(content), marks(), light="daylight") for content in (before(), after())]
    for change in compare_readings(*readings, same_kit=True, light="daylight"):
        shown = pair["regions"][change.name]
        assert change.lift.value is not None
        assert shown["lift"]["value"] == change.lift.value.value
        assert shown["delta_e"]["low"] == change.change.size.low
        assert (shown["verdict"], shown["sentence"]) == (change.verdict, say_change(change))
        assert shown["answer"] in ("lighter", "darker", "no difference", "cannot tell")
        assert shown["tone_answer"] in ("ashier", "warmer", "same tone", "cannot tell")
        for key, answer in (("lightness", change.lightness), ("tone", change.tone)):
            assert shown[key] == {name: getattr(answer, name) for name in ("value", "low", "high", "unit")}
    end = pair["regions"]["end"]
    assert (end["answer"], end["lightness"]["unit"], end["tone"]["unit"]) == ("lighter", "L*", "b*")
    assert pair["regions"]["end"]["verdict"] == "changed"
    assert run("compare", *results)[1].splitlines()[0] == "before.jpg to after.jpg: Same camera, card and light."


def test_photos_taken_together_are_one_state(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    (tmp_path / "b.jpg").write_bytes(after())
    lit = {"light": "daylight"}
    run("measure", write_marks(tmp_path, entry("a.jpg", **lit), entry("a.jpg", **lit)), "--out", tmp_path / "1.json")
    run("measure", write_marks(tmp_path, entry("b.jpg", **lit), entry("missing.jpg")), "--out", tmp_path / "2.json")
    status, out, err = run("compare", tmp_path / "1.json", tmp_path / "2.json", "--together", "--json")
    assert (status, err) == (0, "")
    (pair,) = json.loads(out)["pairs"]
    assert (pair["before"], pair["after"], pair["left_out"]) == (["a.jpg", "a.jpg"], ["b.jpg"], ["missing.jpg"])
    assert pair["regions"]["end"]["answer"] == "lighter"
    readings = [measure_photo(read_photo(content), marks(), light="daylight") for content in (before(), after())]
    state = mean_of_replicates([readings[0]] * 2, PROVISIONAL)
    for change in compare_readings(state, readings[1], same_kit=True, light="daylight"):
        assert pair["regions"][change.name]["lightness"]["low"] == pytest.approx(change.lightness.low)
    said = run("compare", tmp_path / "1.json", tmp_path / "2.json", "--together")[1]
    assert said.splitlines()[:2] == [
        "a.jpg and a.jpg to b.jpg: Same camera, card and light.",
        "  Without a number: missing.jpg.",
    ]
    # without a number on one side there is no pair, and all are named
    run("measure", write_marks(tmp_path, entry("missing.jpg")), "--out", tmp_path / "3.json")
    status, out, _ = run("compare", tmp_path / "1.json", tmp_path / "3.json", "--together", "--json")
    (pair,) = json.loads(out)["pairs"]
    assert (status, pair["ok"], pair["after"], pair["left_out"]) == (1, False, [], ["missing.jpg"])
    assert pair["error"]["message"].startswith("No photo of those after has a number")


def test_compare_says_when_the_kit_is_another(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    results = []
    for light in ("daylight", "salon lamps"):
        results.append(tmp_path / f"{light}.json")
        run("measure", write_marks(tmp_path, entry("a.jpg", light=light)), "--out", results[-1])
    pair = json.loads(run("compare", *results, "--json")[1])["pairs"][0]
    assert pair["same_kit"]["same"] is False
    assert "another light" in pair["same_kit"]["says"]
    assert {change["answer"] for change in pair["regions"].values()} == {"cannot tell"}


def test_compare_goes_on_where_a_photo_has_no_number(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    (tmp_path / "result.json").write_text(
        run("measure", write_marks(tmp_path, entry("missing.jpg"), entry("a.jpg")), "--json")[1], "utf-8"
    )
    status, out, _ = run("compare", tmp_path / "result.json", tmp_path / "result.json", "--json")
    first, second = json.loads(out)["pairs"]
    assert (status, first["ok"], second["ok"]) == (1, False, True)
    assert first["error"]["code"] == "cannot_compare"
    assert second["regions"]["mid"]["delta"]["lab"] == [0.0, 0.0, 0.0]


def test_names_with_spaces_and_letters_of_any_language(tmp_path: Path) -> None:
    folder = tmp_path / "Größe 大 é"
    (folder / "photos").mkdir(parents=True)
    (folder / "photos" / "vor her ü.jpg").write_bytes(before())
    out = folder / "ergebnis ñ.json"
    status, said, err = run("measure", write_marks(folder, entry("photos/vor her ü.jpg")), "--out", out)
    assert (status, err) == (0, "")
    assert "vor her ü.jpg: measured." in said
    assert json.loads(out.read_text("utf-8"))["photos"][0]["photo"] == "photos/vor her ü.jpg"


def test_photos_lie_relative_to_the_marks_file(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (tmp_path / "visit").mkdir()
    (tmp_path / "visit" / "a.jpg").write_bytes(before())
    write_marks(tmp_path / "visit", entry("a.jpg"))
    monkeypatch.chdir(tmp_path)
    assert run("measure", "visit/marks.json")[0] == 0


# --- --out ----------------------------------------------------------------------------------------------------------


def test_out_is_whole_or_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    out = tmp_path / "result.json"
    out.write_text("the old one", "utf-8")

    def fail(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fail)
    require_refusal(run("measure", write_marks(tmp_path, entry("a.jpg")), "--out", out), "store_error", "No space left")
    assert out.read_text("utf-8") == "the old one"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.jpg", "marks.json", "result.json"]
    monkeypatch.undo()
    status, said, _ = run("measure", tmp_path / "marks.json", "--out", out, "--json")
    assert status == 0
    assert json.loads(out.read_text("utf-8")) == json.loads(said)


def test_out_that_cannot_be_is_refused_before_measuring(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    path = write_marks(tmp_path, entry("a.jpg"))
    monkeypatch.setattr(measuring, "measure_photo", lambda *_: pytest.fail("measured"))
    for out, words in (
        (tmp_path, "not a place for a file"),
        (tmp_path / "none" / "r.json", "not a place for a file"),
        (path, "overwritten"),
        (tmp_path / "a.jpg", "overwritten"),
    ):
        require_refusal(run("measure", path, "--out", out), "store_error", words)
    assert (tmp_path / "a.jpg").read_bytes() == before()


# --- how it speaks and ends -----------------------------------------------------------------------------------------


class Screen(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_is_for_terminals(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    with terminal.Progress() as progress:
        progress.show(0.5, "a.jpg")
    assert capsys.readouterr() == ("", "")
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    with terminal.Progress() as progress:
        progress.show(0.5, "a\x1b.jpg")
    assert screen.getvalue() == "\r\x1b[K 50% a?.jpg\r\x1b[K"


def test_every_expected_error_ends_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    for error in (Conflict("Somebody\nelse saved.", "Try\tagain."), StoreError("Full."), TrackerError("Odd.")):
        monkeypatch.setattr(command, "_run", _raising(error))
        require_refusal(run("demo"), error.code)


def test_an_interruption_is_no_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "_run", _raising(KeyboardInterrupt()))
    assert run("demo") == (130, "", "")


def _raising(error: BaseException) -> Callable[[Any], int]:
    def fail(_: Any) -> int:
        raise error

    return fail


def test_the_module_can_be_run_and_its_output_cut_off(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    module = [sys.executable, "-m", "tracker", "measure", str(write_marks(tmp_path, entry("a.jpg")))]
    # an encoding without the signs of the output must not end it
    done = subprocess.run(module, capture_output=True, env={"PYTHONIOENCODING": "ascii"}, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"a.jpg: measured." in done.stdout
    closed = subprocess.Popen([*module, "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert closed.stdout is not None
    closed.stdout.close()
    assert closed.wait(60) == 1
    assert closed.stderr is not None
    assert closed.stderr.read() == b""
    closed.stderr.close()


def test_a_photo_with_flash_has_its_numbers_and_a_warning(tmp_path: Path) -> None:
    tags = Image.Exif()
    tags.get_ifd(0x8769)[0x9209] = 1  # CIPA DC-008: Flash, bit 0 = fired
    Image.fromarray(photograph(scene()).encoded).save(tmp_path / "flash.png", exif=tags.tobytes())
    marks = write_marks(tmp_path, entry("flash.png"))
    status, out, _ = run("measure", marks, "--json")
    [photo] = json.loads(out)["photos"]
    assert status == 0
    assert photo["ok"]
    [failed] = [check for check in photo["checks"] if not check["ok"]]
    assert (failed["name"], failed["stops"]) == ("flash", False)
    _, said, _ = run("measure", marks)
    assert "Look at this: The flash fired" in said
    assert "without flash" in said


def test_a_blurred_photo_has_its_numbers_and_a_warning(tmp_path: Path) -> None:
    import cv2

    cv2.imwrite(str(tmp_path / "soft.png"), cv2.GaussianBlur(photograph(scene()).encoded[..., ::-1], (0, 0), 9))
    marks = write_marks(tmp_path, entry("soft.png"))
    status, out, _ = run("measure", marks, "--json")
    [photo] = json.loads(out)["photos"]
    assert status == 0
    assert photo["ok"]
    assert set(photo["regions"]) == {"root", "mid", "end"}
    [failed] = [check for check in photo["checks"] if not check["ok"]]
    assert {"name", "ok", "value", "limit", "unit", "advice"} <= set(failed)
    assert failed["name"] == "sharp"
    assert failed["stops"] is False
    _, said, _ = run("measure", marks)
    assert "Look at this: The hair is blurred" in said


@pytest.mark.parametrize(
    ("size", "error"), [([100.0, 118.0], None), ([100.0, 20.0], "card_tilted"), ([1.0, 1.0], "invalid_entry")]
)
def test_a_card_of_known_size_gives_lengths(tmp_path: Path, size: list[float], error: str | None) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    card = {"kind": "grey18", "corners": [list(corner) for corner in CARD], "size_mm": size}
    path = write_marks(tmp_path, entry("a.jpg", card=card))
    status, out, _ = run("measure", path, "--json")
    assert status == 0
    [photo] = json.loads(out)["photos"]
    if error is None:
        # by hand: the drawn card is some 159 pixels wide, the path some 792 pixels long
        assert photo["lengths"]["path_mm"]["value"] == pytest.approx(792 * 100 / 159, rel=0.02)
        assert photo["lengths"]["path_mm"]["u"] > 0
    else:
        assert photo["lengths"]["error"]["code"] == error
        assert photo["lengths"]["path_mm"] is None
    _, said, _ = run("measure", path)
    assert ("cm long, as it hangs." in said) == (error is None)


def test_without_a_size_there_are_no_lengths(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    _, out, _ = run("measure", write_marks(tmp_path, entry("a.jpg")), "--json")
    assert json.loads(out)["photos"][0]["lengths"] is None
