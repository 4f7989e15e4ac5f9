"""When the studio's habits are learnt anew: as the record grows by a tenth, and as soon as anything left it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pytest

from tracker.workflow import learning
from tracker.yardsticks import Yardsticks

KIND_NAME = "toner"


@dataclass
class Kept:
    """What `learn` asks of a studio, with as many services as are wanted."""

    services: list[Any]
    settings: dict[str, Any] = field(default_factory=dict)

    def setting(self, name: str) -> Any:
        return self.settings.get(name)

    def put_setting(self, name: str, value: Any) -> None:
        self.settings[name] = value

    def service_readings(self) -> list[Any]:
        return self.services

    def yardsticks(self) -> Yardsticks:
        return Yardsticks()


def test_nothing_to_learn_from_leaves_what_is_published() -> None:
    kept = Kept([])
    found = learning.learn(kept)  # type: ignore[arg-type]
    assert found.priors == {}
    assert kept.settings == {}


@pytest.mark.parametrize(("now", "anew"), [(20, False), (22, False), (23, True), (19, True), (5, True)])
def test_learnt_anew_after_a_tenth_more_or_anything_less(monkeypatch: pytest.MonkeyPatch, now: int, anew: bool) -> None:
    @dataclass
    class Service:
        occasions: int = 2
        ended_on: str = "2026-06-01"
        services: tuple[str, ...] = (KIND_NAME,)

    kept = Kept([Service() for _ in range(20)])
    monkeypatch.setattr(learning, "worn_by", lambda services, *_: list(services))
    monkeypatch.setattr(learning, "by_kind", lambda services: {KIND_NAME: list(services)})

    @dataclass
    class Says:
        learnt: bool = False

    asked: list[int] = []
    monkeypatch.setattr(learning, "studio_prior", lambda past, unit: asked.append(len(past)) or Says())
    learning.learn(kept)  # type: ignore[arg-type]
    assert set(asked) == {20}
    asked.clear()
    kept.services = [Service() for _ in range(now)]
    learning.learn(kept)  # type: ignore[arg-type]
    assert bool(asked) is anew
