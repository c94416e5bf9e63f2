"""Decay times read from an energy decay curve (ISO 3382-1:2009, ISO 3382-2:2008).

EDT, T20 and T30 are least-squares lines through 0..-10, -5..-25 and -5..-35 dB of the backward
integrated curve, each scaled to a fall of 60 dB (ISO 3382-1 5.3.3 and A.2.2, ISO 3382-2 3.3). The
degree of curvature is C = 100 (T30/T20 - 1) % (ISO 3382-2 Annex B.3); above 10 % the curve is far
from straight and one figure does not describe it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

EDT_RANGE = (0.0, -10.0)
T20_RANGE = (-5.0, -25.0)
T30_RANGE = (-5.0, -35.0)
CURVATURE_LIMIT = 10.0
"""Per cent; ISO 3382-2 Annex B.3."""
EARLY_LIMIT = 20.0
"""Per cent by which T20 may exceed EDT; own choice, no source (four just-noticeable steps)."""


@dataclass(frozen=True)
class DecayTimes:
    """Decay figures per band; NaN where the curve does not fall far enough.

    edt, t20, t30: seconds, shape (bands,). curvature: per cent (bands,). double_slope: True where
    the curvature exceeds 10 % or T20 exceeds EDT by more than 20 % (the knee then lies in the
    first 10 dB, where the curvature does not see it).
    """

    edt: Array
    t20: Array
    t30: Array
    curvature: Array
    double_slope: NDArray[np.bool_]

    @property
    def knee(self) -> Array:
        """By how many per cent T20 exceeds EDT."""
        return 100.0 * (self.t20 / self.edt - 1.0)


def backward_integral(energy: Array, dt: float) -> Array:
    """Backward (Schroeder) integral of an energy response, trapezoidal.

    energy: (times, bands), samples dt seconds apart that end in silence; returns the same shape.
    Schroeder, JASA 37 (1965) 409, Eq. 5 (the integral from t to infinity).
    """
    if energy.ndim != 2 or energy.shape[0] < 2:
        raise ValueError("energy must have shape (times >= 2, bands)")
    if dt <= 0.0:
        raise ValueError("dt must be positive")
    slices = 0.5 * dt * (energy[:-1] + energy[1:])
    curve = np.zeros_like(energy)
    curve[:-1] = np.cumsum(slices[::-1], axis=0)[::-1]
    return curve


def level_db(curve: Array) -> Array:
    """Level of a decay curve re its own start, dB; -inf where nothing is left."""
    start = curve[0]
    if np.any(start <= 0.0):
        raise ValueError("every band needs energy at the start of its decay curve")
    ratio = curve / start
    return np.asarray(10.0 * np.log10(ratio, out=np.full_like(ratio, -np.inf), where=ratio > 0.0))


def fit_decay_time(level: Array, dt: float, upper_db: float, lower_db: float) -> float:
    """Decay time in seconds from the least-squares line between two levels of one band.

    level: (times,) in dB re the start, falling. Returns NaN when the curve does not reach
    lower_db or offers fewer than three samples in the range.
    """
    return float(_fitted(level[:, None], dt, upper_db, lower_db)[0])


def _fitted(level: Array, dt: float, upper_db: float, lower_db: float) -> Array:
    """`fit_decay_time` (bands,) of each band of level (times, bands); a level that is never reached
    ends at the first sample, where no line is."""
    if not upper_db > lower_db:
        raise ValueError("upper_db must be above lower_db")
    first, end = np.argmax(level <= upper_db, axis=0), np.argmax(level < lower_db, axis=0)
    step = np.arange(len(level))[:, None]
    within = (first <= step) & (step < end)
    t = np.where(within, dt * (step - 0.5 * (first + end - 1)), 0.0)  # sums to nothing
    together = (t * np.where(within, level, 0.0)).sum(axis=0)
    falls = (end - first >= 3) & (together < 0.0)
    times = -60.0 * (t * t).sum(axis=0) / np.where(falls, together, 1.0)
    return np.asarray(np.where(falls, times, np.nan))


def decay_times(curve: Array, dt: float) -> DecayTimes:
    """EDT, T20, T30, curvature and double-slope flag of an energy decay curve.

    curve: (times, bands), the backward integrated energy (any scale), samples dt seconds apart.
    """
    level = level_db(curve)
    edt, t20, t30 = (_fitted(level, dt, *limits) for limits in (EDT_RANGE, T20_RANGE, T30_RANGE))
    curvature = 100.0 * (t30 / t20 - 1.0)
    knee = 100.0 * (t20 / edt - 1.0)
    bent = (curvature > CURVATURE_LIMIT) | (knee > EARLY_LIMIT)
    return DecayTimes(edt, t20, t30, curvature, np.asarray(bent, dtype=np.bool_))
