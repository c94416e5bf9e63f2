"""Several recordings together: each evaluated, then mean and spread, and left against right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from optimizer.measurement.arrivals import Arrivals, early_arrivals
from optimizer.measurement.clarity import BandClarity, evaluate_clarity
from optimizer.measurement.decay_evaluation import BandDecay, Reason, evaluate_decay
from optimizer.measurement.filters import OCTAVES, BandSet, band_energy, fits
from optimizer.measurement.low_response import LowResponse, low_response
from optimizer.measurement.onset import LEAD_S, from_onset
from optimizer.measurement.recording import Recording

Array = NDArray[np.float64]

FIGURES = ("edt", "t20", "t30", "c50", "c80", "d50")
CLEAR_OF_NOISE = 10.0  # energy over the noise's own for a level to be told


@dataclass(frozen=True)
class Measurement:
    """All figures of one recording. seat, speaker: as the person named them, or ""."""

    recording: Recording
    seat: str
    speaker: str
    decay: BandDecay
    clarity: BandClarity
    arrivals: Arrivals
    low: LowResponse
    energy: Array
    """Energy per band (bands,), noise taken off; NaN where it does not stand 10 dB clear."""

    def figure(self, name: str) -> Array:
        """Values of one of FIGURES per band, NaN where missing."""
        source = self.decay if name in ("edt", "t20", "t30") else self.clarity
        return np.asarray(getattr(source, name))

    def reason(self, name: str, band: int) -> Reason | None:
        """Why a figure is missing in a band."""
        source = self.decay if name in ("edt", "t20", "t30") else self.clarity
        return source.reasons[band].get(name)


@dataclass(frozen=True)
class Mean:
    """Mean over recordings of one figure per band (bands,): mean, standard deviation, how many."""

    mean: Array
    spread: Array
    count: NDArray[np.int64]


@dataclass(frozen=True)
class Difference:
    """Level of one speaker less that of another at one seat, dB per band (bands,)."""

    seat: str
    first: str
    second: str
    level_db: Array


def measure(
    recording: Recording, bands: BandSet = OCTAVES, seat: str = "", speaker: str = ""
) -> Measurement:
    """Every figure of one recording."""
    signal, rate = recording.signal, recording.rate
    decay = evaluate_decay(signal, rate, bands)
    return Measurement(
        recording=recording,
        seat=seat,
        speaker=speaker,
        decay=decay,
        clarity=evaluate_clarity(signal, rate, decay),
        arrivals=early_arrivals(signal, rate),
        low=low_response(signal, rate),
        energy=_energy(signal, rate, decay),
    )


def mean_of(measurements: Sequence[Measurement], name: str) -> Mean:
    """Arithmetic mean and spread (n - 1) over those recordings that give the figure.

    ISO 3382-2:2008, clause 8: decay times are averaged over positions by their arithmetic mean.
    """
    values = np.array([m.figure(name) for m in measurements])
    count = np.isfinite(values).sum(axis=0)
    known = np.where(np.isfinite(values), values, 0.0)
    mean = np.where(count > 0, known.sum(axis=0) / np.maximum(count, 1), np.nan)
    squares = np.where(np.isfinite(values), (values - mean) ** 2, 0.0).sum(axis=0)
    spread = np.where(count > 1, np.sqrt(squares / np.maximum(count - 1, 1)), np.nan)
    return Mean(mean, spread, count)


def level_differences(measurements: Sequence[Measurement]) -> list[Difference]:
    """Every pair of two speakers at one seat; only recordings with both names take part.

    The gain must not have been touched between the two recordings.
    """
    named = [m for m in measurements if m.speaker]
    found = []
    for a, b in combinations(named, 2):
        if a.seat == b.seat and a.speaker != b.speaker:
            if (a.speaker, b.speaker) == ("right", "left"):
                a, b = b, a
            level = 10.0 * np.log10(a.energy / b.energy)
            found.append(Difference(a.seat, a.speaker, b.speaker, level))
    return found


def _energy(signal: Array, rate: int, decay: BandDecay) -> Array:
    response = from_onset(signal, rate)
    lead = round(LEAD_S * rate)
    found = np.full(len(decay.bands.nominal), np.nan)
    for index in range(found.size):
        if not fits(decay.bands, index, rate) or np.isnan(decay.noise[index]):
            continue
        end = lead + round(float(decay.end_s[index]) * rate)
        noise = float(decay.noise[index]) * end / rate
        energy = band_energy(response[:end], rate, decay.bands, index) - noise
        if energy > CLEAR_OF_NOISE * noise:
            found[index] = energy + float(decay.tail[index])
    return found
