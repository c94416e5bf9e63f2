"""A room file loaded whole: scenario, room, products, and what will be judged."""

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any, Literal

import numpy as np

from materials import MaterialDataError, MaterialTable, load_table
from materials.build_file import AnyBuild, BuildFileError, parse_builds
from materials.made import packaged_builds
from materials.table_files import TableFault
from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.judge_heard import HeardJudge
from optimizer.acoustics.judge_modes import ModesJudge
from optimizer.acoustics.judge_response import ResponseJudge
from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.judge_waves import WaveJudge
from optimizer.acoustics.judging import decay_limits, room_criteria
from optimizer.acoustics.low_decay_criteria import LowDecayFamily
from optimizer.acoustics.mode_criteria import ModeFamily, highest_mode
from optimizer.acoustics.scene import Scene, scene_of
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.around import Offer
from optimizer.placement.candidates import allowed_products
from optimizer.placement.catalogue import Product, read_catalogue, thin_doubts
from optimizer.placement.holding import standing
from optimizer.placement.hung import around_hung, hung_doubts, hung_pieces
from optimizer.placement.layouts import grid_faults
from optimizer.placement.pieces import Piece, mirrored_piece, piece_patches
from optimizer.placement.spending import SetAside, budget_faults, set_aside
from optimizer.placement.unplaced import product_doubts
from optimizer.room.build import build_room
from optimizer.room.checks import check_room
from optimizer.room.layout import LayoutSection
from optimizer.room.model import Room
from optimizer.room.reading import read_text, read_toml
from optimizer.room.scenario import Reading, Scenario, read_tables
from optimizer.room.schema import VariantSection
from optimizer.room.unlikely import room_doubts
from optimizer.room.variants import (
    lay_over,
    own_faults,
    read_variants,
    split_name,
    unknown_variants,
)

Judging = Literal["full", "fast", "none"]
"""How deep a scene is judged: with the wave equation, without it, by the criteria alone."""


@dataclass(frozen=True)
class Project:
    """Everything a room file leads to, without treatment."""

    scenario: Scenario
    room: Room
    products: tuple[Product, ...]  # the whole price list
    says: str = ""  # what its variants change, in the words of the room file
    hung: tuple[Piece, ...] = ()  # hang already and stay
    read_doubts: tuple[Fault, ...] = ()  # of the room file by itself, see `doubts`

    @cached_property
    def scene(self) -> Scene:
        """The room as arrays."""
        scene = scene_of(self.room, self.scenario.models.edge_effect)
        if not self.hung:
            return scene
        return scene.with_hung(piece_patches(self.room, list(self.hung))[0])

    @cached_property
    def criteria(self) -> Criteria:
        """What is judged."""
        return self.criteria_of(self.scene)

    def criteria_of(self, scene: Scene) -> Criteria:
        """The same criteria for a scene of this room with other positions."""
        scenario = self.scenario
        return room_criteria(
            scene,
            scenario.targets,
            scenario.weights,
            scenario.loudspeaker,
            self.room.dimensions,
        )

    def judges(self, judging: Judging = "full") -> tuple[Judge, ...]:
        """The fuller models that judge a scene of this room; the last that answers a row counts.

        The cross-over rule: single modes by the coupled modes (box rooms, up to the Schroeder
        frequency of the nominal decay), octave bands up to 500 Hz (`[models] waves_up_to`) by the
        wave equation, above by the tracer. "fast" leaves the wave equation out: low bands then come
        from the coupled modes and all others from the tracer. "none" is the criteria by themselves.
        """
        if judging == "none":
            return ()
        dimensions = self.room.dimensions
        families = self.criteria.families
        modal = next((f for f in families if isinstance(f, ModeFamily)), None)
        low = next((f for f in families if isinstance(f, LowDecayFamily)), None)
        above = highest_mode(self.room.volume) if low else 0.0
        judges: tuple[Judge, ...] = (TraceJudge(above),)
        if dimensions is not None and modal is not None:
            judges = (*judges, ModesJudge(dimensions, modal, low))
        return (*judges, self._waves) if judging == "full" else judges

    def informers(self, judging: Judging = "full") -> tuple[Judge, ...]:
        """Models that add findings to the score card and answer no criterion."""
        dimensions = self.room.dimensions
        low = () if dimensions is None else (ResponseJudge(dimensions),)
        if judging == "none":
            return ()
        return (*low, HeardJudge(self._waves)) if judging == "full" else low

    @property
    def _waves(self) -> WaveJudge:
        return WaveJudge(self.scenario.models.waves_up_to)

    @cached_property
    def doubts(self) -> tuple[Fault, ...]:
        """What is possible but more often a slip, in one line each: the run goes on."""
        scenario, usable = self.scenario, self.usable_products
        found = [
            *self.read_doubts,
            *thin_doubts(self.products, str(scenario.catalogue_path)),
            *product_doubts(scenario, self.room, usable),
        ]
        return tuple(dict.fromkeys(one_line(doubt) for doubt in found))

    @cached_property
    def usable_products(self) -> tuple[Product, ...]:
        """Products that the limits allow."""
        return allowed_products(self.products, self.scenario.limits)

    @property
    def offer(self) -> Offer:
        """What may be hung in the room."""
        scenario = self.scenario
        return Offer(
            self.room, self.scene, self.usable_products, scenario.limits, scenario.layout.rules
        )

    @property
    def budget_cents(self) -> int:
        """The budget in cents."""
        return int(round(self.scenario.budget.amount * 100))

    @property
    def set_aside(self) -> SetAside:
        """What of the budget is kept back for deliveries and part-used packs of sundries."""
        return set_aside(self.usable_products, self.scenario.budget.delivery)

    @property
    def spendable_cents(self) -> int:
        """What the program may spend on packs, in cents."""
        return max(self.budget_cents - self.set_aside.total, 0)

    def with_budget(self, cents: int) -> "Project":
        """The same project with other money."""
        budget = self.scenario.budget.model_copy(update={"amount": cents / 100})
        return replace(self, scenario=replace(self.scenario, budget=budget))

    def with_layout(self, layout: LayoutSection) -> "Project":
        """The same project, planned as orderly as this says."""
        return replace(self, scenario=replace(self.scenario, layout=layout))

    def mirrored(self) -> "Project":
        """The same project with left and right exchanged."""
        image = self.room.mirrored()
        hung = tuple(mirrored_piece(piece, self.room, image) for piece in self.hung)
        return replace(self, room=image, hung=hung)


def load_project(
    path: str | Path, budget: float | None = None, variants: Sequence[str] = ()
) -> Project:
    """Read a room file and all it names, with variants of it laid over it.

    `variants` are names of the file's variants, later ones on top; "a+b" stands for both. A
    variant's own budget goes before `budget`. ScenarioError carries every fault found, those of
    variants not asked for included.
    """
    path = Path(path)
    data, file = read_toml(path), str(path)
    faults: list[Fault] = []
    known = read_variants(data, file, faults)
    asked = tuple(part for name in variants for part in split_name(name))
    faults += unknown_variants(["+".join(asked)] if asked else [], known, file)
    project, found = _built(read_tables(data, path), budget)
    faults += found
    for name, section in known.items():
        faults += _varied(data, path, {name: section}, budget, found)[1]
    if asked and not faults:
        sections = {name: known[name] for name in asked}
        project, faults = _varied(data, path, sections, budget, found)
    if faults or project is None:
        raise ScenarioError(one_line(fault) for fault in faults)
    return project


def _varied(
    data: dict[str, Any],
    path: Path,
    sections: dict[str, VariantSection],
    budget: float | None,
    base: list[Fault],
) -> tuple[Project | None, list[Fault]]:
    """The project with variants laid over the file, and the faults that only they bring."""
    laid = lay_over(data, str(path), sections)
    spends_own = any(section.budget is not None for section in sections.values())
    project, found = _built(read_tables(laid.data, path), None if spends_own else budget)
    if project is not None:
        said = "; ".join(section.says or "" for section in sections.values())
        doubts = tuple(replace(d, key=laid.written(d.key)) for d in project.read_doubts)
        project = replace(project, says=said, read_doubts=doubts)
    return project, own_faults(laid, found, base)


def _built(reading: Reading, budget: float | None) -> tuple[Project | None, list[Fault]]:
    """The project of a reading, None without a room, and every fault found."""
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
    if scenario.limits.no_holes:
        products = tuple(replace(p, sundries=standing(p.mountings, p.sundries)) for p in products)
    if room is None:
        return None, faults
    hung = hung_pieces(scenario.hung, room, products, scenario.file, faults) if products else ()
    around = around_hung(room, hung)
    doubts: list[Fault] = []
    if products:
        faults += grid_faults(scenario, room, allowed_products(products, scenario.limits))
    if not faults:
        doubts = room_doubts(scenario, room)
        doubts += hung_doubts(scenario.hung, hung, room, scenario.file)
    return Project(scenario, around, products, hung=hung, read_doubts=tuple(doubts)), faults


def one_line(fault: Fault) -> Fault:
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


def _builds(scenario: Scenario, faults: list[Fault]) -> Mapping[str, AnyBuild]:
    """The packaged builds, with the person's own laid over them."""
    path = scenario.builds_path
    if path is None:
        return packaged_builds()
    try:
        own = parse_builds(read_text(path, "file of builds (TOML)"), str(path))
    except ScenarioError as unreadable:
        faults.extend(unreadable.faults)
        return packaged_builds()
    except BuildFileError as error:
        told = (text.removeprefix(f"{path}: ") for text in error.faults)
        faults.extend(Fault(str(path), "", None, text) for text in told)
        return packaged_builds()
    return {**packaged_builds(), **own}


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
        builds = _builds(scenario, faults)
        products = read_catalogue(scenario.catalogue_path, table, faults, builds=builds)
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
    faults.extend(budget_faults(scenario, products, usable))
