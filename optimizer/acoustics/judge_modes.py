"""Coupled modes as judge of the low end of a box room: each mode, and the low bands.

First-order damping, which the optimiser works with, misses that neighbouring modes of like shape
join when the walls are treated unevenly; the coupled modes do not.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.assessment import Assessment
from optimizer.acoustics.coupled import CoupledModes
from optimizer.acoustics.low_decay_criteria import LowDecayFamily, fixed_weights
from optimizer.acoustics.low_response import Dimensions, damped_modes
from optimizer.acoustics.mode_criteria import ModeFamily
from optimizer.acoustics.modes import Modes, band_decay_from_modes, decay_time, octave_edges
from optimizer.acoustics.scene import Scene
from optimizer.bands import BAND_LABELS, BANDS

MODEL = "coupled modes"
EVEN_RANGE = (20.0, 300.0)
EVEN_LIMIT = (
    4.0  # dB, as the operational room response of EBU Tech 3276 (+-3 dB) and 1 dB more; own
)
COUCH_RANGE = (20.0, 125.0)
COUCH_LIMIT = 6.0  # dB louder than at the mix seat; own choice


@dataclass(frozen=True)
class ModesJudge:
    """Decay of each mode and of the low bands."""

    dimensions: Dimensions
    modal: ModeFamily
    low: LowDecayFamily | None

    def __call__(self, scene: Scene) -> Assessment:
        """Decay times by the key of their criterion."""
        families = [self.modal] if self.low is None else [self.modal, self.low.by_mode]
        top = max(float(family.modes.f_hz[-1]) for family in families)
        found = damped_modes(scene, self.dimensions, top)
        values = dict(self._modes(found)) | dict(self._bands(scene, found))
        return Assessment(values, dict.fromkeys(values, MODEL))

    def _modes(self, found: CoupledModes) -> Iterator[tuple[str, float]]:
        decay = _by_order(found)
        for row, order in zip(self.modal.rows, self.modal.modes.n, strict=True):
            if tuple(order) in decay:
                yield row.key, decay[tuple(order)]

    def _bands(self, scene: Scene, found: CoupledModes) -> Iterator[tuple[str, float]]:
        if self.low is None:
            return
        modes = self.low.by_mode.modes
        strength = _by_order_of(modes, scene)
        weights = np.array([strength.get(tuple(n), 0.0) for n in found.n])
        edges = dict(zip(BAND_LABELS, map(octave_edges, BANDS), strict=True))
        for row in self.low.rows:
            yield row.key, band_decay_from_modes(found.f_hz, found.delta, weights, edges[row.where])


def _by_order(found: CoupledModes) -> dict[tuple[int, ...], float]:
    times = decay_time(found.delta)
    return {tuple(n): float(t) for n, t in zip(found.n, times, strict=True)}


def _by_order_of(modes: Modes, scene: Scene) -> dict[tuple[int, ...], float]:
    weights = fixed_weights(modes, scene)
    return {tuple(n): float(w) for n, w in zip(modes.n, weights, strict=True)}
