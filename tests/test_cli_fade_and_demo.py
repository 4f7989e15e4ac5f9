"""The command line gives the fit of a table or a stated refusal, and fills a demo studio."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_line import before, entry, require_refusal, run

TABLE = "months,L,a,b\n0,50,2,20\n0.25,51,2,22\n0.5,52,2,24\n1,53,2,26\n2,54,2,27\n4,55,2,28\n6,55.5,2,28.5\n"


def write_table(folder: Path, text: str) -> Path:
    path = folder / "series.csv"
    path.write_text(text, "utf-8")
    return path


def test_fade_gives_the_fit_or_a_stated_refusal(tmp_path: Path) -> None:
    status, out, err = run("fade", write_table(tmp_path, TABLE), "--json")
    assert (status, err) == (0, "")
    quantities = json.loads(out)["quantities"]
    assert list(quantities) == ["L*", "a*", "b*"]
    fitted, refused = quantities["b*"], quantities["a*"]
    half_life = fitted["half_life"]
    assert half_life["low"] < half_life["median"] < half_life["high"]
    assert fitted["refusal"] is None
    rate = fitted["rate"]
    assert 0 < rate["low"] < rate["median"] < rate["high"]
    assert refused["rate"] is None
    assert refused["half_life"] is None
    assert refused["refusal"].startswith("No rate can be given: ")
    assert len(fitted["curve"]["mean"]) == len(fitted["curve"]["months"]) == 7
    lines = run("fade", tmp_path / "series.csv")[1].splitlines()
    assert lines[2] == f"a*: {refused['refusal']}"
    assert lines[4].startswith("b*: half of the quick change is over in ")
    assert f"; rate {rate['median']:.2f} per month ({rate['low']:.2f} to {rate['high']:.2f})." in lines[4]


def test_fade_of_one_quantity(tmp_path: Path) -> None:
    status, out, _ = run("fade", write_table(tmp_path, "months;value\n0;6,1\n1;5,0\n2;4,8\n"), "--json")
    assert (status, list(json.loads(out)["quantities"])) == (0, ["value"])


def test_fade_says_when_limits_are_passed(tmp_path: Path) -> None:
    table = write_table(tmp_path, TABLE)
    words = ("--washes", "3", "--above", "b*=26.5", "--above", "L=90", "--below", "a*=-500")
    status, out, err = run("fade", table, *words, "--json")
    assert (status, err) == (0, "")
    document = json.loads(out)
    b, lightness, a = document["limits"]
    assert (b["name"], b["side"], b["limit"], b["state"]) == ("b*", "above", 26.5, "passed")
    # by hand: the table reads 26 at month 1 and 27 at month 2
    assert 1.0 < b["middle"] < 2.0
    assert (lightness["name"], lightness["state"], lightness["early"]) == ("L*", "not soon", None)
    assert "which no hair can have" in a["why_not"]
    assert document["refresh"]["middle"] == pytest.approx(b["middle"], abs=0.05)
    lines = run("fade", table, *words)[1].splitlines()
    assert lines[6].startswith("b* above 26.5: month ")
    assert "will most likely not be passed" in lines[7]
    assert lines[9].startswith("The first of these: month ")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--above", "x=3"), "is not a limit for this table"),
        (("--above", "b*"), "is not a limit for this table"),
        (("--below", "b*=nan"), "is not a limit for this table"),
        (("--washes", "0"), "washes a week cannot be right"),
        (("--washes", "nan"), "washes a week cannot be right"),
    ],
)
def test_limits_and_washes_that_cannot_be(words: tuple[str, ...], says: str, tmp_path: Path) -> None:
    require_refusal(run("fade", write_table(tmp_path, TABLE), *words), "invalid_entry", says)


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("", "invalid_series", "empty"),
        ("months,L,a\n0,1,2\n1,2,3\n", "invalid_series", "Column b is missing"),
        ("L,a,b\n1,2,3\n", "invalid_series", "Column months is missing"),
        ("months,value\n2,1\n1,1\n", "invalid_series", "out of order"),
        ("months,value\n0,one\n1,2\n", "invalid_series", "Row 2, column value"),
        ("months,value\n", "too_few_readings", "no readings"),
        ("months,value\n0,5\n", "too_few_readings", "one reading"),
    ],
)
def test_tables_that_make_no_series(text: str, code: str, words: str, tmp_path: Path) -> None:
    require_refusal(run("fade", write_table(tmp_path, text)), code, words)


def test_a_table_that_is_no_file(tmp_path: Path) -> None:
    require_refusal(run("fade", tmp_path / "none.csv"), "invalid_series", "cannot be read")


def test_demo_fills_the_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tracker.workflow import demo

    samples = tmp_path / "samples"
    samples.mkdir()
    (samples / "a.jpg").write_bytes(before())
    sample = {"file": "a.jpg", "client": "Maja", "role": "single", "light": "D65", **entry("a.jpg")}
    (samples / "photos.json").write_text(json.dumps({"photos": [sample]}), "utf-8")
    monkeypatch.setattr(demo, "sample_folder", lambda: samples)
    monkeypatch.setenv("TRACKER_HOME", str(tmp_path / "studio"))
    status, out, err = run("demo", "--json")
    assert (status, err) == (0, "")
    assert json.loads(out) == {"folder": str(tmp_path / "studio"), "clients": 1, "visits": 1, "photos": 1}
    require_refusal(run("demo"), "conflict", "there are clients already")


def test_demo_in_words_and_without_a_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("", "utf-8")
    monkeypatch.setenv("TRACKER_HOME", str(tmp_path / "file" / "studio"))
    require_refusal(run("demo"), "store_error", "cannot be made")
