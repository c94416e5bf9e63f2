"""Modes of the coupled problem sharpened from near ones."""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lu_factor, lu_solve

from optimizer.acoustics.coupled_build import CoupledBox
from optimizer.acoustics.coupled_walls import WallsAt
from optimizer.acoustics.modes import Complexes

FACTORS = 5  # times a matrix is factored towards a mode before it is given up
ANSWERS = 4  # steps with each of them
RESIDUAL_OF_MODE = 1e-8  # over k^2; the error of a mode goes with its square
APART = 1e-6  # of k, by which a matrix is factored beside it, where it would be singular
ROOT_STEPS = 30
CONVERGED = 1e-13  # last step of a wavenumber, relative


@dataclass(frozen=True)
class Tracked:
    """A mode grown from the rigid one of this order, near its wavenumber and amplitudes x (N,)."""

    order: int
    k: complex
    x: Complexes


def sharpened(box: CoupledBox, modes: list[Tracked]) -> list[tuple[complex, Complexes, complex]]:
    """Wavenumber, amplitudes of unit length and `slope_at` of each mode, in turn of frequency so
    that nearby ones meet the same matrices of the walls."""
    out: dict[int, tuple[complex, Complexes, complex]] = {}
    rising = sorted(modes, key=lambda m: m.k.real)
    walls = WallsAt(box, rising[0].k.real if rising else 0.0)
    for mode in rising:
        k, x = _sharp(box, walls, mode.k, mode.x)
        x = x / np.linalg.norm(x)
        out[mode.order] = k, x, slope_at(walls, k, x) if np.isfinite(k) else complex("nan")
    return [out[mode.order] for mode in modes]


def slope_at(walls: WallsAt, k: complex, x: Complexes) -> complex:
    """x' A'(k) x of A(k) = diag(k_n^2 - k^2) + j k C."""
    loss, slope = walls.met(k, x)
    return complex(1j * loss + 1j * k * slope - 2.0 * k * (x @ x))


def _sharp(box: CoupledBox, walls: WallsAt, k: complex, x: Complexes) -> tuple[complex, Complexes]:
    """Solution of [diag(k_n^2 - k^2) + j k C] x = 0 from a near pair; k is NaN if none is found.

    Symmetric as the matrix is, its transposed solution is the same and k is the root of
    x' [...] x = 0, exact to second order in the error of x. Each x is answered with factors in
    single precision from near k: first by inverse iteration, then by residual inverse iteration
    (Neumaier, SIAM J. Numer. Anal. 22 (1985) 914; from memory), down to RESIDUAL_OF_MODE.
    """
    first, left = _root(box, walls, k, x)
    if np.linalg.norm(left) < RESIDUAL_OF_MODE * abs(first) ** 2:
        return first, x
    k = first if np.isfinite(first) else k
    for _ in range(FACTORS):
        beside = walls.system(k, APART).astype(np.complex64).T  # the same, as factored best
        factors = lu_factor(beside, overwrite_a=True, check_finite=False)
        pull = 2.0 * k * x - 1j * walls.times(k, x)
        x = lu_solve(factors, pull.astype(np.complex64), check_finite=False).astype(np.complex128)
        for _ in range(ANSWERS):
            x /= np.linalg.norm(x)
            found, left = _root(box, walls, k, x)
            if not np.isfinite(found):
                return found, x
            k = found
            if np.linalg.norm(left) < RESIDUAL_OF_MODE * abs(k) ** 2:
                return k, x
            x = x - lu_solve(factors, left.astype(np.complex64), check_finite=False)
    return complex("nan"), x


def _root(box: CoupledBox, walls: WallsAt, k: complex, x: Complexes) -> tuple[complex, Complexes]:
    """The k near the one given with x' [diag(k_n^2 - k^2) + j k C] x = 0, and [...] x (N,) there;
    NaN if there is none."""
    x_over = x / (x @ x)
    stiff = complex(x_over @ (box.k2 * x))
    known = -1
    at, before = k.real, (np.nan, np.nan)
    for _ in range(ROOT_STEPS):
        left, step = walls.beside(at)
        if left != known:
            known = left
            one, two = (end @ x for end in walls.ends(left))
            loss_one, loss_two = complex(x_over @ one), complex(x_over @ two)
        loss = loss_one * (1.0 - step) + loss_two * step
        k = complex(0.5 * (1j * loss + np.sqrt(4.0 * stiff - loss**2)))
        gap = k.real - at
        if not abs(gap) > CONVERGED * abs(k):
            return k, (box.k2 - k**2) * x + 1j * k * (one * (1.0 - step) + two * step)
        slope = (gap - before[1]) / (at - before[0])  # a secant step, but the first
        before = at, gap
        at -= gap / slope if np.isfinite(slope) and slope != 0.0 else -gap
    return complex("nan"), x
