"""Rooms and plans to draw: boxes of any size, a room of planes, walls full of pieces."""

from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import numpy as np

from optimizer.placement.corners import corner_edge, leg_rect
from optimizer.placement.pieces import Piece, corner_piece, flat_piece
from optimizer.placement.plan import Selection
from optimizer.project import Project, load_project
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.scorecard import ScoreCard

LONG = "a very long name that somebody gave to this thing without any thought of drawings"
HEADER = "id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned\n"
PRODUCTS = (
    "wool,wool panel,panel,0.3,0.4,0.1,yes,wall ceiling,0;0.1,"
    "mineral_wool_100_wall;mineral_wool_100_gap_100,1,84.90,1,0\n"
    f"long,{LONG[:80]},diffuser,0.2,0.2,0.05,no,wall ceiling,0,mineral_wool_50_wall,1,55.90,1,0\n"
    "corner,corner fill,corner,0.3,0.6,0.3,no,corner,0,corner_fill_300,1,54.90,1,0\n"
    "rug,rug,rug,0.6,0.9,0.01,yes,floor,0,rug_on_hard_floor,1,30,1,0\n"
)
BOX_SURFACES = "".join(
    f'{name} = "gypsum_board_studs"\n' for name in ("front", "back", "left", "right", "ceiling")
)
REST = """
[budget]
amount = 0
catalogue = "prices.csv"
[limits]
grid = 2.0
headroom = 1.9
"""


def people(x: float, seat: float, middle: float, apart: float, names: Iterable[str]) -> str:
    """Two loudspeakers and a seat."""
    left, right, seat_name = names
    return (
        f'[[speakers]]\nname = "{left}"\nat = [{x}, {middle - apart / 2}, 1.1]\n'
        f'[[speakers]]\nname = "{right}"\nat = [{x}, {middle + apart / 2}, 1.1]\n'
        f'[[seats]]\nname = "{seat_name}"\nat = [{seat}, {middle}, 1.15]\n'
    )


def box_text(
    length: float, width: float, height: float, extra: str = "", title: str = "a room",
    names: Iterable[str] = ("left speaker", "right speaker", "mix"),
) -> str:  # fmt: skip
    """A room file of a box."""
    apart = min(1.4, 0.45 * width)
    return (
        f'title = "{title}"\n[room]\nlength = {length}\nwidth = {width}\nheight = {height}\n'
        f'[surfaces]\n{BOX_SURFACES}floor = "concrete_floor"\n'
        + people(0.5, min(0.6 * length, 2.0), width / 2, apart, names) + extra + REST
    )  # fmt: skip


def ell_with_slope() -> str:
    """An L-shaped room (5 x 4 m, a 2 x 1.5 m notch at the back right) with a sloped ceiling over
    its front 2 m, rising from 2.0 to 2.6 m."""
    plan = [(0, 0), (5, 0), (5, 2.5), (3, 2.5), (3, 4), (0, 4)]
    low, high, knee = 2.0, 2.6, 2.0

    def top(x: float) -> float:
        return low + (high - low) * min(x, knee) / knee

    def row(name: str, corners: Iterable[tuple[float, float, float]]) -> str:
        written = ", ".join(f"[{x}, {y}, {z}]" for x, y, z in corners)
        return f'[[room.planes]]\nname = "{name}"\ncorners = [{written}]\n'

    text = 'title = "L-shaped room"\n[room]\ntemperature_c = 20\n'
    text += row("floor", [(x, y, 0) for x, y in plan])
    text += row("slope", [(0, 0, low), (2, 0, high), (2, 4, high), (0, 4, low)])
    flat = [(2, 0), (5, 0), (5, 2.5), (3, 2.5), (3, 4), (2, 4)]
    text += row("ceiling", [(x, y, high) for x, y in flat])
    names = ("left", "back", "notch side", "notch back", "right", "front")
    for name, (x0, y0), (x1, y1) in zip(names, plan, plan[1:] + plan[:1], strict=True):
        corners = [(x0, y0, 0), (x1, y1, 0), (x1, y1, top(x1))]
        if min(x0, x1) < 2 < max(x0, x1):
            corners.append((2, y0, high))
        corners.append((x0, y0, top(x0)))
        text += row(name, corners)
    surfaces = "".join(
        f'"{name}" = "gypsum_board_studs"\n' for name in (*names, "slope", "ceiling", "floor")
    )
    return (
        text + f"[surfaces]\n{surfaces}"
        + people(0.7, 2.2, 2.0, 1.4, ("left speaker", "right speaker", "mix")) + REST
    )  # fmt: skip


@cache
def project_of(text: str) -> Project:
    """The project of a room file's text."""
    folder = Path(mkdtemp())
    (folder / "prices.csv").write_text(HEADER + PRODUCTS, encoding="utf-8")
    (folder / "room.toml").write_text(text, encoding="utf-8")
    return load_project(folder / "room.toml")


def empty_plan(text: str) -> Plan:
    """A plan without a piece, put together without solving anything."""
    nothing = Selection("optimal", np.zeros(0, dtype=np.int64), 0.0, 0.0, 0.0, 0.0)
    return Plan(project_of(text), nothing, 0, 0, (), ScoreCard((), 0.0, 0.0), ())


def plan_with(text: str, pieces: list[Piece], pairs: dict[str, str] | None = None) -> Plan:
    """A plan that holds these pieces, numbered in their order."""
    pairs = pairs or {}
    planned = tuple(
        PlannedPiece(str(i + 1), piece, pairs.get(str(i + 1)), "test")
        for i, piece in enumerate(pieces)
    )
    return replace(empty_plan(text), pieces=planned)


def piece_at(text: str, product: str, surface: str, u: float, v: float) -> Piece:
    """A piece with its lower left corner at (u, v) of a surface, with the first gap."""
    project = project_of(text)
    item = next(p for p in project.products if p.id == product)
    rect = (u, v, round(u + item.width, 6), round(v + item.height, 6))
    overhead = project.room.surface(surface).is_ceiling
    mounting = "ceiling" if overhead else item.mountings[0]
    return flat_piece(project.room, item, 0, mounting, surface, rect, False)


def corner_at(text: str, first: str, second: str, low: float) -> Piece:
    """A corner piece across two walls at a height."""
    project = project_of(text)
    item = next(p for p in project.products if p.id == "corner")
    walls = project.room.surface(first), project.room.surface(second)
    edge = corner_edge(*walls)
    assert edge is not None
    rects = [
        leg_rect(wall, end, item.width, low, item.height)
        for wall, end in zip(walls, edge, strict=True)
    ]
    return corner_piece(project.room, item, 0, ((first, rects[0]), (second, rects[1])))


def scattered(text: str, surface: str, count: int, seed: int) -> list[Piece]:
    """Pieces of two products scattered over a surface without overlap, no two at one height."""
    rng = np.random.default_rng(seed)
    plane = project_of(text).room.surface(surface).plane
    u0, v0, u1, v1 = plane.bounds
    taken: list[tuple[float, float, float, float]] = []
    pieces: list[Piece] = []
    for _ in range(20000):
        product = ("wool", "long")[int(rng.integers(2))]
        wide, high = {"wool": (0.3, 0.4), "long": (0.2, 0.2)}[product]
        u = round(float(rng.uniform(u0, u1 - wide)), 3)
        v = round(float(rng.uniform(v0, v1 - high)), 3)
        if all(u >= c or u + wide <= a or v >= d or v + high <= b for a, b, c, d in taken):
            taken.append((u, v, u + wide, v + high))
            pieces.append(piece_at(text, product, surface, u, v))
        if len(pieces) == count:
            return pieces
    raise AssertionError(f"no room for {count} pieces")
