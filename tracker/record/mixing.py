"""What goes into the bowl: strength of developer, mixing ratio, amounts, and the cost of the product.

Every value keeps the unit it was typed in. Nothing here says what should be mixed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

VOLUME, PERCENT = "vol", "%"
STRENGTH_UNITS = (VOLUME, PERCENT)

# 10 vol = 3 %, 20 = 6 %, 30 = 9 %, 40 = 12 %: common practice, no source
PERCENT_PER_VOLUME = 0.3
USUAL_VOLUMES = (10.0, 20.0, 30.0, 40.0)

STRONGEST_PERCENT = 12.0
"""The strongest hydrogen peroxide allowed in hair products in the European Union (40 volumes)
[Regulation (EC) No 1223/2009, annex III; from memory]: a stronger one is taken as a typing error."""

GRAM, OUNCE, MILLILITRE = "g", "oz", "ml"
AMOUNT_UNITS = (GRAM, OUNCE)
PACK_UNITS = (GRAM, MILLILITRE)

GRAMS_PER_OUNCE = 28.349523125
"""International avoirdupois ounce, exact [NIST Handbook 44, appendix C]."""

_NUMBER = r"\d{1,3}(?:[.,]\d{1,3})?"
_RATIO = re.compile(rf"\s*({_NUMBER}(?:\s*[:+/]\s*{_NUMBER}){{1,3}})\s*")


@dataclass(frozen=True, slots=True)
class Strength:
    """How strong a developer is, as typed.

    Attributes
    ----------
    value : float, > 0
    unit : str, ``vol`` or ``%``
    """

    value: float
    unit: str = VOLUME

    @property
    def percent(self) -> float:
        """Hydrogen peroxide, percent."""
        return self.value if self.unit == PERCENT else self.value * PERCENT_PER_VOLUME

    @property
    def volume(self) -> float:
        """Volumes of oxygen."""
        return self.value if self.unit == VOLUME else self.value / PERCENT_PER_VOLUME

    @property
    def text(self) -> str:
        """Both units, the typed one first, such as ``20 vol (6 %)``."""
        volume, percent = f"{_short(self.volume)} vol", f"{_short(self.percent)} %"
        return f"{volume} ({percent})" if self.unit == VOLUME else f"{percent} ({volume})"


@dataclass(frozen=True, slots=True)
class Amount:
    """A weight, kept in grams and shown as typed.

    Attributes
    ----------
    grams : float, > 0
    unit : str, ``g`` or ``oz``, as typed
    """

    grams: float
    unit: str = GRAM

    @property
    def typed(self) -> float:
        """The number in the unit it was typed in."""
        return self.grams / GRAMS_PER_OUNCE if self.unit == OUNCE else self.grams

    @property
    def text(self) -> str:
        """Such as ``30 g`` or ``1.5 oz (42.5 g)``."""
        grams = f"{_short(self.grams, 1)} g"
        return f"{_short(self.typed)} oz ({grams})" if self.unit == OUNCE else grams


@dataclass(frozen=True, slots=True)
class Charge:
    """One product of the studio's price list that went into a bowl, with its price on that day.

    Attributes
    ----------
    price_id : str, of the line in the price list; the line may have changed or gone since
    name : str
    pack_size : float, > 0, in `pack_unit`
    pack_unit : str, ``g`` or ``ml``
    price : float, of one pack, >= 0
    currency : str, free words
    quantity : float, mixed, in `pack_unit`, >= 0
    """

    price_id: str
    name: str
    pack_size: float
    pack_unit: str
    price: float
    currency: str
    quantity: float

    @property
    def cost(self) -> float:
        """Cost of the quantity mixed."""
        return self.price * self.quantity / self.pack_size


@dataclass(frozen=True, slots=True)
class PriceLine:
    """One product of the studio's own price list.

    Attributes
    ----------
    name : str
    pack_size : float, > 0, in `pack_unit`
    pack_unit : str, ``g`` or ``ml``
    price : float, of one pack, >= 0
    currency : str, free words
    """

    id: str
    name: str
    pack_size: float
    pack_unit: str
    price: float
    currency: str
    changed_at: datetime

    def charge(self, quantity: float) -> Charge:
        """A charge for that `quantity`, at today's price."""
        return Charge(self.id, self.name, self.pack_size, self.pack_unit, self.price, self.currency, quantity)


@dataclass(frozen=True, slots=True)
class Cost:
    """What products cost, in one currency.

    Attributes
    ----------
    currency : str
    total : float, of everything that was mixed
    wasted : float, the part of `total` that was thrown away
    """

    currency: str
    total: float
    wasted: float

    @property
    def text(self) -> str:
        """Such as ``4.20 EUR, of which 0.42 thrown away``."""
        price = f"{self.total:.2f} {self.currency}".strip()
        return f"{price}, of which {self.wasted:.2f} thrown away" if self.wasted >= 0.005 else price


def amount(number: float, unit: str) -> Amount:
    """An amount from a number as typed.

    Parameters
    ----------
    number : float, in `unit`
    unit : str, ``g`` or ``oz``
    """
    return Amount(number * GRAMS_PER_OUNCE if unit == OUNCE else number, unit)


def read_ratio(text: str) -> tuple[float, ...] | None:
    """The parts of a mixing ratio `text` such as ``1:1.5``, ``1 + 1,5`` or ``1:1:2``; None where it is not one."""
    found = _RATIO.fullmatch(text)
    if found is None:
        return None
    parts = tuple(float(part.replace(",", ".")) for part in re.split(r"[:+/]", found[1]))
    return parts if all(part > 0 for part in parts) else None


def ratio_text(text: str) -> str:
    """The ratio `text` in the usual form, ``1:1.5``; anything else stays as typed."""
    parts = read_ratio(text)
    return text.strip() if parts is None else ":".join(_short(part, 3) for part in parts)


def developer_grams(product_grams: float, ratio: str) -> float | None:
    """Grams of developer for that much product; None unless the ratio has exactly two parts.

    Parameters
    ----------
    product_grams : float, grams, >= 0
    ratio : str, as typed, such as ``1:1.5``

    Examples
    --------
    >>> developer_grams(30.0, "1:1.5")
    45.0
    """
    parts = read_ratio(ratio)
    return None if parts is None or len(parts) != 2 else product_grams * parts[1] / parts[0]


def costs(bowls: Iterable[tuple[Iterable[Charge], float | None]]) -> tuple[Cost, ...]:
    """The cost of the products in several bowls, one sum for each currency in order of appearance.

    Parameters
    ----------
    bowls : for each bowl the charges, and the share that was thrown away, percent or None
    """
    sums: dict[str, tuple[float, float]] = {}
    for charges, waste in bowls:
        for charge in charges:
            total, wasted = sums.get(charge.currency, (0.0, 0.0))
            sums[charge.currency] = (total + charge.cost, wasted + charge.cost * (waste or 0.0) / 100)
    return tuple(Cost(currency, total, wasted) for currency, (total, wasted) in sums.items())


def _short(number: float, digits: int = 2) -> str:
    """A number without needless zeros."""
    return f"{number:.{digits}f}".rstrip("0").rstrip(".")
