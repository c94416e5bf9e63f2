"""The materials table: absorption, its uncertainty, scattering and sources of every surface.

Loaded from absorption.csv, scattering.csv and sources.csv beside this file; columns, units and
ranges are in dictionary.csv. A user's own CSV may be laid over it.

UnknownMaterial(KeyError)        .id, .nearest
MaterialDataError(ValueError)    .faults, see materials.table_files
"""

import difflib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from materials.bands import BANDS
from materials.porous import RESISTIVITIES
from materials.scattering import (
    SCATTERING_COLUMNS,
    Scattering,
    load_scattering,
    plain_surface,
    read_scattering,
)
from materials.spread import one_sigma
from materials.table_files import (
    Line,
    MaterialDataError,
    TableFault,
    check_unique,
    nearest_hint,
    read_lines,
)

if TYPE_CHECKING:  # rows of the table have no build, and reading it needs no models
    from materials.build import Build
    from materials.corner import CornerFill
    from materials.resonators import SealedResonator

DATA = Path(__file__).parent
ABSORPTION_COLUMNS = tuple(f"a{band}" for band in BANDS)
SPREAD_COLUMNS = tuple(f"sd{band}" for band in BANDS)
COLUMNS = (
    *("id", "name", "category", "mounting", "thickness_mm", "gap_mm", "density_kg_m3"),
    *("flow_resistivity", "fit_residual", "unit"),
    *ABSORPTION_COLUMNS,
    *SPREAD_COLUMNS,
    *("extrapolated", "n_sources", "sources", "status", "note"),
)
SIGMA_COLUMNS = tuple(f"sigma{band}" for band in BANDS)
_EXTRA_COLUMNS = (*COLUMNS, *SIGMA_COLUMNS, *SCATTERING_COLUMNS, "depth_mm")
_EXTRA_MANDATORY = ("id", "name", "unit", *ABSORPTION_COLUMNS[1:-1])
_SOURCE_COLUMNS = ("key", "citation", "seen", "licence")
UNITS = ("alpha", "m2")
STATUSES = ("sourced", "memory", "estimated")
TWO_FACES = "free-standing"
_LARGEST_ALPHA = 1.6  # per face counted
_LONGEST_NAME = 80  # letters, as of products
_LARGEST_AREA = 100.0  # m2 of one item


@dataclass(frozen=True)
class Source:
    """A source: full citation, how its figures were seen, what licence they came under."""

    key: str
    citation: str
    seen: str = ""
    licence: str = ""


@dataclass(frozen=True)
class Material:
    """One row of the table; all tuples run over BANDS.

    `unit` "alpha": random-incidence absorption coefficient, above 1 where the sample had edges;
    "m2": absorption area of one item. `spread` is one sigma in the same unit (materials.spread).
    `extrapolated` holds the octaves that no source gives. `build` is what a modelled material is
    made of (materials.made); None for a row of the table. `flow_resistivity` (Pa s/m2)
    is that of a row of plain porous matter of known depth, which acts in the bass as that matter
    (materials.made.matter_of); fitted to the row, with the rms difference of the coefficients from
    250 Hz to 4 kHz as `fit_residual`.
    """

    id: str
    name: str
    category: str
    mounting: str
    thickness_mm: float | None
    gap_mm: float | None
    density_kg_m3: float | None
    unit: str
    absorption: tuple[float, ...]
    spread: tuple[float, ...]
    between_sources: tuple[float | None, ...]
    extrapolated: frozenset[int]
    scattering: tuple[float, ...]
    scattering_status: str
    sources: tuple[str, ...]
    n_sources: int
    status: str
    note: str
    flow_resistivity: float | None = None
    fit_residual: float | None = None
    build: "Build | CornerFill | SealedResonator | None" = None


class UnknownMaterial(KeyError):  # noqa: N818 - reads as what went wrong
    """No such material; `nearest` holds the ids that look most like it."""

    def __init__(self, id: str, nearest: Iterable[str]) -> None:
        self.id = id
        self.nearest = tuple(nearest)
        super().__init__(id)

    def __str__(self) -> str:
        near = f"; nearest: {', '.join(self.nearest)}" if self.nearest else ""
        return f"unknown material {self.id!r}{near}"


class MaterialTable:
    """Materials by id, in the order of the table; `scattering` also holds reliefs without one."""

    def __init__(
        self,
        materials: Iterable[Material],
        sources: Iterable[Source],
        scattering: Iterable[Scattering] = (),
    ) -> None:
        self._materials = {material.id: material for material in materials}
        self._sources = {source.key: source for source in sources}
        self.scattering: Mapping[str, Scattering] = MappingProxyType(
            {row.id: row for row in scattering}
        )

    def __getitem__(self, id: str) -> Material:
        """The material of this id; UnknownMaterial names the nearest ids."""
        if id not in self._materials:
            raise UnknownMaterial(id, difflib.get_close_matches(id, self._materials, 3, 0.4))
        return self._materials[id]

    def __contains__(self, id: object) -> bool:
        return id in self._materials

    def __iter__(self) -> Iterator[Material]:
        return iter(self._materials.values())

    def __len__(self) -> int:
        return len(self._materials)

    def search(self, words: str) -> list[Material]:
        """Materials in which every word occurs in id, name, category or note, any case.

        Ranked by how many of the words stand whole in id or name, then by table order.
        """
        wanted = words.lower().split()
        ranked: list[tuple[int, Material]] = []
        for material in self if wanted else ():
            label = f"{material.id.replace('_', ' ')} {material.name}".lower()
            text = f"{material.id} {label} {material.category} {material.note}".lower()
            if all(word in text for word in wanted):
                ranked.append((-len(set(wanted) & set(label.split())), material))
        return [material for _, material in sorted(ranked, key=lambda hit: hit[0])]

    def citation(self, key: str) -> Source:
        """The source of this key; KeyError when there is none."""
        return self._sources[key]

    def cited(self) -> list[Source]:
        """All sources, in the order of sources.csv."""
        return list(self._sources.values())


def load_table(extra: Path | None = None) -> MaterialTable:
    """The packaged table, with the rows of a user's CSV laid over it when `extra` is given.

    The user's file has the columns of absorption.csv, of which only id, name, unit and
    a125..a4000 must be there, and may have s63..s8000 or depth_mm for scattering, and
    sigma63..sigma8000: one sigma of each coefficient where it is known better or worse than the
    laboratories' figure and sd say (a calibrated one). A row with an id of the packaged table
    replaces it, and keeps its scattering when it gives none. Anything may stand as source.
    MaterialDataError lists every fault of the file with row and column. The packaged table is
    read once.
    """
    packaged = _packaged()
    return packaged if extra is None else _laid_over(packaged, Path(extra))


@lru_cache(maxsize=1)
def _packaged() -> MaterialTable:
    return load_folder(DATA)


def load_folder(folder: Path) -> MaterialTable:
    """The table in a folder with absorption.csv, scattering.csv and sources.csv.

    Raises MaterialDataError with every fault of the three files.
    """
    faults: list[TableFault] = []
    source_lines = read_lines(folder / "sources.csv", _SOURCE_COLUMNS, _SOURCE_COLUMNS, faults)
    check_unique(source_lines, "key")
    sources = [Source(*(line.required(c) for c in _SOURCE_COLUMNS)) for line in source_lines]
    scattering_lines, scattering = load_scattering(folder / "scattering.csv", faults)
    lines = read_lines(folder / "absorption.csv", COLUMNS, COLUMNS, faults)
    check_unique(lines, "id")
    reliefs = {row.id: row for row in scattering}
    materials = [_packaged_row(line, reliefs.get(line.text("id"))) for line in lines]
    _check_sources([*lines, *scattering_lines], {source.key for source in sources})
    if faults:
        raise MaterialDataError(faults)
    return MaterialTable([m for m in materials if m is not None], sources, scattering)


def _packaged_row(line: Line, scattering: Scattering | None) -> Material | None:
    for column in ("category", "n_sources", ABSORPTION_COLUMNS[0], ABSORPTION_COLUMNS[-1]):
        line.required(column)
    return _material(line, scattering, line.choice("status", STATUSES))


def _check_sources(lines: Iterable[Line], keys: set[str]) -> None:
    for line in lines:
        if not line.keys("sources"):
            line.fault("sources", "must name at least one source")
        for key in line.keys("sources"):
            if key not in keys:
                line.fault("sources", f"unknown source {key!r}{nearest_hint(key, keys)}")


def _laid_over(packaged: MaterialTable, path: Path) -> MaterialTable:
    faults: list[TableFault] = []
    lines = read_lines(path, _EXTRA_COLUMNS, _EXTRA_MANDATORY, faults)
    check_unique(lines, "id")
    added: list[Material | None] = []
    reliefs: list[Scattering] = []
    for line in lines:
        own_relief = read_scattering(line)
        reliefs += [own_relief] if own_relief else []
        relief = own_relief or packaged.scattering.get(line.text("id"))
        status = line.choice("status", (*STATUSES, "user"), "user")
        added.append(_material(line, relief, status))
    if faults:
        raise MaterialDataError(faults)
    new = [material for material in added if material is not None]
    known = {source.key for source in packaged.cited()}
    own = {key: Source(key, key, path.name) for m in new for key in m.sources if key not in known}
    return MaterialTable(
        [*packaged, *new],
        [*packaged.cited(), *own.values()],
        [*packaged.scattering.values(), *reliefs],
    )


def _material(line: Line, scattering: Scattering | None, status: str) -> Material | None:
    id, name, unit = line.required("id"), line.required("name"), line.choice("unit", UNITS)
    for column, text in (("id", id), ("name", name)):
        if len(text) > _LONGEST_NAME:
            line.fault(column, f"write at most {_LONGEST_NAME} characters")
    mounting = line.text("mounting")
    faces = 2 if mounting == TWO_FACES else 1
    highest = _LARGEST_ALPHA * faces if unit == "alpha" else _LARGEST_AREA
    given = [line.number(column, 0.0, highest) for column in ABSORPTION_COLUMNS]
    for column in ABSORPTION_COLUMNS[1:-1]:
        line.required(column)
    between = tuple(line.number(column) for column in SPREAD_COLUMNS)
    thickness, gap, density = (
        line.number(column) for column in ("thickness_mm", "gap_mm", "density_kg_m3")
    )
    n_sources, flagged = line.number("n_sources"), _bands(line)
    middle = [value for value in given[1:-1] if value is not None]
    if len(middle) < len(BANDS) - 2 or unit not in UNITS:
        return None
    absorption, held = _fill_ends(middle, given)
    relief = scattering or plain_surface(id)
    return Material(
        id=id,
        name=name,
        category=line.text("category", "own table"),
        mounting=mounting,
        thickness_mm=thickness,
        gap_mm=gap,
        density_kg_m3=density,
        unit=unit,
        absorption=absorption,
        spread=_stated(line, one_sigma(absorption, between, unit, status == "estimated")),
        between_sources=between,
        extrapolated=flagged | held,
        scattering=relief.coefficients,
        scattering_status=relief.status,
        sources=line.keys("sources"),
        n_sources=int(n_sources or 0),
        status=status,
        note=line.text("note"),
        flow_resistivity=_flow_resistivity(line, thickness),
        fit_residual=line.number("fit_residual", 0.0, 1.0),
    )


def _flow_resistivity(line: Line, thickness: float | None) -> float | None:
    sigma = line.number("flow_resistivity", *RESISTIVITIES)
    if sigma is not None and thickness is None:
        line.fault("thickness_mm", "must be given with a flow resistivity")
        return None
    return sigma


def _stated(line: Line, spread: tuple[float, ...]) -> tuple[float, ...]:
    """One sigma per band as the line states it, else as it follows from the rest."""
    stated = [line.number(column) for column in SIGMA_COLUMNS]
    pairs = zip(stated, spread, strict=True)
    return tuple(usual if given is None else given for given, usual in pairs)


def _fill_ends(
    middle: list[float], given: list[float | None]
) -> tuple[tuple[float, ...], frozenset[int]]:
    """125 Hz to 4 kHz plus the ends a user left out, and the bands so filled.

    63 Hz: the 125 Hz value where absorption falls towards 250 Hz (panels, hard walls), else half
    of it (porous, thin covers), so that no bass absorption is invented. 8 kHz: as 4 kHz.
    """
    low, high = given[0], given[-1]
    held = frozenset(band for band, v in ((BANDS[0], low), (BANDS[-1], high)) if v is None)
    if low is None:
        low = middle[0] if middle[0] >= middle[1] else 0.5 * middle[0]
    return (low, *middle, middle[-1] if high is None else high), held


def _bands(line: Line) -> frozenset[int]:
    words = line.text("extrapolated").split()
    known = {str(band) for band in BANDS}
    if any(word not in known for word in words):
        line.fault("extrapolated", f"use octaves out of {' '.join(str(band) for band in BANDS)}")
    return frozenset(int(word) for word in words if word in known)
