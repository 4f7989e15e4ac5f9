"""What was done at a visit: checked before it is kept, and copied as a start for the next one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from tracker.errors import InvalidEntry
from tracker.record.agreed import check_limits
from tracker.record.mixing import (
    AMOUNT_UNITS,
    PACK_UNITS,
    STRENGTH_UNITS,
    STRONGEST_PERCENT,
    Amount,
    Strength,
    ratio_text,
)
from tracker.record.records import Step, Visit
from tracker.store import Store
from tracker.workflow.words import clean_line, clean_note

MOST_STEPS = 40
LINE_LIMIT = 200
"""Most characters of a step's zone, product and other single lines."""

_MOST_MINUTES = 24 * 60.0
_MOST_GRAMS = 5000.0


def clean_visit(visit: Visit) -> Visit:
    """The visit with its words made safe to store and its numbers checked to be possible.

    Raises
    ------
    InvalidEntry : a text is too long, or a number is impossible
    """
    if len(visit.steps) > MOST_STEPS:
        raise InvalidEntry(
            f"The visit has {len(visit.steps)} steps (limit {MOST_STEPS}).",
            "Put steps that belong together into one.",
            value=len(visit.steps),
            limit=MOST_STEPS,
            unit="steps",
        )
    check_limits(visit.limits, visit.washes_per_week)
    return replace(
        visit,
        services=tuple(filter(None, (clean_line(service, "A service") for service in visit.services))),
        steps=tuple(clean_step(step, number) for number, step in enumerate(visit.steps, start=1)),
        note=clean_note(visit.note, "The note"),
        next_time=clean_note(visit.next_time, "The note for next time"),
        history=clean_note(visit.history, "The hair history"),
        starting_point=clean_note(visit.starting_point, "The starting point"),
    )


def clean_step(step: Step, number: int) -> Step:
    """One step, as `clean_visit`; `number` counts from 1 and names it in the sentence."""
    _check_numbers(step, f"Step {number}")
    placement = (clean_line(word, f"The placement in step {number}", LINE_LIMIT) for word in step.placement)
    return replace(
        step,
        zone=clean_line(step.zone, f"The place in step {number}", LINE_LIMIT),
        what=clean_line(step.what, f"What was done in step {number}", LINE_LIMIT),
        product=clean_line(step.product, f"The product in step {number}", LINE_LIMIT),
        note=clean_note(step.note, f"The note in step {number}"),
        ratio=ratio_text(clean_line(step.ratio, f"The mixing ratio in step {number}", LINE_LIMIT)),
        placement=tuple(filter(None, placement)),
        weave=clean_line(step.weave, f"The width of the weave in step {number}", LINE_LIMIT),
        sections=clean_line(step.sections, f"The section pattern in step {number}", LINE_LIMIT),
    )


def last_steps(store: Store, client_id: str, besides: str = "") -> Visit | None:
    """The client's latest visit with steps, leaving out the visit `besides`."""
    return next((visit for visit in store.visits.of_client(client_id) if visit.steps and visit.id != besides), None)


def copied_steps(store: Store, steps: Sequence[Step]) -> tuple[Step, ...]:
    """Steps as a start for another visit: their cost follows today's price list, and what was left over is unknown."""
    today = {line.id: line for line in store.prices.all()}
    return tuple(
        replace(
            step,
            waste=None,
            charges=tuple(
                today[charge.price_id].charge(charge.quantity)
                for charge in step.charges
                if charge.price_id in today and today[charge.price_id].pack_unit == charge.pack_unit
            ),
        )
        for step in steps
    )


def _check_numbers(step: Step, where: str) -> None:
    if step.minutes is not None:
        _within(step.minutes, 0, _MOST_MINUTES, f"{where}: the time", "minutes")
    if step.developer is not None:
        _check_strength(step.developer, where)
    if step.amount is not None:
        _check_amount(step.amount, where)
    if step.waste is not None:
        _within(step.waste, 0, 100, f"{where}: what was left over", "%")
    for charge in step.charges:
        if charge.pack_unit not in PACK_UNITS or not charge.pack_size > 0:
            raise InvalidEntry(f"{where}: the pack of {charge.name} has no size.", "Correct it in the price list.")
        _within(charge.quantity, 0, _MOST_GRAMS, f"{where}: the quantity of {charge.name}", charge.pack_unit)


def _check_strength(strength: Strength, where: str) -> None:
    if strength.unit not in STRENGTH_UNITS or not (math.isfinite(strength.value) and strength.value > 0):
        raise InvalidEntry(f"{where}: the developer has no strength.", "Give it in volume or in percent.")
    limit = STRONGEST_PERCENT * (1 + 1e-9)  # 40 vol is 12 % but for rounding
    if strength.percent > limit:
        raise InvalidEntry(
            f"{where}: a developer of {strength.text} is stronger than any for hair "
            f"(limit {Strength(STRONGEST_PERCENT, '%').text}).",
            "Check the number and whether it is volume or percent.",
            value=strength.percent,
            limit=STRONGEST_PERCENT,
            unit="%",
        )


def _check_amount(amount: Amount, where: str) -> None:
    if amount.unit not in AMOUNT_UNITS:
        raise InvalidEntry(f"{where}: the amount has no unit.", "Give it in grams or ounces.")
    _within(amount.grams, 0, _MOST_GRAMS, f"{where}: the amount", "g")


def _within(value: float, least: float, most: float, what: str, unit: str) -> None:
    if not least <= value <= most:  # also where it is not a number at all
        raise InvalidEntry(
            f"{what} is {value:g} {unit} (from {least:g} to {most:g}).",
            "Check the number.",
            value=value,
            limit=most,
            unit=unit,
        )
