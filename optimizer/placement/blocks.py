"""Blocks: rows and columns of equal pieces with one gap between them, placed as one.

On a wall the pieces of a block stand apart, so that hard and soft alternate over more of the room:
with gaps of 0.05 m the tracer's decay at 1 kHz came out a quarter longer (spare room) for the same
pieces. On a ceiling they touch, so that no reflection bounces through the cloud.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.room.geometry import DIGITS, Floats, Rect
from optimizer.room.model import Surface

GAP = 0.3  # m between pieces on a wall
WIDEST, TALLEST = 3.0, 2.0  # m of a block on a wall
ON_WALL = ((1, 1), (1, 2), (1, 3), (2, 2))  # rows, columns
OVERHEAD = ((1, 1), (1, 2), (2, 1), (2, 2), (3, 1), (1, 3))
OWN_PLACE = frozenset({"curtain", "rug"})  # kinds that have a place of their own, never in blocks
ALONE_BY_NATURE = frozenset({"stand", "lean", "floor", "window"})  # mountings of such pieces
AGREE = 0.1  # m between heights that become one
ALIKE = 0.3  # m between middles of a row along a wall that become one


@dataclass(frozen=True)
class Grid:
    """How many rows and columns a block has, and the gap between its pieces in m."""

    rows: int = 1
    columns: int = 1
    gap: float = 0.0

    @property
    def count(self) -> int:
        """How many pieces."""
        return self.rows * self.columns

    def outline(self, width: float, height: float) -> tuple[float, float]:
        """Width and height of a block of pieces of this size."""
        between = (self.columns - 1) * self.gap, (self.rows - 1) * self.gap
        wide, high = self.columns * width + between[0], self.rows * height + between[1]
        return round(wide, DIGITS), round(high, DIGITS)

    def cells_of(self, rects: Floats) -> Floats:
        """The rectangle of each piece in blocks' outlines (N, 4), row by row (N, count, 4)."""
        u0, v0, u1, v1 = rects.T[..., None]
        width = (u1 - u0 - (self.columns - 1) * self.gap) / self.columns
        height = (v1 - v0 - (self.rows - 1) * self.gap) / self.rows
        row, column = np.divmod(np.arange(self.count), self.columns)
        u, v = u0 + column * (width + self.gap), v0 + row * (height + self.gap)
        return np.round(np.stack([u, v, u + width, v + height], axis=-1), DIGITS)


ONE = Grid()


def grids(
    kind: str, mounting: str, size: tuple[float, float], surface: Surface
) -> tuple[Grid, ...]:
    """Blocks that a product may form on a surface; a piece with a place of its own forms none."""
    if kind in OWN_PLACE or mounting in ALONE_BY_NATURE:
        return (ONE,)
    if not surface.is_wall:
        return tuple(Grid(rows, columns) for rows, columns in OVERHEAD)
    found = (Grid(rows, columns, GAP) for rows, columns in ON_WALL)
    return tuple(g for g in found if _fits(g.outline(*size)))


def _fits(outline: tuple[float, float]) -> bool:
    return outline[0] <= WIDEST and outline[1] <= TALLEST


def starts_beside_areas(surface: Surface, width: float) -> list[float]:
    """Where a block of this width is centred on an area of the surface, or between two, or between
    one and the end of the surface."""
    u0, _, u1, _ = surface.plane.bounds
    areas = sorted(a.rect[::2] for a in surface.areas if a.blocks)
    ends = [u0, *(u for pair in areas for u in pair), u1]
    return [(a + b - width) / 2 for a, b in zip(ends[:-1], ends[1:], strict=True)]


def agreed(places: Floats, within: float = AGREE) -> list[float]:
    """Places (N,), those within so many m of the first of a group replaced by their mean."""
    groups: list[list[float]] = []
    for place in sorted(places.tolist()):
        if groups and place - groups[-1][0] <= within:
            groups[-1].append(place)
        else:
            groups.append([place])
    return [round(sum(group) / len(group), 3) for group in groups]


def leaves_gap(rects: Sequence[Rect], bounces: Floats) -> bool:
    """Whether a bounce point (N, 2) lies between two rectangles of one surface."""
    (first, second), tiny = rects, 1e-6
    u, v = bounces[:, 0], bounces[:, 1]
    low, high = max(first[0], second[0]), min(first[2], second[2])
    beside = (u > low + tiny) & (u < high - tiny)
    low, high = min(first[3], second[3]), max(first[1], second[1])
    return bool(np.any(beside & (v > low + tiny) & (v < high - tiny)))
