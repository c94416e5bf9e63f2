"""Cells that rows of pieces and of sundries in a price list have in common."""

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Annotated

from pydantic import BeforeValidator, Field

from optimizer.faults import Fault
from optimizer.room.sane import between


def cents(value: object) -> int:
    """Whole cents of an amount such as "49.90"; ValueError says what is wrong with it."""
    try:
        price = Decimal(str(value).strip())
    except InvalidOperation:
        raise ValueError("no price; write an amount such as 49.90") from None
    if not price.is_finite() or price < 0 or price > 10**7:
        raise ValueError("not a usable price; write an amount from 0 to 10000000")
    if price * 100 != int(price * 100):
        raise ValueError("has parts of a cent; round it to two decimals")
    return int(price * 100)


def yes_or_no(value: object) -> bool:
    """True for "yes", False for "no" or a blank; ValueError for anything else."""
    words = {"yes": True, "no": False, "": False}
    word = str(value).strip().lower()
    if word not in words:
        raise ValueError("write yes or no")
    return words[word]


def _blank_is_none(value: object) -> object:
    return None if str(value).strip() == "" else value


Price = Annotated[int, BeforeValidator(cents)]
Pack = Annotated[int, between(1, 1000)]
Owned = Annotated[int, between(0, 1000)]
Weight = Annotated[
    Annotated[float, between(0, 500, "kg", above=True)] | None, BeforeValidator(_blank_is_none)
]
YesNo = Annotated[bool, BeforeValidator(yes_or_no)]
MaybeYesNo = Annotated[Annotated[bool, BeforeValidator(yes_or_no)] | None,
                       BeforeValidator(_blank_is_none)]  # fmt: skip
Label = Annotated[str, Field(max_length=80, pattern=r"^[^\x00-\x1f\x7f]*$")]  # may be blank


def is_whole(row: Mapping[str, str | None], key: str, file: str, faults: list[Fault]) -> bool:
    """True when a row has a cell for each column; a fault otherwise."""
    if None in row or None in row.values():
        remedy = "does not have a cell for each column; quote text that holds a comma"
        faults.append(Fault(file, key, None, remedy))
        return False
    return True
