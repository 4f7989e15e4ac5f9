"""A phone's balance along the line from tungsten to daylight is no other light; a colour off the line is."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from tracker.measure.balance_line import balance_move

XYZ_TO_RGB = np.linalg.inv(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ)  # colour-science, IEC 61966-2-1
OBSERVER = "CIE 1931 2 Degree Standard Observer"


def gains(x: float, y: float) -> np.ndarray:
    """The gains of a camera without a balance of its own, for a grey in that light."""
    return np.asarray(1 / (XYZ_TO_RGB @ np.array([x / y, 1, (1 - x - y) / y])))


def planckian(kelvin: float) -> np.ndarray:
    return gains(*colour.temperature.CCT_to_xy_Kang2002(kelvin))


def daylight(kelvin: float) -> np.ndarray:
    return gains(*colour.temperature.CCT_to_xy_CIE_D(kelvin))


@pytest.mark.parametrize("first", [2300, 2700, 3200, 4000])
@pytest.mark.parametrize("second", [5000, 6500, 7500])
def test_from_a_bulb_to_the_sky_is_along_the_line(first: float, second: float) -> None:
    # Planckian and daylight chromaticities by colour-science (Kang et al. 2002; CIE 15)
    move = balance_move(planckian(first), daylight(second))
    assert move.along > 0.15
    assert abs(move.off) < 0.02
    assert not move.another_light
    back = balance_move(daylight(second), planckian(first))
    assert (back.along, back.off) == pytest.approx((-move.along, -move.off))


@pytest.mark.parametrize("name", ["FL2", "FL11", "FL12", "FL7", "LED-B1", "LED-B3", "LED-V1"])
def test_lamps_and_tubes_are_not_told_from_a_balance_and_nobody_says_so(name: str) -> None:
    # chromaticities of CIE 15:2018 by colour-science: what one grey cannot tell, a note must
    move = balance_move(daylight(6500), gains(*colour.CCS_ILLUMINANTS[OBSERVER][name]))
    assert abs(move.off) < 0.05


def test_a_coloured_light_is_another_light() -> None:
    # three parts of sRGB's green, or of its red with blue, to one of white (IEC 61966-2-1 primaries)
    for tint, sign in (((0.25, 1.0, 0.25), -1), ((1.0, 0.25, 1.0), 1)):
        move = balance_move((1.0, 1.0, 1.0), 1 / np.array(tint))
        assert move.another_light
        assert np.sign(move.off) == sign


def test_equal_gains_are_no_move_and_exposure_is_none_either() -> None:
    move = balance_move((1.2, 1.0, 0.7), (2.4, 2.0, 1.4))
    assert (move.along, move.off) == pytest.approx((0.0, 0.0), abs=1e-9)
