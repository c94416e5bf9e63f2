"""Coupled modes as judge of the low end of a box room: each mode, and the low bands.

First-order damping, which the optimiser works with, misses that neighbouring modes of like shape
join when the walls are treated unevenly; the coupled modes do not. Two that have joined have no
names of their own any more: which of them grew from which rigid mode hangs on a panel a hand's
breadth to the side. So the row of a rigid mode is read as the mean decay of what the room makes of
that shape: the decay time of each mode counts with its share in it (CoupledModes.shares).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.assessment import Assessment
from optimizer.acoustics.coupled import CoupledModes
from optimizer.acoustics.coupled_build import FINE, Detail
from optimizer.acoustics.low_decay_criteria import LowDecayFamily, fixed_weights
from optimizer.acoustics.low_response import Dimensions, damped_modes
from optimizer.acoustics.mode_criteria import ModeFamily
from optimizer.acoustics.modes import band_decay_from_modes, decay_time, octave_edges
from optimizer.acoustics.scene import Ints, Scene
from optimizer.bands import BAND_LABELS, BANDS

MODEL = "coupled modes"
HELD = 0.5  # of a rigid mode's shape that the modes found must hold to tell of it


@dataclass(frozen=True)
class ModesJudge:
    """Decay of each mode and of the low bands."""

    dimensions: Dimensions
    modal: ModeFamily
    low: LowDecayFamily | None
    detail: Detail = FINE

    def __call__(self, scene: Scene) -> Assessment:
        """Decay times by the key of their criterion."""
        families = [self.modal] if self.low is None else [self.modal, self.low.by_mode]
        top = max(float(family.modes.f_hz[-1]) for family in families)
        found = damped_modes(scene, self.dimensions, top, self.detail)
        values = dict(self._modes(found)) | dict(self._bands(scene, found))
        return Assessment(values, dict.fromkeys(values, MODEL), modes=found)

    def _modes(self, found: CoupledModes) -> Iterator[tuple[str, float]]:
        decay = decay_time(found.delta) @ found.shares
        at, held = places_of(found.low.n), found.held
        for row, order in zip(self.modal.rows, self.modal.modes.n, strict=True):
            place = at[tuple(order)]
            if held[place] > HELD:
                yield row.key, float(decay[place])

    def _bands(self, scene: Scene, found: CoupledModes) -> Iterator[tuple[str, float]]:
        if self.low is None:
            return
        modes = self.low.by_mode.modes
        at = places_of(found.low.n)
        energy = np.zeros(len(found.low.n))
        energy[[at[tuple(n)] for n in modes.n]] = fixed_weights(modes, scene) ** 2
        weights = np.sqrt(np.abs(found.amplitude) ** 2 @ energy)
        edges = dict(zip(BAND_LABELS, map(octave_edges, BANDS), strict=True))
        for row in self.low.rows:
            yield row.key, band_decay_from_modes(found.f_hz, found.delta, weights, edges[row.where])


def places_of(orders: Ints) -> dict[tuple[int, ...], int]:
    """Where each of some orders (L, 3) stands."""
    return {tuple(n): i for i, n in enumerate(orders.tolist())}
