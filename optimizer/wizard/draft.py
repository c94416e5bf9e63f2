"""A room file while it is being asked for: its tables, judged by the room file's own rules."""

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from materials import MaterialTable
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.candidates import allowed_products
from optimizer.placement.catalogue import Product, read_catalogue
from optimizer.placement.spending import budget_faults
from optimizer.room.build import build_room
from optimizer.room.checks import check_room
from optimizer.room.scenario import read_tables

Tables = dict[str, Any]
_ENTRY = re.compile(r"(\w+)\[(\d+)\]")


@dataclass
class Draft:
    """The tables answered so far, for a room file at `path`."""

    path: Path
    table: MaterialTable
    tables: Tables = field(default_factory=dict)

    def misfit(self, change: Tables) -> str | None:
        """Why these tables, laid over the rest, break a rule that held before; None if none."""
        before = self._faults(self.tables)
        trial = self.tables | change
        new = [fault for fault in self._faults(trial) if fault not in before]
        return _in_words(new[0], trial) if new else None

    def put(self, change: Tables) -> None:
        """Take tables over."""
        self.tables |= change

    def _faults(self, tables: Tables) -> list[Fault]:
        """Faults of the sections that are there; the others have not been asked for yet."""
        reading = read_tables(tables, self.path)
        room, found = build_room(reading.scenario, self.table)
        checked = check_room(reading.scenario, room) if room is not None else []
        faults = [*reading.faults, *found, *checked]
        return [fault for fault in faults if re.split(r"\W", fault.key)[0] in tables]

    def products(self, path: Path) -> tuple[Product, ...]:
        """The products of a price list; ValueError with its first fault when it cannot be used."""
        faults: list[Fault] = []
        try:
            products = read_catalogue(path, self.table, faults)
        except ScenarioError as error:
            faults.extend(error.faults)
        if faults:
            raise ValueError(str(faults[0]))
        return products

    def money_misfit(self, budget: Tables, products: tuple[Product, ...]) -> str | None:
        """Why a budget cannot be spent on these products under the limits; None if it can."""
        reading = read_tables(self.tables | {"budget": budget}, self.path)
        usable = allowed_products(products, reading.scenario.limits)
        if not usable:
            return "your answer about fixing leaves no product of this price list"
        new = [f for f in reading.faults if f.key.startswith("budget")]
        faults = [*new, *budget_faults(reading.scenario, products, usable)]
        return _in_words(faults[0], self.tables) if faults else None


def _in_words(fault: Fault, tables: Tables) -> str:
    """A fault without the file's name, its entry called by name."""
    match = _ENTRY.match(fault.key)
    subject = fault.key
    if match:
        entry = tables[match[1]][int(match[2])]
        subject = f"the {entry.get('name') or entry.get('kind', match[1])}"
    return f"{subject} {fault.remedy}"
