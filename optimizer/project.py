"""A room file loaded whole: scenario, room, products, and what will be judged."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from materials import MaterialDataError, MaterialTable, load_table
from materials.table_files import TableFault
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.judging import decay_limits, room_criteria
from optimizer.acoustics.scene import Scene, scene_of
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.candidates import allowed_products
from optimizer.placement.catalogue import Product, read_catalogue
from optimizer.room.build import build_room
from optimizer.room.checks import check_room
from optimizer.room.model import Room
from optimizer.room.reading import read_text
from optimizer.room.scenario import Scenario, read_scenario


@dataclass(frozen=True)
class Project:
    """Everything a room file leads to, without treatment."""

    scenario: Scenario
    room: Room
    products: tuple[Product, ...]  # the whole price list

    @cached_property
    def scene(self) -> Scene:
        """The room as arrays."""
        return scene_of(self.room)

    @cached_property
    def criteria(self) -> Criteria:
        """What is judged."""
        scenario = self.scenario
        return room_criteria(
            self.scene,
            scenario.targets,
            scenario.weights,
            scenario.loudspeaker,
            self.room.dimensions,
        )

    @cached_property
    def usable_products(self) -> tuple[Product, ...]:
        """Products that the limits allow."""
        return allowed_products(self.products, self.scenario.limits)

    @property
    def budget_cents(self) -> int:
        """The budget in cents."""
        return int(round(self.scenario.budget.amount * 100))

    def mirrored(self) -> "Project":
        """The same project with left and right exchanged."""
        return replace(self, room=self.room.mirrored())


def load_project(path: str | Path, budget: float | None = None) -> Project:
    """Read a room file and all it names; ScenarioError carries every fault found."""
    reading = read_scenario(Path(path))
    faults = list(reading.faults)
    scenario = reading.scenario
    if budget is not None:
        scenario = _with_budget(scenario, budget, faults)
    table = _table(scenario, faults)
    room, found = build_room(scenario, table)
    faults += found
    if room is not None:
        faults += check_room(scenario, room)
        faults += _targets_against_mask(scenario, room)
    products = _products(scenario, table, faults)
    if faults or room is None:
        raise ScenarioError(_one_line(fault) for fault in faults)
    return Project(scenario, room, products)


def _one_line(fault: Fault) -> Fault:
    """Keys of a file may hold line breaks; a fault is told in one line."""
    key, remedy = (" ".join(text.split()) for text in (fault.key, fault.remedy))
    return replace(fault, key=key, remedy=remedy)


def _targets_against_mask(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """One own decay limit fits the other one of the standard mask."""
    targets = scenario.targets
    own = [key for key in ("decay_low", "decay_high") if getattr(targets, key) is not None]
    low, high = decay_limits(room.volume, targets)
    if len(own) == 1 and np.any(low >= high):
        other = "upper" if own == ["decay_low"] else "lower"
        remedy = f"crosses the {other} limit of the standard mask in a band; give both limits"
        yield Fault(scenario.file, f"targets.{own[0]}", getattr(targets, own[0]), remedy)


def _with_budget(scenario: Scenario, budget: float, faults: list[Fault]) -> Scenario:
    if not (np.isfinite(budget) and 0 <= budget <= 1e9):
        faults.append(Fault("command line", "--budget", budget, "give an amount from 0 to 1e9"))
        return scenario
    section = scenario.budget.model_copy(update={"amount": float(budget)})
    return replace(scenario, budget=section)


def _table(scenario: Scenario, faults: list[Fault]) -> MaterialTable:
    path = scenario.materials_path
    if path is None:
        return load_table()
    try:
        text = read_text(path, "materials table (CSV)")
        return load_table(path)
    except ScenarioError as unreadable:
        faults.extend(unreadable.faults)
        return load_table()
    except MaterialDataError as error:
        faults.extend(Fault(str(path), _cell(f), f.value or None, f.remedy) for f in error.faults)
        return _with_ids(load_table(), text)


def _with_ids(table: MaterialTable, text: str) -> MaterialTable:
    """The table with a stand-in for each id of a table at fault, so that these names are known."""
    try:
        ids = {str(row.get("id")).strip() for row in csv.DictReader(io.StringIO(text, newline=""))}
    except csv.Error:
        return table
    stand_in = next(iter(table))
    added = [replace(stand_in, id=id) for id in sorted(ids) if id not in table]
    return MaterialTable([*table, *added], table.cited(), table.scattering.values())


def _cell(fault: TableFault) -> str:
    row = f"row {fault.row}" if fault.row else ""
    return ".".join(part for part in (row, fault.column) if part)


def _products(scenario: Scenario, table: MaterialTable, faults: list[Fault]) -> tuple[Product, ...]:
    if not scenario.budget.catalogue:
        return ()  # told already
    before = len(faults)
    try:
        products = read_catalogue(scenario.catalogue_path, table, faults)
    except ScenarioError as error:
        faults.extend(error.faults)
        return ()
    if len(faults) == before:
        _check_purchases(scenario, products, faults)
    return products


def _check_purchases(
    scenario: Scenario, products: tuple[Product, ...], faults: list[Fault]
) -> None:
    """The budget buys something (or is zero), bans name products, and some product is left."""
    known = {product.id for product in products}
    for banned in scenario.limits.banned_products:
        if banned not in known:
            remedy = f"no such product in {scenario.budget.catalogue}"
            faults.append(Fault(scenario.file, "limits.banned_products", banned, remedy))
    usable = allowed_products(products, scenario.limits)
    if not usable:
        remedy = "the bans, mountings and fire class leave no product of the price list; relax one"
        faults.append(Fault(scenario.file, "limits", None, remedy))
        return
    cheapest = min(usable, key=lambda p: 0 if p.owned else p.price_cents)
    amount = scenario.budget.amount
    if 0 < round(amount * 100) < cheapest.price_cents and not cheapest.owned:
        price = f"{cheapest.price_cents / 100:.2f} {scenario.budget.currency}"
        remedy = (
            f'buys nothing: the cheapest pack is "{cheapest.name}" at {price}; raise it or set 0'
        )
        faults.append(Fault(scenario.file, "budget.amount", amount, remedy))
