"""From a scenario and the material table to a Room, with every fault found on the way."""

from collections.abc import Iterable

import numpy as np

from materials import Material, MaterialTable, UnknownMaterial
from optimizer.faults import Fault
from optimizer.room.flush import in_front
from optimizer.room.geometry import DIGITS, Floats, Plane, box_shell
from optimizer.room.model import Area, Box, Furniture, Room, Seat, Speaker, Surface
from optimizer.room.scenario import Scenario
from optimizer.room.schema import FurnitureSection
from optimizer.room.shell import enclosed_volume, facing_inwards, open_edges

# What a piece of furniture is made of when the file does not say.
DEFAULT_MATERIAL = {
    "sofa": "sofa_2_seat",
    "armchair": "armchair",
    "desk": "desk",
    "table": "table_dining",
    "bookcase": "bookcase_loaded",
    "cabinet": "wardrobe",
    "bed": "bed_single",  # a wide one: see _made_of
    "chair": "chair_upholstered",
    "person": "person_seated",
    "rack": "equipment_rack",
    "other": "table_coffee",
}
WIDE_BED = 1.2  # m; between the single and the double bed of the table (0.9 and 1.6 m)
SMALLEST_ROOM, LARGEST_ROOM = 3.0, 10800.0  # m3, about those of the smallest and largest box room
OTHER_SEATS_WEIGHT = 0.3  # how much a seat after the first counts when the file does not say


def build_room(scenario: Scenario, table: MaterialTable) -> tuple[Room | None, list[Fault]]:
    """The room of a scenario, or None where its shell cannot be built, and the faults found."""
    faults: list[Fault] = []
    planes = _planes(scenario, faults)
    surfaces = _surfaces(scenario, planes, table, faults)
    furniture = _furniture(scenario, table, faults)
    if not surfaces:
        return None, faults
    section = scenario.room
    box = (section.length, section.width, section.height)
    room = Room(
        surfaces=surfaces,
        furniture=furniture,
        speakers=_speakers(scenario, list(planes.values())),
        seats=tuple(
            Seat(s.name, _point(s.at), (1.0 if i == 0 else OTHER_SEATS_WEIGHT) if s.weight is None
                 else s.weight)
            for i, s in enumerate(scenario.seats)
        ),
        keep_clear=tuple(
            Box(k.name or f"keep-clear box {i + 1}", _box(k.at, k.size))
            for i, k in enumerate(scenario.limits.keep_clear)
        ),
        volume=enclosed_volume(list(planes.values())),
        temperature_c=section.temperature_c,
        humidity_percent=section.humidity_percent,
        skirting=section.skirting,
        dimensions=None if section.planes else box,  # type: ignore[arg-type]  # all three are set
    )  # fmt: skip
    return room, faults


def _planes(scenario: Scenario, faults: list[Fault]) -> dict[str, Plane]:
    section, file = scenario.room, scenario.file
    sizes = {"length": section.length, "width": section.width, "height": section.height}
    missing = [key for key, value in sizes.items() if value is None]
    if section.planes:
        if len(missing) < 3:
            remedy = "give either length, width and height, or planes; not both"
            faults.append(Fault(file, "room", None, remedy))
            return {}
        shell = {p.name: np.array(p.corners) for p in section.planes}
        return _closed(shell, len(section.planes), file, faults)
    if missing and not scenario.room_whole:
        return {}  # told already, key by key
    if missing:
        remedy = f"{', '.join(missing)} missing; give length, width and height, or planes"
        faults.append(Fault(file, "room", None, remedy))
        return {}
    return facing_inwards(box_shell(*(float(v) for v in sizes.values() if v is not None)))


def _closed(
    shell: dict[str, Floats], given: int, file: str, faults: list[Fault]
) -> dict[str, Plane]:
    if len(shell) < given:
        faults.append(Fault(file, "room.planes", None, "two planes share a name; rename one"))
        return {}
    gaps = open_edges(shell)
    for first, second in gaps[:3]:
        edge = f"{_show(first)} to {_show(second)}"
        remedy = f"the edge {edge} is not shared by exactly two planes; close the room there"
        faults.append(Fault(file, "room.planes", None, remedy))
    if gaps:
        return {}
    try:
        planes = facing_inwards(shell)
    except ValueError as error:
        faults.append(Fault(file, "room.planes", None, str(error)))
        return {}
    volume = enclosed_volume(list(planes.values()))
    if not SMALLEST_ROOM <= volume <= LARGEST_ROOM:
        span = f"{SMALLEST_ROOM:g} to {LARGEST_ROOM:g} m3"
        remedy = f"the planes enclose {volume:.4g} m3; a room has {span}, correct the corners"
        faults.append(Fault(file, "room.planes", None, remedy))
        return {}
    return planes


def _surfaces(
    scenario: Scenario, planes: dict[str, Plane], table: MaterialTable, faults: list[Fault]
) -> tuple[Surface, ...]:
    file = scenario.file
    named = _material_of_surfaces(scenario, planes, table, faults)
    areas: dict[str, list[Area]] = {name: [] for name in planes}
    for section in scenario.areas:
        material = _material(section.material, f"{section.key}.material", "alpha",
                             file, table, faults)  # fmt: skip
        if not planes:
            continue
        if section.surface not in planes:
            remedy = f"no such surface; {_names(planes)}"
            faults.append(Fault(file, f"{section.key}.surface", section.surface, remedy))
        elif material is not None:
            (u, v), (width, height) = section.at, section.size
            rect = (u, v, round(u + width, DIGITS), round(v + height, DIGITS))
            name = section.name or section.kind
            areas[section.surface].append(Area(name, section.kind, rect, material))
    stand_in = next(iter(table))  # a surface at fault still has its place, for the other rules
    return tuple(Surface(n, p, named.get(n, stand_in), tuple(areas[n])) for n, p in planes.items())


def _material_of_surfaces(
    scenario: Scenario, planes: dict[str, Plane], table: MaterialTable, faults: list[Fault]
) -> dict[str, Material]:
    file, found = scenario.file, {}
    for name, wanted in scenario.surfaces.items():
        if planes and name not in planes:
            remedy = f"no such surface; {_names(planes)}"
            faults.append(Fault(file, f"surfaces.{name}", wanted, remedy))
            continue
        if wanted is None:
            continue
        material = _material(wanted, f"surfaces.{name}", "alpha", file, table, faults)
        if material is not None:
            found[name] = material
    faults.extend(
        Fault(file, f"surfaces.{name}", None, "is missing; name its material")
        for name in planes
        if name not in scenario.surfaces
    )
    return found


def _furniture(
    scenario: Scenario, table: MaterialTable, faults: list[Fault]
) -> tuple[Furniture, ...]:
    built = []
    for section in scenario.furniture:
        wanted = section.material or _made_of(section)
        key = f"{section.key}.material"
        material = _material(wanted, key, None, scenario.file, table, faults)
        if material is not None:
            built.append(_piece_of_furniture(section, material))
    return tuple(built)


def _made_of(section: FurnitureSection) -> str:
    """The material of furniture whose own is not given."""
    wide = section.kind == "bed" and min(section.size[:2]) > WIDE_BED
    return "bed_double" if wide else DEFAULT_MATERIAL[section.kind]


def _piece_of_furniture(section: FurnitureSection, material: Material) -> Furniture:
    name = section.name or section.kind
    return Furniture(name, section.kind, _box(section.at, section.size), material)


def _speakers(scenario: Scenario, planes: list[Plane]) -> tuple[Speaker, ...]:
    aim = scenario.seats[0].at if scenario.seats else (0.0, 0.0, 0.0)
    ordered = sorted(scenario.speakers, key=lambda s: s.at[1])
    return tuple(
        Speaker(s.name, in_front(_point(s.at), planes), _point(s.aim or aim)) for s in ordered
    )


def _material(
    wanted: str,
    key: str,
    unit: str | None,
    file: str,
    table: MaterialTable,
    faults: list[Fault],
) -> Material | None:
    try:
        material = table[wanted]
    except UnknownMaterial as error:
        faults.append(Fault(file, key, wanted, f"no such material; {_closest(error.nearest)}"))
        return None
    if unit is not None and material.unit != unit:
        remedy = "is an object (m2 per item), not a surface; name a surface material"
        faults.append(Fault(file, key, wanted, remedy))
        return None
    return material


def _closest(names: Iterable[str]) -> str:
    listed = ", ".join(names)
    return f"closest: {listed}" if listed else "search with `treatment materials WORDS`"


def _names(planes: dict[str, Plane]) -> str:
    return "this room has " + ", ".join(planes)


def _show(point: Floats) -> str:
    return "(" + ", ".join(f"{value:g}" for value in point) + ")"


def _point(values: tuple[float, float, float]) -> Floats:
    return np.round(np.array(values, dtype=float), DIGITS)


def _box(at: tuple[float, float, float], size: tuple[float, float, float]) -> Floats:
    low = np.array(at, dtype=float)
    return np.round(np.stack([low, low + np.array(size)]), DIGITS)
