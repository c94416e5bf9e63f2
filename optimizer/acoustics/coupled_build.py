"""The box with absorbing walls as a coupled modal problem: its matrices, built once.

Time factor exp(+j w t), wall condition dp/dn = -j k beta p. With p = sum a_n psi_n over the
rigid-wall modes, scaled to int psi^2 dV = 1, the Galerkin equations are

    [ diag(k_n^2 - k^2) + j k C(w) ] a = psi(source),    C_mn = sum_k beta_k(w) int_k psi_m psi_n dS

(Morse & Ingard, Theoretical Acoustics, ch. 9; from memory, derived again). Three things make it
small and quick. Admittances are split as beta = U coef(w), so C(w) is a few real matrices times
scalars. A wall integral separates into two one-dimensional ones, so C comes from a matrix over
in-plane orders only. Modes above the band answer almost statically: what the walls excite in them
is kept as a few combined functions (singular vectors of their static answer), and what the source
excites in them directly is summed from rigid-wall image sources at an imaginary wavenumber.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array, hstack

from optimizer.acoustics.modes import (
    C_AIR,
    IN_PLANE,
    Floats,
    Ints,
    Modes,
    Patches,
    beta_at,
    box_modes,
    check_inside,
    check_patches,
    cosine_integral,
    mode_shape,
)

Complexes = NDArray[np.complex128]
Pair = tuple[Floats, Floats]  # integrals of products of cosines (K, A, A), and of their slopes

LOW_MARGIN_HZ = 80.0  # modes up to this far above the highest frequency are kept one by one
HIGH_FACTOR = 3.0  # modes up to this multiple of it, and at least to HIGH_MIN_HZ, in combination
HIGH_MIN_HZ = 600.0  # resolves strips of about half a metre
COMBINED_MAX = 160  # most combined functions
COMBINED_TOL = 0.003  # singular value, relative to the highest wavenumber, below which they go,
COMBINED_SMALL = 0.1  # unless it is above this share of the largest one
BETA_TOL = 1e-4  # relative part of the admittance spectra that may be dropped; 0.1 % of a decay
LUMPED_ORDERS = 400  # orders of each parity summed into one lumped function


@dataclass(frozen=True)
class LossyObjects:
    """Absorbing furniture: boxes (B, 6) lo xyz, hi xyz; area (B, F) absorption area, m2.

    A loss of density p^2/(rho c) times area/4 spread over the box; see modes.object_damping.
    """

    boxes: Floats
    area: Floats


@dataclass(frozen=True)
class CoupledBox:
    """A box with its wall admittance, ready to be solved at any frequency up to f_max.

    low (L) and high (H) modes; lift (H, P) combinations of unit-norm high modes; k2 (N = L + P,)
    squared wavenumbers; coupling (R, N, N) real; coef (R, F) complex at frequencies f (F,);
    air (F,) energy attenuation of air, 1/m.
    """

    low: Modes
    high: Modes
    lift: Floats
    k2: Floats
    coupling: Floats
    f: Floats
    coef: Complexes
    air: Floats
    f_max: float

    def shapes(self, points: ArrayLike) -> Floats:
        """Values (N, P) of the basis functions at points (P, 3)."""
        high = unit_shapes(self.high, points)
        lifted = self.lift[: len(high)].T @ high
        return np.concatenate([unit_shapes(self.low, points), lifted])

    def wall_matrices(self, f: ArrayLike) -> Complexes:
        """C(w) (F, N, N), 1/m, at frequencies f (F,)."""
        coef = beta_at(self.f, self.coef, f).T
        n = len(self.k2)
        flat = self.coupling.reshape(-1, n * n)
        out = np.empty((len(coef), n * n), dtype=np.complex128)
        out.real = coef.real @ flat
        out.imag = coef.imag @ flat
        return out.reshape(-1, n, n)

    def wavenumber(self, f: ArrayLike) -> Complexes:
        """k = w/c - j m/2 with the loss of air, same shape as f."""
        hz = np.asarray(f, dtype=np.float64)
        return np.asarray(2.0 * np.pi * hz / self.low.c - 0.5j * np.interp(hz, self.f, self.air))


def couple_box(
    dimensions: ArrayLike,
    patches: Patches,
    f: ArrayLike,
    beta: ArrayLike,
    f_max: float = 300.0,
    objects: LossyObjects | None = None,
    air: ArrayLike = 0.0,
    c: float = C_AIR,
    along: ArrayLike = (0.0,),
    upright: ArrayLike | None = None,
) -> CoupledBox:
    """Set up the coupled problem for frequencies up to f_max.

    beta (K, F) normalised admittance of each patch at rising frequencies f (F,), held constant
    beyond them; air: a number or (F,), energy attenuation in 1/m. Patches add where they overlap,
    so a row may be the difference a piece makes to the wall under it. Wall in no patch is rigid.
    Where the admittance depends on the run of sound along the wall, beta is (K, T + 1, F): at
    wavenumbers `along` (T,), rad/m, and last, in m2, what goes with the slopes of pressure along
    the wall; of rows with `upright` (K,) only the vertical run and slope count. Two modes of
    different run meet the mean of both admittances, so that the problem stays symmetric.
    ValueError for shapes that disagree, or a patch or object outside the room.
    """
    low, high = _split_modes(dimensions, f_max, c)
    check_patches(patches, low.dimensions)
    grid = np.atleast_1d(np.asarray(f, dtype=np.float64))
    b = np.asarray(beta, dtype=np.complex128)
    runs = Runs(np.asarray(along, dtype=np.float64), _flags(upright, len(patches)))
    if b.ndim == 2:
        b = np.stack([b] * len(runs.nodes) + [0.0 * b], axis=1)
    if b.shape != (len(patches), len(runs.nodes) + 1, len(grid)):
        raise ValueError("couple_box: beta must have one row per patch and one column per f")
    beta_at(grid, b[:, 0], grid)  # raises when f does not rise
    spread, coef = _split_admittance(b)
    nears = [_near_wall(high, axis, 2.0 * np.pi * _high_limit(f_max) / c) for axis in range(3)]
    walls = _wall_operators(low, high, nears, patches, spread, runs)
    k_high = np.concatenate([wavenumbers(high), *(w.k_near for w in nears)])
    lift, k2_lift = _combined_functions(len(low.n), k_high, walls, coef, 2 * np.pi * f_max / c)
    blocks = _wall_blocks(len(low.n), lift, walls, len(coef))
    k2 = np.concatenate([wavenumbers(low) ** 2, k2_lift])
    loss = np.broadcast_to(np.asarray(air, dtype=np.float64), grid.shape)
    box = CoupledBox(low, high, lift, k2, blocks, grid, coef, loss, f_max)
    return box if objects is None else with_objects(box, objects)


@dataclass(frozen=True)
class NearWall:
    """Lumped modes of one axis: in-plane orders (N, 2), parity (N,), wavenumber, wall value."""

    plane: Ints
    parity: Ints
    k_near: Floats
    value: Floats


@dataclass(frozen=True)
class Runs:
    """Wavenumbers along a wall (T,) at which admittances are given, and the rows (K,) for which
    only the vertical one counts."""

    nodes: Floats
    upright: NDArray[np.bool_]

    def matrices(
        self,
        pairs: tuple[Pair, Pair],
        spread: Floats,
        upright: NDArray[np.bool_],
        squares: list[Floats],
        second: int,
    ) -> list[Floats]:
        """R matrices between in-plane orders of a wall for the rows on it: spread (K, T + 1, R).

        `pairs` are the integrals along each of its two directions, `squares` k^2 by order, `second`
        the axis of the second. The entry of two orders takes the mean of the admittances that each
        meets, and what goes with slopes the product of the slopes.
        """
        if spread.shape[2] == 0:
            return []
        (pair_i, slope_i), (pair_j, slope_j) = pairs
        even = np.ptp(spread[:, :-1], axis=1).max(axis=1, initial=0.0) == 0.0
        even &= np.all(spread[:, -1] == 0.0, axis=1)
        out = [_plane_matrix(pair_i[even], pair_j[even], w) for w in spread[even, 0].T]
        tables = spread[~even].reshape(-1, spread.shape[1] * spread.shape[2])
        marked = np.concatenate([tables, upright[~even, None]], axis=1)
        kinds, kind = np.unique(marked, axis=0, return_inverse=True)
        every = squares[0][:, None] + squares[1][None, :]
        vertical = np.broadcast_to(squares[1] if second == 2 else 0.0 * squares[1], every.shape)
        for index, row in enumerate(kinds):
            mine = np.flatnonzero(~even)[kind.ravel() == index]
            plain = _plane_matrix(pair_i[mine], pair_j[mine], np.ones(len(mine)))
            at = np.sqrt((vertical if row[-1] else every).ravel())
            slopes = _plane_matrix(pair_i[mine], slope_j[mine], np.ones(len(mine)))
            if not row[-1]:
                slopes += _plane_matrix(slope_i[mine], pair_j[mine], np.ones(len(mine)))
            for r, table in enumerate(row[:-1].reshape(len(self.nodes) + 1, -1).T):
                met = np.interp(at**2, self.nodes**2, table[:-1])
                out[r] += 0.5 * (met[:, None] + met) * plain + table[-1] * slopes
        return out


# One wall: in-plane orders by low modes, the same by high modes, and R matrices between them.
WallOperator = tuple[csr_array, csr_array, list[Floats]]


def _high_limit(f_max: float) -> float:
    """Frequency of the highest mode taken one by one into the combinations, Hz."""
    return max(HIGH_FACTOR * f_max, HIGH_MIN_HZ)


def _split_modes(dimensions: ArrayLike, f_max: float, c: float) -> tuple[Modes, Modes]:
    """Low modes with (0,0,0) first, and high modes."""
    every = box_modes(dimensions, _high_limit(f_max), c)
    cut = int(np.searchsorted(every.f_hz, f_max + LOW_MARGIN_HZ, side="right"))
    size, volume = every.dimensions, every.volume
    low = Modes(
        np.concatenate([np.zeros((1, 3), dtype=np.int64), every.n[:cut]]),
        np.concatenate([[0.0], every.f_hz[:cut]]),
        np.concatenate([[volume], every.norm[:cut]]),
        size,
        c,
    )
    return low, Modes(every.n[cut:], every.f_hz[cut:], every.norm[cut:], size, c)


def _split_admittance(beta: Complexes) -> tuple[Floats, Complexes]:
    """beta (K, T + 1, F) = spread (K, T + 1, R) coef (R, F), R as small as BETA_TOL allows."""
    rows = beta.reshape(-1, beta.shape[-1])
    alike, which = np.unique(rows, axis=0, return_inverse=True)
    both = np.concatenate([alike.real, alike.imag], axis=1)
    u, s, _ = np.linalg.svd(both, full_matrices=False)
    rank = int(np.count_nonzero(s > BETA_TOL * s[0])) if len(s) and s[0] > 0 else 0
    spread = u[:, :rank]
    return spread[which.ravel()].reshape(*beta.shape[:2], rank), spread.T @ alike


def _flags(upright: ArrayLike | None, count: int) -> NDArray[np.bool_]:
    if upright is None:
        return np.zeros(count, dtype=bool)
    return np.asarray(upright, dtype=bool)


def wavenumbers(modes: Modes) -> Floats:
    return np.asarray(2.0 * np.pi * modes.f_hz / modes.c)


def unit_shapes(modes: Modes, points: ArrayLike) -> Floats:
    return mode_shape(modes, points) / np.sqrt(modes.norm)[:, None]


def _wall_operators(
    low: Modes,
    high: Modes,
    nears: list[NearWall],
    patches: Patches,
    spread: Floats,
    runs: Runs,
) -> list[WallOperator]:
    """Every treated wall as in-plane incidence matrices and plane-order matrices."""
    top = np.maximum(low.n.max(axis=0), high.n.max(axis=0))
    before = np.cumsum([0] + [len(n.k_near) for n in nears])
    walls: list[WallOperator] = []
    for axis, (i, j) in enumerate(IN_PLANE):
        for side in (0, 1):
            own = np.flatnonzero((patches.axis == axis) & (patches.side == side))
            if len(own) == 0:
                continue
            shape = (int(top[i]) + 1, int(top[j]) + 1)
            lo_i, lo_j, hi_i, hi_j = patches.rect[own].T
            pairs = (
                _pair_integrals(int(top[i]), lo_i, hi_i, float(low.dimensions[i])),
                _pair_integrals(int(top[j]), lo_j, hi_j, float(low.dimensions[j])),
            )
            squares = [
                (np.pi * np.arange(shape[q]) / low.dimensions[p]) ** 2 for q, p in enumerate((i, j))
            ]
            matrices = runs.matrices(pairs, spread[own], runs.upright[own], squares, j)
            at = [
                _incidence(m.n[:, [i, j]], _wall_values(m, axis, side), 0, len(m.n), shape)
                for m in (low, high)
            ]
            near = nears[axis]
            values = near.value * (-1.0) ** (side * near.parity)
            at_near = _incidence(near.plane, values, int(before[axis]), int(before[3]), shape)
            walls.append((at[0], hstack([at[1], at_near], format="csr"), matrices))
    return walls


def _wall_blocks(n_low: int, lift: Floats, walls: list[WallOperator], count: int) -> Floats:
    """Wall integrals (R, N, N) between the basis functions: each low mode, then the combinations.

    A low mode has one in-plane order on a wall, so its integrals are picked, not multiplied out.
    """
    size = n_low + lift.shape[1]
    blocks = np.zeros((count, size, size))
    for at_low, at_high, matrices in walls:
        column = at_low.tocsc()
        order, value = column.indices, column.data
        lifted = at_high @ lift
        for block, matrix in zip(blocks, matrices, strict=True):
            seen = matrix @ lifted
            mixed = seen[order] * value[:, None]
            block[:n_low, :n_low] += matrix[np.ix_(order, order)] * np.outer(value, value)
            block[:n_low, n_low:] += mixed
            block[n_low:, :n_low] += mixed.T
            block[n_low:, n_low:] += lifted.T @ seen
    return blocks


def _pair_integrals(order_max: int, lo: Floats, hi: Floats, length: float) -> Pair:
    """int cos(a pi x/L) cos(b pi x/L) dx over [lo, hi] -> (K, order_max + 1, order_max + 1), and
    the same of their slopes."""
    single = cosine_integral(2 * order_max, lo, hi, length)
    a = np.arange(order_max + 1)
    apart, together = single[np.abs(a[:, None] - a)], single[a[:, None] + a]
    k2 = np.outer(a, a)[:, :, None] * (np.pi / length) ** 2
    pair, slope = 0.5 * (apart + together), 0.5 * k2 * (apart - together)
    return np.moveaxis(pair, 2, 0), np.moveaxis(slope, 2, 0)


def _plane_matrix(pair_i: Floats, pair_j: Floats, weight: Floats) -> Floats:
    """sum_k weight_k int_k cos cos cos cos dS between in-plane order pairs (a, c) and (b, d)."""
    n_i, n_j = pair_i.shape[1], pair_j.shape[1]
    flat = (pair_i * weight[:, None, None]).reshape(-1, n_i * n_i).T @ pair_j.reshape(-1, n_j * n_j)
    grid = flat.reshape(n_i, n_i, n_j, n_j).transpose(0, 2, 1, 3)
    return np.asarray(grid.reshape(n_i * n_j, n_i * n_j))


def _wall_values(modes: Modes, axis: int, side: int) -> Floats:
    """Value of each unit-norm mode across its own wall."""
    return np.asarray((-1.0) ** (side * modes.n[:, axis]) / np.sqrt(modes.norm))


def _incidence(
    plane: Ints, values: Floats, first: int, columns: int, shape: tuple[int, int]
) -> csr_array:
    """(in-plane orders, columns): values placed at their orders (M, 2), from column first on."""
    row = plane[:, 0] * shape[1] + plane[:, 1]
    where = (row, first + np.arange(len(values)))
    return csr_array((values, where), shape=(shape[0] * shape[1], columns))


def _near_wall(high: Modes, axis: int, k_cut: float) -> NearWall:
    """All modes above k_cut that a wall normal to `axis` excites, lumped.

    For in-plane orders of wavenumber k_t < k_cut the orders n of one parity with
    k_n^2 + k_t^2 > k_cut^2 answer as one function sum_n w_n cos(n pi x/L), w_n = 1/(k_n^2 + k_t^2):
    value at the wall g = sum (2/L) w_n, squared norm m = sum (2/L) w_n^2, stiffness g. So it acts
    as a mode of squared wavenumber g/m and wall value g/sqrt(m). Its effect on the other walls is
    left out.
    """
    i, j = IN_PLANE[axis]
    size = high.dimensions
    tops = [int(k_cut * size[q] / np.pi) for q in (i, j)]
    grid = np.meshgrid(*(np.arange(t + 1) for t in tops), indexing="ij")
    plane = np.stack([g.ravel() for g in grid], axis=1)
    kt2 = np.sum((np.pi * plane / size[[i, j]]) ** 2, axis=1)
    plane, kt2 = plane[kt2 < k_cut**2], kt2[kt2 < k_cut**2]
    plane_norm = size[i] * size[j] / 2.0 ** np.count_nonzero(plane, axis=1)
    L = float(size[axis])
    first = np.floor(np.sqrt(k_cut**2 - kt2) * L / np.pi * (1 + 1e-12)).astype(int) + 1
    out = []
    for parity in (0, 1):
        n = first[:, None] + (first[:, None] + parity) % 2 + 2 * np.arange(LUMPED_ORDERS)
        w = 1.0 / ((np.pi * n / L) ** 2 + kt2[:, None])
        rest = L / (2.0 * np.pi**2 * (n[:, -1] + 1.0)) * L  # integral over the orders beyond
        g = 2.0 / L * (w.sum(axis=1) + rest)
        m = 2.0 / L * np.sum(w**2, axis=1)
        out.append((g / m, g / np.sqrt(m) / np.sqrt(plane_norm)))
    return NearWall(
        np.concatenate([plane, plane]).astype(np.int64),
        np.repeat([0, 1], len(plane)).astype(np.int64),
        np.sqrt(np.concatenate([o[0] for o in out])),
        np.concatenate([o[1] for o in out]),
    )


def _combined_functions(
    n_low: int, k_high: Floats, walls: list[WallOperator], coef: Complexes, k_top: float
) -> tuple[Floats, Floats]:
    """Combinations of high modes that carry what the walls excite in them.

    The low modes excite B = k D^(-1/2) C_HL in the high ones, D = diag(k_H^2 - k_top^2/2), their
    answer half-way up the band. Its leading left singular vectors (randomised range finder,
    Halko, Martinsson, Tropp, SIAM Rev. 53 (2011) 217) are scaled back, made orthonormal and
    rotated so that their stiffness is diagonal.
    Returns lift (H, P) and squared wavenumbers (P,).
    """
    size = k_top * np.max(np.abs(coef), axis=1, initial=0.0)
    root = np.sqrt(k_high**2 - 0.5 * k_top**2)
    random = np.random.default_rng(0)
    width = min(COMBINED_MAX + 20, len(k_high))
    sketch = np.zeros((len(k_high), width))
    for r, scale in enumerate(size):
        probe = random.standard_normal((n_low, width)) * scale
        for at_low, at_high, matrices in walls:
            sketch += at_high.T @ (matrices[r] @ (at_low @ probe))
    q = np.linalg.qr(sketch / root[:, None])[0]
    rows = np.zeros((len(size), n_low, width))
    for at_low, at_high, matrices in walls:
        seen = at_high @ (q / root[:, None])
        for r, scale in enumerate(size):
            rows[r] += scale * (at_low.T @ (matrices[r] @ seen))
    _, s, turn = np.linalg.svd(rows.reshape(-1, width), full_matrices=False)
    keep = s > min(COMBINED_TOL * k_top, COMBINED_SMALL * float(np.max(s, initial=0.0)))
    chosen = (q @ turn.T)[:, keep][:, :COMBINED_MAX]
    basis = np.linalg.qr(chosen / root[:, None])[0]
    stiffness = basis.T @ (k_high[:, None] ** 2 * basis)
    k2, turn = np.linalg.eigh(stiffness)
    return basis @ turn, k2


def with_objects(box: CoupledBox, objects: LossyObjects) -> CoupledBox:
    """Add lossy boxes: area/4 times the mean of psi_m psi_n over the box, by Gauss points."""
    place = np.asarray(objects.boxes, dtype=np.float64).reshape(-1, 6)
    area = np.asarray(objects.area, dtype=np.float64)
    check_inside(place.reshape(-1, 3), box.low.dimensions, "objects")
    if area.shape != (len(place), len(box.f)) or np.any(area < 0):
        raise ValueError("objects: area must be (boxes, frequencies) and not negative")
    x, w = np.polynomial.legendre.leggauss(8)
    unit = np.stack([g.ravel() for g in np.meshgrid(x, x, x)], axis=1) / 2.0 + 0.5
    weight = np.prod(np.stack([g.ravel() for g in np.meshgrid(w, w, w)]), axis=0) / 8.0
    extra = []
    for row in place:
        shapes = box.shapes(row[:3] + unit * (row[3:] - row[:3]))
        extra.append((shapes * weight) @ shapes.T)
    coupling = np.concatenate([box.coupling, np.array(extra)])
    return replace(box, coupling=coupling, coef=np.concatenate([box.coef, area / 4.0 + 0j]))
