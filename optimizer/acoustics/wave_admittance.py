"""Wall admittance as a small passive network, so that one run covers all frequencies.

A locally reacting wall of normalised admittance beta = rho c / Z is written as parallel branches

    beta(s) = sum_m 1 / (L_m s + R_m + K_m / s),     L, R, K >= 0

(inertance, resistance, stiffness; all normalised by rho c, units s, 1, 1/s). Every such sum is
positive real: the wall can only take energy, whatever the numbers, so the solver stays stable.

Why a filter and not one run per band: a filter follows resistance and reactance at all
frequencies at once, and costs a few per cent of a run over constant walls (a quarter of it if every
wall has six branches). Four octave runs would cost three further runs and give every wall a flat,
purely resistive admittance within the octave, which is wrong by tens of per cent for a porous layer
that doubles its absorption from one octave to the next (figures in tests/evidence/wave_cost.md).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares, nnls

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LOW_HZ, HIGH_HZ = 2.0, 2e4
QUALITY = (0.1, 0.3, 1.0, 3.0, 10.0, 30.0)
APART = 0.35
TINY = 1e-30
PEAK = 3.0  # how much further off than the rms a single sample of a close fit may be


@dataclass(frozen=True)
class Admittance:
    """Parallel branches of a wall: inertance (s), resistance, stiffness (1/s), each (M,).

    No branch at all is a rigid wall. ValueError for a negative or empty (all zero) branch.
    """

    inertance: Floats
    resistance: Floats
    stiffness: Floats

    def __post_init__(self) -> None:
        parts = [
            np.array(part, dtype=np.float64).reshape(-1)
            for part in (self.inertance, self.resistance, self.stiffness)
        ]
        if len({len(part) for part in parts}) != 1:
            raise ValueError("admittance: inertance, resistance and stiffness differ in length")
        total = np.sum(parts, axis=0)
        if any(np.any(part < 0.0) for part in parts) or not np.all(np.isfinite(total)):
            raise ValueError("admittance: branches must be finite and not negative (passive)")
        if np.any(total <= 0.0):
            raise ValueError("admittance: a branch of zero impedance is not possible")
        for name, part in zip(("inertance", "resistance", "stiffness"), parts, strict=True):
            object.__setattr__(self, name, part)

    def at(self, frequency: ArrayLike) -> Complexes:
        """beta (...) at frequencies in Hz above 0."""
        s = 2j * np.pi * np.asarray(frequency, dtype=np.float64)[..., None]
        return np.asarray(
            np.sum(1.0 / (self.inertance * s + self.resistance + self.stiffness / s), axis=-1)
        )


RIGID = Admittance(np.zeros(0), np.zeros(0), np.zeros(0))


def constant_admittance(beta: float) -> Admittance:
    """The same real admittance at all frequencies; 0 is rigid. ValueError when negative."""
    if not np.isfinite(beta) or beta < 0.0:
        raise ValueError(f"admittance must be finite and not negative, got {beta}")
    return Admittance(np.zeros(1), np.array([1.0 / beta]), np.zeros(1)) if beta > 0.0 else RIGID


def fit_admittance(
    frequency: ArrayLike, beta: ArrayLike, branches: int = 6, tolerance: float = 0.005
) -> Admittance:
    """Passive branches that follow sampled admittance.

    frequency (F,) Hz, ascending, at least two; beta (F,) complex, or real: then only the real part
    is fitted and the reactance is the one that causality attaches to it. Branches are added one at
    a time, each time refining all of them, until the rms relative error is below `tolerance` and
    the largest below three times that, or `branches` are in use. The real part (which absorbs) and
    the imaginary part count relative to their own size, the real one at least to 5 % of |beta|.
    Check the result with `Admittance.at`.
    ValueError for a negative real part or unusable frequencies.
    """
    f = np.asarray(frequency, dtype=np.float64)
    y = np.asarray(beta)
    if f.ndim != 1 or f.shape != y.shape or len(f) < 2 or np.any(np.diff(f) <= 0) or f[0] <= 0:
        raise ValueError("fit_admittance: frequency and beta must be equally long and ascending")
    if np.any(y.real < 0.0) or not np.all(np.isfinite(y)):
        raise ValueError("fit_admittance: the real part must not be negative (passive wall)")
    if not np.any(np.abs(y) > 0.0):
        return RIGID
    problem = _Problem(f, y.astype(np.complex128), np.iscomplexobj(y))
    best = problem.one_by_one(branches, tolerance)
    if not problem.close(best, tolerance):
        best = min(best, problem.all_at_once(branches), key=problem.error)
    return Admittance(best[:, 0], best[:, 1], best[:, 2])


@dataclass(frozen=True)
class _Problem:
    """Sampled admittance to be met; branches are rows (L, R, K)."""

    f: Floats
    beta: Complexes
    reactive: bool

    def residual(self, rows: Floats) -> Floats:
        return self._weigh(_sum(rows, self.f) - self.beta)

    def error(self, rows: Floats) -> float:
        return float(np.sqrt(np.mean(self.residual(rows) ** 2)))

    def close(self, rows: Floats, tolerance: float) -> bool:
        """Whether the rms error is within the tolerance, and no sample off by PEAK times that."""
        off = self.residual(rows)
        rms, largest = np.sqrt(np.mean(off**2)), np.abs(off).max()
        return bool(rms < tolerance and largest < PEAK * tolerance)

    def _weigh(self, difference: Complexes) -> Floats:
        """Differences (..., F) relative to the size of the parts, real ones before imaginary."""
        size = np.maximum(np.abs(self.beta), 1e-3 * np.abs(self.beta).max())
        real = difference.real / np.maximum(self.beta.real, 0.05 * size)
        if not self.reactive:
            return np.asarray(real)
        return np.concatenate([real, difference.imag / size], axis=-1)

    def one_by_one(self, branches: int, tolerance: float) -> Floats:
        """Add the branch that helps most and refine all, until it no longer helps."""
        best, miss = np.zeros((0, 3)), 1.0
        for _ in range(branches):
            trial = self.refine(np.vstack([best, self._next_branch(best)]))
            if self.error(trial) >= miss:
                break
            best, miss = trial, self.error(trial)
            if self.close(best, tolerance):
                break
        return best

    def all_at_once(self, branches: int) -> Floats:
        """Refine the strongest branches of a non-negative mixture of the whole catalogue."""
        shapes = _catalogue(self.f)
        strength, _ = nnls(self._columns(shapes).T, self._weigh(self.beta))
        rows: list[Floats] = []
        for pick in np.argsort(-strength * np.linalg.norm(self._columns(shapes), axis=1)):
            row = shapes[pick] / max(strength[pick], TINY)
            # Neighbours of one resonance share its strength: they become one branch.
            alike = [r for r in rows if np.allclose(_place(r), _place(row), atol=APART)]
            if strength[pick] > 0.0 and not alike and len(rows) < branches:
                rows.append(row)
        return self.refine(np.array(rows))

    def _columns(self, shapes: Floats) -> Floats:
        return self._weigh(_branches(shapes, self.f))

    def _next_branch(self, rows: Floats) -> Floats:
        """The catalogue branch that takes most off what is left, with its best strength."""
        left = -self.residual(rows)
        shapes = _catalogue(self.f)
        columns = self._columns(shapes)
        norm = np.maximum(np.sum(columns**2, axis=1), TINY)
        match = columns @ left
        pick = int(np.argmax(np.where(match > 0.0, match**2 / norm, -1.0)))
        strength = max(match[pick] / norm[pick], 1e-4 * float(np.abs(self.beta).max()))
        return np.asarray(shapes[pick] / strength)

    def refine(self, rows: Floats) -> Floats:
        """Least squares over the logarithms of all branch values: they cannot turn negative."""
        start = np.log(np.maximum(rows, TINY)).ravel()

        def cost(x: Floats) -> Floats:
            return self.residual(np.exp(x).reshape(-1, 3))

        def slopes(x: Floats) -> Floats:
            return self._weigh(_slopes(np.exp(x).reshape(-1, 3), self.f)).T

        # Far below anything audible a value is as good as zero; the bounds keep it finite.
        found = least_squares(
            cost, np.clip(start, -40.0, 40.0), slopes, bounds=(-45.0, 45.0), max_nfev=100
        )
        return np.asarray(np.exp(found.x).reshape(-1, 3))


def _branches(rows: Floats, f: Floats) -> Complexes:
    """Admittance (R, F) of each branch."""
    return np.asarray(1.0 / (rows @ _axes(f)))


def _axes(f: Floats) -> Complexes:
    """What inertance, resistance and stiffness are multiplied with, (3, F)."""
    s = 2j * np.pi * f
    return np.array([s, np.ones_like(s), 1.0 / s])


def _sum(rows: Floats, f: Floats) -> Complexes:
    return np.asarray(_branches(rows, f).sum(axis=0))


def _slopes(rows: Floats, f: Floats) -> Complexes:
    """Slope (3 R, F) of the sum by the logarithm of each branch value."""
    parts = rows[:, :, None] * _axes(f)
    each = -parts / parts.sum(axis=1, keepdims=True) ** 2
    return np.asarray(each.reshape(-1, len(f)))


def _place(row: Floats) -> Floats:
    """Where on a log frequency axis a branch turns from stiff to resistive to inert."""
    size = np.maximum(row, TINY)
    return np.log([size[2] / size[1], size[1] / size[0]])


def _catalogue(f: Floats) -> Floats:
    """Branches (C, 3) of resistance 1: plain, and resonant over and around the range of f."""
    centres = 2.0 * np.pi * np.geomspace(max(LOW_HZ, f[0] / 4), min(HIGH_HZ, 4 * f[-1]), 25)
    rows = [(0.0, 1.0, 0.0)]
    for w in centres:
        rows += [(1.0 / w, 1.0, 0.0), (0.0, 1.0, w)]
        rows += [(q / w, 1.0, q * w) for q in QUALITY]
    return np.array(rows)
