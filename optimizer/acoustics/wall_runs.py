"""Integrals over rectangles of a wall between in-plane orders; admittances by the run of sound.

An order (a, b) runs along the wall with the square of the wavenumber (a pi/Li)^2 + (b pi/Lj)^2. Two
orders of different run meet the mean of the admittances that each meets, so that the coupled
problem stays symmetric. The exact rule of a gapped piece has the product of what drives the flow
through it in both. Tried once with all pairs of wavenumbers, it moved damping by 3 % at most under
the clouds of tests/referee/geometry.csv, and under those 300 mm deep (test_deep_clouds.py) by up to
a third, towards finite elements, in a mode beside a strongly damped one of another run.
"""

from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.modes import Floats, Ints, cosine_integral

Pair = tuple[Floats, Floats]  # integrals of products of cosines (K, A, A), and of their slopes


@dataclass(frozen=True)
class Runs:
    """Wavenumbers along a wall (T,) at which admittances are given, and the axis of the room
    `only` (K,) along which the run of sound counts for each row; -1 where both of the wall do."""

    nodes: Floats
    only: Ints

    def matrices(
        self,
        pairs: tuple[Pair, Pair],
        spread: Floats,
        only: Ints,
        squares: list[Floats],
        axes: tuple[int, int],
    ) -> list[Floats]:
        """R matrices between in-plane orders of a wall for the rows on it: spread (K, T + 1, R).

        `pairs` are the integrals along each of its two directions, `squares` k^2 by order, `axes`
        those of the room. The entry of two orders takes the mean of the admittances that each
        meets, and what goes with slopes the product of the slopes.
        """
        if spread.shape[2] == 0:
            return []
        (pair_i, slope_i), (pair_j, slope_j) = pairs
        even = np.ptp(spread[:, :-1], axis=1).max(axis=1, initial=0.0) == 0.0
        even &= np.all(spread[:, -1] == 0.0, axis=1)
        out = [_plane_matrix(pair_i[even], pair_j[even], w) for w in spread[even, 0].T]
        tables = spread[~even].reshape(-1, spread.shape[1] * spread.shape[2])
        marked = np.concatenate([tables, only[~even, None]], axis=1)
        kinds, kind = np.unique(marked, axis=0, return_inverse=True)
        for index, row in enumerate(kinds):
            mine = np.flatnonzero(~even)[kind.ravel() == index]
            plain = _plane_matrix(pair_i[mine], pair_j[mine], np.ones(len(mine)))
            runs = [row[-1] in (-1, axis) for axis in axes]
            at = np.sqrt(np.add.outer(*(k2 * run for k2, run in zip(squares, runs, strict=True))))
            slopes = np.zeros_like(plain)
            if runs[1]:
                slopes += _plane_matrix(pair_i[mine], slope_j[mine], np.ones(len(mine)))
            if runs[0]:
                slopes += _plane_matrix(slope_i[mine], pair_j[mine], np.ones(len(mine)))
            for r, table in enumerate(row[:-1].reshape(len(self.nodes) + 1, -1).T):
                met = np.interp(at.ravel() ** 2, self.nodes**2, table[:-1])
                out[r] += 0.5 * (met[:, None] + met) * plain + table[-1] * slopes
        return out


def pair_integrals(order_max: int, lo: Floats, hi: Floats, length: float) -> Pair:
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
