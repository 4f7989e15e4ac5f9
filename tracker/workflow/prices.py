"""The studio's own price list: what products cost."""

from __future__ import annotations

import math

from tracker.errors import InvalidEntry
from tracker.record.mixing import PACK_UNITS, PriceLine
from tracker.record.records import new_id, now
from tracker.store import Store
from tracker.workflow.words import clean_line

CURRENCY_LIMIT = 12
_LARGEST_PACK = 100_000.0
_HIGHEST_PRICE = 1_000_000.0


def keep_price(
    store: Store,
    name: str,
    pack_size: float | None,
    pack_unit: str,
    price: float | None,
    currency: str,
    *,
    line_id: str | None = None,
    by: str = "",
) -> PriceLine:
    """Put a product on the price list, or change its line.

    Parameters
    ----------
    name : str, in the colourist's own words
    pack_size : float, > 0, in `pack_unit`
    pack_unit : str, ``g`` or ``ml``
    price : float, of one pack, >= 0
    currency : str, free words
    line_id : str or None, the line to change
    by : str, who

    Raises
    ------
    InvalidEntry : no name, or an impossible pack or price
    """
    named = clean_line(name, "The name of the product")
    if not named:
        raise InvalidEntry("The product has no name.", "Type the name you know it by.")
    if pack_unit not in PACK_UNITS:
        raise InvalidEntry(f"A pack cannot be counted in {pack_unit}.", "Choose grams or millilitres.")
    size = _number(pack_size, "The size of the pack", _LARGEST_PACK, pack_unit)
    if size == 0:
        raise InvalidEntry("The pack has no size.", "Type the grams or millilitres on it.")
    cost = _number(price, "The price", _HIGHEST_PRICE, "")
    money = clean_line(currency, "The currency", CURRENCY_LIMIT)
    return store.prices.save(PriceLine(line_id or new_id(), named, size, pack_unit, cost, money, now()), by=by)


def _number(value: float | None, what: str, most: float, unit: str) -> float:
    if value is None or not math.isfinite(value) or not 0 <= value <= most:
        shown = "missing" if value is None else f"{value:g} {unit}".strip()
        raise InvalidEntry(f"{what} is {shown} (from 0 to {most:g}).", "Check the number.", limit=most, unit=unit)
    return value
