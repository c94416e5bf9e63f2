"""Rooms of any shape as cells of a regular grid, for the wave solver.

Pressure lives at cell centres and walls on cell faces. Whether a face is closed is found from the
planes themselves: where the line between two neighbouring centres crosses a plane, the face between
them is closed and belongs to that plane. So a closed face knows its surface, a thin board (a desk
top) closes faces without filling a cell, and two rooms joined by an open door are one shell.

A slanted plane becomes a staircase whose faces have more area than the plane. Each face therefore
counts with its projection on the plane: faces normal to axis a have the share |n_a| of the plane's
area and are projected by |n_a|, and the sum of n_a^2 is 1. What rounding leaves is scaled away, so
that every surface carries its true area of admittance (own derivation, tested).

Surfaces are numbered planes first, then patches, then furniture boxes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.acoustics.modes import Patches, check_inside, check_patches
from optimizer.acoustics.voxel_cover import Hits, cover, crossings
from optimizer.acoustics.wave_budget import MAX_CELLS, GridTooLargeError
from optimizer.room.geometry import Plane

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NUDGE = 1e-6
"""Share of a cell by which test points move towards the room's middle: points that lie exactly on a
plane then fall on the same side left and right, and mirrored rooms stay mirrored."""
FINER = 1.12
"""How much finer than asked a grid may be to let inner walls fall on cell faces."""
FITS = 0.02
"""Share of a cell within which a wall counts as lying on a cell face."""
OPPOSITE = np.array([-1, 1])


class LostPatchError(ValueError):
    """Patches on which no cell face falls, by number (`lost`)."""

    def __init__(self, lost: Ints) -> None:
        super().__init__(f"patches: number {lost[0]} lies off its plane or between the cells")
        self.lost = lost


@dataclass(frozen=True)
class WaveRoom:
    """A room on a grid of nx x ny x nz cells with F wall faces.

    origin (3,) m: the corner of cell (0, 0, 0); spacing (3,) m; air (nx, ny, nz): True where the
    cell holds air; closed (nx, ny, nz): bit 2 a + s set where the face of the cell normal to axis a
    on side s (0 low, 1 high) is closed. Face table: face_cell (F,) flat cell index in C order,
    face_axis (F,), face_surface (F,) and face_area (F,) in m2 that counts for the admittance.
    """

    origin: Floats
    spacing: Floats
    air: Bools
    closed: NDArray[np.uint8]
    face_cell: Ints
    face_axis: Ints
    face_surface: Ints
    face_area: Floats
    surface_count: int

    @cached_property
    def cells(self) -> int:
        """Number of cells that hold air."""
        return int(np.count_nonzero(self.air))

    @cached_property
    def cell_volume(self) -> float:
        """Volume of one cell in m3."""
        return float(np.prod(self.spacing))

    @cached_property
    def volume(self) -> float:
        """Volume of the air on the grid in m3."""
        return self.cells * self.cell_volume

    @cached_property
    def surface_area(self) -> Floats:
        """Exposed area (surfaces,) in m2 of every plane, patch and furniture box."""
        total = np.bincount(self.face_surface, self.face_area, self.surface_count)
        return total.astype(np.float64)

    def centres(self, axis: int) -> Floats:
        """Coordinates of the cell centres along an axis."""
        count = self.air.shape[axis]
        return np.asarray(self.origin[axis] + (np.arange(count) + 0.5) * self.spacing[axis])


def voxelise_box(
    dimensions: ArrayLike,
    spacing: float,
    patches: Patches | None = None,
    boxes: ArrayLike = (),
    max_cells: int = MAX_CELLS,
) -> WaveRoom:
    """Grid of a rectangular room, fitted to each dimension so that the box is exact.

    dimensions (3,) m; spacing: the largest cell edge wanted, m; patches on the walls with K rows
    (they must not overlap); boxes (B, 2, 3) m: lower and upper corner of solid furniture. Surfaces:
    0-5 the walls x0, x1, y0, y1, z0, z1; 6 .. 6+K-1 the patches; then one per box.
    ValueError for a patch or box outside the room; GridTooLargeError above max_cells.
    """
    size = np.asarray(dimensions, dtype=np.float64)
    if size.shape != (3,) or np.any(size <= 0.0):
        raise ValueError("dimensions: three positive lengths are needed")
    none = np.zeros(0, dtype=np.int64)
    own = Patches(none, none, np.zeros((0, 4))) if patches is None else patches
    check_patches(own, size)
    solid = _boxes(boxes)
    check_inside(solid.reshape(-1, 3), size, "boxes")
    walls = box_planes(np.zeros(3), size, 1.0)
    return voxelise(walls, spacing, 2 * own.axis + own.side, own.rect, solid, max_cells)


def voxelise(
    planes: Sequence[Plane],
    spacing: float,
    patch_plane: ArrayLike = (),
    patch_rect: ArrayLike = (),
    boxes: ArrayLike = (),
    max_cells: int = MAX_CELLS,
) -> WaveRoom:
    """Grid of the room enclosed by planar polygons (alcove, L, sloped ceiling, second space).

    planes: P polygons that enclose the air completely; spacing: the largest cell edge wanted, m;
    patch_plane (K,) and patch_rect (K, 4) = u0, v0, u1, v1 in the axes of their plane, not
    overlapping; boxes (B, 2, 3) m: lower and upper corner of solid furniture. The spacing may come
    out up to 12 % finer per axis where that brings level or upright walls onto cell faces.
    ValueError when the planes leave a gap, or when a patch finds no face; GridTooLargeError when
    the grid around the room has more than max_cells.
    """
    if not planes or not np.isfinite(spacing) or spacing <= 0.0:
        raise ValueError("a room needs planes and a positive spacing")
    owner = np.asarray(patch_plane, dtype=np.int64).reshape(-1)
    rect = np.asarray(patch_rect, dtype=np.float64).reshape(-1, 4)
    _check_patch_rows(owner, rect, len(planes))
    solid = _boxes(boxes)
    origin, step, lattice = _lattice(planes, spacing)
    cells = int(np.prod([float(len(points)) for points in lattice]))
    if cells > max_cells:
        raise GridTooLargeError(
            f"cells of {1000 * spacing:.0f} mm make a grid of {cells / 1e6:.1f} million, more than "
            f"the {max_cells / 1e6:.1f} million allowed; use a coarser spacing"
        )
    nudged = [_nudge(points) for points in lattice]

    board = [p for low, high in solid for p in box_planes(low, high, -1.0)]
    every = [*planes, *board]
    box_surface = len(planes) + len(owner) + np.repeat(np.arange(len(solid)), 6)
    base = np.concatenate([np.arange(len(planes)), box_surface])
    hits = [crossings(every, axis, nudged) for axis in range(3)]

    air = _inside(hits, len(planes), tuple(len(points) for points in lattice))
    for low, high in solid:
        air &= ~_within(low, high, nudged)
    closed, faces = _closed_faces(hits, air)
    _check_closed(air, closed)

    rows, scale = _surfaces(every, base, len(planes), owner, rect, hits, lattice, step)
    return _room(origin, step, air, closed, faces, rows, scale)


def box_planes(low: Floats, high: Floats, facing: float) -> list[Plane]:
    """The six planes x0, x1, y0, y1, z0, z1 of a box; u and v are its other axes, ascending.

    low and high (3,) m; facing 1: normals into the box (a room), -1: out of it (furniture).
    """
    planes = []
    for axis in range(3):
        first, second = (a for a in range(3) if a != axis)
        length, height = (float(high[a] - low[a]) for a in (first, second))
        outline = np.array([[0.0, 0.0], [length, 0.0], [length, height], [0.0, height]])
        for side in range(2):
            origin = low.copy()
            origin[axis] = (low, high)[side][axis]
            normal = -facing * OPPOSITE[side] * np.eye(3)[axis]
            planes.append(Plane(origin, np.eye(3)[first], np.eye(3)[second], normal, outline))
    return planes


def _boxes(boxes: ArrayLike) -> Floats:
    solid = np.asarray(boxes, dtype=np.float64).reshape(-1, 2, 3)
    if np.any(solid[:, 0] >= solid[:, 1]) or not np.all(np.isfinite(solid)):
        raise ValueError("boxes: the lower corner must lie below the upper one in every axis")
    return solid


def _check_patch_rows(owner: Ints, rect: Floats, planes: int) -> None:
    if len(owner) != len(rect):
        raise ValueError("patches: one plane per rectangle is needed")
    if np.any((owner < 0) | (owner >= planes)):
        raise ValueError(f"patches: the plane must be between 0 and {planes - 1}")
    if np.any(rect[:, :2] >= rect[:, 2:]) or not np.all(np.isfinite(rect)):
        raise ValueError("patches: rect must be u0, v0, u1, v1 with u0 < u1 and v0 < v1")


def _lattice(planes: Sequence[Plane], spacing: float) -> tuple[Floats, Floats, list[Floats]]:
    corners = [plane.to_xyz(plane.polygon) for plane in planes]
    low = np.min([c.min(axis=0) for c in corners], axis=0)
    high = np.max([c.max(axis=0) for c in corners], axis=0)
    count = np.empty(3, dtype=np.int64)
    for axis in range(3):
        level = [c[0, axis] for c in corners if np.ptp(c[:, axis]) < 1e-6]
        count[axis] = _cell_count(high[axis] - low[axis], np.array(level) - low[axis], spacing)
    step = (high - low) / count
    points = [low[a] + (np.arange(count[a]) + 0.5) * step[a] for a in range(3)]
    return low, step, points


def _cell_count(length: float, walls: Floats, spacing: float) -> int:
    """Cells along an axis: the fewest that bring all walls onto faces, else the best fit."""
    least = max(1, int(np.ceil(length / spacing - 1e-9)))
    tries = np.arange(least, max(least, int(np.floor(least * FINER))) + 1)
    place = walls[None, :] * tries[:, None] / length
    miss = np.abs(place - np.round(place)).max(axis=1, initial=0.0)
    fitting = np.flatnonzero(miss <= FITS)
    return int(tries[fitting[0]] if len(fitting) else tries[np.argmin(miss)])


def _nudge(points: Floats) -> Floats:
    step = points[1] - points[0] if len(points) > 1 else 1.0
    middle = 0.5 * (points[0] + points[-1])
    return np.asarray(points + np.where(points > middle + 0.25 * step, -NUDGE, NUDGE) * step)


def _inside(hits: Sequence[Hits], shell: int, shape: tuple[int, ...]) -> Bools:
    """Cells inside the shell: an odd number of crossings on the way, the same along each axis."""
    answers = []
    for axis, hit in enumerate(hits):
        wall = hit.plane < shell
        others = [n for a, n in enumerate(shape) if a != axis]
        count = np.zeros((shape[axis] + 1, *others), dtype=np.uint8)
        np.add.at(count, (hit.gap[wall], hit.first[wall], hit.second[wall]), 1)
        odd = np.bitwise_xor.accumulate(count & 1, axis=0)[:-1] == 1
        answers.append(np.moveaxis(odd, 0, axis))
    if np.any(answers[0] != answers[1]) or np.any(answers[0] != answers[2]):
        raise ValueError("the planes do not enclose the room; close the gap between them")
    return np.ascontiguousarray(answers[0])


def _within(low: Floats, high: Floats, lattice: Sequence[Floats]) -> Bools:
    x, y, z = ((p > low[a]) & (p < high[a]) for a, p in enumerate(lattice))
    return np.asarray(x[:, None, None] & y[None, :, None] & z[None, None, :])


def _closed_faces(
    hits: Sequence[Hits], air: Bools
) -> tuple[NDArray[np.uint8], list[tuple[Ints, Ints]]]:
    """Closed bits, and per axis the (cell, hit) of every closed face of an air cell."""
    closed = np.zeros(air.shape, dtype=np.uint8)
    faces = []
    for axis, hit in enumerate(hits):
        cells, owners = [], []
        for side in range(2):
            nearest = np.full(air.shape, -1, dtype=np.int32)
            by_axis = np.moveaxis(nearest, axis, 0)
            # Of several planes in one gap the one next to the cell wins: written last.
            order = np.argsort(OPPOSITE[side] * -hit.place, kind="stable")
            at = hit.gap[order] - side
            good = (at >= 0) & (at < air.shape[axis])
            order, at = order[good], at[good]
            by_axis[at, hit.first[order], hit.second[order]] = order
            cell = np.flatnonzero((nearest >= 0) & air)
            closed.reshape(-1)[cell] |= np.uint8(1 << (2 * axis + side))
            cells.append(cell)
            owners.append(nearest.reshape(-1)[cell].astype(np.int64))
        faces.append((np.concatenate(cells), np.concatenate(owners)))
    return closed, faces


def _check_closed(air: Bools, closed: NDArray[np.uint8]) -> None:
    if not air.any():
        raise ValueError("the room holds no cell at this spacing; use a finer one")
    edge = np.pad(air, 1)
    for axis in range(3):
        for side in range(2):
            beside = np.roll(edge, -OPPOSITE[side], axis=axis)[1:-1, 1:-1, 1:-1]
            bit = (closed >> np.uint8(2 * axis + side)) & 1
            if np.any(air & ~beside & (bit == 0)):
                raise ValueError("the planes do not enclose the room; close the gap between them")


def _surfaces(
    planes: Sequence[Plane],
    base: Ints,
    shell: int,
    owner: Ints,
    rect: Floats,
    hits: Sequence[Hits],
    lattice: Sequence[Floats],
    step: Floats,
) -> tuple[list[tuple[Ints, Ints, Floats]], Floats]:
    """Per axis (hit, surface, area) rows, and the factor (surfaces,) that makes areas true."""
    true = np.bincount(base, [plane.area for plane in planes])
    if len(owner):
        size = (rect[:, 2] - rect[:, 0]) * (rect[:, 3] - rect[:, 1])
        true = np.concatenate([true, np.zeros(max(0, shell + len(owner) - len(true)))])
        true[shell : shell + len(owner)] = size
        true[:shell] -= np.bincount(owner, size, shell)
        if np.any(true[:shell] < -1e-6):
            raise ValueError("patches: together they are larger than their plane")
    rows = [
        cover(planes, base, shell, owner, rect, hit, axis, lattice, step)
        for axis, hit in enumerate(hits)
    ]
    found = np.zeros(len(true))
    for _, surface, area in rows:
        found += np.bincount(surface, area, len(true))
    lost = np.flatnonzero(found[shell : shell + len(owner)] <= 0.0)
    if len(lost):
        raise LostPatchError(lost)
    scale = np.where(found > 0.0, np.maximum(true, 0.0) / np.where(found > 0.0, found, 1.0), 0.0)
    return rows, scale


def _room(
    origin: Floats,
    step: Floats,
    air: Bools,
    closed: NDArray[np.uint8],
    faces: Sequence[tuple[Ints, Ints]],
    rows: Sequence[tuple[Ints, Ints, Floats]],
    scale: Floats,
) -> WaveRoom:
    """Join closed faces with the surfaces of the hits that closed them."""
    cells, axes, surfaces, areas = [], [], [], []
    for axis, ((cell, owner), (hit, surface, area)) in enumerate(zip(faces, rows, strict=True)):
        order = np.argsort(hit, kind="stable")
        first = np.searchsorted(hit[order], owner, side="left")
        count = np.searchsorted(hit[order], owner, side="right") - first
        offset = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        row = order[np.repeat(first, count) + offset]
        cells.append(np.repeat(cell, count))
        axes.append(np.full(len(row), axis))
        surfaces.append(surface[row])
        areas.append(area[row] * scale[surface[row]])
    return WaveRoom(
        origin=origin,
        spacing=step,
        air=air,
        closed=closed,
        face_cell=np.concatenate(cells),
        face_axis=np.concatenate(axes),
        face_surface=np.concatenate(surfaces),
        face_area=np.concatenate(areas),
        surface_count=len(scale),
    )
