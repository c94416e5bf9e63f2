"""How even the low end is at the seats, told beside the score: spread, peak, dip, loud seats."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.assessment import Assessment, Finding
from optimizer.acoustics.evenness import response_evenness, seat_difference
from optimizer.acoustics.low_response import Dimensions, LowResponse, low_response
from optimizer.acoustics.scene import Scene
from optimizer.room.geometry import Floats

MODEL = "coupled modes"
EVEN_RANGE = (20.0, 300.0)
EVEN_LIMIT = 4.0  # dB of spread; own choice, no source
COUCH_RANGE = (20.0, 125.0)
COUCH_LIMIT = 6.0  # dB louder than at the first seat; own choice, no source


@dataclass(frozen=True)
class ResponseJudge:
    """Findings on the response of a box room, 20 to 300 Hz; answers no criterion."""

    dimensions: Dimensions

    def __call__(self, scene: Scene) -> Assessment:
        """Unevenness, peak, dip at each seat; how much louder the others are than the first."""
        heard = low_response(scene, self.dimensions)
        findings = (*evenness_findings(scene, heard, MODEL), *seat_findings(scene, heard, MODEL))
        return Assessment(findings=findings, low=heard)


def evenness_findings(scene: Scene, heard: LowResponse, model: str) -> Iterator[Finding]:
    """How even the low end is at each seat with both loudspeakers: spread, peak and dip."""
    for name, level in zip(scene.seat_names, heard.both_db, strict=True):
        even = response_evenness(level, heard.f_hz, EVEN_RANGE)
        note = "against its own octave-wide mean, 20-300 Hz, both loudspeakers"
        yield Finding("low end", f"{name}, unevenness", "dB", even.sd_db, np.nan, EVEN_LIMIT,
                      model, note)  # fmt: skip
        yield Finding("low end", f"{name}, highest peak", "dB", even.peak_db, np.nan, np.nan,
                      model, f"at {even.peak_hz:.0f} Hz; {note}")  # fmt: skip
        yield Finding("low end", f"{name}, deepest dip", "dB", even.dip_db, np.nan, np.nan,
                      model, f"at {even.dip_hz:.0f} Hz; {note}")  # fmt: skip


def seat_findings(scene: Scene, heard: LowResponse, model: str) -> Iterator[Finding]:
    """How much louder the low end is at other seats than at the first."""
    mix = heard.both_db[0]
    for name, level in zip(scene.seat_names[1:], heard.both_db[1:], strict=True):
        centres, over = seat_difference(level, mix, heard.f_hz)
        low = (centres >= COUCH_RANGE[0]) & (centres <= COUCH_RANGE[1] * 1.01)
        mean = float(mean_difference(heard.f_hz, level, mix))
        worst = int(np.argmax(np.where(low, over, -np.inf)))
        note = (
            f"20-125 Hz; most in the third octave at {centres[worst]:.0f} Hz: {over[worst]:+.1f} dB"
        )
        yield Finding("low end", f"{name}, louder than {scene.seat_names[0]}", "dB", mean,
                      np.nan, COUCH_LIMIT, model, note)  # fmt: skip


def mean_difference(f_hz: Floats, level: Floats, reference: Floats) -> Floats:
    """How much more energy levels (..., F) have than reference levels (..., F), 20-125 Hz, dB."""
    own = (f_hz >= COUCH_RANGE[0]) & (f_hz <= COUCH_RANGE[1])
    first, second = (np.mean(10 ** (x[..., own] / 10), axis=-1) for x in (level, reference))
    return np.asarray(10 * np.log10(first / second))
