"""Runs of pieces along the edges where upright walls meet a level ceiling."""

from collections.abc import Iterator, Sequence

import numpy as np

from optimizer.placement.blocks import Grid
from optimizer.placement.catalogue import Product
from optimizer.placement.pieces import Piece, corner_piece, mirror_partner
from optimizer.placement.rules import Spread, barred
from optimizer.placement.zones import Spots, Zones
from optimizer.room.geometry import DIGITS, Floats, Rect, rects_overlap
from optimizer.room.model import Room, Surface
from optimizer.room.schema import LimitsSection

MOUNTING = "edge"
OFF = 5e-3  # m a wall's top may lie off the ceiling


def edge_runs(
    zones: Zones, item: Product, limits: LimitsSection
) -> Iterator[tuple[tuple[Piece, ...], Grid]]:
    """Unbroken runs of a product, and how many pieces each has: from both ends of an edge, and
    centred on one that the speakers' axis crosses.

    A run is beside its mirror image; alone where it is its own, or where that is not free.
    """
    room = zones.room
    for wall, ceiling in _edges(room):
        low, _, high, _ = wall.plane.bounds
        partner = mirror_partner(room, wall)
        for count in range(1, int((high - low) / item.height + 1e-6) + 1):
            grid = Grid(columns=count)
            for start in _starts(room, wall, count * item.height):
                run = _run(zones, item, wall, ceiling, start, count, limits)
                if run is None:
                    continue
                twin = None if partner is None else _twin(zones, run, partner, limits)
                if twin is None or _same(run, twin):
                    yield run, grid
                elif _first(run, twin) and not _overlap(run, twin):
                    yield (*run, *twin), grid


def _edges(room: Room) -> Iterator[tuple[Surface, Surface]]:
    """Upright walls and the level ceilings that they reach with the whole of their top."""
    ceilings = [s for s in room.surfaces if s.is_ceiling and s.plane.normal[2] < -0.999]
    for wall in room.surfaces:
        if wall.is_wall and abs(float(wall.plane.normal[2])) < 1e-6:
            for ceiling in ceilings:
                if shares_edge(wall, ceiling):
                    yield wall, ceiling


def shares_edge(wall: Surface, ceiling: Surface) -> bool:
    """Whether the top of a wall is an edge that it has in common with a ceiling."""
    u0, _, u1, v1 = wall.plane.bounds
    ends = wall.plane.to_xyz(np.array([[u0, v1], [u1, v1]]))
    if np.abs(ceiling.plane.height_over(ends)).max() > OFF or not wall.plane.is_rectangle:
        return False
    a0, b0, a1, b1 = ceiling.plane.bounds
    uv = ceiling.plane.to_uv(ends)
    inside = (uv > np.array([a0, b0]) - OFF) & (uv < np.array([a1, b1]) + OFF)
    return bool(inside.all())


def strip_rects(
    wall: Surface, ceiling: Surface, start: float, product: Product
) -> tuple[Rect, Rect]:
    """What a piece that begins at u = `start` of a wall covers of it and of the ceiling."""
    top = wall.plane.bounds[3]
    leg, length = product.width, product.height
    ends = wall.plane.to_xyz(np.array([[start, top], [start + length, top]]))
    across = ceiling.plane.to_uv(np.concatenate([ends, ends + leg * wall.plane.normal]))
    on_ceiling = (*across.min(axis=0).tolist(), *across.max(axis=0).tolist())
    on_wall = (start, top - leg, start + length, top)
    first, second = (tuple(round(x, DIGITS) for x in r) for r in (on_wall, on_ceiling))
    return (first[0], first[1], first[2], first[3]), (second[0], second[1], second[2], second[3])


def edge_piece(room: Room, item: Product, wall: Surface, ceiling: Surface, start: float) -> Piece:
    """A piece across the edge of a wall and a ceiling, that begins at u = `start` of the wall."""
    rects = strip_rects(wall, ceiling, start, item)
    both = (wall.name, rects[0]), (ceiling.name, rects[1])
    return corner_piece(room, item, 0, both, MOUNTING)


def _starts(room: Room, wall: Surface, length: float) -> list[float]:
    """Where runs of this length begin: at one end, at the other, and centred on the axis."""
    low, _, high, _ = wall.plane.bounds
    starts = [low, high - length]
    if abs(float(wall.plane.u[1])) > 0.999:
        axis = (room.axis_y - float(wall.plane.origin[1])) * float(np.sign(wall.plane.u[1]))
        starts.append(axis - length / 2)
    return sorted({round(s, DIGITS) for s in starts if low - 1e-9 <= s <= high - length + 1e-9})


def _run(
    zones: Zones,
    item: Product,
    wall: Surface,
    ceiling: Surface,
    start: float,
    count: int,
    limits: LimitsSection,
) -> tuple[Piece, ...] | None:
    """The pieces of a run; None where one of them has no place."""
    starts = [round(start + i * item.height, DIGITS) for i in range(count)]
    run = tuple(edge_piece(zones.room, item, wall, ceiling, s) for s in starts)
    return run if _free(zones, run, limits) else None


def _free(zones: Zones, run: Sequence[Piece], limits: LimitsSection) -> bool:
    """Whether all pieces of a run have their place, within the limits."""
    for part in (0, 1):
        names = {piece.rects[part][0] for piece in run}
        for name in names:
            surface = zones.room.surface(name)
            rect = np.array([p.rects[part][1] for p in run if p.rects[part][0] == name])
            spots = Spots(zones.room.surfaces.index(surface), rect, 0.01)
            if not zones.free(spots).all():
                return False
            if barred(zones.room, Spread(surface, rect, run[0].product.width), limits).any():
                return False
    boxes = np.stack([piece.box for piece in run])
    return bool(zones.clear_of_boxes(boxes).all())


def _twin(
    zones: Zones, run: Sequence[Piece], partner: Surface, limits: LimitsSection
) -> tuple[Piece, ...] | None:
    """The run mirrored about the speakers' axis, on the wall that is its wall's mirror image."""
    room = zones.room
    ceiling = next((c for w, c in _edges(room) if w is partner), None)
    if ceiling is None:
        return None
    starts = [_mirrored_start(room, piece, partner) for piece in run]
    low, _, high, _ = partner.plane.bounds
    if min(starts) < low - OFF or max(starts) + run[0].product.height > high + OFF:
        return None
    twin = tuple(edge_piece(room, run[0].product, partner, ceiling, s) for s in sorted(starts))
    return twin if _free(zones, twin, limits) else None


def _mirrored_start(room: Room, piece: Piece, partner: Surface) -> float:
    wall = room.surface(piece.rects[0][0])
    u0, _, u1, v1 = piece.rect
    ends: Floats = wall.plane.to_xyz(np.array([[u0, v1], [u1, v1]]))
    ends[:, 1] = 2.0 * room.axis_y - ends[:, 1]
    return round(float(partner.plane.to_uv(ends)[:, 0].min()), DIGITS)


def _same(run: Sequence[Piece], twin: Sequence[Piece]) -> bool:
    return {p.rects for p in run} == {p.rects for p in twin}


def _first(run: Sequence[Piece], twin: Sequence[Piece]) -> bool:
    """Whether a run is the one of two that is told first; each pair is found twice."""
    return sorted(p.rects for p in run) < sorted(p.rects for p in twin)


def _overlap(run: Sequence[Piece], twin: Sequence[Piece]) -> bool:
    return any(
        a == b and rects_overlap(p, q)
        for one in run for other in twin
        for a, p in one.rects for b, q in other.rects
    )  # fmt: skip
