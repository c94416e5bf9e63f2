"""Pieces that stand in the upright corners between two walls at right angles."""

from collections.abc import Iterator

import numpy as np

from optimizer.placement.catalogue import Product
from optimizer.placement.pieces import Piece, corner_piece, mirror_partner
from optimizer.placement.zones import Spots, Zones
from optimizer.room.geometry import DIGITS, Rect
from optimizer.room.model import Room, Surface

CORNER_SLACK = 0.02  # m a wall's end may lie off the corner edge


def corner_pieces(
    zones: Zones, item: Product, stacked: bool = False
) -> Iterator[tuple[Piece, ...]]:
    """Pieces in the upright corners between two walls at right angles, one mirrored corner beside
    the other where there is one.

    One piece at every level, for where it can be fixed; `stacked` pieces stand, from the floor up
    to every level that such a stack reaches.
    """
    room = zones.room
    made: dict[tuple[str, ...], dict[float, tuple[Piece, ...]]] = {}
    for first, second in _corner_walls(room):
        single: dict[float, tuple[Piece, ...]] = {}
        for low in _levels(room, first, item.height):
            piece = _corner_at(zones, item, first, second, low)
            if piece is not None:
                single[low] = (piece,)
        made[(first.name, second.name)] = _stacks(single, item.height) if stacked else single
    done: set[tuple[str, ...]] = set()
    for names, stack in made.items():
        partners = tuple(mirror_partner(room, room.surface(name)) for name in names)
        twin = tuple(p.name for p in partners if p is not None)
        twin = twin if twin in made else twin[::-1]
        other = made.get(twin, {})
        for low, pieces in stack.items():
            if low not in other or twin == names:
                yield pieces
            elif twin not in done:
                yield (*pieces, *other[low])
        done.add(names)


def _stacks(
    single: dict[float, tuple[Piece, ...]], height: float
) -> dict[float, tuple[Piece, ...]]:
    """Unbroken stacks from the floor by the level of their topmost piece."""
    stacks: dict[float, tuple[Piece, ...]] = {}
    below: tuple[Piece, ...] = ()
    for low in sorted(single):
        if abs(low - len(below) * height) < 10.0**-DIGITS:
            below = (*below, *single[low])
            stacks[low] = below
    return stacks


def _corner_walls(room: Room) -> Iterator[tuple[Surface, Surface]]:
    walls = [s for s in room.surfaces if s.is_wall and abs(s.plane.normal[2]) < 1e-6]
    for i, first in enumerate(walls):
        for second in walls[i + 1 :]:
            if (
                abs(float(first.plane.normal @ second.plane.normal)) < 1e-3
                and corner_edge(first, second) is not None
            ):
                yield first, second


def corner_edge(first: Surface, second: Surface) -> tuple[float, float] | None:
    """Which end of each wall (its u) is the common inward corner, None when they do not meet."""
    ends = []
    for wall, other in ((first, second), (second, first)):
        u0, v0, u1, _ = wall.plane.bounds
        points = wall.plane.to_xyz(np.array([[u0, v0], [u1, v0]]))
        distance = np.abs(other.plane.height_over(points))
        end = int(distance.argmin())
        ou0, _, ou1, _ = other.plane.bounds
        along = float(other.plane.to_uv(points[end])[0])
        near = min(abs(along - ou0), abs(along - ou1)) < CORNER_SLACK
        far_side = other.plane.height_over(points[1 - end]) > 0
        if distance[end] > CORNER_SLACK or not near or not far_side:
            return None
        ends.append((u0, u1)[end])
    return ends[0], ends[1]


def _levels(room: Room, wall: Surface, height: float) -> list[float]:
    _, v0, _, v1 = wall.plane.bounds
    count = int((v1 - v0) / height + 1e-9)
    levels = [round(v0 + i * height, DIGITS) for i in range(count)]
    return sorted({*levels, *([round(v1 - height, DIGITS)] if count else [])})


def leg_rect(wall: Surface, end: float, leg: float, low: float, height: float) -> Rect:
    """What a corner piece covers of one wall: `leg` m from the corner at u = `end`, inwards."""
    start = end if abs(end - wall.plane.bounds[0]) < 1e-9 else end - leg
    u0, v0, u1, v1 = (round(x, DIGITS) for x in (start, low, start + leg, low + height))
    return u0, v0, u1, v1


def _corner_at(
    zones: Zones, item: Product, first: Surface, second: Surface, low: float
) -> Piece | None:
    edge = corner_edge(first, second)
    if edge is None:
        return None
    rects = tuple(
        leg_rect(wall, end, item.width, low, item.height)
        for wall, end in zip((first, second), edge, strict=True)
    )
    for wall, rect in zip((first, second), rects, strict=True):
        index = zones.room.surfaces.index(wall)
        if not zones.free(Spots(index, np.array([rect]), 0.01))[0]:
            return None
    piece = corner_piece(zones.room, item, 0, ((first.name, rects[0]), (second.name, rects[1])))
    return piece if zones.clear_of_boxes(piece.box[None])[0] else None
