"""From a room on a grid to the flat arrays the compiled time loop walks through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.acoustics.voxel import WaveRoom
from optimizer.acoustics.wave_admittance import Admittance
from optimizer.acoustics.wave_kernel import Grid, Ports, Real, State, Walls

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BRIDGE = 8
"""Empty cells between two runs that are updated along and zeroed rather than split off: the update
is fastest over long runs."""
PIECE = 4096
"""Cells of the longest run, so that chunks come out even."""
CHUNK = 40_000
"""Cells of a chunk: two fields of them stay in a core's cache between the passes over a chunk."""
STEP = 2.0**-24
"""Ratios are rounded down to multiples of this. Sums of them are then exact in single precision,
and a constant pressure stays exactly constant; any excess would make it grow exponentially."""
UPPER = np.array([2, 8, 32], dtype=np.uint8)  # bits of the upper faces (WaveRoom.closed)
Stencil = tuple[Ints, Floats]


@dataclass(frozen=True)
class Layout:
    """Padded, flattened room: `place` (nx ny nz,) is the padded position of each cell."""

    grid: Grid
    place: Ints
    size: int


def lay_out(room: WaveRoom, ratio: Floats, dtype: type[np.floating]) -> Layout:
    """Flatten a room with its longest axis innermost; ratio (3,) = (c dt / h)^2."""
    ratio = np.floor(ratio / STEP) * STEP
    order = np.argsort(room.air.shape, kind="stable")
    padded = np.ascontiguousarray(np.pad(room.air.transpose(order), 1))
    strides = np.array(padded.strides, dtype=np.int64) // padded.itemsize
    stride = np.empty(3, dtype=np.int64)
    stride[order] = strides
    x, y, z = (step * (np.arange(n) + 1) for step, n in zip(stride, room.air.shape, strict=True))
    place = (x[:, None, None] + y[None, :, None] + z[None, None, :]).ravel()
    air = np.flatnonzero(padded.ravel())
    start, stop = _runs(air)
    holds = padded.ravel()
    inside = np.concatenate([np.arange(a, b) for a, b in zip(start, stop, strict=True)])
    gaps = inside[~holds[inside]]
    chunk_run = _chunks(stop - start, max(1, room.cells // CHUNK))
    border = np.append(start[chunk_run[:-1]], padded.size)
    closed = np.zeros(padded.size, dtype=np.uint8)
    closed[place] = room.closed.ravel()
    walls = np.flatnonzero(closed)
    wall_ratio, boards = _closed_faces(walls, closed[walls], holds, stride, ratio)
    board_wall, board_beyond, board_ratio = boards
    chunk_wall = np.searchsorted(walls, border)
    grid = Grid(
        stride=stride,
        ratio=ratio.astype(dtype),
        centre=np.array([2.0 - 2.0 * ratio.sum()], dtype=dtype),
        run_start=start,
        run_stop=stop,
        chunk_run=chunk_run,
        gap_cell=gaps,
        chunk_gap=np.searchsorted(gaps, border),
        wall_cell=walls.astype(np.uint32),
        wall_ratio=wall_ratio.astype(dtype),
        chunk_wall=chunk_wall,
        board_wall=board_wall,
        board_beyond=board_beyond,
        board_ratio=board_ratio.astype(dtype),
        chunk_board=np.searchsorted(board_wall, chunk_wall),
    )
    return Layout(grid, place, padded.size)


def _closed_faces(
    walls: Ints, bits: NDArray[np.uint8], holds: NDArray[np.bool_], stride: Ints, ratio: Floats
) -> tuple[Floats, tuple[Ints, Ints, Floats]]:
    """Sum of ratios of faces towards no air per wall cell, and the faces with air beyond."""
    hard = np.zeros(len(walls))
    rows = []
    for axis in range(3):
        for side in range(2):
            shut = (bits >> np.uint8(2 * axis + side)) & 1 == 1
            beyond = walls + (2 * side - 1) * stride[axis]
            hard += ratio[axis] * (shut & ~holds[beyond])
            board = np.flatnonzero(shut & holds[beyond])
            rows.append((board, beyond[board], np.full(len(board), ratio[axis])))
    wall, beyond, value = (np.concatenate(column) for column in zip(*rows, strict=True))
    order = np.argsort(wall, kind="stable")
    return hard, (wall[order], beyond[order], value[order])


def _runs(air: Ints) -> tuple[Ints, Ints]:
    """Start and stop of runs over ascending cells, bridging short gaps, cut into even pieces."""
    breaks = np.flatnonzero(np.diff(air) > BRIDGE + 1)
    starts = air[np.append(0, breaks + 1)]
    stops = air[np.append(breaks, len(air) - 1)] + 1
    cuts = [
        np.linspace(a, b, int(np.ceil((b - a) / PIECE)) + 1).astype(np.int64)
        for a, b in zip(starts, stops, strict=True)
    ]
    return np.concatenate([c[:-1] for c in cuts]), np.concatenate([c[1:] for c in cuts])


def _chunks(lengths: Ints, count: int) -> Ints:
    """First run of each chunk (and the end), chunks of about equal numbers of cells."""
    total = np.cumsum(lengths)
    border = np.searchsorted(total, total[-1] * np.arange(1, count) / count) + 1
    return np.unique(np.concatenate([[0], border, [len(lengths)]]).clip(0, len(lengths)))


def lay_walls(
    room: WaveRoom,
    layout: Layout,
    admittance: Sequence[Admittance],
    dt: float,
    c: float,
    dtype: type[np.floating],
) -> Walls:
    """Faces of admittance in the order of the wall cells; rigid faces are left out."""
    branches = np.array([len(wall.resistance) for wall in admittance], dtype=np.int64)
    branch_start = np.append(0, np.cumsum(branches))
    b, d, k = _branch_rows(admittance, dt)
    material_b = np.array([b[i:j].sum() for i, j in pairwise(branch_start)])

    soft = branches[room.face_surface] > 0
    wall = np.searchsorted(layout.grid.wall_cell, layout.place[room.face_cell[soft]])
    chunk = np.searchsorted(layout.grid.chunk_wall, wall, side="right") - 1
    surface, axis = room.face_surface[soft], room.face_axis[soft]
    key = (chunk * len(admittance) + surface) * 3 + axis
    order = np.argsort(key, kind="stable")
    wall = wall[order]
    weight = c * dt * room.face_area[soft][order] / (2.0 * room.cell_volume)
    group, group_face, count = np.unique(key[order], return_index=True, return_counts=True)
    material, mass = group // 3 % len(admittance), room.spacing[group % 3] / (2.0 * c * dt)
    y = material_b[material] / (1.0 + mass * material_b[material])
    q = np.bincount(wall, 0.5 * weight * np.repeat(y, count), len(layout.grid.wall_cell))
    chunks = np.arange(len(layout.grid.chunk_wall))
    return Walls(
        q=q.astype(dtype),
        inverse=(1.0 / (1.0 + q)).astype(dtype),
        wall=wall.astype(np.uint32),
        weight=weight.astype(dtype),
        group_face=np.append(group_face, len(wall)).astype(np.int64),
        group_state=np.append(0, np.cumsum(count * branches[material])).astype(np.int64),
        group_branch=np.stack([branch_start[material], branch_start[material + 1]], axis=1),
        mass=mass.astype(dtype),
        total_b=material_b[material].astype(dtype),
        y=y.astype(dtype),
        chunk_group=np.searchsorted(group, chunks * len(admittance) * 3),
        b=b.astype(dtype),
        d=d.astype(dtype),
        k=k.astype(dtype),
    )


def _branch_rows(admittance: Sequence[Admittance], dt: float) -> tuple[Floats, Floats, Floats]:
    """b, d, k of all branches of all walls in a row, by the trapezoidal rule."""
    inertance = np.concatenate([w.inertance for w in admittance]) / dt
    resistance = np.concatenate([w.resistance for w in admittance]) / 2.0
    stiffness = np.concatenate([w.stiffness for w in admittance]) * dt / 4.0
    b = 1.0 / (inertance + resistance + stiffness)
    return b, b * (inertance - resistance - stiffness), 4.0 * b * stiffness


def silent(layout: Layout, walls: Walls, dtype: type[np.floating]) -> tuple[State, Real, Real]:
    """State of rest: wall state, pressure now and before."""
    cells, faces, branches = len(layout.grid.wall_cell), len(walls.wall), walls.group_state[-1]
    sizes = (branches, branches, faces, faces, faces, cells, cells, cells)
    state = State(*(np.zeros(size, dtype=dtype) for size in sizes))
    return state, np.zeros(layout.size, dtype=dtype), np.zeros(layout.size, dtype=dtype)


def lay_ports(
    layout: Layout,
    sources: Sequence[Stencil],
    receivers: Sequence[Stencil],
    dtype: type[np.floating],
) -> Ports:
    """Source and receiver stencils (cells in C order, weights); one signal for each source."""
    cell = np.concatenate([layout.place[source[0]] for source in sources])
    weight = np.concatenate([source[1] for source in sources])
    signal = np.repeat(np.arange(len(sources)), [len(source[0]) for source in sources])
    at = np.searchsorted(layout.grid.wall_cell, cell).clip(0, len(layout.grid.wall_cell) - 1)
    wall = layout.grid.wall_cell[at] == cell
    return Ports(
        source_cell=cell[~wall],
        source_weight=weight[~wall].astype(dtype),
        source_signal=signal[~wall],
        drive_cell=at[wall],
        drive_weight=weight[wall].astype(dtype),
        drive_signal=signal[wall],
        receiver_start=np.append(0, np.cumsum([len(r[0]) for r in receivers])),
        receiver_cell=np.concatenate([layout.place[r[0]] for r in receivers]),
        receiver_weight=np.concatenate([r[1] for r in receivers]).astype(dtype),
    )


def stencil(room: WaveRoom, point: ArrayLike) -> Stencil:
    """Cells (C order) and weights that stand for a point (3,) m of the room.

    Cubic Lagrange over 4 x 4 x 4 cells where all of them are air and open to each other (error
    below 0.3 % at f_max of the default spacing, where straight lines would lose up to 0.4 dB);
    linear over the air cells next to walls; the nearest cell where a board or furniture lies
    between.
    ValueError for a point that is not in the air.
    """
    position = np.asarray(point, dtype=np.float64)
    shape = np.array(room.air.shape)
    at = (position - room.origin) / room.spacing - 0.5
    nearest = np.round(at).astype(np.int64)
    if np.any(nearest < 0) or np.any(nearest >= shape) or not room.air[tuple(nearest)]:
        raise ValueError(f"{np.round(position, 3).tolist()} does not lie in the air of the room")
    base = np.floor(at).astype(np.int64)
    fraction = at - base
    for reach, weights in ((1, _cubic(fraction)), (0, _linear(fraction))):
        low = base - reach
        found = _block(room, low, 2 * reach + 2, weights, whole=reach > 0)
        if found is not None:
            return found
    return np.array([np.ravel_multi_index(tuple(nearest), room.air.shape)]), np.ones(1)


def _linear(t: Floats) -> Floats:
    return np.array([1.0 - t, t])


def _cubic(t: Floats) -> Floats:
    return np.array(
        [
            -t * (t - 1.0) * (t - 2.0) / 6.0,
            (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
            -(t + 1.0) * t * (t - 2.0) / 2.0,
            (t + 1.0) * t * (t - 1.0) / 6.0,
        ]
    )


def _block(room: WaveRoom, low: Ints, edge: int, weights: Floats, whole: bool) -> Stencil | None:
    """Weighted block of cells from `low`; None where a wall runs through it.

    With `whole` every cell must be air; else walls outside the block's air are allowed and the
    weights of missing cells go to the others (the pressure is flat at a hard wall).
    """
    shape = room.air.shape
    first = [max(0, -int(low[a])) for a in range(3)]
    last = [min(edge, shape[a] - int(low[a])) for a in range(3)]
    if whole and (any(first) or min(last) < edge):
        return None
    spans = [slice(int(low[a]) + first[a], int(low[a]) + last[a]) for a in range(3)]
    box = (spans[0], spans[1], spans[2])
    air, closed = room.air[box], room.closed[box]
    if whole and not air.all():
        return None
    for axis in range(3):
        near = tuple(slice(None, -1) if a == axis else slice(None) for a in range(3))
        far = tuple(slice(1, None) if a == axis else slice(None) for a in range(3))
        if np.any((closed[near] & UPPER[axis]).astype(bool) & air[near] & air[far]):
            return None
    x, y, z = (weights[first[a] : last[a], a] for a in range(3))
    weight = x[:, None, None] * y[None, :, None] * z[None, None, :] * air
    total = weight.sum()
    if total <= 0.0:
        return None
    i, j, k = (np.arange(span.start, span.stop) for span in spans)
    cell = (i[:, None, None] * shape[1] + j[None, :, None]) * shape[2] + k[None, None, :]
    used = np.abs(weight) > 0.0
    return cell[used].astype(np.int64), (weight / total)[used]
