"""Compiled time loop of the wave solver (the only file of it that knows the compiler).

Leapfrog in time, seven-point stencil in space, walls on cell faces:

    u+ (1 + q) = 2 u - u- + sum_a (c dt / h_a)^2 (u_low + u_high - 2 u)   open faces only
                 + q u- - sum_f w_f C_f + drive

with one term per wall face f of admittance: parallel branches (inertance, resistance, stiffness)
behind the half cell of air between the cell centre and the wall, all in the trapezoidal rule, which
keeps the discrete energy falling for every passive wall (the energy argument of S. Bilbao,
B. Hamilton, J. Botts, L. Savioja, IEEE/ACM Trans. Audio Speech Lang. Process. 24(1), 2016; the half
cell of air is our addition). With D = u+ - u-, branch flow v, its sum g, total flow V:

    e  = (D - M (H - V-)) / (1 + M B),  H = sum(d v- - k g-),  B = sum b
    v+ = b e + d v- - k g-,   g+ = g- + (v+ + v-)/2,   V+ = B e + H

and the face draws w (V+ + V-)/2 = w (Y D / 2 + C), Y = B / (1 + M B),
C = (H + V- - M Y (H - V-)) / 2. All compiled functions live in this one file because the on-disk
cache is renewed by the file's own time stamp only.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

Real = NDArray[Any]
"""float32 or float64, the same throughout one run."""
Index = NDArray[np.int64]
F = TypeVar("F", bound=Callable[..., object])


class Grid(NamedTuple):
    """Cells laid out in one padded line, cut into chunks that threads work on independently.

    stride (3,): steps to the next cell along x, y, z; ratio (3,): (c dt / h)^2. Runs of cells
    run_start .. run_stop, chunk j has runs chunk_run[j] .. chunk_run[j + 1]; gap_cell: cells inside
    runs that hold no air and stay zero; wall_cell: cells with a closed face, wall_closed its bits.
    """

    stride: Index
    ratio: Real
    run_start: Index
    run_stop: Index
    chunk_run: Index
    gap_cell: Index
    chunk_gap: Index
    wall_cell: Index
    wall_closed: NDArray[np.uint8]
    chunk_wall: Index


class Walls(NamedTuple):
    """Admittance faces: those of wall cell i are face_start[i] .. face_start[i + 1].

    material, weight w = c dt A / (2 V) and mass M = h / (2 c dt) per face; state_start: first
    branch state of a face; branch_start: first branch of a material; b, d, k per branch.
    """

    face_start: Index
    material: Index
    weight: Real
    mass: Real
    state_start: Index
    branch_start: Index
    b: Real
    d: Real
    k: Real


class State(NamedTuple):
    """What the time loop carries along; u and u_before are swapped every step."""

    flow: Real  # v of every branch
    total: Real  # g of every branch
    face_flow: Real  # V of every face
    face_free: Real  # H of every face, scratch
    before: Real  # u- of wall cells, scratch
    drive: Real  # source term of wall cells


class Ports(NamedTuple):
    """Where sound enters and is read: cells with weights.

    Sources in open cells (source_cell) and in wall cells (drive_cell, an index into wall_cell);
    receiver r reads its entries receiver_start[r] .. receiver_start[r + 1].
    """

    source_cell: Index
    source_weight: Real
    drive_cell: Index
    drive_weight: Real
    receiver_start: Index
    receiver_cell: Index
    receiver_weight: Real


def compiled(func: F) -> F:
    """The compiler's decorator with a type, since the library has none."""
    typed: F = njit(
        cache=True, error_model="numpy", nogil=True, fastmath={"contract", "nsz", "arcp"}
    )(func)
    return typed


def compiled_parallel(func: F) -> F:
    """As `compiled`, with prange over all threads."""
    typed: F = njit(
        cache=True,
        error_model="numpy",
        nogil=True,
        parallel=True,
        fastmath={"contract", "nsz", "arcp"},
    )(func)
    return typed


@compiled
def _interior(chunk: int, grid: Grid, now: Real, old: Real) -> None:
    """Overwrite u- with the free update of every cell of the chunk's runs; empty cells stay 0."""
    rx, ry, rz = grid.ratio[0], grid.ratio[1], grid.ratio[2]
    sx, sy, sz = grid.stride[0], grid.stride[1], grid.stride[2]
    centre = now.dtype.type(2.0) * (now.dtype.type(1.0) - rx - ry - rz)
    for run in range(grid.chunk_run[chunk], grid.chunk_run[chunk + 1]):
        i, j = grid.run_start[run], grid.run_stop[run]
        new, mid = old[i:j], now[i:j]
        x0, x1 = now[i - sx : j - sx], now[i + sx : j + sx]
        y0, y1 = now[i - sy : j - sy], now[i + sy : j + sy]
        z0, z1 = now[i - sz : j - sz], now[i + sz : j + sz]
        for n in range(j - i):
            new[n] = (
                centre * mid[n]
                + rx * (x0[n] + x1[n])
                + ry * (y0[n] + y1[n])
                + rz * (z0[n] + z1[n])
                - new[n]
            )
    for gap in range(grid.chunk_gap[chunk], grid.chunk_gap[chunk + 1]):
        old[grid.gap_cell[gap]] = 0.0


@compiled
def _faces_free(start: int, stop: int, walls: Walls, state: State) -> tuple[float, float]:
    """Advance the known part of the faces of one cell; returns sum(w Y / 2) and sum(w C)."""
    q, known = 0.0, 0.0
    for face in range(start, stop):
        material, s = walls.material[face], walls.state_start[face]
        free, total_b = 0.0, 0.0
        first = walls.branch_start[material]
        for branch in range(first, walls.branch_start[material + 1]):
            at = s + branch - first
            v, g = state.flow[at], state.total[at]
            state.total[at] = g + 0.5 * v
            v = walls.d[branch] * v - walls.k[branch] * g
            state.flow[at] = v
            free += v
            total_b += walls.b[branch]
        mass, past = walls.mass[face], state.face_flow[face]
        y = total_b / (1.0 + mass * total_b)
        state.face_free[face] = free
        q += 0.5 * walls.weight[face] * y
        known += 0.5 * walls.weight[face] * (free + past - mass * y * (free - past))
    return q, known


@compiled
def _faces_driven(start: int, stop: int, change: float, walls: Walls, state: State) -> None:
    """Complete the faces of one cell now that D = u+ - u- is known."""
    for face in range(start, stop):
        material, s = walls.material[face], walls.state_start[face]
        first, last = walls.branch_start[material], walls.branch_start[material + 1]
        total_b = 0.0
        for branch in range(first, last):
            total_b += walls.b[branch]
        mass, free = walls.mass[face], state.face_free[face]
        e = (change - mass * (free - state.face_flow[face])) / (1.0 + mass * total_b)
        state.face_flow[face] = total_b * e + free
        for branch in range(first, last):
            at = s + branch - first
            v = state.flow[at] + walls.b[branch] * e
            state.flow[at] = v
            state.total[at] += 0.5 * v


@compiled
def _chunk(chunk: int, grid: Grid, walls: Walls, state: State, now: Real, old: Real) -> None:
    first, last = grid.chunk_wall[chunk], grid.chunk_wall[chunk + 1]
    for i in range(first, last):
        state.before[i] = old[grid.wall_cell[i]]
    _interior(chunk, grid, now, old)
    for i in range(first, last):
        cell, bits = grid.wall_cell[i], grid.wall_closed[i]
        u = now[cell]
        value = old[cell] + state.drive[i]
        for axis in range(3):
            step, ratio = grid.stride[axis], grid.ratio[axis]
            if bits & (1 << (2 * axis)):
                value += ratio * (u - now[cell - step])
            if bits & (2 << (2 * axis)):
                value += ratio * (u - now[cell + step])
        start, stop = walls.face_start[i], walls.face_start[i + 1]
        if stop > start:
            before = state.before[i]
            q, known = _faces_free(start, stop, walls, state)
            fresh = (value + q * before - known) / (1.0 + q)
            old[cell] = fresh
            _faces_driven(start, stop, fresh - before, walls, state)
        else:
            old[cell] = value


@compiled_parallel
def advance(
    grid: Grid,
    walls: Walls,
    state: State,
    ports: Ports,
    u: Real,
    u_before: Real,
    signal: Real,
    first: int,
    every: int,
    out: Real,
) -> tuple[Real, Real]:
    """Run len(signal) steps from step `first`; returns the last two fields, newest first.

    signal (N,): source term of each step. Row n / every of out (rows, receivers) gets the pressure
    at step n for each n that `every` divides.
    """
    now, old = u, u_before
    chunks = len(grid.chunk_run) - 1
    for n in range(len(signal)):
        if (first + n) % every == 0:
            row = (first + n) // every
            for r in range(out.shape[1]):
                total = 0.0
                for i in range(ports.receiver_start[r], ports.receiver_start[r + 1]):
                    total += ports.receiver_weight[i] * now[ports.receiver_cell[i]]
                out[row, r] = total
        for i in range(len(ports.drive_cell)):
            state.drive[ports.drive_cell[i]] = ports.drive_weight[i] * signal[n]
        for chunk in prange(chunks):
            _chunk(chunk, grid, walls, state, now, old)
        for i in range(len(ports.source_cell)):
            old[ports.source_cell[i]] += ports.source_weight[i] * signal[n]
        now, old = old, now
    return now, old
