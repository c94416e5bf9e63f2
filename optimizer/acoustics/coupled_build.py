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

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array, hstack

from optimizer.acoustics.corner_volumes import Standing, volume_blocks
from optimizer.acoustics.coupled_high import NearWall, WallOperator, combined_functions, near_wall
from optimizer.acoustics.coupled_objects import LossyObjects, object_blocks
from optimizer.acoustics.few_of_many import few_of_many
from optimizer.acoustics.modes import (
    C_AIR,
    IN_PLANE,
    Complexes,
    Floats,
    Ints,
    Modes,
    Patches,
    beta_at,
    box_modes,
    check_patches,
    mode_shape,
)
from optimizer.acoustics.wall_runs import Runs, WallTerms, pair_integrals

LOW_MARGIN_HZ = 80.0  # modes up to this far above the highest frequency are kept one by one
ROWS = 16  # rows of such a matrix filled at a time
TILE = 2048  # entries of the matrices of walls made at a time
BETA_TOL = 1e-4  # relative part of the admittance spectra that may be dropped; 0.04 % of a decay


class Detail(NamedTuple):
    """How finely modes above the band are told: up to `factor` times the highest frequency, at
    least to `least_hz`, as so many combinations at most."""

    factor: float
    least_hz: float
    combined: int


FINE = Detail(3.0, 600.0, 160)  # resolves strips of about half a metre
COARSE = Detail(2.0, 400.0, 80)  # tells how two treatments of a room differ, not each


@dataclass(frozen=True)
class CoupledBox:
    """A box with its wall admittance, ready to be solved at any frequency up to f_max.

    low (L) and high (H) modes; lift (H, P) combinations of unit-norm high modes; k2 (N = L + P,)
    squared wavenumbers; coupling (N, N, R) real; coef (R, F) complex at frequencies f (F,);
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

    def wall_matrices(self, f: ArrayLike, times: ArrayLike = 1.0) -> Complexes:
        """C(w) (F, N, N), 1/m, at frequencies f (F,), times a number or (F,)."""
        coef = beta_at(self.f, self.coef, f).T * np.asarray(times).reshape(-1, 1)
        n, count = len(self.k2), len(coef)
        right = np.ascontiguousarray(coef.T).view(np.float64)  # real and imaginary part in turn
        flat = self.coupling.reshape(n * n, -1)
        out = np.empty((count, n * n), dtype=np.complex128)
        for start in range(0, n * n, TILE):  # few enough entries to stay at hand
            part = flat[start : start + TILE] @ right
            out[:, start : start + TILE] = part.view(np.complex128).T
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
    only: ArrayLike | None = None,
    stacks: Sequence[Standing] = (),
    instead: ArrayLike | None = None,
    detail: Detail = FINE,
) -> CoupledBox:
    """Set up the coupled problem for frequencies up to f_max.

    beta (K, F) normalised admittance of each patch at rising frequencies f (F,), held constant
    beyond them; air: a number or (F,), energy attenuation in 1/m. Patches add where they overlap,
    so a row may be the difference a piece makes to the wall under it. Wall in no patch is rigid.
    Where the admittance depends on the run of sound along the wall, beta is (K, T + 1, F): at
    wavenumbers `along` (T,), rad/m, and last, in m2, what goes with the slopes of pressure along
    the wall; of rows with an axis of the room in `only` (K,) the run and slope along it alone
    count, of others (-1) both. Two modes of different run meet the mean of both admittances, so
    that the problem stays symmetric. `stacks` of corner fills act as volumes (corner_volumes); of
    rows that they act `instead` (K,) of only what these would excite in high modes is kept, as
    functions to describe the stacks with. ValueError for shapes that disagree, or a patch or object
    outside the room.
    """
    high_hz = max(detail.factor * f_max, detail.least_hz)
    low, high = _split_modes(dimensions, f_max, high_hz, c)
    check_patches(patches, low.dimensions)
    grid = np.atleast_1d(np.asarray(f, dtype=np.float64))
    b = np.asarray(beta, dtype=np.complex128)
    runs = Runs(np.asarray(along, dtype=np.float64), _axes(only, len(patches)))
    if b.ndim == 2:
        b = np.stack([b] * len(runs.nodes) + [0.0 * b], axis=1)
    if b.shape != (len(patches), len(runs.nodes) + 1, len(grid)):
        raise ValueError("couple_box: beta must have one row per patch and one column per f")
    beta_at(grid, b[:, 0], grid)  # raises when f does not rise
    spread, coef = _split_admittance(b)
    nears = [near_wall(high, axis, 2.0 * np.pi * high_hz / c) for axis in range(3)]
    held = _flags(instead, len(patches))
    walls = _wall_operators(low, high, nears, patches, spread, runs, ~held)
    guides = _wall_operators(low, high, nears, patches, spread, runs, held)
    k_high = np.concatenate([wavenumbers(high), *(w.k_near for w in nears)])
    lift, k2_lift = combined_functions(
        len(low.n), k_high, walls + guides, coef, 2 * np.pi * f_max / c, detail.combined
    )
    parts, factors = _other_parts(low, high, lift[: len(high.n)], grid, stacks, objects)
    spare = sum(len(part) for part in parts)
    coupling = _wall_blocks(low, lift, walls, len(coef), spare)
    if spare:
        coupling[..., len(coef) :] = np.concatenate(parts).transpose(1, 2, 0)
    k2 = np.concatenate([wavenumbers(low) ** 2, k2_lift])
    loss = np.broadcast_to(np.asarray(air, dtype=np.float64), grid.shape)
    coef = np.concatenate([coef, *factors])
    return CoupledBox(low, high, lift, k2, coupling, grid, coef, loss, f_max)


def _other_parts(
    low: Modes,
    high: Modes,
    lift: Floats,
    f: Floats,
    stacks: Sequence[Standing],
    objects: LossyObjects | None,
) -> tuple[list[Floats], list[Complexes]]:
    """Matrices (S, N, N) of stacks and of objects, and the factors (S, F) of each."""
    parts: list[Floats] = []
    factors: list[Complexes] = []
    if stacks:
        blocks, few = volume_blocks(stacks, low, high, lift, f, BETA_TOL)
        parts.append(blocks)
        factors.append(few)
    if objects is not None:
        parts.append(object_blocks(low, high, lift, objects, len(f)))
        factors.append(_loss(objects))
    return parts, factors


def _split_modes(
    dimensions: ArrayLike, f_max: float, high_hz: float, c: float
) -> tuple[Modes, Modes]:
    """Low modes with (0,0,0) first, and high modes up to high_hz."""
    every = box_modes(dimensions, high_hz, c)
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
    spread, coef = few_of_many(beta.reshape(-1, beta.shape[-1]), BETA_TOL)
    return spread.reshape(*beta.shape[:2], len(coef)), coef


def _flags(given: ArrayLike | None, count: int) -> NDArray[np.bool_]:
    return np.zeros(count, dtype=bool) if given is None else np.asarray(given, dtype=bool)


def _axes(given: ArrayLike | None, count: int) -> Ints:
    return np.full(count, -1) if given is None else np.asarray(given, dtype=np.int64)


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
    taken: NDArray[np.bool_],
) -> list[WallOperator]:
    """Every wall with rows `taken` (K,), as in-plane incidence and plane-order matrices."""
    top = np.maximum(low.n.max(axis=0), high.n.max(axis=0))
    before = np.cumsum([0] + [len(n.k_near) for n in nears])
    walls: list[WallOperator] = []
    for axis, (i, j) in enumerate(IN_PLANE):
        for side in (0, 1):
            own = np.flatnonzero(taken & (patches.axis == axis) & (patches.side == side))
            if len(own) == 0:
                continue
            shape = (int(top[i]) + 1, int(top[j]) + 1)
            lo_i, lo_j, hi_i, hi_j = patches.rect[own].T
            pairs = (
                pair_integrals(int(top[i]), lo_i, hi_i, float(low.dimensions[i])),
                pair_integrals(int(top[j]), lo_j, hi_j, float(low.dimensions[j])),
            )
            squares = [
                (np.pi * np.arange(shape[q]) / low.dimensions[p]) ** 2 for q, p in enumerate((i, j))
            ]
            terms = runs.terms(pairs, spread[own], runs.only[own], squares, (i, j))
            near = nears[axis]
            values = near.value * (-1.0) ** (side * near.parity)
            at_high = _incidence(
                high.n[:, [i, j]], _wall_values(high, axis, side), 0, len(high.n), shape
            )
            at_near = _incidence(near.plane, values, int(before[axis]), int(before[3]), shape)
            near_high = hstack([at_high, at_near], format="csr")
            walls.append(_operator(low, (axis, side), shape, terms, near_high))
    return walls


def _operator(
    low: Modes, wall: tuple[int, int], shape: tuple[int, int], terms: WallTerms, at_high: csr_array
) -> WallOperator:
    """The wall at the end of an axis, of so many in-plane orders along each direction."""
    i, j = IN_PLANE[wall[0]]
    plane = np.ravel_multi_index((low.n[:, i], low.n[:, j]), shape)
    orders, which = np.unique(plane, return_inverse=True)
    value = _wall_values(low, *wall)
    from_low = csr_array((value, (np.arange(len(value)), which)), (len(value), len(orders)))
    own, mix = terms.own_spectra()
    columns = own.columns(orders)
    return WallOperator(*wall, own, orders, which, value, from_low, at_high, columns, mix)


def _wall_blocks(
    low: Modes, lift: Floats, walls: list[WallOperator], count: int, spare: int
) -> Floats:
    """Wall integrals (N, N, R) between the basis functions: each low mode, then the combinations;
    with room for `spare` more at the end."""
    n_low, size = len(low.n), len(low.n) + lift.shape[1]
    out = np.zeros((size, size, count + spare))
    own, mixed, above = (
        out[rows, columns, :count]
        for rows, columns in (
            (slice(n_low), slice(n_low)),
            (slice(n_low), slice(n_low, None)),
            (slice(n_low, None), slice(n_low, None)),
        )
    )
    for axis in range(3):
        pair = [wall for wall in walls if wall.axis == axis]
        if not pair:
            continue
        lifted = [wall.at_high @ lift for wall in pair]
        which, odd, value = pair[0].which, low.n[:, axis] % 2, np.abs(pair[0].value)
        both = _by_parity(pair, [wall.among_low() for wall in pair])
        over = _by_parity(pair, [w.from_high(seen) for w, seen in zip(pair, lifted, strict=True)])
        for rows in np.split(np.arange(n_low), range(ROWS, n_low, ROWS)):
            part = both[odd[rows, None] ^ odd, which[rows, None], which]
            part *= np.outer(value[rows], value)[..., None]
            own[rows] += part
            part = over[odd[rows], :, which[rows]]
            part *= value[rows, None, None]
            mixed[rows] += part
        for wall, seen in zip(pair, lifted, strict=True):
            above += wall.among_high(seen)
    out[n_low:, :n_low, :count] = mixed.transpose(1, 0, 2)
    above[...] = 0.5 * (above + above.transpose(1, 0, 2))
    return out


def _by_parity(pair: list[WallOperator], parts: list[Floats]) -> Floats:
    """What opposite walls add up to, (2, ...): where modes have the same sign at both, and where
    not. Modes have one value at both walls but for the sign, so each is picked from the sums."""
    signs = [1.0 - 2.0 * wall.side for wall in pair]
    return np.array([sum(parts), sum(s * part for s, part in zip(signs, parts, strict=True))])


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


def with_objects(box: CoupledBox, objects: LossyObjects) -> CoupledBox:
    """Add lossy boxes to a room."""
    lift = box.lift[: len(box.high.n)]
    extra = object_blocks(box.low, box.high, lift, objects, len(box.f))
    coupling = np.concatenate([box.coupling, extra.transpose(1, 2, 0)], axis=2)
    return replace(box, coupling=coupling, coef=np.concatenate([box.coef, _loss(objects)]))


def _loss(objects: LossyObjects) -> Complexes:
    """What the matrices of objects are taken times, (B, F)."""
    return np.asarray(objects.area, dtype=np.complex128) / 4.0
