"""When the studio's habits are learnt anew: as the record grows by a tenth, and as soon as a service that taught them
is gone or reads otherwise."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any

import pytest

from tracker.calibrate.calibration import Yardsticks
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.fade import Priors
from tracker.fade.posterior import DEFAULT_PRIORS
from tracker.measure.reading import RIBBON, WHOLE
from tracker.record.records import to_json
from tracker.workflow import learning

KIND_NAME = "toner"


class Settings(dict[str, Any]):
    put = dict.__setitem__


@dataclass
class Kept:
    """What `learn` asks of a studio, with as many services as are wanted."""

    services: list[Any]
    settings: Settings = field(default_factory=Settings)

    @property
    def wear(self) -> Any:
        return SimpleNamespace(services=lambda: self.services)

    @property
    def yardsticks(self) -> Any:
        return SimpleNamespace(in_force=Yardsticks)


def test_nothing_to_learn_from_leaves_what_is_published() -> None:
    kept = Kept([])
    found = learning.learn(kept, Yardsticks())  # type: ignore[arg-type]
    assert found.priors == {}
    assert kept.settings == {}


@dataclass(frozen=True)
class Service:
    """As much of a service as `learn` looks at itself."""

    visit_id: int
    washes_per_week: float = 3.0
    occasions: int = 2
    ended_on: str = "2026-06-01"
    services: tuple[str, ...] = (KIND_NAME,)
    hair: str = RIBBON


TWENTY = [Service(number) for number in range(20)]


@pytest.mark.parametrize(
    ("now", "anew"),
    [
        (TWENTY, False),
        (TWENTY[::-1], False),
        ([*TWENTY, Service(20), Service(21)], False),
        ([*TWENTY, Service(20), Service(21), Service(22)], True),
        (TWENTY[1:], True),
        (TWENTY[:5], True),
        ([*TWENTY[1:], Service(20)], True),  # one erased, another finished
        ([Service(number) for number in range(20, 40)], True),
        ([*TWENTY[1:], Service(0, washes_per_week=4.0)], True),
        ([*TWENTY[1:], Service(0, occasions=1)], True),
        ([], True),
    ],
)
def test_learnt_anew_after_a_tenth_more_or_once_what_taught_is_gone(
    monkeypatch: pytest.MonkeyPatch, now: list[Service], anew: bool
) -> None:
    kept = Kept(TWENTY)
    monkeypatch.setattr(learning, "worn_by", lambda services, *_: list(services))
    monkeypatch.setattr(learning, "by_kind", lambda services: {KIND_NAME: list(services)})

    @dataclass
    class Says:
        learnt: bool = False

    asked: list[int] = []
    monkeypatch.setattr(learning, "studio_prior", lambda past, unit: asked.append(len(past)) or Says())
    first = learning.learn(kept, Yardsticks())  # type: ignore[arg-type]
    assert set(asked) == {20}
    kept.services = now
    found = learning.learn(kept, Yardsticks())  # type: ignore[arg-type]
    assert (found != first) is anew
    assert found == learning.learning(kept)  # type: ignore[arg-type]
    assert not anew or found.services == len([each for each in now if each.occasions > 1])


def test_services_read_in_two_ways_teach_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = Kept([*TWENTY[:6], *(replace(each, hair=WHOLE) for each in TWENTY[6:])])
    monkeypatch.setattr(learning, "worn_by", lambda services, *_: list(services))
    monkeypatch.setattr(learning, "by_kind", lambda services: {KIND_NAME: list(services)})

    @dataclass
    class Says:
        services: int
        learnt: bool = True
        priors: Priors = DEFAULT_PRIORS

    monkeypatch.setattr(learning, "studio_prior", lambda past, unit: Says(len(past)))
    found = learning.learn(kept, Yardsticks())  # type: ignore[arg-type]
    assert {(each.hair, each.services) for each in found.found} == {(RIBBON, 6), (WHOLE, 14)}
    assert (found.services, found.along_ribbon) == (20, 6)
    assert (RIBBON, KIND_NAME, "end", "warmth") in found.priors
    assert (WHOLE, KIND_NAME, "end", "warmth") in found.priors
    assert len(found.priors) == len(found.found)


def test_another_yardstick_learns_anew() -> None:
    kept = Kept(TWENTY[:3])
    first = learning.learn(kept, Yardsticks())  # type: ignore[arg-type]
    other = learning.learn(kept, Yardsticks(scale=replace(DEFAULT_SCALE, name="own")))  # type: ignore[arg-type]
    assert (other.taught, other.stamp != first.stamp) == (first.taught, True)


def test_habits_are_part_of_the_stamp_only_while_they_count() -> None:
    kept = Kept([])
    plain = learning.stamp_now(kept)  # type: ignore[arg-type]
    habits = learning.LearntPriors(KIND_NAME, "end", "warmth", DEFAULT_PRIORS, 9)
    kept.settings.put("learnt", to_json(learning.Learning(True, ("a",), (habits,))))
    leaning = learning.stamp_now(kept)  # type: ignore[arg-type]
    kept.settings.put("learnt", to_json(learning.Learning(True, ("b", "c"), (habits,))))
    assert learning.stamp_now(kept) == leaning != plain  # type: ignore[arg-type]
    learning.switch_learning(kept, on=False)  # type: ignore[arg-type]
    assert learning.stamp_now(kept) == plain  # type: ignore[arg-type]
