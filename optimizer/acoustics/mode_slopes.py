"""What a piece does to the modes of a room that is treated already.

The table of first order (mode_criteria) takes the shapes of the bare room. With much on the walls
the shapes are others, and a piece counts by what sound there is where it hangs now: a small change
B of the problem A(k) x = 0 of the coupled modes moves a wavenumber by

    dk = -(x' B x) / (x' A'(k) x)

(first-order perturbation of a simple eigenvalue; A is symmetric, so x is its left vector too). It
ranks places well and sizes strong pieces badly, as every slope does. The low rigid modes of x are
taken alone, and corner fills as what they show at the wall.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.admittance import (
    base_admittance,
    endless_admittance,
    fill_axes,
    hiding,
    over_tiles,
    piece_kinds,
)
from optimizer.acoustics.coupled import CoupledModes
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.judge_modes import HELD, places_of
from optimizer.acoustics.low_decay_criteria import LowDecayFamily
from optimizer.acoustics.make_admittance import ALONG
from optimizer.acoustics.mode_criteria import ModeFamily, on_walls
from optimizer.acoustics.modes import IN_PLANE, beta_at, decay_time
from optimizer.acoustics.modes import Patches as WallPatches
from optimizer.acoustics.reactance import with_reactance
from optimizer.acoustics.scene import LOW_HZ, Complexes, Ints, Patches, Scene
from optimizer.acoustics.wall_runs import Pair, pair_integrals
from optimizer.room.geometry import Floats

__all__ = ["damping_slopes", "quantity_slopes"]


def damping_slopes(modes: CoupledModes, scene: Scene, patches: Patches) -> Floats:
    """Change (M, N) in 1/s of each mode's damping by each patch, hung in a box room as its modes
    are: its own admittance less what it hides of the bare surface and its tiles under it."""
    hz = modes.k.real * modes.low.c / (2.0 * np.pi)
    met = np.zeros((len(patches), len(hz)), dtype=np.complex128)
    tables, kind = piece_kinds(patches)
    own = np.array([beta_at(LOW_HZ, table, hz) for table in tables])  # (kinds, T + 1, M)
    hides = hiding(patches, hz)
    base = beta_at(LOW_HZ, base_admittance(scene), hz)
    axes = fill_axes(patches)
    for index, wall in _by_wall(modes, scene, patches.surface, patches.rect):
        met[index] -= hides[index] * base[patches.surface[index]] * wall.plain()
        for which, axis in sorted({*zip(kind[index].tolist(), axes[index].tolist(), strict=True)}):
            mine = np.flatnonzero((kind[index] == which) & (axes[index] == axis))
            met[index[mine]] += wall.taken(mine).run(own[which], axis)
    met -= _tiles_under(modes, scene, patches, hides)
    moved = -1j * modes.k * met / modes.slope
    return np.asarray(modes.low.c * moved.imag.T)


def quantity_slopes(
    criteria: Criteria, quantities: Floats, modes: CoupledModes, damping: Floats
) -> Floats:
    """Change (K, N) of the quantities of criteria that modes judge by changes of their damping
    (M, N), nan for other rows; `quantities` (K,) are those of the scene that has the modes.

    A row is taken to change in the proportion in which the decay that modes give it does.
    """
    shares, at = modes.shares, places_of(modes.low.n)
    times = decay_time(modes.delta)
    relative = damping / modes.delta[:, None]
    found = np.full((len(quantities), damping.shape[1]), np.nan)
    start = 0
    for family in criteria.families:
        rows = slice(start, start + len(family.rows))
        start = rows.stop
        if isinstance(family, ModeFamily):
            place = np.array([at[tuple(n)] for n in family.modes.n], dtype=np.int64)
            part = (shares[:, place] * times[:, None]).T  # (K, M)
            slope = part @ relative / part.sum(axis=1)[:, None]
            slope[modes.held[place] <= HELD] = np.nan
        elif isinstance(family, LowDecayFamily):
            place = np.array([at[tuple(n)] for n in family.by_mode.modes.n], dtype=np.int64)
            part = family.share @ (shares[:, place] * modes.delta[:, None]).T
            slope = part @ relative / part.sum(axis=1)[:, None]
        else:
            continue
        found[rows] = quantities[rows, None] * slope
    return found


@dataclass(frozen=True)
class _Wall:
    """Modes on one wall: `amplitude` (M, A, B) by in-plane order, `k2` (A,) and (B,) those orders'
    wavenumbers squared, and `pairs` the integrals over N rectangles along both directions, which
    are the room's `axes`."""

    amplitude: Complexes
    k2: tuple[Floats, Floats]
    pairs: tuple[Pair, Pair]
    axes: tuple[int, int]

    def taken(self, index: Ints) -> "_Wall":
        """The same for some of the rectangles."""
        (one, slope), (two, other) = self.pairs
        pairs = (one[index], slope[index]), (two[index], other[index])
        return _Wall(self.amplitude, self.k2, pairs, self.axes)

    def plain(self) -> Complexes:
        """Integral (N, M) of the square of each mode's pressure over each rectangle."""
        return self._between(self.pairs[0][0], self.pairs[1][0], self.amplitude)

    def run(self, table: Complexes, only: int) -> Complexes:
        """x' B x (N, M) of pieces with a table (T + 1, M) at ALONG by the run of sound, of which
        that along the axis `only` counts alone where it is not -1."""
        counts = [only in (-1, axis) for axis in self.axes]
        k2 = np.add.outer(*(k2 * on for k2, on in zip(self.k2, counts, strict=True)))
        weights = _between_nodes(k2.ravel(), ALONG**2)  # (A B, T)
        met = (weights @ table[:-1]).T.reshape(-1, *k2.shape)
        (one, slope), (two, other) = self.pairs
        total = self._between(one, two, self.amplitude * met)
        if np.any(table[-1] != 0.0):
            if counts[0]:
                total = total + table[-1] * self._between(slope, two, self.amplitude)
            if counts[1]:
                total = total + table[-1] * self._between(one, other, self.amplitude)
        return total

    def _between(self, first: Floats, second: Floats, other: Complexes) -> Complexes:
        """sum_abcd p_ab first_ac second_bd other_cd: (N, M)."""
        count, a, _ = first.shape
        m, _, b = other.shape
        along = other.transpose(1, 0, 2).reshape(a, m * b)
        flat = first.reshape(count * a, a)
        half = (flat @ along.real + 1j * (flat @ along.imag)).reshape(count, a, m, b)
        seen = half @ second[:, None]  # symmetric in b, d
        return np.asarray(np.einsum("mab,namb->nm", self.amplitude, seen, optimize=True))


def _by_wall(
    modes: CoupledModes, scene: Scene, surface: Ints, rects: Floats
) -> Iterator[tuple[Ints, _Wall]]:
    """The rectangles (N, 4) on each wall of the box: which they are, and the modes there."""
    size, n = modes.low.dimensions, modes.low.n
    walls: WallPatches = on_walls(size, scene, surface, rects)
    for axis, (i, j) in enumerate(IN_PLANE):
        shape = int(n[:, i].max()) + 1, int(n[:, j].max()) + 1
        one, two = (
            (np.pi * np.arange(c) / size[a]) ** 2 for c, a in zip(shape, (i, j), strict=True)
        )
        for side in (0, 1):
            index = np.flatnonzero((walls.axis == axis) & (walls.side == side))
            if not len(index):
                continue
            value = (-1.0) ** (side * n[:, axis]) / np.sqrt(modes.low.norm)
            amplitude = np.zeros((*shape, len(modes.k)), dtype=np.complex128)
            np.add.at(amplitude, (n[:, i], n[:, j]), (modes.amplitude * value).T)
            amplitude = np.moveaxis(amplitude, 2, 0)
            lo_i, lo_j, hi_i, hi_j = walls.rect[index].T
            pairs = (
                pair_integrals(shape[0] - 1, lo_i, hi_i, float(size[i])),
                pair_integrals(shape[1] - 1, lo_j, hi_j, float(size[j])),
            )
            yield index, _Wall(amplitude, (one, two), pairs, (i, j))


def _between_nodes(at: Floats, nodes: Floats) -> Floats:
    """Weights (N, T) that interpolate linearly between nodes (T,), ends held."""
    held = np.clip(at, nodes[0], nodes[-1])
    right = np.clip(np.searchsorted(nodes, held), 1, len(nodes) - 1)
    part = (held - nodes[right - 1]) / (nodes[right] - nodes[right - 1])
    weights = np.zeros((len(at), len(nodes)))
    weights[np.arange(len(at)), right - 1] = 1.0 - part
    weights[np.arange(len(at)), right] += part
    return weights


def _tiles_under(
    modes: CoupledModes, scene: Scene, patches: Patches, hides: Complexes
) -> Complexes:
    """What patches hide (N, M) of tiles under them, more than of the bare surface."""
    tiles, hidden = scene.tiles, np.zeros(hides.shape, dtype=np.complex128)
    if not len(tiles) or not len(patches):
        return hidden
    hz = modes.k.real * modes.low.c / (2.0 * np.pi)
    own = beta_at(LOW_HZ, with_reactance(endless_admittance(tiles)), hz)
    more = own - beta_at(LOW_HZ, base_admittance(scene), hz)[tiles.surface]
    piece, tile, common = over_tiles(patches, tiles)
    for index, wall in _by_wall(modes, scene, tiles.surface[tile], common):
        part = hides[piece[index]] * more[tile[index]] * wall.plain()
        np.add.at(hidden, piece[index], part)
    return hidden
