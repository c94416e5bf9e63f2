"""Figures of a measured room against an independent evaluation of the same files.

Files: tests/data/r3vival (open data). Reference: pyfar 0.8 octave filters with pyrato 1.1 (Lundeby
truncation, noise subtraction, regression), general-purpose libraries. Filters of order 6, the
lowest that pyfar names as within IEC 61260-1 for octaves and thirds.
"""

from pathlib import Path

import numpy as np
import pyfar
import pyrato
import pytest

from optimizer.measurement.clarity import evaluate_clarity
from optimizer.measurement.decay_evaluation import evaluate_decay
from optimizer.measurement.recording import read_impulse_response

FILES = sorted((Path(__file__).parents[1] / "data" / "r3vival").glob("*.wav"))
BANDS = (250, 500, 1000, 2000, 4000, 8000)

# T20 and T30 in s of the three states at 125 Hz to 8 kHz, means over 30 source positions of the
# same data set, and the standard deviation of T20 over those positions (upper ends).
PUBLISHED = {
    "state000": ((0.468, 0.705, 0.718, 0.675, 0.640, 0.578, 0.441),
                 (0.461, 0.735, 0.743, 0.689, 0.656, 0.584, 0.459)),
    "state050": ((0.415, 0.579, 0.569, 0.494, 0.414, 0.352, 0.273),
                 (0.439, 0.603, 0.582, 0.501, 0.425, 0.355, 0.275)),
    "state100": ((0.469, 0.529, 0.499, 0.437, 0.351, 0.256, 0.190),
                 (0.478, 0.557, 0.522, 0.452, 0.368, 0.265, 0.195)),
}  # fmt: skip
SPREAD = (0.08, 0.07, 0.05, 0.03, 0.03, 0.03, 0.03)


def reference(path: Path, band: int, onset: int = 480 - 48) -> dict[str, float]:
    """Decay figures and C80 of one octave by pyfar and pyrato; files peak at sample 480."""
    sound = pyfar.io.read_audio(path)
    sound = pyfar.Signal(sound.time[..., onset:], sound.sampling_rate)
    limits = (band * 0.95, band * 1.05)
    octave = pyfar.dsp.filter.fractional_octave_bands(sound, 1, frequency_range=limits, order=6)
    curve = pyrato.edc.energy_decay_curve_chu_lundeby(
        octave, time_shift=True, channel_independent=True
    )
    figures = {
        name: float(
            np.squeeze(pyrato.parameters.reverberation_time_linear_regression(curve, name.upper()))
        )
        for name in ("edt", "t20", "t30")
    }
    late = 80 + 2 + 2 * 1000 * 1.2 / (0.7 * band)  # ms; these filters delay by 1.2/B
    for name, limit in (("c80", 80), ("c80, late", late)):
        figures[name] = float(np.squeeze(pyrato.parameters.clarity(curve, limit)))
    return figures


@pytest.mark.filterwarnings("ignore:Lundeby algorithm was terminated after 30 iterations")
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_figures_agree_with_an_independent_evaluation(path: Path) -> None:
    recording = read_impulse_response(path)
    found = evaluate_decay(recording.signal, recording.rate)
    clarity = evaluate_clarity(recording.signal, recording.rate, found)
    for band in BANDS:
        index = found.bands.nominal.index(band)
        other = reference(path, band)
        for name in ("t20", "t30"):
            value = getattr(found, name)[index]
            if np.isnan(value):  # withheld: the reference must see the bend too
                assert found.reasons[index][name].word == "bent"
                assert abs(other["t30"] / other["t20"] - 1) > 0.09
            else:  # 5 %, the just noticeable difference (ISO 3382-1:2009, Table A.1)
                assert value == pytest.approx(other[name], rel=0.05), f"{band} Hz {name}"
        # Two of them, up to 2 kHz: above, the direct sound makes most of the first 10 dB here, and
        # EDT hangs on how each filter spreads it.
        if np.isfinite(found.edt[index]) and band <= 2000:
            assert found.edt[index] == pytest.approx(other["edt"], rel=0.10), f"{band} Hz EDT"
        # One arrival at 80 ms moves C80 by 1 dB, so the reference is read at two cuts: its own,
        # which filter delay and a head start of 1 ms make too early, and one as much too late.
        # One just noticeable difference (same table): with late energy 30 dB down, what comes in
        # over the filters' unlike skirts from the livelier band below makes half a decibel.
        if band >= 500:
            assert other["c80"] - 1.0 < clarity.c80[index] < other["c80, late"] + 1.0, f"{band} Hz"


def test_few_bands_are_withheld() -> None:
    found = [evaluate_decay(*_read(path)) for path in FILES]
    given = np.array([np.isfinite([f.t20[2:], f.t30[2:]]) for f in found])
    assert given.mean() > 0.95


def _read(path: Path) -> tuple[np.ndarray, int]:
    recording = read_impulse_response(path)
    return recording.signal, recording.rate


@pytest.mark.parametrize("state", sorted(PUBLISHED))
def test_means_lie_within_the_spread_over_positions(state: str) -> None:
    found = [evaluate_decay(*_read(path)) for path in FILES if path.name.startswith(state)]
    assert len(found) == 3
    for name, figures in zip(("t20", "t30"), PUBLISHED[state], strict=True):
        for index, (published, spread) in enumerate(zip(figures, SPREAD, strict=True), start=1):
            values = np.array([getattr(f, name)[index] for f in found])
            known = values[np.isfinite(values)]
            assert known.size >= 2
            # 95 % of the mean of so few out of positions that scatter so much
            assert abs(known.mean() - published) < 2.0 * spread / np.sqrt(known.size)
