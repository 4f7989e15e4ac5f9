"""Services of the whole studio overlaid: which kinds there are, and how they are grouped."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from tracker.calibrate.calibration import Yardsticks
from tracker.calibrate.level import DARKEST, LIGHTEST
from tracker.fade import Overlay, Worn, across
from tracker.measure.reading import most_read
from tracker.store import Store
from tracker.wear import ServiceReadings, kind_of

KIND, LEVEL, TONE = "service", "starting level", "tone"
GROUPINGS = (LEVEL, TONE, KIND)
"""What services can be compared by."""


def worn_by(
    services: Iterable[ServiceReadings],
    region: str,
    quantity: str,
    group: Callable[[ServiceReadings], str] = lambda _service: "",
) -> list[Worn]:
    """Services as the model overlays them; those without a reading of that band are left out.

    Parameters
    ----------
    group : what each is compared by
    """
    found = []
    for each in services:
        place = each.place(region)
        if place is not None and place.months:
            found.append(Worn(place.series(quantity), each.client_id, each.washes_per_week, group(each), each.visit_id))
    return found


def by_kind(services: Iterable[ServiceReadings]) -> dict[str, list[ServiceReadings]]:
    """Services by their kind."""
    found: dict[str, list[ServiceReadings]] = {}
    for each in services:
        found.setdefault(kind_of(each.services), []).append(each)
    return found


def read_alike(services: Sequence[ServiceReadings]) -> tuple[list[ServiceReadings], list[ServiceReadings]]:
    """Services whose hair was read in the way of most, and those read the other way, of those photographed again later.

    The two are never laid over one another.
    """
    worn = [each for each in services if each.occasions > 1]
    hair = most_read(each.hair for each in worn)
    return [each for each in worn if each.hair == hair], [each for each in worn if each.hair != hair]


def kinds_worn(services: Iterable[ServiceReadings]) -> dict[str, int]:
    """Kinds of services with how many of each were photographed again later, the most frequent first."""
    counted = {
        kind: sum(1 for each in of_kind if each.occasions > 1) for kind, of_kind in by_kind(services).items() if kind
    }
    return dict(sorted(((kind, n) for kind, n in counted.items() if n), key=lambda item: (-item[1], item[0])))


def studio_wear(
    store: Store, services: Sequence[ServiceReadings], kind: str, region: str, quantity: str, grouping: str
) -> Overlay:
    """Services of one kind overlaid, or all kinds where they are compared by kind.

    Parameters
    ----------
    services : of the studio
    grouping : str, one of `GROUPINGS`

    Raises
    ------
    TooFewReadings : no such service has photos at two times
    """
    own = store.yardsticks.in_force()
    chosen = services if grouping == KIND else [each for each in services if kind_of(each.services) == kind]
    groups = {KIND: lambda each: kind_of(each.services), LEVEL: _start_level(region, own), TONE: _start_tone(region)}
    return across(worn_by(chosen, region, quantity, groups[grouping]))


def _start_level(region: str, own: Yardsticks) -> Callable[[ServiceReadings], str]:
    """The level to a whole step, right after the service."""

    def group(each: ServiceReadings) -> str:
        place = each.place(region)
        if place is None:
            return ""
        lightness = place.labs[0][0]
        if lightness < own.scale.lightness(DARKEST):
            return f"darker than level {DARKEST:g}"
        if lightness > own.scale.lightness(LIGHTEST):
            return f"lighter than level {LIGHTEST:g}"
        return f"level {round(own.scale.level(lightness)):d}"

    return group


def _start_tone(region: str) -> Callable[[ServiceReadings], str]:
    """Cool, neutral or warm right after the service: neutral where the 95 % interval includes zero."""

    def group(each: ServiceReadings) -> str:
        place = each.place(region)
        if place is None:
            return ""
        warmth, reach = place.warmths[0], 1.96 * place.u_warmths[0]
        return "neutral" if abs(warmth) <= reach else "warm" if warmth > 0 else "cool"

    return group
