"""The printed holder, from paper to pixel: the sheet's own coordinates, and drawn photos of it whose truth is known."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import zlib
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import cast

import cv2
import numpy as np
import pytest
from PIL import Image
from skimage import data
from test_pages_harness import assert_no_failure, open_page, words

from tests.command_line import entry, require_refusal, run, write_marks
from tests.photo_samples import jpeg
from tests.printed_holders import BACKGROUNDS, BLACK, GREY, Floats, View, any_view, onto, take
from tests.scenes import Drawn, photograph, scene
from tests.scenes import marks as scene_marks
from tracker.errors import CardError, CardImplausible, CardUneven, InvalidEntry
from tracker.maths.colorimetry import luminance
from tracker.maths.rgb_space import SRGB
from tracker.measure import CARD_KINDS, find_marks, measure_photo
from tracker.measure.card_scale import card_scale, scale_of
from tracker.measure.reference_card import CardReading, Corners, FoundCard, correction_from_card, read_card
from tracker.measure.reference_card.board import BOARDS, DARK, LARGE, PAPER, SMALL, WINDOW
from tracker.measure.reference_card.search import ASK, FOUND, NONE, board_at
from tracker.measure.reference_card.search.markers import find_markers
from tracker.report.papers import HOLDER_PAPERS, frame_on, holder_pdf, holder_picture
from tracker.report.papers.typesetting import typeset

pytest_plugins = ("test_pages_harness",)

HOLDER = next(kind for kind in CARD_KINDS.values() if kind.search is find_markers)
POINT = 25.4 / 72  # mm; PDF 32000-1:2008, 8.3.2.3


# --- the sheet -------------------------------------------------------------------------------------------------------


def drawn_on(pdf: bytes) -> str:
    """What the page draws: its one content stream."""
    packed = re.findall(rb"FlateDecode>>\r?\nstream\r?\n(.*?)\r?\nendstream", pdf, re.S)
    streams = [zlib.decompress(each) for each in packed]
    return next(each for each in streams if b" scn" in each and b"BT" in each).decode("latin-1")


def rectangles(pdf: bytes) -> list[tuple[float, float, float]]:
    """Width and height in mm, and the grey (0 black, 1 white), of each filled rectangle."""
    number = r"(-?[\d.]+)"
    pattern = rf"/c0 cs {number} scn 0 0 m {number} 0 l {number} {number} l 0 {number} l\nh\nf"
    found = [tuple(map(float, each)) for each in re.findall(pattern, drawn_on(pdf))]
    return [(width * POINT, height * POINT, grey) for grey, width, _, height, _ in found]


_MAKE = "import sys; from tracker.report.papers import holder_pdf; sys.stdout.buffer.write(holder_pdf(sys.argv[1]))"


@pytest.mark.parametrize("paper", HOLDER_PAPERS)
class TestSheet:
    def test_the_same_bytes_each_time_wherever_it_is_made(self, paper: str, tmp_path: Path) -> None:
        elsewhere = {"TZ": "Asia/Tokyo", "HOME": str(tmp_path), "USER": "somebody", "SOURCE_DATE_EPOCH": "0"}
        here = {"PYTHONPATH": str(Path(__file__).parents[1])}
        made = subprocess.run(
            [sys.executable, "-c", _MAKE, paper],
            capture_output=True,
            check=True,
            cwd=tmp_path,
            env={**os.environ, **elsewhere, **here},
        ).stdout
        assert made == holder_pdf(paper)
        assert list(tmp_path.iterdir()) == []

    def test_it_says_its_title_and_language_and_nothing_of_a_person_or_a_machine(self, paper: str) -> None:
        pdf = holder_pdf(paper)
        # PDF 32000-1:2008: 14.3.3 for the title, 14.9.2 for the language, 14.7.1 for the tags
        assert b"/Title(Holder for a grey card)" in pdf
        assert b"/Lang(en)" in pdf
        assert b"/MarkInfo<</Marked true" in pdf
        for told in (b"/Author", b"/CreationDate", b"/ModDate", b"CreateDate", b"ModifyDate", b"dc:creator"):
            assert told not in pdf
        for told in (str(Path.home()), str(Path.cwd()), os.uname().nodename):
            assert len(told) < 4 or told.encode() not in pdf

    def test_its_paper_and_its_line_have_their_size(self, paper: str) -> None:
        pdf = holder_pdf(paper)
        # ISO 216 for A4, ANSI/ASME Y14.1 for Letter
        size = (210.0, 297.0) if paper.endswith("a4") else (215.9, 279.4)
        [box] = re.findall(rb"/MediaBox\[0 0 ([\d.]+) ([\d.]+)\]", pdf)
        np.testing.assert_allclose([float(side) * POINT for side in box], size, atol=0.01)
        assert [width for width, height, _ in rectangles(pdf) if height == pytest.approx(0.4, abs=0.01)] == [
            pytest.approx(100.0, abs=0.01)
        ]

    def test_its_parts_have_the_measures_that_the_search_uses(self, paper: str) -> None:
        drawn = rectangles(holder_pdf(paper))
        sizes = Counter((round(width, 1), round(height, 1), round(255 * grey)) for width, height, grey in drawn)
        side = 22.0 if paper.startswith("pocket") else 33.0  # of the markers, as the sheet says
        times = side / 22.0
        assert sizes[side, side, 0] == 4
        assert sizes[68 * times, 14 * times, 0] == 1  # the dark patch
        # the board is grey, since white burns out
        assert sizes[96 * times, 120 * times, 180] == 1

    def test_everything_is_grey_and_on_the_paper(self, paper: str) -> None:
        colours = re.findall(r"/c0 cs (.*?) sc?n", drawn_on(holder_pdf(paper)), re.IGNORECASE)
        assert colours
        assert all(re.fullmatch(r"[\d.]+", colour) for colour in colours)
        picture = np.asarray(Image.open(BytesIO(holder_picture(paper, 100))).convert("RGB"))
        assert int(np.ptp(picture, axis=2).max()) == 0
        rim = np.concatenate([edge.ravel() for edge in (picture[:2], picture[-2:], picture[:, :2], picture[:, -2:])])
        assert float((rim < 250).mean()) < (0.05 if HOLDER_PAPERS[paper].folded else 1e-6)  # only where to fold

    def test_the_library_of_the_markers_reads_the_printed_ones_at_their_place(self, paper: str) -> None:
        dpi = 127.0  # 5 pixels a millimetre
        picture = np.asarray(Image.open(BytesIO(holder_picture(paper, dpi))).convert("L"))
        found, ids, _ = cv2.aruco.ArucoDetector(
            cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), cv2.aruco.DetectorParameters()
        ).detectMarkers(picture)
        board, (left, top, *_) = HOLDER_PAPERS[paper].board, frame_on(paper)
        assert sorted(np.ravel(ids)) == sorted(board.ids)
        for corners, number in zip(found, np.ravel(ids), strict=True):
            box = board.markers[board.ids.index(int(number))]
            np.testing.assert_allclose(corners.reshape(4, 2)[0] / 5, (left + box[0], top + box[1]), atol=0.3)


def test_no_word_is_taken_for_an_instruction() -> None:
    with pytest.raises(InvalidEntry, match="no holder on 'a5'"):
        holder_pdf("a5")
    folder = Path(sys.modules[typeset.__module__].__file__ or "").parent
    assert {path.name for path in folder.glob("*.typ")} == {"holder.typ"}
    source = (folder / "holder.typ").read_text("utf-8")
    for opening in ("eval(", "#import", "#include", "read(", "plugin(", "image("):
        assert opening not in source


def test_boards_differ_by_size_alone_and_their_patches_do_not_touch() -> None:
    assert LARGE.size_mm == (126.0, 162.0)
    assert SMALL.size_mm == (84.0, 108.0)
    assert len({number for board in BOARDS for number in board.ids}) == 8
    for board in BOARDS:
        covered = np.zeros([round(10 * side) for side in reversed(board.size_mm)], int)
        for box in (*board.markers, *(board.in_mm(part) for part in (WINDOW, DARK, *PAPER))):
            left, top, right, bottom = (round(10 * edge) for edge in box)
            covered[top:bottom, left:right] += 1
        assert covered.max() == 1


# --- the search ------------------------------------------------------------------------------------------------------


def off(found: FoundCard, corners: Floats) -> float:
    assert found.corners is not None
    return float(np.hypot(*(np.array(found.corners) - corners).T).max())


def paint(scene: Floats, points: Floats, light: float) -> None:
    mask = np.zeros(scene.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.rint(points).astype(np.int32), 1)
    scene[mask > 0] = light


def within(corners: Floats, box: tuple[float, float, float, float]) -> Floats:
    """Corners of a box of the unit square in the photo, for a holder that faces the camera."""
    a, b, _, d = corners
    left, top, right, bottom = box
    unit = ((left, top), (right, top), (right, bottom), (left, bottom))
    return np.array([a + u * (b - a) + v * (d - a) for u, v in unit])


_PLACES = ((-0.05, -0.05, 0.28, 0.24), (0.72, -0.05, 1.05, 0.24), (0.72, 0.76, 1.05, 1.05), (-0.05, 0.76, 0.28, 1.05))


def over_markers(*places: int) -> Callable[[Floats, Floats], None]:
    """A hand, or whatever it is, over some of the markers."""

    def hide(scene: Floats, corners: Floats) -> None:
        for place in places:
            paint(scene, within(corners, _PLACES[place]), 0.3)

    return hide


def right(found: FoundCard, view: View, corners: Floats) -> bool:
    """Found for sure, each corner within 0.3 % of the photo's width."""
    return found.state == FOUND and off(found, corners) < 0.003 * view.size[0]


def test_found_in_photos_of_all_sorts() -> None:
    for seed in range(20):
        view = any_view(1000 + seed)
        taken = take(view)
        found = find_markers(taken.encoded)
        assert right(found, view, taken.corners), view
        assert found.corners is not None
        assert board_at(taken.encoded, found.corners) == HOLDER_PAPERS[view.paper].board


@pytest.mark.slow
@pytest.mark.parametrize(("marker", "share", "count"), [(50.0, 0.97, 200), (36.0, 0.97, 100), (24.0, 0.95, 100)])
def test_found_at_each_size(marker: float, share: float, count: int) -> None:
    good, wrong = 0, 0
    for seed in range(count):
        view = any_view(5000 + seed, marker)
        taken = take(view)
        found = find_markers(taken.encoded)
        good += right(found, view, taken.corners)
        wrong += found.state == FOUND and not right(found, view, taken.corners)
    assert good >= share * count
    assert wrong == 0


def test_none_is_found_in_photos_without_one() -> None:
    for name in (*BACKGROUNDS, "camera", "coins", "moon", "text"):
        picture = getattr(data, name)()
        encoded = np.ascontiguousarray(np.repeat(picture[..., None], 3, 2) if picture.ndim == 2 else picture[..., :3])
        assert find_markers(encoded).state == NONE, name
    assert find_markers(photograph(scene()).encoded).state == NONE


def test_a_mirrored_holder_is_none() -> None:
    assert find_markers(np.ascontiguousarray(take(View()).encoded[:, ::-1])).state == NONE


@pytest.mark.parametrize("turn", range(4))
def test_found_whichever_way_it_is_held_and_in_sixteen_bits(turn: int) -> None:
    taken = take(View(turn=90.0 * turn + 10, middle=(0.45, 0.55)))
    assert off(find_markers(taken.encoded), taken.corners) < 1.0
    assert off(find_markers(taken.encoded.astype(np.uint16) * 257), taken.corners) < 1.0


@pytest.mark.parametrize("hidden", [(0,), (2,), (0, 1), (1, 3), (0, 2)])
def test_two_markers_are_enough(hidden: tuple[int, ...]) -> None:
    view = View(marker=60, tilt=15, tilt_to=40)
    taken = take(view, changed=over_markers(*hidden))
    found = find_markers(taken.encoded)
    assert right(found, view, taken.corners)


def test_one_marker_is_asked_about_and_none_is_nothing() -> None:
    taken = take(View(marker=60), changed=over_markers(0, 1, 2))
    found = find_markers(taken.encoded)
    assert (found.state, found.reason) == (ASK, "few_markers")
    assert off(found, taken.corners) < 60  # a guess, but near
    assert found.error is not None
    assert "Only one of the holder’s four markers" in found.error.message
    taken = take(View(marker=60), changed=over_markers(0, 1, 2, 3))
    assert find_markers(taken.encoded).reason == "nothing"


def test_a_bent_sheet_is_asked_about() -> None:
    view = View(paper="a4", marker=60, tilt=10, tilt_to=30)
    assert find_markers(take(view).encoded).state == FOUND
    found = find_markers(take(replace(view, bend=20.0)).encoded)
    assert (found.state, found.reason) == (ASK, "bent")
    assert found.error is not None
    assert "is bent" in found.error.message


def test_of_two_holders_a_tap_says_which() -> None:
    view = View(marker=34, size=(1200, 900), middle=(0.25, 0.5), tilt=8)
    first, corners = onto(np.full((900, 1200, 3), 0.3), view)
    both, others = onto(first, replace(view, middle=(0.75, 0.5)))
    encoded = photograph(both, seed=3).encoded
    found = find_markers(encoded)
    assert (found.state, found.reason) == (ASK, "two_boards")
    for quad in (corners, others):
        x, y = quad.mean(axis=0)
        tapped = find_markers(encoded, (float(x), float(y)))
        assert tapped.state == FOUND
        assert off(tapped, quad) < 1.0
    assert find_markers(encoded, (600.0, 20.0)).state == NONE


def test_one_that_leaves_the_photo_is_said() -> None:
    found = find_markers(take(View(marker=70, middle=(0.05, 0.5))).encoded)
    assert (found.state, found.reason) == (NONE, "cut_off")
    assert found.error is not None
    assert "outside the photo" in found.error.message


# --- the reading -----------------------------------------------------------------------------------------------------


def read(view: View, changed: Callable[[Floats, Floats], None] | None = None) -> CardReading:
    encoded = take(view, changed=changed).encoded
    found = find_markers(encoded)
    assert found.corners is not None
    return HOLDER.even_out(read_card(encoded, SRGB, HOLDER, cast(Corners, found.corners)))


@pytest.mark.parametrize("contrast", [0.85, 1.0, 1.25])
@pytest.mark.parametrize("slope", [-0.6, 0.8])
def test_the_contrast_of_the_phone_is_undone_in_a_light_that_falls_off(contrast: float, slope: float) -> None:
    card = read(View(paper="a4", marker=70, contrast=contrast, slope=slope, turn=80.0))
    correction = correction_from_card(card, GREY, BLACK)
    assert correction.exponent == pytest.approx(1 / contrast, rel=0.02)
    assert correction.kind == HOLDER.name


def test_another_print_has_another_dark_patch() -> None:
    card = read(View(marker=60))
    lighter = correction_from_card(card, None, 0.055)
    # by hand: log(0.18 / 0.055) over log(0.18 / 0.045)
    assert lighter.exponent == pytest.approx(np.log(GREY / 0.055) / np.log(GREY / BLACK), rel=0.02)


def shine(box: tuple[float, float, float, float], light: float) -> Callable[[Floats, Floats], None]:
    """A gleam over part of the holder that adds light to what lies below."""

    def add(scene: Floats, corners: Floats) -> None:
        mask = np.zeros(scene.shape[:2], np.uint8)
        cv2.fillConvexPoly(mask, np.rint(within(corners, box)).astype(np.int32), 1)
        scene[mask > 0] += light

    return add


@pytest.mark.parametrize(
    ("changed", "error", "says"),
    [
        (shine((0.0, 0.2, 0.12, 0.6), 0.25), CardUneven, "Something shines on the holder"),
        (shine(DARK, 0.06), CardImplausible, "The dark patch reads too light"),
        (shine((0.1, 0.6, 0.4, 0.76), 0.10), CardError, "dark patch|changes by|shows something else"),
        (shine(WINDOW, 0.60), CardImplausible, "window is too light for a grey card"),
        (shine(WINDOW, -0.13), CardImplausible, "window is too dark for a grey card"),
    ],
)
def test_gloss_and_what_is_no_grey_card_is_refused(
    changed: Callable[[Floats, Floats], None], error: type[CardError], says: str
) -> None:
    with pytest.raises(error, match=says) as refused:
        correction_from_card(read(View(marker=70), changed))
    assert refused.value.advice


def test_the_window_that_was_not_cut_out_is_refused() -> None:
    with pytest.raises(CardImplausible, match="too light for a grey card"):
        read(View(marker=60), lambda scene, corners: paint(scene, within(corners, WINDOW), 0.85))


# --- millimetres without a question ----------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", HOLDER_PAPERS)
def test_pose_and_millimetres_are_the_cameras(paper: str) -> None:
    for tilt, to in ((0.0, 0.0), (20.0, 60.0)):
        view = View(paper=paper, marker=60, tilt=tilt, tilt_to=to)
        taken = take(view)
        found = find_markers(taken.encoded)
        assert found.corners is not None
        assert HOLDER.size_in is not None
        size = HOLDER.size_in(taken.encoded, found.corners)
        assert size == HOLDER_PAPERS[paper].board.size_mm
        scale = card_scale(found.corners, size, view.size, ((600.0, 300.0), (600.0, 1200.0)))
        assert scale.mm_per_pixel.value == pytest.approx(taken.mm_per_pixel, rel=0.01)
        assert scale.tilt == pytest.approx(tilt, abs=4.0)


VIEW = View(marker=48, size=(900, 1100), middle=(0.8, 0.42), turn=4)


def beside_hair(contrast: float = 1.0) -> tuple[Drawn, Floats]:
    """Hair with the small holder beside it."""
    linear, corners = onto(scene(tip=(55.0, 6.0, 24.0), spread=1.0), VIEW)
    return photograph(GREY * (linear / GREY) ** contrast), corners


def test_a_photo_is_measured_with_its_length_and_nobody_says_the_size() -> None:
    photo, corners = beside_hair(contrast=1.2)
    suggestion = find_marks(photo, HOLDER.name)
    assert suggestion.card is None
    assert suggestion.marks.size_mm == SMALL.size_mm
    np.testing.assert_allclose(np.array(suggestion.marks.corners), corners, atol=1.0)
    own = replace(scene_marks(HOLDER.name, suggestion.marks.corners), size_mm=suggestion.marks.size_mm, dark=BLACK)
    reading = measure_photo(photo, own)
    assert reading.correction.exponent == pytest.approx(1 / 1.2, rel=0.02)
    scale = scale_of(reading, own, (900, 1100))
    assert scale is not None
    assert scale.mm_per_pixel.value == pytest.approx(22 / 48, rel=0.01)
    # corners put there by hand tell the size just as well
    by_hand = find_marks(photo, HOLDER.name, corners=cast(Corners, tuple(map(tuple, corners.tolist()))))
    assert by_hand.marks.size_mm == SMALL.size_mm
    beside = cast(Corners, tuple(map(tuple, (corners - (400.0, 0.0)).tolist())))
    assert find_marks(photo, HOLDER.name, corners=beside).marks.size_mm is None


def test_the_command_line_measures_lengths_with_it(tmp_path: Path) -> None:
    photo, _ = beside_hair()
    (tmp_path / "a.jpg").write_bytes(jpeg(photo.encoded))
    status, out, _ = run("measure", write_marks(tmp_path, entry("a.jpg", card={"kind": HOLDER.name})), "--json")
    [measured] = json.loads(out)["photos"]
    assert status == 0
    assert measured["lengths"]["mm_per_pixel"]["value"] == pytest.approx(22 / 48, rel=0.01)


def test_the_grey_card_in_the_window_reads_its_own_grey() -> None:
    photo, _ = beside_hair()
    suggestion = find_marks(photo, HOLDER.name)
    assert suggestion.marks.corners is not None
    card = read_card(photo.encoded, photo.space, HOLDER, suggestion.marks.corners)
    assert float(luminance(card.linear[HOLDER.grey])) == pytest.approx(GREY, rel=0.03)


# --- the ways to the sheet -------------------------------------------------------------------------------------------


def test_the_command_line_writes_each_sheet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for paper, sheet in HOLDER_PAPERS.items():
        status, out, err = run("holder", "--paper", paper)
        assert (status, err) == (0, "")
        assert sheet.title in out
        assert (tmp_path / f"holder-{paper}.pdf").read_bytes() == holder_pdf(paper)
    status, out, _ = run("holder", "--out", "mine.pdf", "--json")
    assert (status, json.loads(out)) == (0, {"paper": "a4", "file": "mine.pdf"})
    assert (tmp_path / "mine.pdf").read_bytes() == holder_pdf("a4")
    require_refusal(run("holder", "--out", "nowhere/mine.pdf"), "store_error", "not a place for a file")
    require_refusal(run("holder", "--paper", "a5"), "usage", "invalid choice: 'a5'")


@pytest.mark.usefixtures("store")
def test_the_studio_page_offers_each_sheet_and_asks_no_size() -> None:
    test = open_page("studio")
    assert_no_failure(test)
    shown = words(test)
    assert HOLDER.description in shown
    for sheet in HOLDER_PAPERS.values():
        assert sheet.title in shown
    assert f"card-width-{HOLDER.name}" not in {field.key for field in test.number_input}
