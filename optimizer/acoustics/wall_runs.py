"""Integrals over rectangles of a wall between in-plane orders; admittances by the run of sound.

An order (a, b) runs along the wall with the square of the wavenumber (a pi/Li)^2 + (b pi/Lj)^2. Two
orders of different run meet the mean of the admittances that each meets, so that the coupled
problem stays symmetric. The exact rule of a gapped piece has the product of what drives the flow
through it in both. Tried once with all pairs of wavenumbers, it moved damping by 3 % at most under
the clouds of tests/referee/geometry.csv, and under those 300 mm deep (test_deep_clouds.py) by up to
a third, towards finite elements, in a mode beside a strongly damped one of another run.
"""

from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.modes import Floats, Ints, cosine_integral

AT_ONCE = 32  # shapes multiplied at a time

Pair = tuple[Floats, Floats]  # integrals of products of cosines (K, A, A), and of their slopes


@dataclass(frozen=True)
class WallTerms:
    """Symmetric matrices between the A in-plane orders of a wall, one for each of R spectra.

    That of spectrum r is the sum of 1/2 (D P + P D) over the terms plain (Q, A, A), D the diagonal
    of met (A, Q, R) at r, and of share[r] F over the terms flat (G, A, A), share (G, R).
    """

    plain: Floats
    met: Floats
    flat: Floats
    share: Floats

    def own_spectra(self) -> tuple["WallTerms", Floats | None]:
        """The same by fewer spectra (S) of the wall's own and how they make up (S, R) all, where
        nothing on it depends on the run of sound; else itself and None."""
        if len(self.plain) or len(self.flat) >= self.share.shape[1]:
            return self, None
        alone = np.eye(len(self.flat))
        return replace(self, met=self.met[:, :, : len(alone)], share=alone), self.share

    def columns(self, orders: Ints) -> Floats:
        """The columns at `orders` (B,) of all matrices, (A, B, R)."""
        some = np.ascontiguousarray(self.flat[:, :, orders].transpose(1, 2, 0))
        out = (some.reshape(-1, len(self.share)) @ self.share).reshape(*some.shape[:2], -1)
        if len(self.plain):
            some = np.ascontiguousarray(0.5 * self.plain[:, :, orders].transpose(1, 2, 0))
            out += some @ self.met
            across = np.ascontiguousarray(some.transpose(1, 0, 2)) @ self.met[orders]
            out += across.transpose(1, 0, 2)
        return np.asarray(out)

    def among(self, shapes: Floats) -> Floats:
        """Products (W, W, R) of shapes (A, W) with all matrices, with D P for 1/2 (D P + P D): so
        symmetric only when the half of each is taken with the half of its transpose."""
        each = np.concatenate([self.plain, self.flat])
        seen = (each.reshape(-1, each.shape[-1]) @ shapes).reshape(len(each), *shapes.shape)
        even = np.broadcast_to(self.share, (len(shapes), *self.share.shape))
        weight = np.concatenate([self.met, even], axis=1)
        width = shapes.shape[1]
        out = np.empty((width, width, weight.shape[2]))
        for start in range(0, width, AT_ONCE):
            some = np.ascontiguousarray(seen[:, :, start : start + AT_ONCE].transpose(1, 2, 0))
            part = shapes.T @ (some @ weight).reshape(len(shapes), -1)
            out[:, start : start + AT_ONCE] = part.reshape(width, -1, weight.shape[2])
        return out


@dataclass(frozen=True)
class Runs:
    """Wavenumbers along a wall (T,) at which admittances are given, and the axis of the room
    `only` (K,) along which the run of sound counts for each row; -1 where both of the wall do."""

    nodes: Floats
    only: Ints

    def terms(
        self,
        pairs: tuple[Pair, Pair],
        spread: Floats,
        only: Ints,
        squares: list[Floats],
        axes: tuple[int, int],
    ) -> WallTerms:
        """Matrices between in-plane orders of a wall for the rows on it: spread (K, T + 1, R).

        `pairs` are the integrals along each of its two directions, `squares` k^2 by order, `axes`
        those of the room. The entry of two orders takes the mean of the admittances that each
        meets, and what goes with slopes the product of the slopes. Rows alike in spread and `only`
        are taken together.
        """
        (pair_i, slope_i), (pair_j, slope_j) = pairs
        count, size = spread.shape[2], len(squares[0]) * len(squares[1])
        plain, met, flat, share = [], [], [], []
        for mine in _alike(spread, only):
            table, way = spread[mine[0]], int(only[mine[0]])
            area = _plane_matrix(pair_i[mine], pair_j[mine])
            if np.all(table[-1] == 0.0) and np.all(table[:-1] == table[0]):
                flat.append(area)
                share.append(table[0])
                continue
            runs = [way in (-1, axis) for axis in axes]
            square = np.add.outer(*(k2 * run for k2, run in zip(squares, runs, strict=True)))
            plain.append(area)
            met.append(_between(self.nodes**2, table[:-1], square.ravel()))
            slopes = np.zeros_like(area)
            if runs[1]:
                slopes += _plane_matrix(pair_i[mine], slope_j[mine])
            if runs[0]:
                slopes += _plane_matrix(slope_i[mine], pair_j[mine])
            flat.append(slopes)
            share.append(table[-1])
        return WallTerms(
            np.array(plain).reshape(-1, size, size),
            np.array(met).reshape(-1, size, count).transpose(1, 0, 2),
            np.array(flat).reshape(-1, size, size),
            np.array(share).reshape(-1, count),
        )


def _alike(spread: Floats, only: Ints) -> list[Ints]:
    """Indices of the rows that have the same spread (K, T + 1, R) and axis, kind by kind."""
    kinds: dict[tuple[bytes, int], list[int]] = {}
    for index, (table, way) in enumerate(zip(spread, only.tolist(), strict=True)):
        kinds.setdefault((table.tobytes(), way), []).append(index)
    return [np.array(mine, dtype=np.int64) for mine in kinds.values()]


def _between(nodes: Floats, table: Floats, at: Floats) -> Floats:
    """Values (A, R) at (A,) of a table (T, R) given at nodes (T,), linear, ends held."""
    if len(nodes) == 1:
        return np.repeat(table, len(at), axis=0)
    right = np.clip(np.searchsorted(nodes, at), 1, len(nodes) - 1)
    step = np.clip((at - nodes[right - 1]) / (nodes[right] - nodes[right - 1]), 0.0, 1.0)
    return np.asarray(table[right - 1] * (1.0 - step)[:, None] + table[right] * step[:, None])


def pair_integrals(order_max: int, lo: Floats, hi: Floats, length: float) -> Pair:
    """int cos(a pi x/L) cos(b pi x/L) dx over [lo, hi] -> (K, order_max + 1, order_max + 1), and
    the same of their slopes."""
    single = cosine_integral(2 * order_max, lo, hi, length)
    a = np.arange(order_max + 1)
    apart, together = single[np.abs(a[:, None] - a)], single[a[:, None] + a]
    k2 = np.outer(a, a)[:, :, None] * (np.pi / length) ** 2
    pair, slope = 0.5 * (apart + together), 0.5 * k2 * (apart - together)
    return np.moveaxis(pair, 2, 0), np.moveaxis(slope, 2, 0)


def _plane_matrix(pair_i: Floats, pair_j: Floats) -> Floats:
    """sum_k int_k cos cos cos cos dS between in-plane order pairs (a, c) and (b, d)."""
    n_i, n_j = pair_i.shape[1], pair_j.shape[1]
    flat = pair_i.reshape(-1, n_i * n_i).T @ pair_j.reshape(-1, n_j * n_j)
    grid = flat.reshape(n_i, n_i, n_j, n_j).transpose(0, 2, 1, 3)
    return np.asarray(grid.reshape(n_i * n_j, n_i * n_j))
