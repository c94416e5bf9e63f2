"""Scattering coefficients of the materials table: measured, by depth of relief, or plain.

Random-incidence scattering coefficient of ISO 17497-1: the share of the reflected energy that
leaves the mirror direction. Diffusion coefficients (ISO 17497-2) are another quantity and have
no place here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from materials.bands import BANDS
from materials.medium import AIR
from materials.table_files import Line, TableFault, check_unique, read_lines

SCATTERING_COLUMNS = tuple(f"s{band}" for band in BANDS)
COLUMNS = ("id", *SCATTERING_COLUMNS, "depth_mm", "sources", "status", "note")
SOURCED, DEPTH_RULE, PLAIN_SURFACE = "sourced", "depth rule", "plain surface"
LOWEST, HIGHEST = 0.05, 0.99
_DEEPEST_MM = 2000.0


@dataclass(frozen=True)
class Scattering:
    """Scattering coefficients in the eight octaves and where they come from."""

    id: str
    coefficients: tuple[float, ...]
    status: str
    sources: tuple[str, ...]
    note: str


def depth_rule(depth: float, c: float = AIR.c) -> tuple[float, ...]:
    """s = 0.5 sqrt(depth f / c), limited to 0.05-0.99, in the octaves of BANDS.

    `depth` of relief in m, 0 or above. Rule of the BRAS benchmark for surfaces without a
    measured coefficient (doi 10.14279/depositonce-6726.3).
    """
    if not depth >= 0.0:
        raise ValueError("depth of relief must be zero or above")
    values = (0.5 * (depth * band / c) ** 0.5 for band in BANDS)
    return tuple(min(max(value, LOWEST), HIGHEST) for value in values)


def plain_surface(id: str) -> Scattering:
    """0.05 in every band: a flat surface of which nothing else is known."""
    return Scattering(id, (LOWEST,) * len(BANDS), PLAIN_SURFACE, (), "")


def fill_ends(values: Sequence[float | None]) -> tuple[float, ...]:
    """Bands without a value: held above the last one; below the first, at most 0.05."""
    given = [i for i, value in enumerate(values) if value is not None]
    out: list[float] = []
    for i, value in enumerate(values):
        if value is not None:
            out.append(value)
        elif i < given[0]:
            out.append(min(values[given[0]] or 0.0, LOWEST))
        else:
            out.append(out[-1])
    return tuple(out)


def read_scattering(line: Line) -> Scattering | None:
    """Scattering of one line of scattering.csv or of a user's table; None when it has none."""
    values = [line.number(column, 0.0, 1.0) for column in SCATTERING_COLUMNS]
    depth = line.number("depth_mm", 1e-3, _DEEPEST_MM)
    if depth is not None and any(line.text(column) for column in SCATTERING_COLUMNS):
        line.fault("depth_mm", "give a depth or coefficients, not both")
        return None
    note, sources = line.text("note"), line.keys("sources")
    if depth is not None:
        return Scattering(line.text("id"), depth_rule(1e-3 * depth), DEPTH_RULE, sources, note)
    if all(value is None for value in values):
        return None
    return Scattering(line.text("id"), fill_ends(values), SOURCED, sources, note)


def load_scattering(path: Path, faults: list[TableFault]) -> tuple[list[Line], list[Scattering]]:
    """Lines and coefficients of scattering.csv; faults are added to `faults`."""
    lines = read_lines(path, COLUMNS, COLUMNS, faults)
    check_unique(lines, "id")
    found: list[Scattering] = []
    for line in lines:
        line.required("id")
        row = read_scattering(line)
        status = line.choice("status", (SOURCED, DEPTH_RULE))
        if row is None:
            line.fault("depth_mm", "needs coefficients or a depth")
        elif row.status != status:
            line.fault("status", f"cells of this row are of the kind {row.status!r}")
        else:
            found.append(row)
    return lines, found
