"""What hanging a piece takes besides the piece: fixings, safety lines, frames; bought, not placed.

A cell `sundries` of the price list says how many of each one piece takes: "wall_hook*4", or for
one mounting only "wall: wall_hook*4; ceiling: anchor*4 safety_line*1". A sundry says whether it
takes a hole (column `hole`; fixings and safety lines do unless it says no, others do not unless it
says yes), and strips and poles say what one of them carries (`load_kg`).
"""

import re
from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import Literal, get_args

from optimizer.faults import Fault
from optimizer.placement.cells import (
    Label,
    MaybeYesNo,
    Owned,
    Pack,
    Price,
    Weight,
    is_whole,
)
from optimizer.room.reading import validate
from optimizer.room.schema import Name, Section

SundryKind = Literal["fixing", "safety_line", "sundry"]
SUNDRY_KINDS: tuple[str, ...] = get_args(SundryKind)
MOST_PER_PIECE = 100
HOW_TO_WRITE = 'write id*count, such as "wall_hook*4" or "ceiling: anchor*4 safety_line*1"'
HOLE_KINDS = ("fixing", "safety_line")  # take a hole unless their row says no
FOR_SUNDRIES = ("hole", "load_kg")  # columns of sundries only
_COLUMNS = (
    "id", "name", "kind", "price", "pack", "owned", "weight_kg", "note", "supplier", *FOR_SUNDRIES,
)  # fmt: skip
_USE = re.compile(r"([^\s*:;]+)\*([+-]?\d+)$")


@dataclass(frozen=True)
class Sundry:
    """A row of the price list that is bought with pieces. Price in cents per pack."""

    id: str
    name: str
    kind: str
    price_cents: int
    pack: int
    owned: int
    weight_kg: float | None
    supplier: str
    note: str
    hole: bool = False
    load_kg: float | None = None

    @property
    def each(self) -> Fraction:
        """Cents of one out of its pack."""
        return Fraction(self.price_cents, self.pack)

    @property
    def part_pack_cents(self) -> int:
        """Most that a last, part-used pack costs beyond what was used of it."""
        return ceil(self.each * (self.pack - 1))


@dataclass(frozen=True)
class SundryUse:
    """How many of a sundry one piece takes; `mounting` None: however it is hung."""

    sundry: Sundry
    count: int
    mounting: str | None = None


def uses_for(uses: Iterable[SundryUse], mounting: str) -> tuple[SundryUse, ...]:
    """The uses that apply to one way of hanging a piece."""
    return tuple(use for use in uses if use.mounting in (None, mounting))


def hanging_cents(uses: Iterable[SundryUse], mounting: str, pieces: int) -> int:
    """Whole cents that cover the sundries of some pieces hung in one way, packs taken apart."""
    each = sum((use.count * use.sundry.each for use in uses_for(uses, mounting)), Fraction(0))
    return ceil(pieces * each)


class _SundryRow(Section):
    id: Name
    name: Name
    kind: SundryKind
    price: Price
    pack: Pack
    owned: Owned
    weight_kg: Weight
    note: str
    supplier: Label
    hole: MaybeYesNo
    load_kg: Weight


def is_sundry(row: Mapping[str, str | None]) -> bool:
    """True for a row of the price list that is bought and never placed."""
    return row.get("kind") in SUNDRY_KINDS


def read_sundries(
    rows: Iterable[tuple[int, Mapping[str, str | None]]], file: str, faults: list[Fault]
) -> dict[str, Sundry]:
    """Sundries by id from (line, row) pairs; every fault is appended.

    A row at fault still has its name, so that pieces that take it are not called wrong as well.
    """
    found: dict[str, Sundry] = {}
    for line, row in rows:
        sundry = _sundry(row, f"row {line}", file, faults)
        if sundry.id in found:
            faults.append(Fault(file, "id", sundry.id, "is used twice; rename one"))
        found[sundry.id] = sundry
    return found


def _sundry(row: Mapping[str, str | None], key: str, file: str, faults: list[Fault]) -> Sundry:
    cells = {column: row.get(column) or "" for column in _COLUMNS}
    read = None
    if is_whole(row, key, file, faults):
        for column, cell in row.items():
            if cell and column not in _COLUMNS:
                remedy = f"is for pieces that are placed; leave it blank for a {row['kind']}"
                faults.append(Fault(file, f"{key}.{column}", cell, remedy))
        cells["owned"] = cells["owned"] or "0"
        read = validate(_SundryRow, cells, file, key, faults)
    if read is None:
        return Sundry(cells["id"], "", "sundry", 0, 1, 0, None, "", "")
    return Sundry(
        id=read.id, name=read.name, kind=read.kind, price_cents=read.price, pack=read.pack,
        owned=read.owned, weight_kg=read.weight_kg, supplier=read.supplier.strip(), note=read.note,
        hole=read.kind in HOLE_KINDS if read.hole is None else read.hole, load_kg=read.load_kg,
    )  # fmt: skip


def read_uses(
    cell: str, known: Mapping[str, Sundry], mountings: Container[str]
) -> tuple[SundryUse, ...]:
    """The uses of a cell; ValueError says what is wrong with it in one line."""
    found: list[SundryUse] = []
    for part in filter(None, (part.strip() for part in cell.split(";"))):
        before, colon, after = part.partition(":")
        mounting = before.strip() if colon else None
        if mounting is not None and mounting not in mountings:
            raise ValueError(f'the piece has no mounting "{mounting}"; name one of its mountings')
        words = (after if colon else part).split()
        if not words:
            raise ValueError(f"nothing follows the colon; {HOW_TO_WRITE}")
        found += [_use(word, mounting, known) for word in words]
    return tuple(found)


def _use(word: str, mounting: str | None, known: Mapping[str, Sundry]) -> SundryUse:
    match = _USE.match(word)
    if match is None:
        raise ValueError(f'"{word}" cannot be read; {HOW_TO_WRITE}')
    name, count = match[1], match[2]
    if not (len(count) < 5 and 1 <= int(count) <= MOST_PER_PIECE):
        raise ValueError(f'"{word}": a piece takes 1 to {MOST_PER_PIECE} of a sundry')
    if name not in known:
        kinds = ", ".join(SUNDRY_KINDS)
        raise ValueError(f'no row "{name}" of kind {kinds}; add one, or name one that is there')
    return SundryUse(known[name], int(count), mounting)
