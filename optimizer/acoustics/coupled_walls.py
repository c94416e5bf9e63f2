"""Matrices of the coupled modal problem frequency by frequency, a few made at a time."""

from functools import lru_cache

import numpy as np

from optimizer.acoustics.coupled_build import CoupledBox
from optimizer.acoustics.modes import Complexes

AT_ONCE_BYTES = 2.0**25  # of matrices that are made together


def at_once(box: CoupledBox) -> int:
    """How many frequencies matrices are made for at a time."""
    return max(4, int(AT_ONCE_BYTES / (16 * len(box.k2) ** 2)))


class WallsAt:
    """C(w) at any frequency, from those at the two frequencies beside it at which the admittance is
    given, between which it is linear in log frequency; a few in a row are made at a time."""

    def __init__(self, box: CoupledBox, first_k: float = 0.0) -> None:
        self.box = box
        self.log_k = np.log(2.0 * np.pi * box.f / box.low.c)
        self.at_once = at_once(box)
        self.rows = lru_cache(maxsize=2)(self._row)
        self.offset = self.beside(first_k)[0] % self.at_once

    def row(self, k: float) -> int:
        """Which wavenumbers are made together, first_k and those above it in one."""
        return (self.beside(k)[0] - self.offset) // self.at_once

    def _row(self, first: int) -> Complexes:
        return self.box.wall_matrices(self.box.f[max(first, 0) : first + self.at_once + 1])

    def ends(self, left: int) -> tuple[Complexes, Complexes]:
        """C (N, N) at a frequency of the box and at the next."""
        first = left - (left - self.offset) % self.at_once
        row, place = self.rows(first), left - max(first, 0)
        return row[place], row[min(place + 1, len(row) - 1)]

    def beside(self, k: float) -> tuple[int, float]:
        """The frequency below that of wavenumber k, and how far it is to the next, 0 to 1."""
        x = float(np.log(max(k, 1e-9)))
        left = max(min(int(np.searchsorted(self.log_k, x)), len(self.log_k) - 1) - 1, 0)
        if len(self.log_k) == 1:
            return left, 0.0
        step = (x - self.log_k[left]) / (self.log_k[left + 1] - self.log_k[left])
        return left, float(min(max(step, 0.0), 1.0))

    def system(self, k: complex, apart: float = 0.0) -> Complexes:
        """diag(k_n^2 - k^2) + j k C (N, N), C at the frequency of k; k is moved by a part of it."""
        left, step = self.beside(k.real)
        one, two = self.ends(left)
        k *= 1.0 + apart
        out = one * (1j * k * (1.0 - step))
        out += two * (1j * k * step)
        diagonal = np.einsum("nn->n", out)  # a view
        diagonal += self.box.k2 - k**2
        return np.asarray(out)

    def met(self, k: complex, x: Complexes) -> tuple[complex, complex]:
        """x' C x at the frequency of k for x (N,), and how that changes with k."""
        left, step = self.beside(k.real)
        one, two = (complex(x @ (end @ x)) for end in self.ends(left))
        if not 0.0 < step < 1.0:
            return one * (1.0 - step) + two * step, 0j
        apart = float(self.log_k[left + 1] - self.log_k[left])
        return one * (1.0 - step) + two * step, (two - one) / (apart * k.real)

    def times(self, k: complex, x: Complexes) -> Complexes:
        """C x at the frequency of k for x (N,)."""
        left, step = self.beside(k.real)
        one, two = self.ends(left)
        return np.asarray((one @ x) * (1.0 - step) + (two @ x) * step)
