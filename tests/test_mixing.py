"""Strength, ratio, weight and cost of what goes into the bowl."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.record import mixing
from tracker.record.mixing import Amount, Charge, Strength


@pytest.mark.parametrize(("volume", "percent"), [(10, 3), (20, 6), (30, 9), (40, 12)])
def test_developer_both_ways(volume: float, percent: float) -> None:
    # common practice, no source
    assert Strength(volume, "vol").percent == pytest.approx(percent)
    assert Strength(percent, "%").volume == pytest.approx(volume)
    assert Strength(volume, "vol").text == f"{volume} vol ({percent} %)"
    assert Strength(percent, "%").text == f"{percent} % ({volume} vol)"


def test_volumes_are_the_oxygen_that_comes_off() -> None:
    # 2 H2O2 -> 2 H2O + O2; molar mass 34.0147 g/mol, ideal gas 22.414 L/mol at 0 degC and 1 atm [CODATA]
    litres_per_litre = 30.0 / 34.0147 / 2 * 22.414
    assert Strength(3, "%").volume == pytest.approx(litres_per_litre, rel=0.02)


def test_an_ounce() -> None:
    # NIST Handbook 44, appendix C: 1 oz (avoirdupois) = 28.349 523 125 g exactly, 16 of them 453.592 37 g
    assert mixing.amount(1, "oz").grams == 28.349523125
    assert mixing.amount(16, "oz").grams == pytest.approx(453.59237, abs=1e-12)
    assert mixing.amount(1.5, "oz").text == "1.5 oz (42.5 g)"
    assert mixing.amount(30, "g") == Amount(30, "g")


@given(st.floats(0.01, 200, allow_nan=False), st.sampled_from(["g", "oz"]))
def test_what_was_typed_comes_back(number: float, unit: str) -> None:
    assert mixing.amount(number, unit).typed == pytest.approx(number, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "parts", "text"),
    [
        ("1:1.5", (1, 1.5), "1:1.5"),
        (" 1 : 1,5 ", (1, 1.5), "1:1.5"),
        ("1+2", (1, 2), "1:2"),
        ("1:1:2", (1, 1, 2), "1:1:2"),
        ("2.0/3", (2, 3), "2:3"),
    ],
)
def test_ratios(typed: str, parts: tuple[float, ...], text: str) -> None:
    assert mixing.read_ratio(typed) == parts
    assert mixing.ratio_text(typed) == text


@pytest.mark.parametrize("typed", ["", "a bit", "1", "1:", "1:0", "0:1", "1:2:3:4:5", "-1:2", "1:2 or so", "1e9:1"])
def test_what_is_no_ratio_is_kept_as_typed_and_gives_no_number(typed: str) -> None:
    assert mixing.read_ratio(typed) is None
    assert mixing.ratio_text(typed) == typed.strip()
    assert mixing.developer_grams(30, typed) is None


def test_developer_beside_the_product() -> None:
    # worked by hand: 30 g of product at 1:1.5 takes 45 g
    assert mixing.developer_grams(30, "1:1.5") == pytest.approx(45)
    assert mixing.developer_grams(30, "2:3") == pytest.approx(45)
    assert mixing.developer_grams(30, "1:1:2") is None


def charge(price: float, pack: float, quantity: float, currency: str = "EUR") -> Charge:
    return Charge("p", "powder", pack, "g", price, currency, quantity)


def test_costs() -> None:
    # worked by hand: 30 g of a 500 g pack at 25.00 is 1.50; 45 of 1000 at 8.00 is 0.36; a tenth of 1.86 is 0.186
    bowl = (charge(25.0, 500, 30), charge(8.0, 1000, 45))
    [cost] = mixing.costs([(bowl, 10.0)])
    assert cost.total == pytest.approx(1.86)
    assert cost.wasted == pytest.approx(0.186)
    assert cost.text == "1.86 EUR, of which 0.19 thrown away"
    assert mixing.costs([(bowl, None)])[0].text == "1.86 EUR"


def test_currencies_are_not_added_up() -> None:
    found = mixing.costs([((charge(10, 100, 10), charge(10, 100, 20, "kr")), 0.0), ((charge(10, 100, 30),), None)])
    assert [(cost.currency, cost.total) for cost in found] == [("EUR", pytest.approx(4)), ("kr", pytest.approx(2))]
    assert mixing.costs([]) == ()
