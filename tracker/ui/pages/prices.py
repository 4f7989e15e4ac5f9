"""Price list: what products cost, so that a visit can say what went into the bowl."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from tracker import workflow
from tracker.errors import TrackerError
from tracker.record.mixing import PACK_UNITS, PriceLine
from tracker.store import Store
from tracker.store.edits import Edit
from tracker.ui.navigation import link
from tracker.ui.parts.consent_view import remembered_recorder
from tracker.ui.parts.held import held
from tracker.ui.parts.notices import say_on_next_page, sorry, told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.undo import remember_deletion
from tracker.ui.parts.words import plain
from tracker.ui.session import open_store
from tracker.words import ago, as_date, day
from tracker.workflow.prices import CURRENCY_LIMIT
from tracker.workflow.words import NAME_LIMIT


@dataclass
class _Changing:
    """Which line of the list is open as a form."""

    line: str | None = None


def page() -> None:
    """The page."""
    begin()
    st.title("Price list", anchor=False)
    st.markdown(
        "What you pay for your products. A visit keeps the prices of its day: a new price changes no earlier visit."
    )
    with told():
        store = open_store()
        lines = store.prices.all()
        changing = next((line for line in lines if line.id == held(_Changing).line), None)
        for line in lines:
            if line is changing:
                _form(store, line, lines)
            else:
                _line(store, line)
        if changing is None:
            st.header("Add a product", anchor=False)
            _form(store, None, lines)
        _earlier(store)
        link("studio", "Back to Studio")


def price_words(line: PriceLine) -> str:
    """Pack and price, ready for Markdown."""
    return plain(f"{line.pack_size:g} {line.pack_unit} for {line.price:.2f} {line.currency}".strip())


def _line(store: Store, line: PriceLine) -> None:
    with st.container(key=f"price-line-{line.id}", gap="xsmall"):
        st.markdown(f"**{plain(line.name)}**  \n{price_words(line)} · {ago(as_date(line.changed_at))}")
        with st.container(horizontal=True, gap="small"):
            if st.button("Change", key=f"price-change-{line.id}"):
                held(_Changing).line = line.id
                st.rerun()
            with st.popover("Remove"):
                st.markdown("Takes it off the list. Visits that used it keep their price.")
                if st.button("Remove it", key=f"price-remove-{line.id}"):
                    with told():
                        deletion = store.prices.delete(line.id, by=remembered_recorder())
                        remember_deletion(deletion, f"{line.name} is off the list.")
                        st.rerun()


def _form(store: Store, line: PriceLine | None, lines: list[PriceLine]) -> None:
    """One product; an empty form adds, a filled one changes."""
    key = line.id if line is not None else f"new-{len(lines)}"
    currency = line.currency if line is not None else lines[-1].currency if lines else ""
    with st.form(f"price-form-{key}", border=line is not None):
        name = st.text_input(
            "Product",
            value=line.name if line else "",
            max_chars=NAME_LIMIT,
            key=f"price-name-{key}",
            placeholder="for example: lightener powder",
        )
        left, right = st.columns([2, 1], wrap=False, vertical_alignment="bottom")
        size = left.number_input(
            "Pack", 0.0, value=line.pack_size if line else None, step=50.0, format="%g", key=f"price-size-{key}"
        )
        unit = right.segmented_control(
            "Unit",
            PACK_UNITS,
            default=line.pack_unit if line else PACK_UNITS[0],
            required=True,
            key=f"price-unit-{key}",
        )
        left, right = st.columns([2, 1], wrap=False, vertical_alignment="bottom")
        price = left.number_input(
            "Price of a pack",
            0.0,
            value=line.price if line else None,
            step=0.5,
            format="%.2f",
            key=f"price-price-{key}",
        )
        money = right.text_input("Currency", value=currency, max_chars=CURRENCY_LIMIT, key=f"price-currency-{key}")
        with st.container(horizontal=True):
            saving = st.form_submit_button(
                "Save the change" if line else "Add the product", type="primary", key=f"price-save-{key}"
            )
            leaving = line is not None and st.form_submit_button("Cancel", key=f"price-cancel-{key}")
    if leaving:
        held(_Changing).line = None
        st.rerun()
    if not saving:
        return
    try:
        kept = workflow.keep_price(
            store,
            name or "",
            size,
            unit or "",
            price,
            money or "",
            line_id=line.id if line else None,
            by=remembered_recorder(),
        )
    except TrackerError as error:
        sorry(error)
        return
    held(_Changing).line = None
    say_on_next_page(f"{kept.name} is on the list.")
    st.rerun()


def _earlier(store: Store) -> None:
    """What price lines said before they were changed or removed."""
    edits = [edit for edit in store.edits.find() if isinstance(edit.before, PriceLine)]
    if edits:
        with st.expander("What changed"):
            st.markdown("\n".join(_edit_words(edit) for edit in edits))


def _edit_words(edit: Edit) -> str:
    return (
        f"- {day(as_date(edit.at))}, {plain(edit.by)} {edit.what} **{plain(edit.before.name)}**; "
        f"before: {price_words(edit.before)}"
    )
