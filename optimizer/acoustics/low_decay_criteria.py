"""Decay of octave bands below the Schroeder frequency, from the room's modes.

There a band holds a handful of modes, each damped by what lies where it presses: a piece counts by
its place, not by its area. The quantity is the mean damping of the band's modes, weighted by the
energy each carries from fixed places (source_places, as for the wave equation) over the room:
linear in the treatment, and the same wherever loudspeakers and seats stand.
"""

from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.criteria import Criterion, Rows, Tangent
from optimizer.acoustics.mode_criteria import SMALLEST_DAMPING, ModeFamily
from optimizer.acoustics.modes import Modes, box_modes, decay_time, octave_edges, room_weights
from optimizer.acoustics.scene import Patches, Scene
from optimizer.acoustics.source_places import source_places
from optimizer.bands import BANDS, EXACT_HZ, band_label
from optimizer.room.geometry import Floats

MODEL = "modes, mean damping"
NOTE = "from the modes in the band; the formula's figure stands beside it"
TANGENTS = 16  # per side; more are added where the solver settles


@dataclass(frozen=True)
class LowDecayFamily(Rows):
    """Rows per low octave band. Quantity: mean damping in 1/s. Value: decay time in s.

    Excess: T/high - 1 when too long, low/T - 1 when too short; both convex in the damping.
    """

    by_mode: ModeFamily
    share: Floats  # (K, M) of each mode in each band's mean

    def quantities(self, scene: Scene) -> Floats:
        """Mean damping (K,) in 1/s."""
        return np.asarray(self.share @ self.by_mode.quantities(scene))

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Added mean damping (K, N) in 1/s."""
        return np.asarray(self.share @ self.by_mode.effects(scene, patches))

    def values(self, quantities: Floats) -> Floats:
        """Decay times (K,) in s."""
        return decay_time(np.maximum(quantities, SMALLEST_DAMPING))

    def excess(self, quantities: Floats) -> Floats:
        """Excess (K, ...) in units of the limit passed."""
        shape = (len(self.rows), *[1] * (quantities.ndim - 1))
        low, high = (
            np.array([getattr(row, side) for row in self.rows]).reshape(shape)
            for side in ("low", "high")
        )
        decay = self.values(quantities)
        beyond = np.fmax(decay / high - 1.0, low / decay - 1.0)
        return np.asarray(np.maximum(np.nan_to_num(beyond, nan=0.0), 0.0))

    def tangents(self, row: int, low: float, high: float) -> list[Tangent]:
        """Tangents where too long, the one line where too short."""
        lines: list[Tangent] = []
        unit = float(decay_time(1.0))  # T = unit / damping
        if not np.isnan(self.rows[row].high):
            enough = unit / self.rows[row].high
            start = max(low, SMALLEST_DAMPING)
            if start < enough:
                points = np.geomspace(start, enough, TANGENTS).tolist()
                lines += [(-enough / d**2, 2 * enough / d - 1.0) for d in points]
        if not np.isnan(self.rows[row].low):
            lines.append((self.rows[row].low / unit, -1.0))
        return lines or [(0.0, 0.0)]

    def convex(self, row: int) -> tuple[float, float]:
        """From the least damping that values are found for."""
        return SMALLEST_DAMPING, np.inf


def low_decay_family(
    scene: Scene,
    dimensions: tuple[float, float, float],
    top_hz: float,
    low: Floats,
    high: Floats,
) -> LowDecayFamily | None:
    """Decay criteria of the octave bands centred at or below `top_hz` in a box; None if there are
    none with a driven mode. `low`, `high` (8,) in s, nan where open."""
    bands = [band for band, exact in zip(BANDS, EXACT_HZ, strict=True) if exact <= top_hz]
    if not bands:
        return None
    modes = box_modes(dimensions, octave_edges(bands[-1])[1])
    energy = fixed_weights(modes, scene) ** 2
    rows, share = [], []
    for index, band in enumerate(bands):
        edges = octave_edges(band)
        inside = np.where((modes.f_hz >= edges[0]) & (modes.f_hz < edges[1]), energy, 0.0)
        if inside.sum() > 0:
            rows.append(Criterion("decay", band_label(band), "s", float(low[index]),
                                  float(high[index]), 1.0, MODEL, NOTE))  # fmt: skip
            share.append(inside / inside.sum())
    if not rows:
        return None
    return LowDecayFamily(tuple(rows), ModeFamily((), modes), np.array(share))


def fixed_weights(modes: Modes, scene: Scene) -> Floats:
    """How strongly (M,) each mode sounds over the room from the fixed places; strongest = 1."""
    return room_weights(modes, source_places(scene).reshape(-1, 3))


def beside(row: Criterion) -> Criterion:
    """A row of the decay formula in a band that the modes decide: it informs only."""
    return replace(row, group="decay formula", weight=0.0, note="the modes decide this band")
