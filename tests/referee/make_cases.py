"""Reference figures for damping by porous pieces: writes cases.csv, geometry.csv and response.csv.

Run: python tests/referee/make_cases.py [1 2 3 4 5]   (sets of cases; all take about an hour)

Each row of cases.csv is one mode on the finer of two meshes; the other mesh's figure and the
difference stand beside it. geometry.csv holds every piece, furnished_room.toml the room of set 5.
"""

import csv
import sys
import time
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from referee_matter import Membrane
from referee_modes import Mode, Order, find_both, orders_below, response, rigid_frequency
from referee_room import Block, Face, Fineness, Piece, Room, Wedge
from referee_system import System

HERE = Path(__file__).parent
SIZE = (5.1, 3.9, 2.7)
FLAT = Fineness(0.25, 0.015, 0.4)
SOLID = Fineness(0.5, 0.012, 2.0)
FURNISHED = Fineness(0.6, 0.15, 2.0)
COARSER = 1.6
PLAN: list[Order] = [(1, 0, 0), (0, 1, 0), (1, 1, 0), (2, 0, 0), (2, 1, 0), (0, 2, 0)]
HUNG: list[Order] = [(0, 0, 1), (1, 0, 0), (0, 1, 0), (2, 0, 0), (1, 0, 1), (1, 1, 1)]
LAYERED: list[Order] = [(1, 0, 0), (0, 1, 0), (1, 1, 0), (2, 0, 0), (2, 1, 0), (0, 2, 0), (3, 2, 0)]
WALLS = ("x", "y", "z")
COLUMNS = [
    "case", "mode", "rigid_hz", "hz", "delta", "delta_coarse", "difference_percent",
    "delta_matter_at_real_frequency", "overlap", "unknowns",
]  # fmt: skip
PLACE = ["case", "shape", "x0", "y0", "z0", "x1", "y1", "z1", "right_angle", "sigma"]


@dataclass(frozen=True)
class Case:
    """One room and the modes asked for; halves = 0 for a prismatic room, None for a solid one."""

    name: str
    room: Room
    orders: Sequence[Order]
    halves: int | None
    fine: Fineness


def corner(leg: float, square: bool, sigma: float, top: float, left: bool) -> Piece:
    """A fill in a rear corner (x = 5.1): at y = 0 (left) or y = 3.9."""
    x, y = SIZE[:2]
    if not square:
        return Wedge((x, 0.0 if left else y), leg, (-1, 1 if left else -1), 0.0, top, sigma)
    low, high = (0.0, leg) if left else (y - leg, y)
    return Block((x - leg, low, 0.0), (x, high, top), sigma)


def corner_fills() -> Iterator[Case]:
    for square in (False, True):
        for leg in (0.3, 0.4, 0.6):
            for sigma in (7e3, 12e3):
                pieces = tuple(corner(leg, square, sigma, SIZE[2], side) for side in (True, False))
                shape = "square" if square else "triangle"
                name = f"1 {shape} {leg * 1e3:.0f} mm {sigma / 1e3:.0f} kPa"
                yield Case(name, Room(SIZE, pieces), PLAN, 0, FLAT)


def stacks() -> Iterator[Case]:
    for square in (True, False):
        for sigma in (12e3, 7e3):
            for sides in ((True,), (True, False)):
                pieces = tuple(corner(0.6, square, sigma, 1.2, side) for side in sides)
                shape = "square" if square else "triangle"
                corners = "one corner" if len(sides) == 1 else "two corners"
                name = f"2 {shape} 1.2 m {corners} {sigma / 1e3:.0f} kPa"
                yield Case(name, Room(SIZE, pieces), orders_below(SIZE, 120.0), None, SOLID)


def whole_walls() -> Iterator[Case]:
    for sigma in (7e3, 12e3):
        for depth, gap in ((0.025, 0), (0.05, 0), (0.1, 0), (0.05, 0.05), (0.1, 0.1)):
            end = SIZE[0] - gap
            piece = Block((end - depth, 0.0, 0.0), (end, *SIZE[1:]), sigma)
            name = f"3 {depth * 1e3:.0f} + {gap * 1e3:.0f} mm {sigma / 1e3:.0f} kPa"
            yield Case(name, Room(SIZE, (piece,)), LAYERED, 0, FLAT)


def hung() -> Iterator[Case]:
    pieces = {
        "4 cloud 2.4 x 1.2": Block((1.35, 1.35, 2.54), (3.75, 2.55, 2.6), 12e3),
        "4 cloud 1.2 x 1.2": Block((1.95, 1.35, 2.54), (3.15, 2.55, 2.6), 12e3),
        "4 panel on the wall": Block((5.0, 0.6, 0.75), (5.1, 1.2, 1.95), 12e3),
        "4 panel 100 mm off the wall": Block((4.9, 0.6, 0.75), (5.0, 1.2, 1.95), 12e3),
    }
    for name, piece in pieces.items():
        yield Case(name, Room(SIZE, (piece,)), HUNG, None, SOLID)


def furnished() -> tuple[Room, dict]:
    """The room of set 5 from furnished_room.toml, and the file itself."""
    data = tomllib.loads((HERE / "furnished_room.toml").read_text())
    boards = {
        name: Membrane(b["mass"], b["stiffness"], b["resistance"])
        for name, b in data["admittance"].items()
    }
    faces = []
    for face in data["face"]:
        axis, end = WALLS.index(face["wall"][0]), int(face["wall"][1])
        faces.append(
            Face(axis, end, tuple(face["low"]), tuple(face["high"]), boards[face["admittance"]])
        )
    pieces: list[Piece] = [
        Block(tuple(b["low"]), tuple(b["high"]), b["sigma"]) for b in data["block"]
    ]
    pieces += [
        Wedge(tuple(w["corner"]), w["leg"], tuple(w["toward"]), w["bottom"], w["top"], w["sigma"])
        for w in data["wedge"]
    ]
    return Room(tuple(data["size"]), tuple(pieces), tuple(faces)), data


def furnished_cases() -> Iterator[Case]:
    room, _ = furnished()
    orders = orders_below(SIZE, 120.0)
    yield Case("5 furnished", room, orders, None, FURNISHED)
    yield Case("5 bare walls", replace(room, pieces=()), orders, None, FURNISHED)


def row(case: Case, fine: tuple[Mode, Mode], coarse: Mode, unknowns: int) -> dict[str, object]:
    mode, real = fine
    return {
        "case": case.name,
        "mode": "-".join(map(str, mode.order)),
        "rigid_hz": f"{rigid_frequency(case.room.size, mode.order):.3f}",
        "hz": f"{mode.frequency:.3f}",
        "delta": f"{mode.delta:.5g}",
        "delta_coarse": f"{coarse.delta:.5g}",
        "difference_percent": f"{100.0 * (coarse.delta / mode.delta - 1.0):.2f}",
        "delta_matter_at_real_frequency": f"{real.delta:.5g}",
        "overlap": f"{mode.overlap:.4f}",
        "unknowns": unknowns,
    }


def solved(case: Case) -> list[dict[str, object]]:
    """Rows of one case; ArithmeticError if two modes of it are the same one."""
    begun = time.process_time()
    system = System(case.room, case.fine, case.halves)
    fine = [find_both(system, order) for order in case.orders]
    rough = System(case.room, case.fine.finer(1.0 / COARSER), case.halves)
    rows = [row(case, both, find_both(rough, both[0].order)[0], system.size) for both in fine]
    w = np.array([mode.w for mode, _ in fine])
    near = np.abs(w[:, None] - w[None, :]) + np.eye(len(w)) * 1e9
    worst = max((float(abs(float(r["difference_percent"]))) for r in rows), default=0.0)
    print(
        f"{case.name}: {len(rows)} modes, {system.size} unknowns, {worst:.2f} % at most, "
        f"{time.process_time() - begun:.0f} s",
        flush=True,
    )
    for i, j in np.argwhere(near < 1e-6 * np.abs(w)[:, None]):
        if i < j:
            print(f"  twice the same: {case.orders[i]} and {case.orders[j]}", flush=True)
    return rows


def places(case: Case) -> list[dict[str, object]]:
    out = []
    for piece in case.room.pieces:
        ends = np.round([piece.edges(axis) for axis in range(3)], 6).T.ravel()
        wedge = isinstance(piece, Wedge)
        out.append({
            **dict(zip(PLACE, [case.name, "triangle" if wedge else "box", *ends], strict=False)),
            "right_angle": "{} {}".format(*piece.corner) if wedge else "",
            "sigma": piece.sigma,
        })  # fmt: skip
    return out


def kept(path: Path, columns: list[str], rows: list[dict[str, object]]) -> None:
    """Put rows into a table in place of those of the same case."""
    old = []
    if path.exists():
        with path.open(newline="") as handle:
            old = list(csv.DictReader(handle))
    names = {r["case"] for r in rows}
    every = sorted([r for r in old if r["case"] not in names] + rows, key=lambda r: r["case"][0])
    with path.open("w", newline="") as handle:
        writer = csv.DictWriter(handle, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(every)


def responses() -> None:
    """Set 5: pressure at both seats, twelfth-octaves of 1 kHz, base two, on two meshes."""
    room, data = furnished()
    seats = [tuple(p) for p in data["seats"]]
    frequencies = 1000.0 * 2.0 ** (np.arange(-68, -35) / 12.0)
    both = []
    for fine in (FURNISHED, FURNISHED.finer(1.0 / COARSER)):
        system = System(room, fine)
        both += [response(system, tuple(data["source"]), seats, frequencies)]
    with (HERE / "response.csv").open("w", newline="") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(["seat", "hz", "real", "imaginary", "level_db", "difference_db"])
        for number in range(len(seats)):
            for f, p, q in zip(frequencies, both[0][:, number], both[1][:, number], strict=True):
                level = 20.0 * np.log10(np.abs([p, q]))
                figures = [f"{v:.6g}" for v in (f, p.real, p.imag)]
                writer.writerow(
                    [number + 1, *figures, f"{level[0]:.3f}", f"{level[1] - level[0]:.3f}"]
                )


SETS = {
    "1": corner_fills, "2": stacks, "3": whole_walls, "4": hung, "5": furnished_cases,
}  # fmt: skip


if __name__ == "__main__":
    for name in sys.argv[1:] or list(SETS):
        for case in SETS[name]():
            kept(HERE / "geometry.csv", PLACE, places(case))
            kept(HERE / "cases.csv", COLUMNS, solved(case))
        if name == "5":
            responses()
