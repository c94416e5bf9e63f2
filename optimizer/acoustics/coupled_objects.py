"""Lossy objects in a coupled modal problem: the mean of products of modes over their boxes.

Part of coupled_build, which says what it adds to.
"""

from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.modes import Floats, Modes, check_inside


@dataclass(frozen=True)
class LossyObjects:
    """Absorbing furniture: boxes (B, 6) lo xyz, hi xyz; area (B, F) absorption area, m2.

    A loss of density p^2/(rho c) times area/4 spread over the box; see modes.object_damping.
    """

    boxes: Floats
    area: Floats


def object_blocks(
    low: Modes, high: Modes, lift: Floats, objects: LossyObjects, count: int
) -> Floats:
    """The mean of psi_m psi_n over each lossy box, (B, N, N), by Gauss points."""
    place = np.asarray(objects.boxes, dtype=np.float64).reshape(-1, 6)
    area = np.asarray(objects.area, dtype=np.float64)
    check_inside(place.reshape(-1, 3), low.dimensions, "objects")
    if area.shape != (len(place), count) or np.any(area < 0):
        raise ValueError("objects: area must be (boxes, frequencies) and not negative")
    x, w = np.polynomial.legendre.leggauss(8)
    weight = np.multiply.outer(np.multiply.outer(w, w), w).ravel() / 8.0
    out = []
    for row in place:
        points = row[:3] + np.add.outer(x, np.ones(3)) / 2.0 * (row[3:] - row[:3])
        every = np.concatenate([_on_grid(low, points), _lifted_on_grid(high, points, lift)])
        out.append((every * weight) @ every.T)
    return np.array(out).reshape(-1, len(low.n) + lift.shape[1], len(low.n) + lift.shape[1])


def _on_grid(modes: Modes, points: Floats) -> Floats:
    """Unit-norm modes (M, G^3) on the grid of coordinates points (G, 3) along the axes."""
    x, y, z = (wave[n] for wave, n in zip(_waves(modes, points), modes.n.T, strict=True))
    x = x / np.sqrt(modes.norm)[:, None]
    flat = (x[:, :, None] * y[:, None, :]).reshape(len(x), -1)
    return np.asarray((flat[:, :, None] * z[:, None, :]).reshape(len(x), -1))


def _lifted_on_grid(modes: Modes, points: Floats, lift: Floats) -> Floats:
    """Combinations lift (M, P) of unit-norm modes on a grid, (P, G^3); those of one order along z
    together."""
    x, y, z = _waves(modes, points)
    scaled = lift / np.sqrt(modes.norm)[:, None]
    out = np.zeros((lift.shape[1], len(points) ** 2, len(points)))
    for order, wave in enumerate(z):
        own = np.flatnonzero(modes.n[:, 2] == order)
        flat = x[modes.n[own, 0]][:, :, None] * y[modes.n[own, 1]][:, None, :]
        out += (scaled[own].T @ flat.reshape(len(own), -1))[:, :, None] * wave
    return out.reshape(lift.shape[1], len(points) ** 3)


def _waves(modes: Modes, points: Floats) -> list[Floats]:
    """Cosines (orders, G) along each axis at coordinates points (G, 3)."""
    tops = modes.n.max(axis=0, initial=0)
    share = points / modes.dimensions
    return [
        np.cos(np.pi * np.outer(np.arange(t + 1), at)) for t, at in zip(tops, share.T, strict=True)
    ]
