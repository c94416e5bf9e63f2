"""The price list: generic products, how they may be mounted, what they are made of and cost."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from materials import Material, MaterialTable, UnknownMaterial
from materials.build_file import AnyBuild
from materials.made import PREFIX, build_named, made_material, packaged_builds
from optimizer.faults import Fault
from optimizer.placement.cells import Label, Owned, Pack, Price, Weight, YesNo, is_whole
from optimizer.placement.holding import load_faults
from optimizer.placement.sundries import (
    FOR_SUNDRIES,
    Sundry,
    SundryKind,
    SundryUse,
    is_sundry,
    read_sundries,
    read_uses,
)
from optimizer.room import sane
from optimizer.room.checks import EURO_CLASS
from optimizer.room.reading import nearest, read_text, validate
from optimizer.room.sane import between
from optimizer.room.schema import Mounting, Name, Section, length_in_metres

NOT_STATED = "not stated"
COLUMNS = (
    "id", "name", "kind", "width", "height", "depth", "turn", "mountings", "gaps", "materials",
    "faces", "price", "pack", "owned", "weight_kg", "fire_class", "note", "supplier", "sundries",
    *FOR_SUNDRIES,
)  # fmt: skip
_OPTIONAL = {
    "owned": "0", "weight_kg": "", "fire_class": NOT_STATED, "note": "", "faces": "1",
    "supplier": "", "sundries": "", "hole": "", "load_kg": "",
}  # fmt: skip
MOST_PRODUCTS = 500
_FLAT = ("panel", "cloud", "screen")  # kinds whose depth is that of what they are made of

Kind = Literal["panel", "corner", "cloud", "diffuser", "curtain", "rug", "screen"]


@dataclass(frozen=True)
class Fitting:
    """One way a product can hang: the gap behind it in metres, and what it then is (material)."""

    gap: float
    material: Material


@dataclass(frozen=True)
class Product:
    """A product of the price list. Lengths in metres, price in cents per pack."""

    id: str
    name: str
    kind: str
    width: float
    height: float
    depth: float
    turn: bool
    mountings: tuple[str, ...]
    fittings: tuple[Fitting, ...]
    faces: int
    price_cents: int
    pack: int
    owned: int
    weight_kg: float | None
    fire_class: str
    note: str
    supplier: str = ""
    sundries: tuple[SundryUse, ...] = ()


def _words(value: object) -> list[str]:
    return str(value).split()


def _parts(value: object) -> list[str]:
    return [part.strip() for part in str(value).split(";") if part.strip()]


def _gaps(value: object) -> list[float]:
    return [length_in_metres(_number_or_text(part)) for part in _parts(value)]


def _number_or_text(value: object) -> object:
    try:
        return float(str(value))
    except ValueError:
        return value


def _cell_length(value: object) -> float:
    return length_in_metres(_number_or_text(value))


CellSize = Annotated[float, BeforeValidator(_cell_length), between(0, 10, "m", above=True)]


def _blank(value: object) -> str:
    if str(value).strip():
        raise ValueError("is for sundries; leave it blank for a piece")
    return ""


Blank = Annotated[str, BeforeValidator(_blank)]


class _Row(Section):
    id: Name
    name: Name
    kind: Literal[Kind, SundryKind]  # sundries are read apart; named here for the complaint
    width: CellSize
    height: CellSize
    depth: Annotated[float, BeforeValidator(_cell_length), between(0, 2, "m", above=True)]
    turn: YesNo
    mountings: Annotated[tuple[Mounting, ...], BeforeValidator(_words), Field(min_length=1)]
    gaps: Annotated[
        tuple[Annotated[float, between(0, 1, "m")], ...],
        BeforeValidator(_gaps),
        Field(min_length=1),
    ]
    materials: Annotated[tuple[Name, ...], BeforeValidator(_parts), Field(min_length=1)]
    faces: Annotated[int, between(1, 2)]
    price: Price
    pack: Pack
    owned: Owned
    weight_kg: Weight
    fire_class: str
    note: str
    supplier: Label
    sundries: str
    hole: Blank
    load_kg: Blank


@dataclass(frozen=True)
class Known:
    """What a cell of materials may name: rows of the table, and builds as `build:KEY`."""

    table: MaterialTable
    builds: Mapping[str, AnyBuild]


def read_catalogue(
    path: Path,
    table: MaterialTable,
    faults: list[Fault],
    what: str = "price list (CSV)",
    builds: Mapping[str, AnyBuild] | None = None,
) -> tuple[Product, ...]:
    """Products of a price list; every fault found is appended with its row and column.

    A cell of materials names a row of `table`, or `build:KEY` of `builds` (those of
    materials/builds.toml when left out). ScenarioError when the file cannot be read at all.
    """
    known = Known(table, packaged_builds() if builds is None else builds)
    text = read_text(path, what)
    reader = csv.DictReader(io.StringIO(text, newline=""), strict=True)
    file = str(path)
    try:
        header = list(reader.fieldnames or [])
        rows = [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        faults.append(Fault(file, "", None, f"is not a table of comma-separated values: {error}"))
        return ()
    if not _header_fits(header, file, faults):
        return ()
    if not rows:
        faults.append(Fault(file, "", None, "lists no product; add at least one row"))
    if len(rows) > MOST_PRODUCTS:
        remedy = f"lists {len(rows)} products; at most {MOST_PRODUCTS} are read"
        faults.append(Fault(file, "", None, remedy))
        return ()
    placed = [(line, row) for line, row in rows if not is_sundry(row)]
    if rows and not placed:
        faults.append(Fault(file, "", None, "lists sundries only; add a row that can be placed"))
    sundries = read_sundries([pair for pair in rows if is_sundry(pair[1])], file, faults)
    products = [
        p for line, row in placed for p in _product(row, line, file, known, sundries, faults)
    ]
    for index, product in enumerate(products):
        if product.id in {p.id for p in products[:index]} | set(sundries):
            faults.append(Fault(file, "id", product.id, "is used twice; rename one"))
    return tuple(products)


def _header_fits(header: list[str], file: str, faults: list[Fault]) -> bool:
    before = len(faults)
    for column in dict.fromkeys(header):
        if column not in COLUMNS:
            remedy = f"unknown column; {nearest(str(column), COLUMNS)}"
            faults.append(Fault(file, f"column {column}", None, remedy))
        if header.count(column) > 1:
            faults.append(Fault(file, f"column {column}", None, "is there twice; leave one out"))
    faults.extend(
        Fault(file, f"column {column}", None, "is missing; add it")
        for column in COLUMNS
        if column not in header and column not in _OPTIONAL
    )
    return len(faults) == before


def _product(
    row: dict[str, str | None],
    line: int,
    file: str,
    known: Known,
    sundries: dict[str, Sundry],
    faults: list[Fault],
) -> Iterator[Product]:
    key = f"row {line}"
    if not is_whole(row, key, file, faults):
        return
    cells = {**_OPTIONAL, **{k: v for k, v in row.items() if v != "" or k not in _OPTIONAL}}
    read = validate(_Row, cells, file, key, faults)
    if read is None:
        return
    before = len(faults)
    fittings = _fittings(read, key, file, known, faults)
    if read.fire_class != NOT_STATED and not EURO_CLASS.match(read.fire_class):
        remedy = f'is no class of EN 13501-1; write it like "B-s1,d0", or "{NOT_STATED}"'
        faults.append(Fault(file, f"{key}.fire_class", read.fire_class, remedy))
    faults.extend(_too_thin(read, fittings, key, file))
    uses = _uses(read, key, file, sundries, faults)
    if uses is not None:
        reach = read.depth + min((f.gap for f in fittings), default=0.0)
        faults.extend(
            Fault(file, f"{key}.{column}", value, remedy)
            for column, value, remedy in load_faults(read.mountings, uses, read.weight_kg, reach)
        )
    if len(faults) == before:
        yield Product(
            id=read.id, name=read.name, kind=read.kind, width=read.width, height=read.height,
            depth=read.depth, turn=read.turn, mountings=tuple(read.mountings), fittings=fittings,
            faces=read.faces, price_cents=read.price, pack=read.pack, owned=read.owned,
            weight_kg=read.weight_kg, fire_class=read.fire_class, note=read.note,
            supplier=read.supplier.strip(), sundries=uses or (),
        )  # fmt: skip


def _too_thin(row: _Row, fittings: tuple[Fitting, ...], key: str, file: str) -> Iterator[Fault]:
    """A porous piece is not far thinner than what its data was measured on."""
    for fitting in fittings:
        measured = _depth_of_data(fitting.material)
        if row.kind in _FLAT and measured and row.depth < sane.THINNEST_SHARE * measured:
            remedy = (
                f'is far thinner than "{fitting.material.id}" ({1000 * measured:g} mm); name data '
                "of a piece as thin, or correct the depth"
            )
            yield Fault(file, f"{key}.depth", f"{1000 * row.depth:g} mm", remedy)


def thin_doubts(products: Iterable[Product], file: str) -> Iterator[Fault]:
    """Products somewhat thinner than what their data was measured on."""
    for product in products:
        for fitting in product.fittings:
            measured = _depth_of_data(fitting.material)
            if product.kind in _FLAT and product.depth < sane.THIN_SHARE * measured:
                remedy = (
                    f'"{product.id}" is thinner than the data it names ("{fitting.material.id}", '
                    f"{1000 * measured:g} mm): it will absorb less than told"
                )
                yield Fault(file, "depth", f"{1000 * product.depth:g} mm", remedy)


def _depth_of_data(material: Material) -> float:
    """Metres of porous material that its data was measured on; 0 where none is stated."""
    porous = material.category in ("porous", "foam")
    return (material.thickness_mm or 0.0) / 1000 if porous else 0.0


def _uses(
    row: _Row, key: str, file: str, sundries: dict[str, Sundry], faults: list[Fault]
) -> tuple[SundryUse, ...] | None:
    """The sundries of a row; None where they are at fault and told."""
    try:
        return read_uses(row.sundries, sundries, row.mountings)
    except ValueError as error:
        faults.append(Fault(file, f"{key}.sundries", row.sundries, str(error)))
        return None


def _fittings(
    row: _Row, key: str, file: str, known: Known, faults: list[Fault]
) -> tuple[Fitting, ...]:
    if len(row.gaps) != len(row.materials):
        remedy = f"{len(row.materials)} materials for {len(row.gaps)} gaps; give one each"
        faults.append(Fault(file, f"{key}.materials", "; ".join(row.materials), remedy))
        return ()
    fittings = []
    for gap, wanted in zip(row.gaps, row.materials, strict=True):
        if wanted.startswith(PREFIX):
            try:
                build = build_named(wanted, known.builds)
                made = made_material(build, row.kind, (row.width, row.height), row.depth, gap)
                fittings.append(Fitting(gap, made))
            except ValueError as error:
                faults.append(Fault(file, f"{key}.materials", wanted, str(error)))
            continue
        try:
            material = known.table[wanted]
        except UnknownMaterial as error:
            remedy = f"no such material; closest: {', '.join(error.nearest)}"
            faults.append(Fault(file, f"{key}.materials", wanted, remedy))
            continue
        if material.unit != "alpha":
            remedy = "is an object (m2 per item); name a material with a coefficient"
            faults.append(Fault(file, f"{key}.materials", wanted, remedy))
        fittings.append(Fitting(gap, material))
    return tuple(fittings)


def meets_fire_class(stated: str, required: str | None) -> bool:
    """True when a stated class is at least the required one (EN 13501-1); unstated never is.

    Class letters rank A1 best to F; smoke s1 to s3 and droplets d0 to d2 must not be worse where
    both state them, and must be stated where the requirement names them (A1 needs neither).
    """
    if required is None:
        return True
    have, need = EURO_CLASS.match(stated), EURO_CLASS.match(required)
    if have is None or need is None:
        return False
    order = ("A1", "A2", "B", "C", "D", "E", "F")
    if order.index(have[1]) > order.index(need[1]):
        return False
    if have[1] == "A1":
        return True
    return all(need[i] is None or (have[i] is not None and have[i] <= need[i]) for i in (2, 3))
