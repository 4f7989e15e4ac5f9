"""Services of a studio laid over one another: by starting level, by tone and by service."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace

import pytest

from tracker.calibrate.calibration import Yardsticks
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.fade import Overlay
from tracker.maths.quantities import Vector3
from tracker.measure.reading import WHOLE
from tracker.wear.readings import LIGHTNESS, WARMTH, PlaceReadings, ServiceReadings
from tracker.workflow.services_worn import KIND, LEVEL, TONE, kinds_worn, read_alike, studio_wear


class Kept:
    """What `studio_wear` asks of a store."""

    yardsticks = SimpleNamespace(in_force=Yardsticks)


def worn(key: str, lightness: float, warmth: float, *services: str) -> ServiceReadings:
    labs: tuple[Vector3, ...] = ((lightness, 6.0, 20.0), (lightness - 2.0, 6.0, 22.0))
    place = PlaceReadings(
        "end", (0.0, 2.0), labs, ((0.5, 0.3, 0.5),) * 2, warmths=(warmth, warmth + 3.0), u_warmths=(0.5, 0.5)
    )
    begins = datetime(2026, 1, 10, 12, tzinfo=UTC)
    return ServiceReadings(key, f"client {key}", date(2026, 1, 10), begins, services or ("toner",), None, (place,))


def grouped(found: Overlay) -> dict[str, int]:
    return {group.group: group.services for group in found.groups}


def compared(services: list[ServiceReadings], grouping: str, quantity: str = WARMTH, kind: str = "toner") -> Overlay:
    return studio_wear(Kept(), services, kind, "end", quantity, grouping)  # type: ignore[arg-type]


def test_by_the_level_right_after_the_service() -> None:
    at = DEFAULT_SCALE.lightness
    services = [
        worn("a", at(7.0), 4.0),
        worn("b", at(7.4), 4.0),
        worn("c", at(7.6), 4.0),
        worn("d", at(1.0) - 2.0, 4.0),
        worn("e", at(10.0) + 2.0, 4.0),
        worn("f", at(7.0), 4.0, "shadow root"),
    ]
    assert grouped(compared(services, LEVEL, LIGHTNESS)) == {
        "level 7": 2,
        "level 8": 1,
        "darker than level 1": 1,
        "lighter than level 10": 1,
    }


def test_services_read_in_two_ways_are_never_laid_over_one_another() -> None:
    ribbon = [worn(key, 50.0, 4.0) for key in "ab"]
    whole = [replace(worn(key, 50.0, 4.0), hair=WHOLE) for key in "cde"]
    once = replace(worn("f", 50.0, 4.0), places=())  # not photographed again, so nothing of it is left out
    assert read_alike([*ribbon, *whole, once]) == (whole, ribbon)
    assert read_alike([*ribbon, *whole[:1]]) == (ribbon, whole[:1])
    assert read_alike([]) == ([], [])


# 1.96 times the 0.5 of the first reading is 0.98
@pytest.mark.parametrize(
    ("warmth", "tone"), [(5.0, "warm"), (1.0, "warm"), (0.9, "neutral"), (-0.9, "neutral"), (-1.0, "cool")]
)
def test_by_the_tone_right_after_the_service(warmth: float, tone: str) -> None:
    assert grouped(compared([worn("a", 50.0, warmth), worn("b", 50.0, 9.0)], TONE)).get(tone, 0) >= 1
    assert set(grouped(compared([worn("a", 50.0, warmth)], TONE))) == {tone}


def test_by_service_all_kinds_are_laid_over_one_another() -> None:
    services = [worn("a", 50.0, 4.0), worn("b", 50.0, 4.0, "cut", "toner"), worn("c", 50.0, 4.0, "shadow root")]
    assert grouped(compared(services, KIND)) == {"toner": 2, "shadow root": 1}
    assert kinds_worn(services) == {"toner": 2, "shadow root": 1}
