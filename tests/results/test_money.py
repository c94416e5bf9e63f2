"""Money to the cent: how it is written, what is charged, and what a budget must buy.

Amounts are invented; sums by hand.
"""

from dataclasses import replace
from pathlib import Path

import pytest
from test_shopping import PRICES, ROOM, products_of

from optimizer.faults import Fault, ScenarioError
from optimizer.placement.spending import (
    budget_faults,
    delivery_cents,
    purchases,
    set_aside,
    suppliers_of,
)
from optimizer.project import load_project
from optimizer.results.shopping import money
from optimizer.room.scenario import Scenario


@pytest.mark.parametrize(
    ("cents", "written"),
    [
        (0, "0.00 EUR"),
        (7, "0.07 EUR"),
        (99_999, "999.99 EUR"),
        (123_450, "1 234.50 EUR"),
        (123_456_789, "1 234 567.89 EUR"),
    ],
)
def test_thousands_stand_apart(cents: int, written: str) -> None:
    """Groups of three with a space, as ISO 80000-1 (7.3.1) and the SI Brochure (5.4.4) have it."""
    assert money(cents, "EUR") == written


@pytest.mark.parametrize("amount", ["0.29", "1.15", "4.35", "8.20", "16.40", "19.99", "1234.56"])
def test_amounts_are_whole_cents(amount: str) -> None:
    """Binary fractions lie a hair below some of them: 100 * 4.35 is 434.99999999999994."""
    assert delivery_cents({"Shop": float(amount)}) == {"Shop": int(amount.replace(".", ""))}


def test_a_blank_supplier_is_none(tmp_path: Path) -> None:
    wool = products_of(tmp_path)["wool"]
    nameless = replace(wool, supplier="", sundries=())
    assert suppliers_of(nameless) == frozenset()
    assert set_aside([nameless], {"": 9.0}).deliveries == 0
    assert suppliers_of(wool) == {"Shop A", "Shop B"}


def found(scenario: Scenario, *products: object) -> list[Fault]:
    return list(budget_faults(scenario, products, products))  # type: ignore[arg-type]


def scenario_of(folder: Path, amount: float, delivery: dict[str, float]) -> Scenario:
    products_of(folder)
    (folder / "room.toml").write_text(ROOM, encoding="utf-8")
    scenario = load_project(folder / "room.toml").scenario
    budget = scenario.budget.model_copy(update={"amount": amount, "delivery": delivery})
    return replace(scenario, budget=budget)


def test_a_budget_of_just_the_cheapest_pack_will_do(tmp_path: Path) -> None:
    """4.35 buys a pack of 4.35, one cent less does not; nothing at all is a wish of its own."""
    wool = replace(products_of(tmp_path)["wool"], sundries=(), price_cents=435)
    for amount, faults in ((4.35, 0), (4.34, 1), (0.01, 1), (0.0, 0), (4.36, 0)):
        assert len(found(scenario_of(tmp_path, amount, {}), wool)) == faults, amount
    owned = replace(wool, owned=1)
    assert found(scenario_of(tmp_path, 0.01, {}), owned) == []


def test_what_is_kept_back_counts_towards_the_cheapest_pack(tmp_path: Path) -> None:
    wool = replace(products_of(tmp_path)["wool"], sundries=(), price_cents=435)
    delivery = {"Shop A": 4.35}
    assert found(scenario_of(tmp_path, 8.70, delivery), wool) == []
    (fault,) = found(scenario_of(tmp_path, 8.69, delivery), wool)
    assert fault.key == "budget.amount"
    assert 'cheapest pack is "wool panel" at 4.35 EUR, and 4.35 is kept back' in fault.remedy


def test_the_price_told_holds_what_hangs_the_pieces(tmp_path: Path) -> None:
    wool = products_of(tmp_path)["wool"]
    (wall, _) = purchases([wool])
    (fault,) = found(scenario_of(tmp_path, 1.0, {}), wool)
    assert f"at {wall.outlay_cents / 100:.2f} EUR with what hangs it" in fault.remedy


def test_deliveries_nothing_comes_by_are_faults(tmp_path: Path) -> None:
    wool = products_of(tmp_path)["wool"]
    (fault,) = found(scenario_of(tmp_path, 500.0, {"Shop X": 3.0}), wool)
    assert fault.key == "budget.delivery.Shop X"
    nameless = replace(wool, supplier="", sundries=())
    (fault,) = found(scenario_of(tmp_path, 500.0, {"": 3.0}), nameless)
    assert "it names none in a column supplier" in fault.remedy


def test_what_is_free_but_must_be_brought_wants_a_price(tmp_path: Path) -> None:
    free = replace(products_of(tmp_path)["wool"], sundries=(), price_cents=0)
    (fault,) = found(scenario_of(tmp_path, 500.0, {"Shop A": 3.0}), free)
    assert (fault.key, fault.value) == ("price", "wool")
    assert found(scenario_of(tmp_path, 500.0, {}), free) == []


def test_a_whole_room_file_tells_of_a_budget_that_buys_nothing(tmp_path: Path) -> None:
    (tmp_path / "prices.csv").write_text(PRICES.replace(",1,3,", ",1,0,"), encoding="utf-8")
    (tmp_path / "room.toml").write_text(ROOM.replace("500", "5"), encoding="utf-8")
    with pytest.raises(ScenarioError, match="buys nothing: the cheapest pack is"):
        load_project(tmp_path / "room.toml")
