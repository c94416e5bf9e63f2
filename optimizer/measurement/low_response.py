"""Level from 20 to 300 Hz of an impulse response: speaker and room together.

Power spectrum of the response from the direct sound on, averaged over a twelfth of an octave around
each point and given relative to the median of all points, so that the roll-off of a small speaker
does not move the rest. Points where the noise comes within 10 dB,
or where the window is too short to resolve anything, are NaN.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.signal import find_peaks

from optimizer.measurement.decay_evaluation import Reason
from optimizer.measurement.onset import from_onset

Array = NDArray[np.float64]
Point = tuple[float, float]

LOWEST_HZ, HIGHEST_HZ = 20.0, 300.0
POINTS_PER_OCTAVE = 24
SMOOTHING = 12  # parts of an octave
LONGEST_S = 1.0
SHORTEST_S = 0.1
FADE = 0.25  # of the window, at its end
ABOVE_NOISE_DB = 10.0
CYCLES = 4.0  # fewest cycles in the window for a frequency to be judged


@dataclass(frozen=True)
class LowResponse:
    """frequency (Hz) and level (dB re the median of those given), both (points,).

    window_s: length of the response used. reason: why there is none, else None.
    """

    frequency: Array
    level: Array
    window_s: float
    reason: Reason | None = None

    def around(self, hertz: float, octaves: float = 1.0 / 3.0) -> float:
        """Mean level (of power, in dB) of the points within a band around a frequency."""
        inside = np.abs(np.log2(self.frequency / hertz)) <= octaves / 2.0
        known = self.level[inside & np.isfinite(self.level)]
        if known.size == 0:
            return float("nan")
        return float(10.0 * np.log10(np.mean(10.0 ** (known / 10.0))))

    def extremes(self, least_db: float = 6.0) -> tuple[list[Point], list[Point]]:
        """Peaks and dips, (Hz, dB), that stand out from what is around by at least so much."""
        known = np.flatnonzero(np.isfinite(self.level))
        if known.size < 3:
            return [], []
        run = np.interp(np.arange(self.level.size), known, self.level[known])
        found = (find_peaks(side, prominence=least_db)[0] for side in (run, -run))
        peaks, dips = (
            [(float(self.frequency[i]), float(run[i])) for i in places if i in known]
            for places in found
        )
        return peaks, dips


def low_response(signal: Array, rate: int) -> LowResponse:
    """Smoothed level 20-300 Hz of an impulse response (samples,)."""
    points = round(POINTS_PER_OCTAVE * np.log2(HIGHEST_HZ / LOWEST_HZ))
    centres = LOWEST_HZ * 2.0 ** (np.arange(points + 1) / POINTS_PER_OCTAVE)
    response = from_onset(signal, rate)
    length = _window_length(response, rate)
    empty = np.full(centres.size, np.nan)
    if length < SHORTEST_S * rate:
        return LowResponse(centres, empty, length / rate, _short())
    power = _smoothed(_faded(response[:length]), rate, centres)
    noise = _noise(response, length, rate, centres)
    clear = power > noise * 10.0 ** (ABOVE_NOISE_DB / 10.0)
    level = np.where(
        clear & (centres >= CYCLES * rate / length),
        10.0 * np.log10(np.maximum(power, 1e-300)),
        np.nan,
    )
    if np.isnan(level).all():
        return LowResponse(centres, empty, length / rate, Reason("noise", "lost in noise"))
    return LowResponse(centres, level - float(np.nanmedian(level)), length / rate)


def _window_length(response: Array, rate: int) -> int:
    """At most 1 s, and never the last half of the file, from which the noise is read."""
    return int(min(LONGEST_S * rate, 0.6 * response.size))


def _faded(part: Array) -> Array:
    fade = int(FADE * part.size)
    shape = np.ones(part.size)
    shape[part.size - fade :] = 0.5 + 0.5 * np.cos(np.pi * np.arange(fade) / max(fade, 1))
    return part * shape


def _noise(response: Array, length: int, rate: int, centres: Array) -> Array:
    """Power that noise alone would show in a window of the same length."""
    rest = response[length:]
    if rest.size < 0.25 * SHORTEST_S * rate:
        return np.zeros(centres.size)
    last = rest[rest.size // 2 :]
    window = np.hanning(last.size)
    share = length * (1.0 - FADE * 0.625) / float(np.sum(window**2))
    return share * _smoothed(last * window, rate, centres)


def _smoothed(part: Array, rate: int, centres: Array) -> Array:
    """Power spectrum averaged over a twelfth of an octave around each centre."""
    size = fft.next_fast_len(max(part.size, 8 * rate), real=True)
    power = np.abs(fft.rfft(part, size)) ** 2
    sums = np.concatenate([[0.0], np.cumsum(power)])
    half = 2.0 ** (0.5 / SMOOTHING)
    low, high = (np.clip(np.round(f * size / rate).astype(int), 0, power.size - 1)
                 for f in (centres / half, centres * half))  # fmt: skip
    return np.asarray((sums[high + 1] - sums[low]) / (high + 1 - low))


def _short() -> Reason:
    return Reason("ends", "the file ends too soon after the direct sound")
