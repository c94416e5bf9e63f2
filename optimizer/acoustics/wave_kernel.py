"""Compiled time loop of the wave solver.

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

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.compiled import compiled

Real = NDArray[Any]
"""float32 or float64, the same throughout one run."""
Index = NDArray[np.int64]
Short = NDArray[np.uint32]
"""Places that are looked up one by one at every step: half as long, and never negative, they take
a fifth off a step."""


class Grid(NamedTuple):
    """Cells laid out in one padded line, cut into chunks that stay in the processor's cache.

    stride (3,): steps to the next cell along x, y, z; ratio (3,): (c dt / h)^2. Runs of cells
    run_start .. run_stop, chunk j has runs chunk_run[j] .. chunk_run[j + 1]; gap_cell: cells inside
    runs that hold no air and stay zero. wall_cell: cells with a closed face; wall_ratio: sum of the
    ratios over closed faces beyond which there is no air. Boards: closed faces with air on both
    sides, as index into wall_cell, cell beyond, ratio.
    """

    stride: Index
    ratio: Real
    centre: Real  # (1,) 2 - 2 sum of ratios
    run_start: Index
    run_stop: Index
    chunk_run: Index
    gap_cell: Index
    chunk_gap: Index
    wall_cell: Short
    wall_ratio: Real
    chunk_wall: Index
    board_wall: Index
    board_beyond: Index
    board_ratio: Real
    chunk_board: Index


class Walls(NamedTuple):
    """Admittance faces, sorted into groups of one chunk, one material and one axis.

    Per wall cell: q = sum of w Y / 2 and inverse 1 / (1 + q). Per face: `wall` (index into
    wall_cell) and weight w = c dt A / (2 V). Per group: first face, first state (branch m of its
    face f is at state + m * faces + f), first and last branch row, and M = h / (2 c dt), B, Y;
    chunk j has groups chunk_group[j] .. chunk_group[j + 1]. Per branch row: b, d, k.
    """

    q: Real
    inverse: Real
    wall: Short
    weight: Real
    group_face: Index
    group_state: Index
    group_branch: Index  # (groups, 2)
    mass: Real
    total_b: Real
    y: Real
    chunk_group: Index
    b: Real
    d: Real
    k: Real


class State(NamedTuple):
    """What the time loop carries along besides the pressure, and scratch of the same shapes."""

    flow: Real  # d v- - k g- of every branch: what the next step knows of v
    total: Real  # g of every branch, with the half of the next v that is known
    face_flow: Real  # V of every face
    face_free: Real  # H of every face at the next step
    face_drive: Real  # e of every face, scratch
    before: Real  # u- of wall cells, scratch
    taken: Real  # what walls take from u+ of wall cells, then D; scratch
    drive: Real  # source term of wall cells


class Ports(NamedTuple):
    """Where sound enters and is read: cells with weights.

    Sources in open cells (source_cell) and in wall cells (drive_cell, an index into wall_cell),
    each with the column of the signal that enters there; receiver r reads its entries
    receiver_start[r] .. receiver_start[r + 1].
    """

    source_cell: Index
    source_weight: Real
    source_signal: Index
    drive_cell: Index
    drive_weight: Real
    drive_signal: Index
    receiver_start: Index
    receiver_cell: Index
    receiver_weight: Real


fast = compiled(error_model="numpy", fastmath={"contract", "nsz", "arcp"})


@fast
def _interior(chunk: int, grid: Grid, now: Real, old: Real) -> None:
    """Overwrite u- with the free update of every cell of the chunk's runs; empty cells stay 0."""
    rx, ry, rz = grid.ratio[0], grid.ratio[1], grid.ratio[2]
    sx, sy, sz = grid.stride[0], grid.stride[1], grid.stride[2]
    centre = grid.centre[0]
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


@fast
def _faces_known(group: int, walls: Walls, state: State) -> None:
    """Add what the known part of the faces of a group takes from their cells."""
    first, last = walls.group_face[group], walls.group_face[group + 1]
    half = walls.weight.dtype.type(0.5)
    free, past = state.face_free[first:last], state.face_flow[first:last]
    damp = walls.mass[group] * walls.y[group]
    weight, wall = walls.weight[first:last], walls.wall[first:last]
    for f in range(last - first):
        share = free[f] + past[f] - damp * (free[f] - past[f])
        state.taken[wall[f]] += half * weight[f] * share


@fast
def _faces_driven(group: int, walls: Walls, state: State) -> None:
    """Complete the faces of a group now that D = u+ - u- is known (in state.taken), and advance
    what is known of them at the next step: one walk through the branches instead of two."""
    first, last = walls.group_face[group], walls.group_face[group + 1]
    count, base = last - first, walls.group_state[group]
    one, half = walls.weight.dtype.type(1.0), walls.weight.dtype.type(0.5)
    zero = walls.weight.dtype.type(0.0)
    free, past = state.face_free[first:last], state.face_flow[first:last]
    drive, wall = state.face_drive[first:last], walls.wall[first:last]
    mass, total_b = walls.mass[group], walls.total_b[group]
    scale = one / (one + mass * total_b)
    for f in range(count):
        e = (state.taken[wall[f]] - mass * (free[f] - past[f])) * scale
        past[f] = total_b * e + free[f]
        drive[f] = e
        free[f] = zero
    row = walls.group_branch[group, 0]
    for m in range(walls.group_branch[group, 1] - row):
        b, d, k = walls.b[row + m], walls.d[row + m], walls.k[row + m]
        flow = state.flow[base + m * count : base + (m + 1) * count]
        total = state.total[base + m * count : base + (m + 1) * count]
        if k == zero:
            for f in range(count):
                flow[f] = d * (flow[f] + b * drive[f])
                free[f] += flow[f]
        else:
            for f in range(count):
                v = flow[f] + b * drive[f]
                g = total[f] + half * v
                total[f] = g + half * v
                flow[f] = d * v - k * g
                free[f] += flow[f]


@fast
def _chunk(chunk: int, grid: Grid, walls: Walls, state: State, now: Real, old: Real) -> None:
    first, last = grid.chunk_wall[chunk], grid.chunk_wall[chunk + 1]
    cell, before, taken = grid.wall_cell[first:last], state.before[first:last], state.taken
    own, ratio, drive = taken[first:last], grid.wall_ratio[first:last], state.drive[first:last]
    for i in range(last - first):
        before[i] = old[cell[i]]
        own[i] = -ratio[i] * now[cell[i]] - drive[i]
    for i in range(grid.chunk_board[chunk], grid.chunk_board[chunk + 1]):
        wall = grid.board_wall[i]
        step = now[grid.wall_cell[wall]] - now[grid.board_beyond[i]]
        taken[wall] -= grid.board_ratio[i] * step
    for group in range(walls.chunk_group[chunk], walls.chunk_group[chunk + 1]):
        _faces_known(group, walls, state)
    _interior(chunk, grid, now, old)
    q, inverse = walls.q[first:last], walls.inverse[first:last]
    for i in range(last - first):
        fresh = (old[cell[i]] - own[i] + q[i] * before[i]) * inverse[i]
        old[cell[i]] = fresh
        own[i] = fresh - before[i]
    for group in range(walls.chunk_group[chunk], walls.chunk_group[chunk + 1]):
        _faces_driven(group, walls, state)


@fast
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

    signal (N, K): source terms of each step. Row n / every of out (rows, receivers) gets the
    pressure at step n for each n that `every` divides.
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
            state.drive[ports.drive_cell[i]] = 0.0
        for i in range(len(ports.drive_cell)):
            sent = signal[n, ports.drive_signal[i]]
            state.drive[ports.drive_cell[i]] += ports.drive_weight[i] * sent
        for chunk in range(chunks):
            _chunk(chunk, grid, walls, state, now, old)
        for i in range(len(ports.source_cell)):
            sent = signal[n, ports.source_signal[i]]
            old[ports.source_cell[i]] += ports.source_weight[i] * sent
        now, old = old, now
    return now, old
