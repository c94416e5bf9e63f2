"""A room file read as a whole: sections validated one by one so that every fault is told."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from optimizer.faults import Fault
from optimizer.room.layout import LayoutSection
from optimizer.room.reading import nearest, validate
from optimizer.room.schema import (
    AreaSection,
    BudgetSection,
    FurnitureSection,
    HungSection,
    LimitsSection,
    LoudspeakerSection,
    MeasuredSection,
    ModelsSection,
    RoomSection,
    SeatSection,
    Section,
    SpeakerSection,
    TargetsSection,
    WeightsSection,
)

_SectionT = TypeVar("_SectionT", bound=Section)
_TOP_KEYS = (
    "title", "note", "materials", "room", "surfaces", "areas", "furniture", "hung", "measured",
    "speakers",
    "loudspeaker", "seats", "targets", "budget", "limits", "layout", "weights", "models", "builds",
    "variants",
)  # fmt: skip
_LONGEST_LIST = 200


@dataclass(frozen=True)
class Scenario:
    """Everything the room file says, in SI units, before any geometry is built."""

    path: Path
    title: str
    note: str
    materials: str
    builds: str
    room: RoomSection
    room_whole: bool  # False when keys of [room] were at fault and are left out of `room`
    surfaces: dict[str, str | None]  # None: told to be no material's name
    areas: tuple[AreaSection, ...]
    furniture: tuple[FurnitureSection, ...]
    hung: tuple[HungSection, ...]
    measured: tuple[MeasuredSection, ...]
    speakers: tuple[SpeakerSection, ...]
    loudspeaker: LoudspeakerSection
    seats: tuple[SeatSection, ...]
    targets: TargetsSection
    budget: BudgetSection
    limits: LimitsSection
    layout: LayoutSection
    weights: WeightsSection
    models: ModelsSection

    @property
    def file(self) -> str:
        """The room file's name as faults quote it."""
        return str(self.path)

    @property
    def catalogue_path(self) -> Path:
        """The price list, looked for beside the room file."""
        return self.path.parent / self.budget.catalogue

    @property
    def materials_path(self) -> Path | None:
        """The person's own material rows, looked for beside the room file, or None."""
        return self.path.parent / self.materials if self.materials else None

    @property
    def builds_path(self) -> Path | None:
        """The person's own builds, looked for beside the room file, or None."""
        return self.path.parent / self.builds if self.builds else None


@dataclass(frozen=True)
class Reading:
    """A scenario that may be partial (sections at fault left out), and the faults found so far."""

    scenario: Scenario
    faults: tuple[Fault, ...]


def read_tables(data: dict[str, Any], path: Path) -> Reading:
    """Read the tables of a room file that is at `path`."""
    faults: list[Fault] = []
    file = str(path)
    faults.extend(
        Fault(file, key, value, f"unknown key; {nearest(key, _TOP_KEYS)}")
        for key, value in data.items()
        if key not in _TOP_KEYS
    )
    room = _table(RoomSection, data, "room", file, faults, required=True)
    budget = _table(BudgetSection, data, "budget", file, faults, required=True)
    areas = _list(AreaSection, data, "areas", file, faults)
    furniture = _list(FurnitureSection, data, "furniture", file, faults)
    hung = _list(HungSection, data, "hung", file, faults)
    measured = _list(MeasuredSection, data, "measured", file, faults)
    speakers = _list(SpeakerSection, data, "speakers", file, faults)
    seats = _list(SeatSection, data, "seats", file, faults)
    surfaces = _surfaces(data, file, faults)
    loudspeaker = _table(LoudspeakerSection, data, "loudspeaker", file, faults)
    targets = _table(TargetsSection, data, "targets", file, faults)
    limits = _table(LimitsSection, data, "limits", file, faults)
    layout = _table(LayoutSection, data, "layout", file, faults)
    weights = _table(WeightsSection, data, "weights", file, faults)
    models = _table(ModelsSection, data, "models", file, faults)
    keys = ("title", "note", "materials", "builds")
    texts = {key: _string(data, key, file, faults) for key in keys}
    scenario = Scenario(
        path=path,
        title=texts["title"] or _title_of(path),
        note=texts["note"],
        materials=texts["materials"],
        builds=texts["builds"],
        room=room or RoomSection(),
        room_whole=not any(fault.key.startswith("room") for fault in faults),
        surfaces=surfaces,
        areas=areas,
        furniture=furniture,
        hung=hung,
        measured=measured,
        speakers=speakers,
        loudspeaker=loudspeaker or LoudspeakerSection(),
        seats=seats,
        targets=targets or TargetsSection(),
        budget=budget or _stand_in_budget(data),
        limits=limits or LimitsSection(),
        layout=layout or LayoutSection(),
        weights=weights or WeightsSection(),
        models=models or ModelsSection(),
    )
    return Reading(scenario, tuple(faults))


def _table(
    model: type[_SectionT],
    data: dict[str, Any],
    key: str,
    file: str,
    faults: list[Fault],
    required: bool = False,
) -> _SectionT | None:
    if key in data:
        return validate(model, data[key], file, key, faults)
    if required:
        faults.append(Fault(file, key, None, f"section [{key}] is missing; add it"))
        return None
    return model()


def _list(
    model: type[_SectionT], data: dict[str, Any], key: str, file: str, faults: list[Fault]
) -> tuple[_SectionT, ...]:
    items = data.get(key, [])
    if not isinstance(items, list):
        faults.append(Fault(file, key, items, f"write each one as its own [[{key}]] table"))
        return ()
    if len(items) > _LONGEST_LIST:
        remedy = f"{len(items)} entries; at most {_LONGEST_LIST} are read"
        faults.append(Fault(file, key, None, remedy))
        return ()
    read = (validate(model, item, file, f"{key}[{i}]", faults) for i, item in enumerate(items))
    return tuple(item for item in read if item is not None)


def _surfaces(data: dict[str, Any], file: str, faults: list[Fault]) -> dict[str, str | None]:
    table = data.get("surfaces")
    if not isinstance(table, dict):
        remedy = "give a material for each surface in a [surfaces] table"
        faults.append(Fault(file, "surfaces", table, remedy))
        return {}
    named: dict[str, str | None] = {}
    for name, material in table.items():
        named[name] = material if isinstance(material, str) else None
        if named[name] is None:
            remedy = "name a material of the table (see `treatment materials`)"
            faults.append(Fault(file, f"surfaces.{name}", material, remedy))
    return named


def _title_of(path: Path) -> str:
    return path.stem.replace("_", " ").encode("utf-8", "replace").decode()


def _stand_in_budget(data: dict[str, Any]) -> BudgetSection:
    """A budget of nothing for a section at fault, so that its price list is still looked at."""
    section = data.get("budget")
    named = section.get("catalogue") if isinstance(section, dict) else None
    catalogue = named if isinstance(named, str) else ""
    return BudgetSection.model_construct(amount=0.0, currency="EUR", catalogue=catalogue)


def _string(data: dict[str, Any], key: str, file: str, faults: list[Fault]) -> str:
    value = data.get(key, "")
    if not isinstance(value, str) or len(value) > 2000:
        faults.append(Fault(file, key, value, "write a text of at most 2000 characters"))
        return ""
    return value
