"""What absorbing walls excite in the modes above the band: lumped modes, and combinations of modes.

Part of coupled_build, which says why.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.linalg import eigh
from scipy.sparse import csr_array

from optimizer.acoustics.modes import IN_PLANE, Complexes, Floats, Ints, Modes
from optimizer.acoustics.wall_runs import WallTerms

COMBINED_TOL = 0.003  # singular value, relative to the highest wavenumber, below which they go,
COMBINED_SMALL = 0.1  # unless it is above this share of the largest one
FAINT = 1e-3  # share of the strongest part of the admittances below which a part does not count
LUMPED_ORDERS = 400  # orders of each parity summed into one lumped function


@dataclass(frozen=True)
class NearWall:
    """Lumped modes of one axis: in-plane orders (N, 2), parity (N,), wavenumber, wall value."""

    plane: Ints
    parity: Ints
    k_near: Floats
    value: Floats


@dataclass(frozen=True)
class WallOperator:
    """The wall at the end `side` of an axis: `matrices` between its A in-plane orders, `orders`
    (B,) those of low modes, which of them each low mode has (L,) and how strongly (L,), the same as
    incidence (L, B), that of high modes (A, H), and the columns (A, B, S) of the matrices at
    `orders`.

    The matrices of the R spectra of the room are those of S own of the wall by `mix` (S, R), or
    those themselves where that is None.
    """

    axis: int
    side: int
    matrices: WallTerms
    orders: Ints
    which: Ints
    value: Floats
    from_low: csr_array
    at_high: csr_array
    columns: Floats
    mix: Floats | None

    def driven(self, low: Floats) -> Floats:
        """What amplitudes (L, R, W) of low modes excite in the in-plane orders, (A, W), all
        spectra added up."""
        met = (self.from_low.T @ low.reshape(len(low), -1)).reshape(-1, *low.shape[1:])
        met = met if self.mix is None else self.mix @ met
        return np.asarray(self._flat @ met.reshape(-1, low.shape[2]))

    def answered(self, seen: Floats) -> Floats:
        """What low modes take, (L, R, W), from amplitudes (A, W) of in-plane orders."""
        met = (self._flat.T @ seen).reshape(len(self.orders), -1, seen.shape[1])
        met = met if self.mix is None else self.mix.T @ met
        taken = self.from_low @ met.reshape(len(met), -1)
        return np.asarray(taken.reshape(-1, *met.shape[1:]))

    def among_low(self) -> Floats:
        """Matrices (B, B, R) between the in-plane orders of low modes."""
        return self._by_spectrum(self.columns[self.orders])

    def from_high(self, seen: Floats) -> Floats:
        """Integrals (W, B, R) between functions (A, W) at the wall and in-plane orders of low
        modes."""
        met = (seen.T @ self._flat).reshape(seen.shape[1], len(self.orders), -1)
        return self._by_spectrum(met)

    def among_high(self, seen: Floats) -> Floats:
        """Integrals (W, W, R) between functions (A, W) at the wall, symmetric only when the half of
        each is taken with the half of its transpose."""
        return self._by_spectrum(self.matrices.among(seen))

    def _by_spectrum(self, parts: Floats) -> Floats:
        """Parts (..., S) of own spectra as those (..., R) of the room's."""
        return parts if self.mix is None else np.asarray(parts @ self.mix)

    @property
    def _flat(self) -> Floats:
        return self.columns.reshape(len(self.columns), -1)


def near_wall(high: Modes, axis: int, k_cut: float) -> NearWall:
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


def combined_functions(
    n_low: int, k_high: Floats, walls: list[WallOperator], coef: Complexes, k_top: float, most: int
) -> tuple[Floats, Floats]:
    """Combinations, at most so many, of high modes that carry what the walls excite in them.

    The low modes excite B = k D^(-1/2) C_HL in the high ones, D = diag(k_H^2 - k_top^2/2), their
    answer half-way up the band. Its leading left singular vectors (randomised range finder,
    Halko, Martinsson, Tropp, SIAM Rev. 53 (2011) 217) are scaled back, made orthonormal and
    rotated so that their stiffness is diagonal.
    Returns lift (H, P) and squared wavenumbers (P,).
    """
    size = k_top * np.max(np.abs(coef), axis=1, initial=0.0)
    scale = np.where(size > FAINT * size.max(initial=0.0), size, 0.0)
    strong = np.flatnonzero(scale)
    root = np.sqrt(k_high**2 - 0.5 * k_top**2)
    width = min(most + 20, len(k_high))
    probe = np.zeros((n_low, len(size), width))
    random = _random(len(strong), n_low, width)
    probe[:, strong] = (random * scale[strong, None, None]).transpose(1, 0, 2)
    sketch = np.zeros((len(k_high), width))
    for wall in walls:
        sketch += wall.at_high.T @ wall.driven(probe)
    q = np.linalg.qr(sketch / root[:, None])[0]
    rows = np.zeros(probe.shape)
    for wall in walls:
        rows += wall.answered(wall.at_high @ (q / root[:, None]))
    each = (rows * scale[:, None])[:, strong].reshape(-1, width)
    s2, turn = np.linalg.eigh(each.T @ each)
    s, turn = np.sqrt(np.maximum(s2[::-1], 0.0)), turn[:, ::-1]
    keep = s > min(COMBINED_TOL * k_top, COMBINED_SMALL * float(np.max(s, initial=0.0)))
    chosen = (q @ turn[:, keep][:, :most]) / root[:, None]
    k2, basis = eigh(chosen.T @ (k_high[:, None] ** 2 * chosen), chosen.T @ chosen)
    return chosen @ basis, k2


@lru_cache(maxsize=2)
def _random(*shape: int) -> Floats:
    """The same numbers for the same shape; a room is judged many times over."""
    out = np.random.default_rng(0).standard_normal(shape)
    out.setflags(write=False)
    return out
