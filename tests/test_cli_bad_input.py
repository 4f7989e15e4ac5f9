"""Bad input to ``measure`` and ``compare`` ends in a named error with advice, and costs no other photo its number."""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from command_line import (
    Json,
    before,
    entry,
    picture,
    plain,
    require_refusal,
    require_result,
    run,
    write_marks,
)

from tests.photo_samples import jpeg, save
from tests.scenes import CARD, WIDTH, photograph, scene

SECOND_CARD = ((620.0, 120.0), (780.0, 130.0), (772.0, 320.0), (614.0, 308.0))

# --- photos that cannot be measured: a named error in RESULT, status 1 ----------------------------------------------


def bomb() -> bytes:
    """A PNG of a few bytes that claims 30,000 by 30,000 pixels (PNG 1.2, 11.2.2)."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", 30_000, 30_000, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")


def two_cards() -> np.ndarray:
    linear = scene()
    mask = np.zeros(linear.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.rint(SECOND_CARD).astype(np.int32), 1)
    return photograph(np.where(mask[..., None] > 0, 0.18, linear)).encoded


def covered_card() -> np.ndarray:
    linear = scene()
    linear[580:640, 640:800] = (0.03, 0.02, 0.015)
    return photograph(linear).encoded


NO_CORNERS = {"card": {"kind": "grey18"}}
AWAY = ((5.0, 5.0), (9.0, 5.0), (9.0, 9.0), (5.0, 9.0))

BAD_PHOTOS: dict[str, tuple[Callable[[], bytes], Json, str]] = {
    "not an image": (lambda: b"%PDF-1.7 this is no photo at all", {}, "unsupported_format"),
    "empty": (lambda: b"", {}, "unreadable"),
    "truncated": (lambda: plain()[:-4000], {}, "unreadable"),
    "bomb": (bomb, {}, "too_large"),
    "no card": (lambda: jpeg(picture(card=AWAY)), NO_CORNERS, "card_not_found"),
    "two cards": (lambda: jpeg(two_cards()), NO_CORNERS, "card_ambiguous"),
    "card clipped": (lambda: jpeg(photograph(scene() * 9).encoded), {}, "card_clipped"),
    "card covered": (lambda: jpeg(covered_card()), {}, "card_covered"),
    "card outside": (
        plain,
        {"card": {"kind": "grey18", "corners": [[880, 0], [980, 0], [980, 99], [880, 99]]}},
        "card_misplaced",
    ),
    "unknown card": (plain, {"card": {"kind": "grey99", "corners": CARD}}, "invalid_marks"),
    "bad reflectance": (
        plain,
        {"card": {"kind": "grey18", "corners": CARD, "reflectance": 18}},
        "invalid_marks",
    ),
    "path outside": (plain, {"path": [[300, 150], [300, 2000]]}, "outside_photo"),
    "one point": (plain, {"path": [[300, 150]]}, "invalid_path"),
    "no point": (plain, {"path": []}, "invalid_path"),
    "same point twice": (plain, {"path": [[300, 150], [300, 150], [300, 900]]}, "invalid_path"),
    "no width": (plain, {"width": 0, "outline": None}, "invalid_path"),
}


@pytest.mark.parametrize("name", BAD_PHOTOS)
def test_a_bad_photo_is_a_named_error_with_advice(name: str, tmp_path: Path) -> None:
    content, changed, code = BAD_PHOTOS[name]
    (tmp_path / "bad.jpg").write_bytes(content())
    status, out, err = run("measure", write_marks(tmp_path, entry("bad.jpg", **changed)), "--json")
    found = json.loads(out)
    require_result(found)
    (photo,) = found["photos"]
    assert (status, err, photo["error"]["code"]) == (1, "", code)
    assert photo["error"]["message"].count(".") >= 2, "says what is wrong and what to do"
    status, out, err = run("measure", tmp_path / "marks.json")
    assert (status, err) == (1, "")
    assert out.splitlines()[0] == f"bad.jpg: no number. {photo['error']['message']}"


def test_the_content_decides_and_not_the_name(tmp_path: Path) -> None:
    (tmp_path / "really a png.jpg").write_bytes(save(picture(), "PNG"))
    assert run("measure", write_marks(tmp_path, entry("really a png.jpg")))[0] == 0


def test_a_huge_file_is_refused_before_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with (tmp_path / "huge.jpg").open("wb") as file:
        file.truncate(90 * 1024**2)
    monkeypatch.setattr(Path, "read_bytes", lambda path: pytest.fail(f"{path} was read"))
    _, out, _ = run("measure", write_marks(tmp_path, entry("huge.jpg")), "--json")
    error = json.loads(out)["photos"][0]["error"]
    assert error["code"] == "too_large"
    assert "90.0 MB (limit 80)" in error["message"]


@pytest.mark.parametrize("name", ["", ".", "no\0name.jpg", "\ud800.jpg", "x" * 300, "marks.json/a.jpg"])
def test_a_name_that_is_no_file(name: str, tmp_path: Path) -> None:
    status, out, _ = run("measure", write_marks(tmp_path, entry(name)), "--json")
    (photo,) = json.loads(out)["photos"]
    assert (status, photo["error"]["code"], photo["photo"]) == (1, "unreadable", name)


def test_a_name_cannot_steer_the_terminal(tmp_path: Path) -> None:
    _, out, _ = run("measure", write_marks(tmp_path, entry("\x1b[2Jgone\n.jpg")))
    assert out.splitlines()[0].startswith("?[2Jgone .jpg: no number.")


# --- bad input as a whole: one line, status 2 -----------------------------------------------------------------------


GOOD = entry("a.jpg", outline=None, width=WIDTH)
BAD_MARKS = {
    "": "not JSON",
    "not json": "not JSON",
    "[" * 100_000: "nested too deeply",
    "[]": "The file must be an object",
    "{}": "“photos”",
    '{"photos": {}}': "photos must be a list",
    '{"photos": []}': "lists no photos",
    '{"photos": [7]}': "photos[0] must be an object",
    json.dumps({"photos": [{**GOOD, "photo": 7}]}): "photos[0].photo must be a text",
    json.dumps({"photos": [GOOD, {k: GOOD[k] for k in GOOD if k != "path"}]}): "photos[1] lacks “path”",
    json.dumps({"photos": [{**GOOD, "card": "grey18"}]}): "photos[0].card must be an object",
    json.dumps({"photos": [{**GOOD, "card": {"corners": CARD}}]}): "photos[0].card lacks “kind”",
    json.dumps({"photos": [{**GOOD, "card": {"kind": "grey18", "corners": CARD[:3]}}]}): "has 3 points instead of four",
    json.dumps(
        {"photos": [{**GOOD, "card": {"kind": "grey18", "reflectance": "18 %"}}]}
    ): "reflectance must be a number",
    json.dumps({"photos": [{**GOOD, "path": [[1, 2], [3, 4, 5]]}]}): "photos[0].path[1] must be a point",
    json.dumps({"photos": [{**GOOD, "path": [[1, 2], [3, "4"]]}]}): "photos[0].path[1] must be a number",
    json.dumps({"photos": [{**GOOD, "width": True}]}): "photos[0].width must be a number",
    json.dumps({"photos": [{**GOOD, "width": float("nan")}]}): "NaN",
    json.dumps({"photos": [{**GOOD, "width": 10**400}]}): "out of range",
    json.dumps({"photos": [GOOD]}).replace("90.0", "1e999"): "out of range",
    json.dumps({"photos": [{**GOOD, "light": 5}]}): "photos[0].light must be a text",
    json.dumps(
        {"photos": [{k: GOOD[k] for k in GOOD if k != "width"}]}
    ): "photos[0] does not say how to read the hair: exactly one of",
    json.dumps({"photos": [{**GOOD, "hair": "whole"}]}): "photos[0] gives “width” and “hair”: exactly one of",
    json.dumps({"photos": [{**GOOD, "width": None, "hair": "ribbon"}]}): "photos[0].hair must be “whole”",
    json.dumps({"photos": [{**GOOD, "width": None, "outline": [[1, 2], [3]]}]}): "photos[0].outline[1] must be a point",
}


@pytest.mark.parametrize("text", BAD_MARKS, ids=range(len(BAD_MARKS)))
def test_marks_that_break_the_contract(text: str, tmp_path: Path) -> None:
    path = tmp_path / "marks.json"
    path.write_text(text, "utf-8")
    require_refusal(run("measure", path), "invalid_marks", BAD_MARKS[text])


def test_marks_that_are_no_file_or_no_text(tmp_path: Path) -> None:
    require_refusal(run("measure", tmp_path / "none.json"), "invalid_marks", "cannot be read")
    require_refusal(run("measure", tmp_path), "invalid_marks", "cannot be read")
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0")
    require_refusal(run("measure", tmp_path / "photo.jpg"), "invalid_marks", "not text")


def test_keys_that_mean_nothing_are_said(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    wrong = entry("a.jpg", note="x", card={"kind": "grey18", "corner": CARD})
    status, out, err = run("measure", write_marks(tmp_path, wrong), "--json")
    assert status == 0
    require_result(json.loads(out))
    assert err == "note: Not part of a marks file and ignored: photos[0].note, photos[0].card.corner.\n"


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["frobnicate"],
        ["measure"],
        ["measure", "a", "b"],
        ["measure", "a", "--out"],
        ["compare", "a"],
        ["fade", "--x", "a"],
        ["demo", "x"],
    ],
    ids=" ".join,
)
def test_words_that_are_no_command(words: list[str]) -> None:
    require_refusal(run(*words), "usage", "--help")


def test_results_that_cannot_be_compared(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(before())
    one, two = tmp_path / "one.json", tmp_path / "two.json"
    marks_path = write_marks(tmp_path, entry("a.jpg"))
    run("measure", marks_path, "--out", one)
    require_refusal(run("compare", one, tmp_path / "none.json"), "cannot_compare", "cannot be read")
    require_refusal(run("compare", one, marks_path), "cannot_compare", "not a result of measure")
    good = json.loads(one.read_text("utf-8"))

    def refused(changed: Json, words: str) -> None:
        two.write_text(json.dumps(changed), "utf-8")
        require_refusal(run("compare", one, two), "cannot_compare", words)

    refused({**good, "photos": good["photos"] * 2}, "1 before and 2 after")
    refused({**good, "method_version": "0.1"}, "Measure both again")
    refused({**good, "photos": [{**good["photos"][0], "reading": {"card": 5}}]}, "not a result of measure")
    for damage in (float("nan"), -1.0):
        broken = json.loads(one.read_text("utf-8"))
        broken["photos"][0]["reading"]["regions"][0]["repeat_cov"][0][0] = damage
        refused(broken, "not a result of measure")
    for part in ("light_cov", "laid_cov"):
        broken = json.loads(one.read_text("utf-8"))
        broken["photos"][0]["reading"]["regions"][0][part][0][0] = float("nan")
        refused(broken, "not a result of measure")
