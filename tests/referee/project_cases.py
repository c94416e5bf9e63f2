"""The referee's cases as this project models them: pieces as makes on walls, modes coupled.

Reads geometry.csv (places of the porous matter) beside cases.csv.
"""

import csv
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from referee_matter import Membrane

from materials.behind import hidden
from materials.build import Build
from materials.corner import CornerFill
from materials.layers import AirGap, Layer, Porous
from materials.modal import Make, Size
from optimizer.acoustics.corner_volumes import Standing
from optimizer.acoustics.coupled import coupled_modes, response
from optimizer.acoustics.coupled_build import CoupledBox, couple_box
from optimizer.acoustics.make_admittance import ALONG, level, make_table
from optimizer.acoustics.modes import IN_PLANE, Patches
from optimizer.acoustics.scene import LOW_HZ

HERE = Path(__file__).parent
ROOM = np.array([5.1, 3.9, 2.7])
TOP_HZ = 140.0

Place = tuple[int, int, tuple[float, float, float, float]]  # axis, side, rectangle


@dataclass(frozen=True)
class Hung:
    """One piece as the project has it: its make and the wall rectangles it covers."""

    make: Make
    places: tuple[Place, ...]
    standing: Standing | None = None


def hung(row: dict[str, str]) -> Hung:
    """A line of geometry.csv as a piece."""
    low, high = (np.array([float(row[c + end]) for c in "xyz"]) for end in "01")
    sigma = float(row["sigma"])
    x_corner = high[0] > ROOM[0] - 1e-6 and (low[1] < 1e-6 or high[1] > ROOM[1] - 1e-6)
    across = low[1] < 1e-6 and high[1] > ROOM[1] - 1e-6
    if row["shape"] == "triangle" or (x_corner and not across):
        return _corner(row["shape"], low, high, sigma)
    return _flat(low, high, sigma)


def _corner(shape: str, low: np.ndarray, high: np.ndarray, sigma: float) -> Hung:
    leg, left = high[0] - low[0], low[1] < 1e-6
    fill = CornerFill("c", "c", "triangle" if shape == "triangle" else "square", leg, sigma)
    places: tuple[Place, ...] = (
        (0, 1, (low[1], low[2], high[1], high[2])),
        (1, 0 if left else 1, (low[0], low[2], high[0], high[2])),
    )
    height = float(high[2] - low[2])
    stack = Standing(fill, (1, places[1][1]), float(low[2]), float(high[2]), np.ones(len(LOW_HZ)))
    return Hung(Make(fill, (leg, height), 2 * leg * height), places, stack)


def _flat(low: np.ndarray, high: np.ndarray, sigma: float) -> Hung:
    axis = int(np.argmin(high - low))
    side = int(ROOM[axis] - high[axis] < low[axis])  # the nearer wall
    gap = float(ROOM[axis] - high[axis] if side else low[axis])
    layers: tuple[Layer, ...] = (Porous(float(high[axis] - low[axis]), sigma),)
    if gap > 1e-6:
        layers = (*layers, AirGap(gap))
    i, j = IN_PLANE[axis]
    size: Size | None = (float(high[i] - low[i]), float(high[j] - low[j]))
    if np.allclose(size, ROOM[[i, j]]):
        size = None
    rect = (low[i], low[j], high[i], high[j])
    return Hung(Make(Build("b", "b", layers), size, 1.0), ((axis, side, rect),))


Extra = Sequence[tuple[Place, np.ndarray]]  # areas of other admittance (F,) at LOW_HZ


def box_of(
    pieces: Sequence[Hung], extra: Extra = (), top_hz: float = TOP_HZ, size: np.ndarray = ROOM
) -> CoupledBox:
    """A room of this size (3,) in m with pieces and other areas, as coupled modes up to top_hz."""
    rows = [(place, make_table(p.make), p.make) for p in pieces for place in p.places]
    rows += [(place, level(b[None])[0], None) for place, b in extra]
    upright = [m is not None and isinstance(m.build, CornerFill) for _, _, m in rows]
    patches = Patches(
        np.array([p[0] for p, _, _ in rows]),
        np.array([p[1] for p, _, _ in rows]),
        np.array([p[2] for p, _, _ in rows], dtype=float),
    )
    tables = np.array([table for _, table, _ in rows])
    stacks = [p.standing for p in pieces if p.standing is not None]
    return couple_box(
        size, patches, LOW_HZ, tables, 1.15 * top_hz,
        along=ALONG, only=np.where(upright, 2, -1), stacks=stacks, instead=upright,
    )  # fmt: skip


def modes_of(
    pieces: Sequence[Hung], extra: Extra = (), top_hz: float = TOP_HZ, size: np.ndarray = ROOM
) -> dict[str, tuple[float, float]]:
    """Frequency in Hz and damping in 1/s by mode ("1-0-0") of such a room."""
    return by_mode(box_of(pieces, extra, top_hz, size), top_hz)


def by_mode(box: CoupledBox, top_hz: float = TOP_HZ) -> dict[str, tuple[float, float]]:
    """Frequency in Hz and damping in 1/s by mode ("1-0-0") of a box."""
    found = coupled_modes(box, top_hz)
    names = ["-".join(map(str, n)) for n in found.n.tolist()]
    return {n: (f, d) for n, f, d in zip(names, found.f_hz, found.delta, strict=True)}


def boards(pieces: Sequence[Hung] = ()) -> list[tuple[Place, np.ndarray]]:
    """Admittance (F,) at LOW_HZ of the surfaces of the furnished room, less what pieces hide of the
    boards behind them.

    Areas add, so a door has what it differs by from the board that it replaces.
    """
    data = furnished_file()
    w = 2.0 * np.pi * LOW_HZ
    shown = {name: Membrane(**values)(w) for name, values in data["admittance"].items()}
    out: list[tuple[Place, np.ndarray]] = []
    for face in data["face"]:
        place = ("xyz".index(face["wall"][0]), int(face["wall"][1]), (*face["low"], *face["high"]))
        beta = shown[face["admittance"]]
        out.append((place, beta - shown["board"] if face["admittance"] != "board" else beta))
    for piece in pieces:
        lost = -hidden(piece.make, LOW_HZ) * shown["board"]
        out += [(place, lost) for place in piece.places]
    return out


def furnished_file() -> dict[str, Any]:
    """furnished_room.toml, as written."""
    return tomllib.loads((HERE / "furnished_room.toml").read_text())


def level_differences(box: CoupledBox) -> list[np.ndarray]:
    """Level of a monopole less that by finite elements in decibels at each seat of the furnished
    room, 20 to 125 Hz in twelfth-octaves (response.csv)."""
    told, found = furnished_file(), []
    with (HERE / "response.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if 20.0 <= float(row["hz"]) <= 125.0]
    for number, seat in enumerate(told["seats"], start=1):
        mine = [row for row in rows if row["seat"] == str(number)]
        hz, level = np.array([[float(r["hz"]), float(r["level_db"])] for r in mine]).T
        own = 20.0 * np.log10(np.abs(response(box, hz, [told["source"]], [seat])[0, 0]))
        found.append(own - level)
    return found


def geometry() -> dict[str, list[Hung]]:
    """The pieces of each case."""
    out: dict[str, list[Hung]] = {}
    with (HERE / "geometry.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            out.setdefault(row["case"], []).append(hung(row))
    return out


def reference() -> dict[str, dict[str, float]]:
    """Damping in 1/s by finite elements, by case and mode."""
    out: dict[str, dict[str, float]] = {}
    with (HERE / "cases.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            out.setdefault(row["case"], {})[row["mode"]] = float(row["delta"])
    return out
