"""How fine a grid the wave solver needs, what it costs, and when it is too much.

Dispersion of the leapfrog seven-point scheme (Trefethen, SIAM Review 24(2), 1982; standard result):

    sin^2(w dt / 2) / (c dt)^2 = sum_a sin^2(k_a h_a / 2) / h_a^2

so waves along an axis run slowest, those along the diagonal of a cube almost exactly. In a rigid
box whose walls are cell faces this is the exact relation between mode numbers and frequencies. The
damping of a mode by a wall normal to axis a is low by cos^2(k_a h_a / 2), since the wall acts on
the pressure half a cell away from it (own derivation, tested).

Cells grow with f^3 and steps with f: memory grows with f^3, time with f^4 per second of sound.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

Floats = NDArray[np.float64]

SOUND_SPEED = 343.0
COURANT = 0.999
"""Share of the largest stable time step that is used."""
DISPERSION = 0.01
"""Relative error of the wave speed allowed at the highest frequency, along the worst axis: a mode
at the top of the range is off by at most 1 % (a sixth of a semitone), below by f^2 less."""
FEWEST = 4.0  # cells per wavelength, however coarse a tolerance
MAX_CELLS = 4_000_000
BYTES_PER_CELL = 50.0
"""Peak while the grid is made and two sources run at once (tests/evidence/wave_cost.md)."""
CELLS_PER_SECOND = 8e8
"""Cell updates per second of one core with treated walls (tests/evidence/wave_cost.md)."""


class GridTooLargeError(ValueError):
    """The room needs more cells at this frequency than the budget allows."""


@dataclass(frozen=True)
class WaveCost:
    """Size of a run: cells, steps per source, bytes of memory, seconds on an idle machine."""

    cells: int
    steps: int
    memory_bytes: float
    seconds: float


def time_step(spacing: ArrayLike, c: float = SOUND_SPEED, courant: float = COURANT) -> float:
    """Time step in s: `courant` times the stability limit 1 / (c sqrt(sum 1/h_a^2)).

    spacing (3,) m. ValueError when courant is not in (0, 1]: the scheme would blow up.
    """
    if not 0.0 < courant <= 1.0:
        raise ValueError(f"the time step must be at most the stability limit, got {courant} of it")
    h = np.broadcast_to(np.asarray(spacing, dtype=np.float64), (3,))
    if np.any(h <= 0.0):
        raise ValueError("the grid spacing must be positive")
    return float(courant / (c * np.sqrt(np.sum(1.0 / h**2))))


def scheme_frequency(
    wave_number: ArrayLike, spacing: ArrayLike, c: float = SOUND_SPEED, courant: float = COURANT
) -> Floats:
    """Frequency (...) in Hz at which the grid oscillates with wave numbers (..., 3) in rad/m.

    For mode (l, m, n) of a rigid box the wave numbers are l pi / Lx, m pi / Ly, n pi / Lz.
    """
    h = np.broadcast_to(np.asarray(spacing, dtype=np.float64), (3,))
    dt = time_step(h, c, courant)
    k = np.asarray(wave_number, dtype=np.float64)
    root = np.sqrt(np.sum((np.sin(0.5 * k * h) / h) ** 2, axis=-1))
    return np.asarray(np.arcsin(c * dt * root) / (np.pi * dt))


def dispersion_error(
    frequency: float,
    spacing: ArrayLike,
    c: float = SOUND_SPEED,
    courant: float = COURANT,
    direction: ArrayLike | None = None,
) -> float:
    """Relative error of the wave speed at a frequency in Hz (negative: the grid is slow).

    spacing (3,) m or one value; direction (3,) of travel, the worst axis when left out.
    ValueError above the highest frequency the grid carries in that direction.
    """
    if direction is None:
        return min(dispersion_error(frequency, spacing, c, courant, axis) for axis in np.eye(3))
    n = np.asarray(direction, dtype=np.float64)
    n = n / np.linalg.norm(n)
    k = 2.0 * np.pi * frequency / c
    top = np.pi / np.max(np.abs(n) * np.broadcast_to(np.asarray(spacing, dtype=np.float64), (3,)))

    def miss(trial: float) -> float:
        return float(scheme_frequency(trial * n, spacing, c, courant)) - frequency

    if miss(top) < 0.0:
        raise ValueError(f"the grid carries no wave of {frequency:g} Hz; use a finer spacing")
    return k / float(brentq(miss, 1e-3 * k, top, xtol=1e-14 * k)) - 1.0


def damping_factor(frequency: ArrayLike, spacing: float, c: float = SOUND_SPEED) -> Floats:
    """Share of a wall's damping that the grid gives a wave meeting it head on, cos^2(k h / 2).

    Waves from all directions see 1 - (k h)^2 / 12 on average (small k h): 3 % low at f_max with the
    default spacing, 1.5 % at 500 Hz of 700.
    """
    k = 2.0 * np.pi * np.asarray(frequency, dtype=np.float64) / c
    return np.asarray(np.cos(0.5 * k * spacing) ** 2)


@lru_cache(maxsize=64)
def spacing_for(f_max: float, tolerance: float = DISPERSION, c: float = SOUND_SPEED) -> float:
    """Cell edge in m at which the wave speed is off by `tolerance` at f_max in Hz at most.

    The default 1 % takes 10.6 cells per wavelength: 46 mm for 700 Hz; never fewer than 4.
    ValueError unless f_max > 0 and 0 < tolerance <= 0.1.
    """
    if not f_max > 0.0 or not 0.0 < tolerance <= 0.1:
        raise ValueError("spacing_for needs f_max > 0 and a tolerance within (0, 0.1]")

    def miss(cells: float) -> float:
        return -dispersion_error(f_max, c / f_max / cells, c) - tolerance

    cells = float(brentq(miss, FEWEST, 400.0)) if miss(FEWEST) > 0.0 else FEWEST
    return c / f_max / cells


@lru_cache(maxsize=64)
def wave_cost(
    volume: float,
    f_max: float,
    duration_s: float,
    runs: int = 2,
    tolerance: float = DISPERSION,
    c: float = SOUND_SPEED,
    cores: int = 2,
) -> WaveCost:
    """Expected size of simulating `volume` m3 up to f_max Hz for `duration_s`, `runs` sources."""
    spacing = spacing_for(f_max, tolerance, c)
    cells = int(np.ceil(volume / spacing**3))
    steps = int(np.ceil(duration_s / time_step(spacing, c)))
    seconds = float(cells) * steps * int(np.ceil(runs / cores)) / CELLS_PER_SECOND
    return WaveCost(cells, steps, BYTES_PER_CELL * cells, seconds)


def affordable_frequency(
    volume: float,
    f_max: float,
    max_cells: int = MAX_CELLS,
    coarsen: bool = False,
    tolerance: float = DISPERSION,
    c: float = SOUND_SPEED,
) -> tuple[float, str]:
    """Highest frequency in Hz that `max_cells` allow in `volume` m3, and a message when coarser.

    Returns (f_max, "") when it fits. When it does not: GridTooLargeError (a ValueError), or with
    `coarsen` the frequency that fits and the sentence to show the user.
    """
    needed = wave_cost(volume, f_max, 1.0, 1, tolerance, c).cells
    if needed <= max_cells:
        return f_max, ""
    reach = f_max * (max_cells / needed) ** (1.0 / 3.0) * (1.0 - 1e-3)
    size = f"{volume:.0f} m3 up to {f_max:.0f} Hz takes {needed / 1e6:.1f} million cells"
    limit = f"more than the {max_cells / 1e6:.1f} million allowed"
    if not coarsen:
        raise GridTooLargeError(f"{size}, {limit}; up to {reach:.0f} Hz fits")
    return reach, f"{size}, {limit}; simulated up to {reach:.0f} Hz instead"
