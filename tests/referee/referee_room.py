"""Box rooms with porous pieces and admittances on rectangles, and the grids that fit them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from referee_matter import Admittance

Floats = NDArray[np.float64]
SMALL = 1e-9


@dataclass(frozen=True)
class Block:
    """Box of porous matter from low to high (m), flow resistivity sigma in Pa s/m2."""

    low: tuple[float, float, float]
    high: tuple[float, float, float]
    sigma: float

    def covers(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        inside_x = (x > self.low[0]) & (x < self.high[0])
        return inside_x & (y > self.low[1]) & (y < self.high[1])

    def edges(self, axis: int) -> tuple[float, float]:
        return self.low[axis], self.high[axis]


@dataclass(frozen=True)
class Wedge:
    """Upright prism over a right triangle of two equal legs.

    corner: x, y of the right angle; leg: length in m; toward: signs of the legs along x and y.
    """

    corner: tuple[float, float]
    leg: float
    toward: tuple[int, int]
    bottom: float
    top: float
    sigma: float

    def along(self, x: Floats, axis: int) -> Floats:
        """Distance from the right angle along one leg as a share of it."""
        return (x - self.corner[axis]) * self.toward[axis] / self.leg

    def covers(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        u, v = self.along(x, 0), self.along(y, 1)
        return (u > 0.0) & (v > 0.0) & (u + v < 1.0)

    def edges(self, axis: int) -> tuple[float, float]:
        if axis == 2:
            return self.bottom, self.top
        ends = sorted((self.corner[axis], self.corner[axis] + self.toward[axis] * self.leg))
        return ends[0], ends[1]


Piece = Block | Wedge


@dataclass(frozen=True)
class Face:
    """Admittance on a rectangle of a wall: axis 0, 1, 2 (x, y, z), end 0 or 1.

    low and high are the rectangle's corners in the two other coordinates, in the order x, y, z.
    """

    axis: int
    end: int
    low: tuple[float, float]
    high: tuple[float, float]
    admittance: Admittance


@dataclass(frozen=True)
class Room:
    """Size in m; a later piece or face replaces an earlier one where they meet. Else rigid."""

    size: tuple[float, float, float]
    pieces: tuple[Piece, ...] = ()
    faces: tuple[Face, ...] = ()

    def breaks(self, axis: int) -> list[float]:
        """Coordinates that cell boundaries must meet, from 0 to the size."""
        found = [0.0, self.size[axis]]
        for piece in self.pieces:
            found += piece.edges(axis)
        for face in self.faces:
            others = [a for a in range(3) if a != face.axis]
            if axis in others:
                at = others.index(axis)
                found += [face.low[at], face.high[at]]
        return merged(found)


@dataclass(frozen=True)
class Fineness:
    """Largest cell (m), largest cell at an edge of a piece, and growth per metre away from it."""

    largest: float
    at_edges: float
    growth: float = 0.5
    order: int = 2

    def finer(self, by: float) -> "Fineness":
        return replace(self, largest=self.largest / by, at_edges=self.at_edges / by)


def merged(values: Sequence[float]) -> list[float]:
    """Sorted, with what differs by rounding only told once."""
    out: list[float] = []
    for value in sorted(values):
        if not out or value - out[-1] > SMALL:
            out.append(float(value))
    return out


def graded(breaks: Sequence[float], fine: Fineness, at_walls: bool = False) -> Floats:
    """Cell boundaries through all breaks, small near the inner ones (and at both walls)."""
    inner = list(breaks if at_walls else breaks[1:-1])
    parts = [np.array([breaks[0]])]
    for a, b in pairwise(breaks):
        x = np.linspace(a, b, 401)
        sources = [s for s in (a, b) if any(abs(s - i) < SMALL for i in inner)]
        size = np.full_like(x, fine.largest)
        for s in sources:
            size = np.minimum(size, fine.at_edges + fine.growth * np.abs(x - s))
        steps = 0.5 * (1.0 / size[1:] + 1.0 / size[:-1]) * (x[1] - x[0])
        count = np.concatenate([[0.0], np.cumsum(steps)])
        cells = max(1, int(np.ceil(count[-1] - SMALL)))
        parts.append(np.interp(np.linspace(0.0, count[-1], cells + 1)[1:], count, x))
        parts[-1][-1] = b
    return np.concatenate(parts)


def section_breaks(room: Room) -> tuple[list[float], list[float]]:
    """Breaks along x and y such that each wedge has the same ones on both legs."""
    breaks = [room.breaks(0), room.breaks(1)]
    wedges = [p for p in room.pieces if isinstance(p, Wedge)]
    for _ in range(10):
        before = [len(b) for b in breaks]
        for wedge in wedges:
            for axis in (0, 1):
                share = wedge.along(np.array(breaks[axis]), axis)
                share = share[(share > SMALL) & (share < 1.0 - SMALL)]
                # The hypotenuse meets the line at share u of one leg at 1 - u of the other.
                other = 1 - axis
                moved = wedge.corner[other] + wedge.toward[other] * wedge.leg * (1.0 - share)
                breaks[other] = merged([*breaks[other], *moved.tolist()])
        if before == [len(b) for b in breaks]:
            return breaks[0], breaks[1]
    raise ValueError("the legs of the wedges cannot share one grid")
