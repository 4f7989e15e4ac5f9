"""The truth bench itself is right: what it draws, what it calls true, and that a planted error shows."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache, partial
from pathlib import Path

import numpy as np
import pytest

from tests.bench import __main__ as command
from tests.bench import carried, chart_photos, corrections, pipeline
from tests.bench.conditions import AFTER, BASE, BEFORE, CONDITIONS, KINDS, QUICK, ROOMS, kits
from tests.bench.experiment import see_photo
from tests.bench.hair import COLOURS, HEADS, palette, texture, truth
from tests.bench.photograph import Shot, marks, take
from tests.bench.pipeline import Cell, measure, one_head
from tests.bench.report import summary, tables
from tests.bench.room import CARD, HAIR, SECOND, WALL, Room
from tests.bench.room import light as room_light
from tests.bench.spectra import (
    IDEAL as IDEAL_CAMERA,
)
from tests.bench.spectra import (
    LIGHTS,
    MOSAIC,
    STACKED,
    SURFACE,
    chart,
    fitted_matrix,
    hair_reflectance,
    light,
    melanin,
    noted,
    observer,
    raw,
    tabled_chart,
    to_linear,
)
from tracker.maths.colorimetry import delta_e_2000, linear_to_lab
from tracker.measure.reading import DAYLIGHT, LAMPS, MIXED, NOT_NOTED, REGIONS, TUBES
from tracker.photo import read_photo

IDEAL = next(c for c in CONDITIONS if c.name == "ideal camera, D65")
TABLED = next(c for c in CONDITIONS if c.name == "ideal camera, D65, chart as tabled")

# facts on hair, section 2 (computed for this project from the constants of pbrt's hair material): eumelanin, CIELAB
# with a 2 % surface term
EUMELANIN = {
    8: (15.5, 0.0, 0.0),
    2: (16.3, 1.4, 1.2),
    1.3: (18.1, 3.1, 3.6),
    0.7: (23.8, 5.3, 10.0),
    0.5: (28.5, 5.8, 13.8),
    0.3: (36.9, 5.5, 18.0),
    0.2: (44.1, 4.8, 19.5),
    0.1: (55.9, 3.4, 19.1),
    0.05: (66.3, 2.1, 16.6),
    0.02: (77.2, 1.1, 12.5),
}
PBRT = np.array([0.419, 0.697, 1.37])  # its absorption by eumelanin in red, green and blue
PHOTOS = ((0, BEFORE), (2, AFTER))


def true_lightness() -> np.ndarray:
    """L* of the bands in `PHOTOS`."""
    shots = [Shot(BASE, "grey18", head, role, "D65", 1) for head, role in PHOTOS]
    return np.array([lab[0] for shot in shots for lab in shot.truth.values()])


@cache
def errors(condition: str, kind: str, misprint: float = 1.0) -> np.ndarray:
    """Measured less true CIELAB of two photos, (bands, 3)."""
    chosen = next(c for c in CONDITIONS if c.name == condition)
    (lamp, camera), _ = kits(chosen)[0]
    found = []
    for head, role in PHOTOS:
        shot = Shot(chosen, kind, head, role, lamp, camera, misprint)
        reading = measure(shot)
        found += [np.subtract(region.lab.lab, shot.truth[region.name]) for region in reading.regions]
    return np.array(found)


def test_what_a_person_notes_of_a_light() -> None:
    assert [noted(name) for name in ("D50", "A", "FL11", "LED-B3")] == [DAYLIGHT, LAMPS, TUBES, LAMPS]
    shot = Shot(BASE, "grey18", 0, BEFORE, "A", 1)
    assert shot.noted == LAMPS
    assert replace(shot, condition=replace(BASE, noted=False)).noted == NOT_NOTED
    assert replace(shot, condition=replace(BASE, second=0.25)).noted == MIXED


@pytest.mark.parametrize("camera", MOSAIC)
def test_a_measured_camera_with_its_own_matrix_sees_a_chart_as_cameras_do(camera: int) -> None:
    seen = raw(chart(), camera, light("D65"), light("D65")) @ fitted_matrix(camera, "D65").T
    size = delta_e_2000(linear_to_lab(seen), linear_to_lab(chart() @ to_linear()))
    # a camera is no colorimeter, and its matrix is a fair one: 1 to 2 on average for still cameras (from memory)
    assert 0.5 < size.mean() < 2


@pytest.mark.parametrize(("eumelanin", "lab"), EUMELANIN.items())
def test_the_formula_gives_the_published_table(eumelanin: float, lab: tuple[float, float, float]) -> None:
    by_constants = linear_to_lab(hair_reflectance(eumelanin * PBRT))
    assert np.abs(by_constants - lab).max() < 0.3
    # whole spectra by the power law are not three constants: up to 0.7 in L* and 1.0 in b* apart
    by_spectrum = linear_to_lab(hair_reflectance(melanin(eumelanin, 0)) @ to_linear())
    assert abs(by_spectrum[0] - lab[0]) < 0.75
    assert np.abs(by_spectrum - lab).max() < 1.1


def test_the_bench_sees_a_chart_as_colour_science_does() -> None:
    import colour

    # colour-science integrates from 360 to 830 nm in steps of 1 [CIE 15:2004]; the bench has every fifth up to 730
    patches = colour.SDS_COLOURCHECKERS["BabelColor Average"].values()
    eye = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    d65 = colour.SDS_ILLUMINANTS["D65"].copy().align(eye.shape)
    whole = [patch.copy().align(eye.shape) for patch in patches]
    xyz = np.array([colour.sd_to_XYZ(patch, eye, d65, method="Integration") for patch in whole]) / 100
    seen = linear_to_lab(chart() @ to_linear())
    assert colour.delta_E(seen, colour.XYZ_to_Lab(xyz)).max() < 0.2


def test_a_perfect_white_is_white_to_observer_and_cameras() -> None:
    assert to_linear().sum(axis=0) == pytest.approx(np.ones(3), abs=1e-12)
    for camera in (IDEAL_CAMERA, *MOSAIC, STACKED):
        for name in LIGHTS:
            white = raw(np.ones_like(light(name)), camera, light(name), light(name))
            assert white == pytest.approx(np.ones(3))
            assert light(name) @ observer()[:, 1] == pytest.approx(1)


def test_the_bent_chart_has_the_tables_colours_and_stays_a_reflectance() -> None:
    assert tabled_chart().min() > 0
    assert tabled_chart().max() < 1
    apart = delta_e_2000(linear_to_lab(tabled_chart() @ to_linear()), linear_to_lab(chart() @ to_linear()))
    assert 0.3 < apart.mean() < 2


def test_colours_reach_from_the_first_to_the_tenth_level() -> None:
    assert len(COLOURS) >= 16
    lightness = [truth((name,) * 3, (0,))["mid"][0] for name in COLOURS]
    assert min(lightness) < 18.4
    assert max(lightness) > 62
    assert {name for head in HEADS for colours in head for name in colours} == set(COLOURS)
    assert all(palette(name).min() >= SURFACE and palette(name).max() < 1 for name in COLOURS)


def test_a_lock_has_strands_gaps_and_a_little_gloss() -> None:
    lies = texture((1,))
    assert 0.02 < float(np.mean(lies.gloss > 0.005)) < 0.15
    assert 0.02 < float(np.mean(lies.shade < 0.8)) < 0.15
    along = np.corrcoef(lies.strand[:-8].ravel(), lies.strand[8:].ravel())[0, 1]
    across = np.corrcoef(lies.strand[:, :-8].ravel(), lies.strand[:, 8:].ravel())[0, 1]
    assert along > 0.8 > across


@pytest.mark.parametrize("kind", KINDS)
def test_an_ideal_camera_reads_the_truth(kind: str) -> None:
    # the program's chart is the maker's table, so the chart in the photo is made to be that chart
    name = (TABLED if kind == "chart24" else IDEAL).name
    found = errors(name, kind)
    size = np.hypot(found[:, 0], np.hypot(found[:, 1], found[:, 2]) / 1.5)
    assert np.median(size) < (0.5 if kind != "chart24" else 0.9)


def test_with_the_drawn_charts_own_values_the_chart_is_as_exact_as_the_rest() -> None:
    card = chart_photos.reading("chart24", chart() @ to_linear() * (0.9, 0.7, 0.5))
    correct = corrections.matrix3x3(card, chart() @ to_linear())
    hair = np.concatenate([palette(name) for name in COLOURS]) @ to_linear()
    assert delta_e_2000(linear_to_lab(correct(hair * (0.9, 0.7, 0.5))), linear_to_lab(hair)).max() < 0.01


@pytest.mark.parametrize("misprint", [0.95, 1.05])
def test_a_card_that_reflects_less_than_it_says_makes_hair_too_light(misprint: float) -> None:
    plain, planted = errors(BASE.name, "grey18"), errors(BASE.name, "grey18", misprint)
    # CIELAB: light that is f times more is (L* + 16) (f^(1/3) - 1) more in L*
    measured = plain[:, 0] + true_lightness()
    expected = (measured + 16) * (misprint ** (-1 / 3) - 1)
    assert planted[:, 0] - plain[:, 0] == pytest.approx(expected, abs=0.2)


def test_glare_draws_hair_towards_the_card() -> None:
    shift = errors("glare 2 percent", "grey18")[:, 0] - errors(BASE.name, "grey18")[:, 0]
    lightness = true_lightness()
    light = ((lightness + 16) / 116) ** 3
    expected = 116 * np.cbrt((light + 0.02) * 0.18 / 0.20) - 16 - lightness
    assert shift == pytest.approx(expected, abs=0.5)


def test_the_same_photo_is_drawn_again_and_conditions_share_their_draws() -> None:
    shot = Shot(BASE, "grey18", 3, AFTER, "FL11", 2)
    assert take(shot) == take(shot)
    assert shot.truth["mid"] == pytest.approx(replace(shot, condition=IDEAL, kind="chart24").truth["mid"])
    assert take(shot) != take(replace(shot, role=BEFORE))


def test_every_light_meets_two_cameras_and_every_camera_as_many_lights() -> None:
    met = {kit for both in kits(BASE) for kit in both}
    assert len(met) == 2 * len(LIGHTS)
    for name in LIGHTS:
        assert len({camera for lamp, camera in met if lamp == name}) == 2
    for camera in MOSAIC:
        assert len({lamp for lamp, seen in met if seen == camera}) == 6
    assert all(first[0] != second[0] and first[1] != second[1] for first, second in kits(BASE))


def test_a_cell_has_all_its_figures() -> None:
    found = [summary(cell) for cell in one_head((BASE, 0))]
    assert [each["kind"] for each in found] == list(KINDS)
    for each in found:
        assert each["photos"] == 6
        assert each["reading"]["n"] == 18
        assert 0 <= each["reading"]["covers colour"] <= 1
        assert each["same kit"]["n"] == each["unlike kits"]["n"] == 12
    json.dumps(found, allow_nan=False)
    assert "chart24" in tables(found)


def test_a_refused_cell_shows_why_and_no_numbers() -> None:
    found = summary(Cell("x", "y", "grey18", 4, {"card_clipped": 4}))
    assert found["refused"] == {"card_clipped": 1.0}
    assert found["reading"]["size median"] is None
    json.dumps(found, allow_nan=False)


def test_the_quick_conditions_exist() -> None:
    assert set(QUICK) <= {condition.name for condition in CONDITIONS}
    assert len({condition.name for condition in CONDITIONS}) == len(CONDITIONS)


def test_candidates_keep_grey_grey_and_published_photos_go_through_all() -> None:
    for kind, candidates in corrections.CANDIDATES.items():
        linear = next(iter(chart_photos.photos().values()))
        for name, candidate in candidates.items():
            found = chart_photos.errors(kind, candidate, linear)
            assert np.nanmedian(found) < 12, (kind, name)
            assert np.isfinite(found).sum() >= 21


def _steps(room: Room, seed: int) -> dict[int, float]:
    """EV against the card of hair, second grey and the wall beside each, side by side from left to right."""
    shown = np.full((60, 420), WALL)
    shown[20:40, 8:72], shown[:, 80:220], shown[20:40, 260:370] = SECOND, HAIR, CARD
    total = np.sum(room_light(room, shown, *(np.random.default_rng((seed, k)) for k in (0, 1))), axis=0)
    assert total[shown == CARD].mean() == pytest.approx(1)
    assert total.min() > 0
    wall = float(np.log2(total[:15, 8:72].mean() / total[:15, 260:370].mean()))
    return {what: float(np.log2(total[shown == what].mean())) for what in (HAIR, SECOND)} | {WALL: wall}


def test_in_a_room_wall_and_hair_get_partly_different_light() -> None:
    alike, own = (np.array([[each[k] for k in (HAIR, SECOND, WALL)] for each in map(partial(_steps, room), range(60))])
                  for room in (Room(), Room(own=0.5)))  # fmt: skip
    assert 0.05 < alike[:, 0].std() < 0.2
    assert alike[:, 2] != pytest.approx(alike[:, 0], abs=0.02)
    assert np.corrcoef(alike[:, 0], alike[:, 2])[0, 1] > 0.8 > np.corrcoef(own[:, 0], own[:, 2])[0, 1]
    assert own[:, :2] == pytest.approx(alike[:, :2])


def test_a_seat_keeps_its_light_and_rooms_are_on_no_other_photo() -> None:
    light = [np.sum(room_light(Room(same_seat=True), np.zeros((9, 9), int) + np.arange(9) % 3, np.random.default_rng(1),
                               np.random.default_rng(k)), axis=0) for k in (2, 3)]  # fmt: skip
    assert light[0] == pytest.approx(light[1], rel=0.3)
    assert {condition.name for condition in ROOMS}.isdisjoint(condition.name for condition in CONDITIONS)
    assert all(condition.room is None and not condition.second_grey for condition in CONDITIONS)


def test_light_is_carried_rightly_where_wall_greys_and_hair_share_one_plane() -> None:
    condition = replace(next(c for c in ROOMS if c.gradient), uneven=0.0, balance=0.0, lights=("D65",))
    shot = Shot(condition, "grey18", 2, BEFORE, "D65", 1)
    photo = read_photo(take(shot))
    seen = see_photo(photo, marks("grey18"))
    assert seen is not None
    found = carried.labs(seen, photo, carried.PLACES)
    off = {way: np.mean([lab[n][0] - shot.truth[n][0] for n in REGIONS]) for way, lab in found.items()}
    assert off[corrections.NOTHING] < -2
    assert abs(off["second grey: light"]) < 0.8
    # the wall's places lie further apart than card and hair
    assert off["wall: light"] > 0.8 > abs(off["wall: half its light"])


def test_rendered_scenes_go_through_all_that_carry_light() -> None:
    found = carried.rendered()
    ways = [name for name in corrections.CARRIED if "second" not in name]
    assert [row["method"] for row in found] == [*ways, *ways, "their truth"]
    assert all(np.isfinite(row["L*"]).all() and row["L*"][1] < 8 for row in found[:-1])
    assert found[-1]["Noor after"] < 1
    assert "Noor's root" in carried.tables(found)


# slow: test_a_cell_has_all_its_figures guards one cell of these
@pytest.mark.slow
def test_the_command_writes_every_cell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "figures.json"
    monkeypatch.setattr("sys.argv", ["bench", "--only", "base", "--json", str(file)])
    # two heads fill a cell as well as all do
    monkeypatch.setattr(pipeline, "run", partial(pipeline.run, heads=2))
    assert command.main() == 0
    cells = json.loads(file.read_text())["cells"]
    assert [(cell["condition"], cell["kind"]) for cell in cells] == [("base", kind) for kind in KINDS]
    assert all(set(REGIONS) and cell["reading"]["n"] for cell in cells)
