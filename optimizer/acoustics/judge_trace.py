"""The tracer as judge of decay above the Schroeder frequency."""

from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.assessment import Assessment
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_room import traced_room
from optimizer.bands import BANDS, EXACT_HZ, band_label

MODEL = "ray tracing"
RAYS = 20000
BENDS = "; the decay bends ({:.2f} s by its first 10 dB): one figure does not describe it"


@dataclass(frozen=True)
class TraceJudge:
    """T20 of octave bands above a frequency in Hz, from a diffuse start, always the same seed."""

    above_hz: float
    rays: int = RAYS
    seed: int = 1

    def __call__(self, scene: Scene) -> Assessment:
        """Decay times by the key of their criterion, with a remark where the decay bends by
        more than the rays' own error."""
        traced = trace(traced_room(scene), rays=self.rays, seed=self.seed)
        values, notes = {}, {}
        decay = traced.decay
        for index, (band, exact) in enumerate(zip(BANDS, EXACT_HZ, strict=True)):
            if exact <= self.above_hz or not np.isfinite(decay.t20[index]):
                continue
            key = f"decay: {band_label(band)}"
            values[key] = float(decay.t20[index])
            notes[key] = f"statistical error {traced.errors.t20[index]:.2g} s"
            if traced.bends[index]:
                notes[key] += BENDS.format(decay.edt[index])
        return Assessment(values, dict.fromkeys(values, MODEL), notes)
