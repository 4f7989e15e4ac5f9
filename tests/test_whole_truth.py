"""The whole hair inside a given outline, against truth: rendered heads of known change, and black hair by a wall."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.bench.heads.develop import ONE_LOOK, develop
from tests.bench.heads.methods import BandChange, Program
from tests.bench.heads.plates import MEAN, heads
from tests.bench.heads.run import chosen_heads
from tests.scenes import marks, photograph, scene
from tracker.measure import Settings, measure_photo
from tracker.measure.hair.mask import HairMask
from tracker.measure.reading import REGIONS, WHOLE


@cache
def rendered_pairs() -> tuple[tuple[np.ndarray, BandChange], ...]:
    """Of one photo before and one after, band by band: the true change, and what is said of it."""
    program, found = Program(WHOLE, MEAN), list[tuple[np.ndarray, BandChange]]()
    for place in chosen_heads(8):
        head, read = heads()[place], {}
        for shot in head.shots:
            photo = develop(head, shot, "grey18", ONE_LOOK)
            outline = HairMask(photo.hair, 1.0).outline().points
            settings = Settings(card_stood=not head.about["held"])
            given = replace(photo.marks, width=None, outline=outline)
            reading = measure_photo(photo.picture, given, settings, light=photo.noted)
            if reading.ok:
                read[shot.state, shot.number] = reading
        for number in range(3):
            pair = [read.get((state, number)) for state in (0, 1)]
            if all(pair):
                said = program.change(pair[:1], pair[1:], photo.noted)
                found += [(head.change(band, MEAN), said[band]) for band in REGIONS]
    return tuple(found)


class TestRenderedHeads:
    """Heads of the bench, whose true change is known over the whole width: painted, clumped, laid anew, half unchanged.

    Source of the truth: ``tests/bench/heads/plates/heads.json``, computed by the renderer, not by this package.
    """

    def test_an_outline_of_sixteen_points_is_enough(self) -> None:
        found = rendered_pairs()
        assert len(found) > 60
        away = np.abs([said.delta[0] - true[0] for true, said in found])
        # what was asked for of one photo each, of plain grey and one look
        assert np.median(away) <= 1.2
        assert np.quantile(away, 0.9) <= 2.5

    def test_the_true_change_lies_inside_what_is_stated(self) -> None:
        inside = np.array([np.abs(said.delta - true) <= said.half for true, said in rendered_pairs()])
        assert inside.mean() >= 0.93

    def test_a_large_change_is_said_the_right_way_round_and_seldom_missed(self) -> None:
        large = [(true[0], said) for true, said in rendered_pairs() if abs(true[0]) > 5]
        assert len(large) >= 15
        assert all(np.sign(said.delta[0]) == np.sign(true) for true, said in large)
        # one photo each: seen when this was written, 17 of the 20
        assert np.mean([said.changed for _, said in large]) >= 0.8


def test_no_wall_comes_in_at_the_rim_of_black_hair() -> None:
    # a hundredth of this wall in the mean (Y 0.39 in 0.0089) would make the hair lighter by 3 L*
    colour = (8.0, 1.0, 1.0)
    reading = measure_photo(photograph(scene(colour, colour, spread=0.0)), marks())
    assert [region.name for region in reading.regions] == list(REGIONS)
    for region in reading.regions:
        assert region.lab.lab[0] == pytest.approx(colour[0], abs=0.5)
