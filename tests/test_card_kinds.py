"""A kind of card is one file: nothing else names one, and one more is known everywhere without any other change."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import cast

import cv2
import numpy as np
import pytest
from streamlit.testing.v1 import AppTest
from test_pages_harness import assert_no_failure, open_page, sent, words

from tests.command_line import entry, run, write_marks
from tests.photo_samples import jpeg
from tests.scenes import CARD, Drawn, card_of, marks, photograph, scene
from tracker import workflow
from tracker.compare.comparison import compare_readings
from tracker.compare.lights_and_lows import shades
from tracker.errors import CardClipped, CardImplausible, CardNotFound
from tracker.maths.colorimetry import Floats, delta_e_2000, luminance
from tracker.measure import CARD_KINDS, find_marks, measure_photo
from tracker.measure.balance import tone, toned_gains
from tracker.measure.camera_error import Undone
from tracker.measure.card_scale import scale_of
from tracker.measure.reading import Correction, PhotoReading, Point
from tracker.measure.reference_card import (
    CardKind,
    CardReading,
    Corners,
    FoundCard,
    camera_error,
    correction_from_card,
    read_as,
)
from tracker.measure.reference_card import kinds as package
from tracker.measure.reference_card.kind import grid
from tracker.measure.reference_card.search.reduced import Reduced, reduce
from tracker.record.records import MEASURING, Draft, from_json, to_json
from tracker.store import Store

pytest_plugins = ("test_pages_harness",)

TRACKER = Path(package.__file__).parents[2]
KINDS_FOLDER = Path(package.__file__).parent


# --- one file a kind -------------------------------------------------------------------------------------------------


def test_no_kind_of_card_is_named_outside_its_own_file() -> None:
    contract = TRACKER / "cli" / "command.py"  # the text of its help, held against the kinds below
    sources = [path for end in ("py", "js", "html", "css", "toml") for path in TRACKER.rglob(f"*.{end}")]
    named = {
        (name, str(path.relative_to(TRACKER)))
        for path in sources
        for name in CARD_KINDS
        if name in path.read_text("utf-8") and path not in (KINDS_FOLDER / f"{name}.py", contract)
    }
    # the package lists its own modules
    assert {path for _, path in named} <= {str((KINDS_FOLDER / "__init__.py").relative_to(TRACKER))}


def test_each_file_is_a_kind_that_is_offered() -> None:
    files = {path.stem for path in KINDS_FOLDER.glob("*.py")} - {"__init__"}
    assert files == set(CARD_KINDS) == {kind.name for kind in package.KINDS}


def test_the_command_lines_help_names_every_kind() -> None:
    _, said, _ = run("measure", "--help")
    assert f"Kinds of card: {', '.join(CARD_KINDS)}." in " ".join(said.split())


@pytest.mark.parametrize("kind", CARD_KINDS.values(), ids=list(CARD_KINDS))
def test_what_a_kind_says_of_itself_holds_together(kind: CardKind) -> None:
    reference = kind.reference(None, None)
    assert reference.shape == (len(kind.boxes), 3)
    assert kind.grey in dict(kind.sound)
    # the card read exactly as it is asks for no correction
    exact = CardReading(
        kind, CARD, reference, np.zeros((len(reference), 3, 3)), np.ones(len(reference), bool), 0.0, 0.0
    )
    kind.require_plausible(exact)
    correction = correction_from_card(exact)
    assert correction.kind == kind.name
    np.testing.assert_allclose(correction.gains, 1, atol=2e-3)
    # a grey that reflects a tenth more makes the photo a tenth lighter
    known = kind.reference(1.1 * kind.reflectance, None)[kind.grey]
    np.testing.assert_allclose(luminance(known), 1.1 * kind.reflectance, rtol=1e-3)


# --- one more kind ---------------------------------------------------------------------------------------------------

_LIGHT, _DARK = 0.18, 0.05


def _reference(reflectance: float | None, _dark: float | None) -> Floats:
    return np.repeat([[_LIGHT if reflectance is None else reflectance], [_DARK]], 3, axis=1)


def _correct(card: CardReading, reference: Floats) -> Correction:
    """As two greys allow: gains and an exponent, stray light drawn to none."""
    grey = card.linear[0], reference[0]
    exponent, flare = tone(card.linear, reference, *grey)
    return Correction("halves2", toned_gains(*grey, exponent, flare), flare, exponent)


def _require_plausible(card: CardReading) -> None:
    upper, lower = (float(luminance(values)) for values in card.linear)
    if not upper > 1.5 * lower:
        raise CardImplausible("The upper half is not the lighter one.", "Mark the corners from the light end.")


def _search(encoded: np.ndarray | Reduced, near: Point | None) -> FoundCard:
    """Where the drawn card lies, if it lies there: a step between its halves."""
    upper, lower = (reduce(encoded).photo[row, 700].astype(float).mean() for row in (560, 680))
    if upper < 1.2 * lower:
        return FoundCard("none", None, 0.0, "nothing")
    return FoundCard("found", cast(Corners, CARD), 1.0)


HALVES = CardKind(
    name="halves2",
    title="Made-up card of two halves",
    description="Grey above, dark below.",
    size_of="Both halves together.",
    corrected="Both halves gave the light and the camera’s contrast.",
    boxes=grid(1, 2),
    sound=((0, "upper half"), (1, "lower half")),
    grey=0,
    reflectance=_LIGHT,
    tolerance=0.04,
    reference=_reference,
    correct=_correct,
    undone=Undone(contrast=0.04, stray=0.003, tint=0.5),
    search=_search,
    require_plausible=_require_plausible,
)
CONTRAST = 1.25


@pytest.fixture
def one_more() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(cast(dict[str, CardKind], CARD_KINDS), HALVES.name, HALVES)
        yield


def drawn(contrast: float = CONTRAST, exposure: float = 1.0, tip: float = 55.0, seed: int = 1) -> Drawn:
    """Hair beside a card of two halves, taken by a camera with some contrast."""
    linear = scene(tip=(tip, 6.0, 24.0), spread=1.0, seed=seed)
    corners = np.asarray(CARD)
    middle = (corners[0] + corners[3]) / 2, (corners[1] + corners[2]) / 2
    for half, reflectance in (
        ([corners[0], corners[1], middle[1], middle[0]], _LIGHT),
        ([middle[0], middle[1], corners[2], corners[3]], _DARK),
    ):
        mask = np.zeros(linear.shape[:2], np.uint8)
        cv2.fillConvexPoly(mask, np.rint(half).astype(np.int32), 1)
        linear[mask > 0] = reflectance
    return photograph(_LIGHT * (exposure * linear / _LIGHT) ** contrast, seed=seed)


def measured(photo: Drawn, kind: str = "halves2") -> PhotoReading:
    return measure_photo(photo, marks(kind))


@pytest.mark.usefixtures("one_more")
class TestOneMore:
    def test_its_own_search_gives_the_marks(self) -> None:
        found = find_marks(drawn(), "halves2")
        assert (found.marks.card_kind, found.marks.corners, found.card) == ("halves2", CARD, None)
        found = find_marks(photograph(scene()), "halves2")
        assert isinstance(found.card, CardNotFound)
        assert found.marks.corners is not None
        with pytest.raises(CardNotFound, match="No card of this kind"):
            measure_photo(photograph(scene()), marks("halves2", None))

    def test_its_corners_are_checked_by_its_own_boxes_and_reflectances(self) -> None:
        corners = cast(Corners, CARD)
        assert read_as(HALVES, drawn().encoded, corners) is None
        plain = read_as(HALVES, photograph(scene()).encoded, corners)
        assert isinstance(plain, CardImplausible), "its own word on what is plausible"
        assert read_as(HALVES, drawn().encoded, cast(Corners, tuple((x, y + 19.0) for x, y in CARD))) is not None
        assert read_as(HALVES, drawn().encoded, (CARD[2], CARD[3], CARD[0], CARD[1])) is not None

    def test_its_own_correction_gives_the_colours(self) -> None:
        plain = measure_photo(photograph(scene(spread=1.0)), marks("grey18"))
        reading = measured(drawn())
        # the contrast that the camera put in, taken out by the dark half; one grey cannot see it
        assert reading.correction.exponent == pytest.approx(1 / CONTRAST, rel=0.03)
        upper = (CARD[0], CARD[1], (796.0, 625.0), (637.0, 614.0))
        grey = measure_photo(drawn(), marks("grey18", upper))
        for own, other, true in zip(reading.regions, grey.regions, plain.regions, strict=True):
            assert float(delta_e_2000(own.lab.lab, true.lab.lab)) < 1.0
            if abs(true.lab.lab[0] - 49.5) > 5:  # a grey of 18 % has L* 49.5: there contrast changes nothing
                assert float(delta_e_2000(other.lab.lab, true.lab.lab)) > 2.0

    def test_its_own_checks_refuse(self) -> None:
        with pytest.raises(CardClipped, match="The upper half is burnt out"):
            measured(drawn(contrast=1.0, exposure=7.0))
        upside_down = replace(marks("halves2"), corners=(CARD[2], CARD[3], CARD[0], CARD[1]))
        with pytest.raises(CardImplausible, match="not the lighter one"):
            measure_photo(drawn(), upside_down)

    def test_its_own_camera_error_counts(self) -> None:
        assert camera_error(card_of("halves2", 0.18), "daylight") == HALVES.undone.under("daylight", 0.18)
        known = measured(drawn())
        worse = replace(HALVES, undone=replace(HALVES.undone, contrast=0.3))
        with pytest.MonkeyPatch.context() as patch:
            patch.setitem(cast(dict[str, CardKind], CARD_KINDS), "halves2", worse)
            unsure = measured(drawn())
            for one, other in zip(known.regions, unsure.regions, strict=True):
                assert one.lab.lab == other.lab.lab
                assert one.repeat_cov == other.repeat_cov
            assert unsure.regions[0].lab.u[0] > 1.5 * known.regions[0].lab.u[0]
            later = measured(drawn(tip=70.0, seed=4))
            [*_, end] = compare_readings(known, later, same_kit=True, light="daylight")
        [*_, sure_end] = compare_readings(known, later, same_kit=True, light="daylight")
        assert end.change.u[0] > sure_end.change.u[0]

    def test_its_size_gives_lengths_and_its_record_opens_again(self) -> None:
        reading = measured(drawn())
        sized = replace(marks("halves2"), size_mm=(100.0, 118.0))
        scale = scale_of(reading, sized, (900, 1100))
        assert scale is not None
        # by hand: the drawn card is some 159 pixels wide, the path some 792 pixels long
        assert scale.path.value == pytest.approx(792 * 100 / 159, rel=0.02)
        assert from_json(PhotoReading, to_json(reading)) == reading

    @pytest.mark.parametrize("corners", [CARD, None], ids=["marked", "found"])
    def test_the_command_line_measures_it(self, tmp_path: Path, corners: object) -> None:
        (tmp_path / "a.jpg").write_bytes(jpeg(drawn().encoded))
        path = write_marks(tmp_path, entry("a.jpg", card={"kind": "halves2", "corners": corners}))
        status, out, _ = run("measure", path, "--json")
        [photo] = json.loads(out)["photos"]
        assert (status, photo["ok"], photo["card"]["kind"]) == (0, True, "halves2")
        assert photo["reading"]["correction"]["exponent"] == pytest.approx(1 / CONTRAST, rel=0.03)

    def test_the_studio_page_shows_it(self, store: Store) -> None:
        test = open_page("studio")
        assert_no_failure(test)
        shown = words(test)
        for text in (HALVES.title, HALVES.description, HALVES.size_of):
            assert text in shown
        test.number_input(key="card-width-halves2").set_value(100.0)
        test.number_input(key="card-height-halves2").set_value(118.0).run()
        test.button(key="card-keep-halves2").click().run()
        assert workflow.card_size(store, "halves2") == (100.0, 118.0)

    def test_a_visit_is_made_with_it(self, store: Store) -> None:
        client = workflow.add_client(store, "Cleo", "", {MEASURING: True}, "me")
        test = open_page("new_visit", client=client.id)
        cards = next(radio for radio in test.radio if radio.key.endswith("-kind") and radio.key.startswith("card-"))
        assert HALVES.title in cards.options
        cards.set_value("halves2").run()
        for role, tip in (("before", 55.0), ("after", 70.0)):
            self._upload(test, role, jpeg(drawn(tip=tip, seed=3 if role == "before" else 4).encoded))
        assert_no_failure(test)
        test.button(key="to-marks").click().run()
        # it is searched for, so its marks can be asked for again
        assert test.button(key="again-before").label == "Find the card again"
        for role in ("before", "after"):
            self._confirm(test, store, role)
        assert_no_failure(test)
        assert HALVES.corrected in words(test)
        photos = self._draft(test, store).photos
        assert [photo.reading.card.kind for photo in photos if photo.reading] == ["halves2", "halves2"]

    @staticmethod
    def _draft(test: AppTest, store: Store) -> Draft:
        draft_id = test.query_params["draft"]
        return store.drafts.get(draft_id if isinstance(draft_id, str) else draft_id[0])

    @staticmethod
    def _upload(test: AppTest, role: str, content: bytes) -> None:
        key = next(each.key for each in test.file_uploader if each.key.startswith(f"upload-{role}-"))
        test.file_uploader(key=key).set_value([("photo.jpg", content, "image/jpeg")]).run()

    def _confirm(self, test: AppTest, store: Store, role: str) -> None:
        photo = next(photo for photo in self._draft(test, store).photos if photo.role == role)
        assert photo.marks is not None
        assert photo.marks.corners == CARD
        test.session_state[f"marks-{photo.id}"] = sent()
        test.button(key=f"right-{role}").click().run()


# --- a kind that is not known here -----------------------------------------------------------------------------------


def test_a_record_of_a_kind_from_elsewhere_still_says_what_it_can() -> None:
    reading = measure_photo(photograph(scene()), marks())
    foreign = replace(
        reading,
        card=replace(reading.card, kind="unheard-of"),
        correction=replace(reading.correction, kind="unheard-of"),
    )
    assert from_json(PhotoReading, to_json(foreign)) == foreign
    # as sure as the plain card, which leaves most undone
    assert compare_readings(foreign, foreign, same_kit=True) == compare_readings(reading, reading, same_kit=True)
    assert shades(foreign) == shades(reading)
    sized = replace(marks("unheard-of"), size_mm=(100.0, 118.0))
    assert scale_of(foreign, sized, (900, 1100)) is not None
