"""The questions about money: currency, price list, budget."""

import os
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

import materials
from optimizer.room.schema import BudgetSection, FileName, Name
from optimizer.wizard.draft import Draft
from optimizer.wizard.talk import Talk, in_schema

GENERIC = Path(materials.__file__).parent / "catalogue.csv"
Currency = Annotated[Name, Field(max_length=8)]
DEFAULT_BUDGET = 900.0


@dataclass(frozen=True)
class PriceList:
    """A price list beside the room file: its name, and its text when it is still to be written."""

    name: str
    text: str | None


def ask_about_money(talk: Talk, draft: Draft) -> PriceList:
    """Ask, put the budget into the draft, and say which price list goes with it."""
    currency = talk.text("Currency", "EUR", Currency)
    prices = _price_list(talk, draft)
    source = GENERIC if prices.text is not None else draft.path.parent / prices.name
    products = draft.products(source)
    kind: Any = BudgetSection.model_fields["amount"].rebuild_annotation()

    def spendable(text: str) -> float:
        amount = float(in_schema(kind, _amount(text)))
        misfit = draft.money_misfit(budget(amount), products)
        if misfit:
            raise ValueError(misfit)
        return amount

    def budget(amount: float) -> dict[str, Any]:
        return {"amount": amount, "currency": currency, "catalogue": prices.name}

    usual = DEFAULT_BUDGET
    while draft.money_misfit(budget(usual), products) and usual < 1e6:
        usual *= 2
    amount = talk.ask(f"Budget in {currency}", f"{usual:g}", usual, spendable)
    draft.put({"budget": budget(amount)})
    return prices


def _price_list(talk: Talk, draft: Draft) -> PriceList:
    own = _usual_name(draft)
    there = (draft.path.parent / own).exists()
    talk.tell(
        f"Your price list, a CSV file beside the room file. Enter takes {own}, which is there."
        if there
        else f"Your price list, a CSV file beside the room file. Enter writes {own} for you:\n"
        "generic pieces at invented prices, orders of magnitude only; put in those of your shop."
    )
    while True:
        name = talk.text("   file", own, FileName)
        if name == own and not there:
            return PriceList(own, GENERIC.read_text(encoding="utf-8"))
        try:
            draft.products(draft.path.parent / name)
        except ValueError as error:
            talk.wrong(str(error))
        else:
            return PriceList(name, None)


def prices_name(room: Path, number: int = 1) -> str:
    """What a price list that is written beside a room file is called, where others are there."""
    return f"{room.stem}_prices.csv" if number == 1 else f"{room.stem}_prices_{number}.csv"


def _usual_name(draft: Draft) -> str:
    """A name that is free, or that of a price list that can be used."""
    for number in count(1):
        name = prices_name(draft.path, number)
        path = draft.path.parent / name
        if not os.path.lexists(path):
            return name
        try:
            draft.products(path)
        except ValueError:
            continue
        return name
    raise AssertionError("numbers do not end")


def _amount(text: str) -> float:
    cleaned = text.replace(" ", "")
    whole, _, cents = cleaned.replace(",", ".").partition(".")
    if not (whole.isascii() and whole.isdigit() and len(whole) < 15):
        raise ValueError("no amount; write it like 900 or 49.90")
    if cents and not (cents.isascii() and cents.isdigit() and len(cents) < 3):
        raise ValueError("no amount; write it like 900 or 49.90, without marks for thousands")
    return float(f"{whole}.{cents or 0}")
