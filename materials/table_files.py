"""Tables as people write them: CSV lines with checked cells, faults collected on the way.

MaterialDataError        one or more faults in a table
    .faults              tuple[TableFault, ...], in the order of the files
"""

import csv
import difflib
import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

from materials.cells import as_meant


@dataclass(frozen=True)
class TableFault:
    """One fault: file, row (line of the file, the heading is 1), column, cell, what to do."""

    file: str
    row: int | None
    column: str
    value: str
    remedy: str

    def __str__(self) -> str:
        place = self.file if self.row is None else f"{self.file}: row {self.row}"
        column = f", column {self.column}" if self.column else ""
        value = f" = {self.value!r}" if self.value else ""
        return f"{place}{column}{value}: {self.remedy}"


class MaterialDataError(ValueError):
    """A table that cannot be used; carries every fault found."""

    def __init__(self, faults: Iterable[TableFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


@dataclass(frozen=True)
class Line:
    """One line of a table; each reader notes a fault instead of raising."""

    file: str
    row: int
    cells: dict[str, str]
    faults: list[TableFault]

    def text(self, column: str, default: str = "") -> str:
        """Cell without surrounding blanks; `default` when blank or not a column."""
        return self.cells.get(column, "").strip() or default

    def required(self, column: str) -> str:
        """As `text`, a fault when blank (not when the file lacks the column: that is told once)."""
        value = self.text(column)
        if not value and column in self.cells:
            self.fault(column, "must not be blank")
        return value

    def number(self, column: str, low: float = 0.0, high: float = math.inf) -> float | None:
        """Finite number within low..high; None when blank or at fault."""
        cell = self.text(column)
        if not cell:
            return None
        try:
            value = float(cell)
        except ValueError:
            self.fault(column, "write a number with a decimal point")
            return None
        if not math.isfinite(value):
            self.fault(column, "write a finite number")
        elif not low <= value <= high:
            span = f"{low:g} or above" if math.isinf(high) else f"{low:g} to {high:g}"
            self.fault(column, f"must be {span}")
        else:
            return value
        return None

    def choice(self, column: str, allowed: Collection[str], default: str = "") -> str:
        """One of `allowed`; a fault with the nearest one otherwise."""
        value = self.text(column, default)
        if value not in allowed:
            self.fault(column, f"use one of {', '.join(allowed)}{nearest_hint(value, allowed)}")
        return value

    def keys(self, column: str) -> tuple[str, ...]:
        """Parts of the cell between semicolons."""
        return tuple(part.strip() for part in self.text(column).split(";") if part.strip())

    def fault(self, column: str, remedy: str) -> None:
        """Note a fault in this line."""
        self.faults.append(TableFault(self.file, self.row, column, self.text(column), remedy))


def nearest_hint(word: str, known: Iterable[str]) -> str:
    """Text that names the nearest known word, or nothing."""
    near = difflib.get_close_matches(word, list(known), n=1)
    return f"; did you mean {near[0]}?" if near else ""


def read_lines(
    path: Path, known: Collection[str], mandatory: Collection[str], faults: list[TableFault]
) -> list[Line]:
    """Lines of a CSV file with a heading; faults for headings unknown, double or missing."""
    file = path.name
    try:
        with path.open(encoding="utf-8-sig", newline="") as handle:
            reader = csv.reader(handle)
            heading = [cell.strip() for cell in next(reader, [])]
            rows = [
                (reader.line_num, [as_meant(cell) for cell in row])
                for row in reader
                if any(c.strip() for c in row)
            ]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        faults.append(TableFault(file, None, "", "", f"cannot be read ({error})"))
        return []
    _check_heading(file, heading, known, mandatory, faults)
    lines = []
    for number, row in rows:
        lines.append(Line(file, number, dict(zip(heading, row, strict=False)), faults))
        if len(row) != len(heading):
            remedy = f"has {len(row)} cells, the heading has {len(heading)}"
            faults.append(TableFault(file, number, "", "", remedy))
    return lines


def _check_heading(
    file: str,
    heading: list[str],
    known: Collection[str],
    mandatory: Collection[str],
    faults: list[TableFault],
) -> None:
    for column in sorted(set(heading)):
        if column not in known:
            remedy = f"unknown column{nearest_hint(column, known)}"
            faults.append(TableFault(file, 1, column, "", remedy))
        if heading.count(column) > 1:
            faults.append(TableFault(file, 1, column, "", "this column is there twice"))
    faults.extend(
        TableFault(file, 1, column, "", "this column is missing")
        for column in mandatory
        if column not in heading
    )


def check_unique(lines: Iterable[Line], column: str) -> None:
    """Fault for every line whose cell repeats one of an earlier line."""
    first: dict[str, int] = {}
    for line in lines:
        name = line.text(column)
        if name and name in first:
            line.fault(column, f"already used in row {first[name]}")
        first.setdefault(name, line.row)
