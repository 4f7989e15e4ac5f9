"""One step of a service as a short form: where, what and the product; everything else under "More"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import streamlit as st

from tracker.record.mixing import (
    AMOUNT_UNITS,
    GRAM,
    STRENGTH_UNITS,
    USUAL_VOLUMES,
    Amount,
    PriceLine,
    Strength,
    amount,
    ratio_text,
)
from tracker.record.records import KINDS_OF_STEP, PLACEMENTS, ZONES, Step
from tracker.ui.pages.new_visit.step_cost import step_cost
from tracker.ui.parts.held import held
from tracker.ui.parts.step_words import total_words
from tracker.ui.parts.words import plain
from tracker.workflow.steps import LINE_LIMIT

OTHER = "other"
_RATIOS = ("1:1", "1:1.5", "1:2", "1:3")
_STRENGTHS = tuple(Strength(volume).text for volume in USUAL_VOLUMES)


@dataclass
class _Weighing:
    """The unit of weight that was chosen last in this window."""

    unit: str = GRAM


def step_form(first: Step, prices: Sequence[PriceLine], key: str) -> Step:
    """The step as the form now reads.

    Parameters
    ----------
    first : Step, what the fields began with; the same as long as the form is open
    prices : the studio's price list
    key : str, of this opening of the form
    """
    zone = _choice("Where", ZONES, first.zone, "Where exactly", f"{key}-zone")
    what = _choice("What", KINDS_OF_STEP, first.what, "What was done", f"{key}-what")
    product = _line("Product and shade", first.product, f"{key}-product", "in your own words")
    step = replace(first, zone=zone, what=what, product=product)
    with st.expander("More", expanded=_has_more(first), key=f"{key}-more"):
        step = _mix(step, first, key)
        step = _placing(step, first, key)
        return step_cost(step, first, prices, key)


def _has_more(step: Step) -> bool:
    return replace(step, zone="", what="", product="") != Step("", "")


def _mix(step: Step, first: Step, key: str) -> Step:
    """Developer, ratio, amount and time."""
    developer = _developer(first.developer, key)
    ratio = ratio_text(_choice("Mixing ratio, product first", _RATIOS, first.ratio, "Mixing ratio", f"{key}-ratio"))
    step = replace(step, developer=developer, ratio=ratio, amount=_amount(first.amount, key))
    minutes = st.number_input(
        "Minutes", 0.0, 1440.0, value=first.minutes, step=5.0, format="%.0f", key=f"{key}-minutes", placeholder="–"
    )
    total = total_words(step)
    if total:
        st.caption(plain(total))
    return replace(step, minutes=minutes)


def _developer(first: Strength | None, key: str) -> Strength | None:
    """A usual strength with one tap, or any other as a number with its unit."""
    usual = next((text for text in _STRENGTHS if first is not None and first.text == text), None)
    begins = usual if first is None or usual else OTHER
    chosen = st.pills("Developer", [*_STRENGTHS, OTHER], default=begins, format_func=_capital, key=f"{key}-developer")
    if chosen != OTHER:
        return Strength(USUAL_VOLUMES[_STRENGTHS.index(chosen)]) if chosen else None
    number, unit = st.columns([3, 2], wrap=False, vertical_alignment="bottom")
    with unit:
        units = st.segmented_control(
            "Unit",
            STRENGTH_UNITS,
            default=first.unit if first is not None else STRENGTH_UNITS[0],
            required=True,
            key=f"{key}-strength-unit",
        )
    with number:
        value = st.number_input(
            "Strength",
            0.0,
            40.0,
            value=first.value if first is not None else None,
            step=1.0,
            format="%g",
            key=f"{key}-strength",
        )
    if not value:
        return None
    strength = Strength(value, units or STRENGTH_UNITS[0])
    st.caption(plain(strength.text))
    return strength


def _amount(first: Amount | None, key: str) -> Amount | None:
    """Grams or ounces of the product; the unit chosen last is offered again."""
    number, unit = st.columns([3, 2], wrap=False, vertical_alignment="bottom")
    with unit:
        begins = first.unit if first is not None else held(_Weighing).unit
        units = st.segmented_control("Unit", AMOUNT_UNITS, default=begins, required=True, key=f"{key}-amount-unit")
    with number:
        value = st.number_input(
            "Product weight",
            0.0,
            5000.0,
            value=round(first.typed, 3) if first is not None else None,
            step=5.0 if units == GRAM else 0.25,
            format="%g",
            key=f"{key}-amount",
            placeholder="–",
        )
    if not value or units is None:
        return None
    held(_Weighing).unit = units
    same = first is not None and first.unit == units and round(first.typed, 3) == value
    found = first if same and first is not None else amount(value, units)
    if units != GRAM:
        st.caption(plain(found.text))
    return found


def _placing(step: Step, first: Step, key: str) -> Step:
    own = [word for word in first.placement if word not in PLACEMENTS]
    placement = st.pills(
        "Placed with",
        [*PLACEMENTS, *own],
        selection_mode="multi",
        default=list(first.placement),
        format_func=_capital,
        key=f"{key}-placement",
    )
    weave, sections = st.columns(2)
    with weave:
        width = _line("Width of the weave", first.weave, f"{key}-weave", "for example: fine, or 3 mm")
    with sections:
        pattern = _line("Section pattern", first.sections, f"{key}-sections", "for example: diagonal back")
    note = st.text_area("Note", value=first.note, max_chars=2000, key=f"{key}-note", height=80)
    return replace(step, placement=tuple(placement or ()), weave=width, sections=pattern, note=(note or "").strip())


def _choice(label: str, usual: Sequence[str], first: str, own_label: str, key: str) -> str:
    """One tap on a usual word, or the person's own words after "Other"."""
    begins = None if not first else first if first in usual else OTHER
    chosen = st.pills(label, [*usual, OTHER], default=begins, format_func=_capital, key=key)
    if chosen != OTHER:
        return chosen or ""
    return _line(own_label, first if first not in usual else "", f"{key}-own", "in your own words")


def _line(label: str, first: str, key: str, placeholder: str) -> str:
    typed = st.text_input(label, value=first, max_chars=LINE_LIMIT, key=key, placeholder=placeholder)
    return (typed or "").strip()


def _capital(word: str) -> str:
    return plain(word[:1].upper() + word[1:])
