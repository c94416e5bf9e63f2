"""Runs of pieces along the edges where upright walls meet a level ceiling."""

from collections.abc import Iterator, Sequence

import numpy as np

from optimizer.placement.about_axis import axis_in, mirror_rects
from optimizer.placement.blocks import Grid
from optimizer.placement.catalogue import Product
from optimizer.placement.pieces import Piece, corner_piece, mirror_partner, pieces_overlap
from optimizer.placement.rules import Spread, barred
from optimizer.placement.zones import Spots, Zones
from optimizer.room.geometry import DIGITS, Rect
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
    ceilings = {wall.name: ceiling for wall, ceiling in _edges(room)}

    def run_at(wall: Surface, starts: Sequence[float]) -> tuple[Piece, ...] | None:
        """The pieces that begin there; None where one of them has no place."""
        run = tuple(edge_piece(room, item, wall, ceilings[wall.name], s) for s in starts)
        return run if _free(zones, run, limits) else None

    for wall in (room.surface(name) for name in ceilings):
        low, _, high, _ = wall.plane.bounds
        partner = mirror_partner(room, wall)
        for count in range(1, int((high - low) / item.height + 1e-6) + 1):
            for start in _starts(room, wall, count * item.height):
                run = run_at(wall, [round(start + i * item.height, DIGITS) for i in range(count)])
                if run is None:
                    continue
                twin = None
                if partner is not None and partner.name in ceilings:
                    rects = np.array([piece.rect for piece in run])
                    images = mirror_rects(room, wall, partner, rects)[:, 0]
                    twin = run_at(partner, sorted(images.tolist()))
                if twin is None or _places(run) == _places(twin):
                    yield run, Grid(columns=count)
                # Each pair is found twice.
                elif _places(run) < _places(twin) and not _overlap(run, twin):
                    yield (*run, *twin), Grid(columns=count)


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


def edge_piece(room: Room, item: Product, wall: Surface, ceiling: Surface, start: float) -> Piece:
    """A piece across the edge of a wall and a ceiling, that begins at u = `start` of the wall."""
    top, leg, length = wall.plane.bounds[3], item.width, item.height
    ends = wall.plane.to_xyz(np.array([[start, top], [start + length, top]]))
    across = ceiling.plane.to_uv(np.concatenate([ends, ends + leg * wall.plane.normal]))
    on_wall = _rect(start, top - leg, start + length, top)
    on_ceiling = _rect(*across.min(axis=0), *across.max(axis=0))
    both = (wall.name, on_wall), (ceiling.name, on_ceiling)
    return corner_piece(room, item, 0, both, MOUNTING)


def _rect(*sides: float) -> Rect:
    u0, v0, u1, v1 = (round(float(x), DIGITS) for x in sides)
    return u0, v0, u1, v1


def _starts(room: Room, wall: Surface, length: float) -> list[float]:
    """Where runs of this length begin: at one end, at the other, and centred on the axis."""
    low, _, high, _ = wall.plane.bounds
    starts, on_axis = [low, high - length], axis_in(room, wall)
    if on_axis is not None and on_axis[0] == 0:
        starts.append(on_axis[1] - length / 2)
    return sorted({round(s, DIGITS) for s in starts if low - 1e-9 <= s <= high - length + 1e-9})


def _free(zones: Zones, run: Sequence[Piece], limits: LimitsSection) -> bool:
    """Whether all pieces of a run have their place, within the limits."""
    for each in zip(*(piece.standing_out for piece in run), strict=True):
        name, _, reach = each[0]
        rects = np.array([rect for _, rect, _ in each])
        spread = Spread(zones.room.surface(name), rects, reach)
        spots = Spots(zones.room.surfaces.index(spread.surface), spread.rect, 0.01)
        if not zones.free(spots).all() or barred(zones.room, spread, limits).any():
            return False
    return bool(zones.clear_of_boxes(np.stack([piece.box for piece in run])).all())


def _places(run: Sequence[Piece]) -> list[tuple[tuple[str, Rect], ...]]:
    return sorted(piece.rects for piece in run)


def _overlap(run: Sequence[Piece], twin: Sequence[Piece]) -> bool:
    return any(pieces_overlap(one, other) for one in run for other in twin)
