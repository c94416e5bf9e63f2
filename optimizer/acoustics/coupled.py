"""Coupled modes of the box with absorbing walls: response, mode frequencies and decay.

The problem and its matrices are in coupled_build.py; here it is solved, at a frequency for the
response to a source, and for the frequencies at which it has a solution without one.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import lu_factor, lu_solve
from scipy.optimize import linear_sum_assignment

from optimizer.acoustics.coupled_build import CoupledBox, unit_shapes, wavenumbers
from optimizer.acoustics.coupled_roots import Tracked, sharpened, slope_at
from optimizer.acoustics.coupled_walls import WallsAt, at_once
from optimizer.acoustics.modes import Complexes, Floats, Ints, Modes
from optimizer.together import together

TRACK_STEP_HZ = 25.0  # modes are followed in; 8 to 25 agree, in demo rooms but for 1 mode of 572
RESIDUAL = 1e-12  # of the right side, at which a solution is taken
REFINEMENTS = 8  # steps towards it before the matrix is solved in double precision


@dataclass(frozen=True)
class CoupledModes:
    """n (M, 3) orders of the rigid mode each grew from; f_hz (M,); delta (M,) damping, 1/s.

    Of the problem A(k) x = 0 that they solve: k (M,) wavenumbers, `amplitude` (M, L) of the low
    rigid modes `low` in x of unit length, `slope` (M,) x' A'(k) x, by which a small change B of A
    moves k by -(x' B x) / slope (first-order perturbation of a simple eigenvalue, A symmetric).
    """

    n: Ints
    f_hz: Floats
    delta: Floats
    k: Complexes
    amplitude: Complexes
    slope: Complexes
    low: Modes

    @property
    def held(self) -> Floats:
        """How much (L,) of each rigid mode's shape the modes found hold: 1 for all, less where it
        is in modes beyond the highest."""
        return np.asarray(np.sum(np.abs(self.amplitude) ** 2, axis=0))

    @property
    def shares(self) -> Floats:
        """Share (M, L) of each mode in what the room makes of each rigid mode's shape: the energy
        of that shape in it, of that in all modes found."""
        return np.asarray(np.abs(self.amplitude) ** 2 / np.maximum(self.held, 1e-300))


def log_frequencies(f_min: float = 20.0, f_max: float = 300.0, per_octave: int = 24) -> Floats:
    """Frequencies from f_min to at most f_max, evenly spaced on a log axis."""
    if not 0 < f_min < f_max or per_octave < 1:
        raise ValueError("log_frequencies: needs 0 < f_min < f_max and per_octave >= 1")
    steps = int(np.floor(np.log2(f_max / f_min) * per_octave + 1e-9))
    return np.asarray(f_min * 2.0 ** (np.arange(steps + 1) / per_octave))


def response(box: CoupledBox, f: ArrayLike, sources: ArrayLike, receivers: ArrayLike) -> Complexes:
    """Sound pressure (S, R, F) of each source at each receiver.

    Relative to the free-field pressure of the same source at 1 m (j w rho Q / 4 pi, so a source
    whose free-field response is flat); level 20 lg |p|. Sources (S, 3) and receivers (R, 3) are
    points. Convergence: tests/evidence/first_order_damping.md.
    ValueError for f outside (0, box.f_max], a point outside the room, or a pair closer than 1 cm.
    """
    hz = np.atleast_1d(np.asarray(f, dtype=np.float64))
    if np.any(hz <= 0) or np.any(hz > box.f_max * (1 + 1e-9)):
        raise ValueError(f"response: frequencies must lie in 0..{box.f_max:g} Hz")
    src, rec = (np.asarray(p, dtype=np.float64).reshape(-1, 3) for p in (sources, receivers))
    at_src, at_rec = box.shapes(src), box.shapes(rec)
    k = box.wavenumber(hz)
    p = _direct_tail(box, src, rec, k)
    first = float(np.min(k.real, initial=2.0 * np.pi * box.f_max / box.low.c))
    row = np.array([WallsAt(box, first).row(q) for q in k.real])
    parts = [np.flatnonzero(row == one) for one in np.unique(row)]
    answers = together([partial(_answered, WallsAt(box, first), k[part], at_src) for part in parts])
    for part, answer in zip(parts, answers, strict=True):
        p[:, :, part] += (at_rec.T @ answer).transpose(2, 1, 0)
    return 4.0 * np.pi * p


def coupled_modes(box: CoupledBox, f_max: float | None = None) -> CoupledModes:
    """Frequency and damping of every mode up to f_max (default box.f_max).

    Solves [diag(k_n^2 - k^2) + j k C(beta(f))] a = 0 with beta at the mode's own frequency. Each
    mode is followed from its rigid one while the frequency in k C rises from zero, so that none is
    lost or found twice, then sharpened; where that leads to a mode already found, or nowhere, it is
    undone. Sorted by frequency. ValueError when f_max is beyond box.f_max.
    """
    top = box.f_max if f_max is None else f_max
    if not 0 < top <= box.f_max:
        raise ValueError(f"coupled_modes: f_max must lie in 0..{box.f_max:g} Hz")
    hz_of = box.low.c / (2.0 * np.pi)
    near = [m for m in _tracked(*_follow(box, top), hz_of) if m.k.real * hz_of <= 1.03 * top]
    sharp = sharpened(box, near)
    orders: list[int] = []
    found: list[complex] = []
    slopes: list[complex] = []
    shapes = np.empty((0, len(box.k2)), dtype=np.complex128)
    for mode, (k, x, slope) in zip(near, sharp, strict=True):
        same = np.abs(np.array(found) - k) < 1e-6 * abs(k)
        if not np.isfinite(k) or np.any(np.abs(shapes.conj() @ x)[same] > 0.99):
            k, x = mode.k, mode.x / np.linalg.norm(mode.x)
            slope = slope_at(WallsAt(box, k.real), k, x)
        orders.append(mode.order)
        found.append(k)
        slopes.append(slope)
        shapes = np.vstack([shapes, x])
    k_all = np.array(found, dtype=np.complex128)
    order = np.argsort(k_all.real, kind="stable")
    order = order[k_all[order].real * hz_of <= top]
    f_hz = k_all[order].real * hz_of
    delta = box.low.c * (k_all[order].imag + 0.5 * np.interp(f_hz, box.f, box.air))
    n = box.low.n[np.array(orders, dtype=np.int64)[order]]
    slope_all = np.array(slopes, dtype=np.complex128)[order]
    low = shapes[order][:, : len(box.low.n)]
    return CoupledModes(n, f_hz, delta, k_all[order], low, slope_all, box.low)


def _answered(walls: WallsAt, k: Complexes, at_src: Floats) -> Complexes:
    """Amplitudes (F, N, S) of the basis functions at wavenumbers near each other."""
    return np.array([_solved(walls.system(complex(q)), at_src) for q in k])


def _solved(matrix: Complexes, right: Floats) -> Complexes:
    """Solution (N, S) of matrix x = right: factors in single precision, refined in double.

    The matrix is symmetric; turned it lies as the factorisation wants it.
    """
    factors = lu_factor(matrix.astype(np.complex64).T, overwrite_a=True, check_finite=False)
    x = np.zeros(right.shape, dtype=np.complex128)
    left = right.astype(np.complex128)
    for _ in range(REFINEMENTS):
        x += lu_solve(factors, left.astype(np.complex64), check_finite=False)
        left = right - matrix @ x
        if np.linalg.norm(left) < RESIDUAL * np.linalg.norm(right):
            return x
    return np.asarray(np.linalg.solve(matrix, right))


def _direct_tail(box: CoupledBox, src: Floats, rec: Floats, k: Complexes) -> Complexes:
    """What rigid-wall modes outside the basis add between each pair, (S, R, F).

    High modes one by one, less their part in the combined functions, plus all modes above: the
    sum over rigid modes of psi psi / (k_n^2 - s) equals the sum over image sources of
    exp(-q d) / (4 pi d) at s = -q^2; from there two Taylor steps in s reach k^2.
    """
    high_s, high_r = unit_shapes(box.high, src), unit_shapes(box.high, rec)
    all_s = np.concatenate([unit_shapes(box.low, src), high_s])
    all_r = np.concatenate([unit_shapes(box.low, rec), high_r])
    k_high = wavenumbers(box.high)
    lift = box.lift[: len(k_high)]
    lifted_s, lifted_r = lift.T @ high_s, lift.T @ high_r
    q = 2.0 * np.pi * box.f_max / box.low.c
    reach = 1.0 / (np.concatenate([wavenumbers(box.low), k_high]) ** 2 + q**2)
    resolvent = 1.0 / (k_high[:, None] ** 2 - k**2)
    lifted = 1.0 / (box.k2[len(box.low.n) :, None] - k**2)
    tail = np.zeros((len(src), len(rec), len(k)), dtype=np.complex128)
    for s in range(len(src)):
        for r in range(len(rec)):
            images = _image_series(src[s], rec[r], box.low.dimensions, q)
            pair = all_s[:, s] * all_r[:, r]
            for power in range(3):
                left = images[power] - pair @ reach ** (power + 1)
                tail[s, r] += left * (k**2 + q**2) ** power
            tail[s, r] += (high_s[:, s] * high_r[:, r]) @ resolvent
            tail[s, r] -= (lifted_s[:, s] * lifted_r[:, r]) @ lifted
    return tail


def _image_series(a: Floats, b: Floats, dimensions: Floats, q: float) -> tuple[float, float, float]:
    """Taylor coefficients in s, about -q^2, of the sum over images of exp(-q d) / (4 pi d)."""
    reach = 32.0 / q  # exp(-32) is left out
    steps = []
    for x, y, length in zip(a, b, dimensions, strict=True):
        n = np.arange(-int(reach / (2 * length)) - 2, int(reach / (2 * length)) + 3)
        steps.append(np.concatenate([2 * n * length + y - x, 2 * n * length + y + x]) ** 2)
    d2 = steps[0][:, None, None] + steps[1][:, None] + steps[2]
    d = np.sqrt(d2[d2 < reach**2])
    if np.linalg.norm(a - b) < 0.01:
        raise ValueError("response: source and receiver are closer than 1 cm")
    e = np.exp(-q * d) / (4.0 * np.pi)
    second = e @ (q * d + 1.0) / (8.0 * q**3)
    return float(np.sum(e / d)), float(np.sum(e) / (2.0 * q)), float(second)


def _follow(box: CoupledBox, top: float) -> tuple[Floats, Complexes, list[Complexes]]:
    """Eigenvalues k^2 (G, M) of diag(k_n^2) + j k C as the frequency in k C rises, at grid (G,).

    The M low modes alone, which is exact where k^2 is the eigenvalue: the combined functions answer
    them as at k. Neighbouring steps are matched one to one by the overlap of their vectors, which
    are (N, M) with the combined functions.
    """
    count = int(np.ceil(1.1 * top / TRACK_STEP_HZ)) + 1
    grid = np.linspace(0.0, 1.1 * top, count)
    own, size = len(box.low.n), len(box.k2)
    k2 = np.empty((count, own), dtype=np.complex128)
    k2[0] = box.k2[:own]
    vectors: list[Complexes] = [np.eye(len(box.k2), own, dtype=np.complex128)]
    k_at = 2.0 * np.pi * grid / box.low.c
    parts = np.split(np.arange(1, count), range(at_once(box), count - 1, at_once(box)))
    systems = (m for part in parts for m in box.wall_matrices(grid[part], 1j * k_at[part]))
    for i, matrix in enumerate(systems, 1):
        matrix[range(size), range(size)] += box.k2
        matrix[range(own, size), range(own, size)] -= k_at[i] ** 2
        answer = -np.linalg.solve(matrix[own:, own:], matrix[own:, :own])
        values, x = np.linalg.eig(matrix[:own, :own] + matrix[:own, own:] @ answer)
        x = np.concatenate([x, answer @ x])
        x /= np.linalg.norm(x, axis=0)
        overlap = vectors[-1].conj().T @ x
        _, order = linear_sum_assignment(-(np.abs(overlap) ** 2))
        turn = overlap[np.arange(own), order]
        k2[i] = values[order]
        vectors.append(x[:, order] * np.exp(-1j * np.angle(turn)))
    return grid, k2, vectors


def _tracked(
    grid: Floats, k2: Complexes, vectors: list[Complexes], hz_of: float
) -> Iterator[Tracked]:
    """Modes within the grid, read off between the two steps where each meets its own frequency."""
    for mode in range(1, k2.shape[1]):
        above = hz_of * np.sqrt(k2[:, mode]).real - grid
        if above[-1] > 0.0:  # beyond the end of the tracked range
            continue
        right = int(np.argmax(above <= 0.0))
        step = float(above[right - 1] / (above[right - 1] - above[right]))
        k = complex(np.sqrt(k2[right - 1, mode] * (1.0 - step) + k2[right, mode] * step))
        x = vectors[right - 1][:, mode] * (1.0 - step) + vectors[right][:, mode] * step
        yield Tracked(mode, k, x)
