"""Where a decay meets the noise, and the decay curve with the noise taken out.

The meeting point is found by iteration after Lundeby, Vigran, Bietz and Vorlaender,
"Uncertainties of measurements in room acoustics", Acustica 81 (1995) 344-355: the late slope and
the noise level are refined in turn until the point where they cross stands still. The curve is
then integrated backwards from there, after subtracting the mean noise energy (Chu, "Comparison of
reverberation measurements using Schroeder's impulse method and decay-curve averaging method",
JASA 63 (1978) 1444), plus the energy that the late slope would still have brought (ISO 3382-1:2009,
5.3.3, the constant C).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.decay_curve import backward_integral

Array = NDArray[np.float64]

FIRST_BLOCK_S = 0.02  # Lundeby: 10-50 ms to begin with
BLOCKS_PER_10_DB = 5  # Lundeby: 3-10
ABOVE_NOISE_DB = 8.0  # Lundeby: late slope read from 5-10 dB above the noise ...
LATE_RANGE_DB = 20.0  # ... over 10-20 dB
TAIL_SHARE = 0.1  # Lundeby: noise from at least the last 10 %
ROUNDS = 12
SETTLED = 0.002
SILENT = 1e-16  # of the largest energy: as good as nothing, -160 dB


@dataclass(frozen=True)
class Truncation:
    """End of the usable decay of one band.

    index: sample where it meets the noise, or the last sample when the recording ends first.
    noise: mean noise energy there (0 when the recording ends first). slope: late decay, dB/s,
    negative. reached: True when the noise floor is in the recording.
    """

    index: int
    noise: float
    slope: float
    reached: bool


def find_truncation(energy: Array, rate: int, bandwidth: float) -> Truncation | None:
    """The end of the usable decay of a band's squared response (samples,) from the onset on.

    bandwidth: Hz; blocks are never shorter than 1/B. None when no decay stands out of the noise.
    """
    end = max(energy.size - round(2.0 / bandwidth * rate), energy.size // 2)
    usable = np.maximum(energy[:end], SILENT * float(energy.max(initial=0.0)))
    noise = float(usable[-max(1, int(TAIL_SHARE * end)) :].mean())
    line = _first_line(usable, rate, bandwidth, noise)
    if line is None:
        return None
    for _ in range(ROUNDS):
        crossing = (_db(noise) - line[1]) / line[0]
        noise = _noise_after(usable, rate, crossing - ABOVE_NOISE_DB / line[0])
        refined = _late_line(usable, rate, bandwidth, line, noise)
        if refined is None:
            break
        line = refined
        moved = abs((_db(noise) - line[1]) / line[0] - crossing)
        if moved < SETTLED * max(crossing, 0.05):
            break
    crossing = (_db(noise) - line[1]) / line[0]
    if crossing <= 0.0:
        return None
    index = round(crossing * rate)
    # a noise level read from before the crossing is no noise level
    if index >= (1.0 - TAIL_SHARE) * end:
        return Truncation(end - 1, 0.0, line[0], reached=False)
    return Truncation(index, noise, line[0], reached=True)


def compensated_curve(energy: Array, ahead: float, rate: int, cut: Truncation) -> Array:
    """Backward integral (samples up to the cut,) without noise and without the missing tail.

    energy: squared response of a band from the onset on. ahead: energy (integrated) that the
    reversed filter moved ahead of the onset; it belongs to the start of the curve.
    """
    kept = energy[: cut.index + 1] - cut.noise
    curve = backward_integral(kept[:, None], 1.0 / rate)[:, 0] + missing_tail(energy, rate, cut)
    curve[0] += ahead
    return np.asarray(curve)


def missing_tail(energy: Array, rate: int, cut: Truncation) -> float:
    """Energy after the cut, were the decay to go on at the late slope: ISO 3382-1, 5.3.3."""
    per_second = -cut.slope * np.log(10.0) / 10.0
    if cut.reached:
        return float(cut.noise / per_second)
    block = round(min(0.1 * cut.index / rate, 3.0 / per_second) * rate)  # the last few dB
    last = energy[max(0, cut.index + 1 - max(block, 1)) : cut.index + 1]
    span = last.size / rate * per_second
    return float(last.sum() / rate / np.expm1(span))


def _first_line(usable: Array, rate: int, bandwidth: float, noise: float) -> Array | None:
    """Slope (dB/s) and start (dB) of the decay from its peak to 10 dB above the noise."""
    times, level = _blocks(usable, rate, max(FIRST_BLOCK_S / 2, 1.0 / bandwidth))
    peak = int(np.argmax(level))
    low = np.flatnonzero(level[peak:] < _db(noise) + 10.0)
    last = peak + (int(low[0]) if low.size else level.size - peak)
    if last - peak < 2:
        times, level = _blocks(usable, rate, 0.25 / bandwidth)
        peak = int(np.argmax(level))
        low = np.flatnonzero(level[peak:] < _db(noise) + 10.0)
        last = peak + (int(low[0]) if low.size else level.size - peak)
    return _falling_line(times[peak:last], level[peak:last])


def _late_line(
    usable: Array, rate: int, bandwidth: float, line: Array, noise: float
) -> Array | None:
    """The line through the 20 dB that end 8 dB above the noise, as the last line places them."""
    block = max(10.0 / BLOCKS_PER_10_DB / -line[0], 0.5 / bandwidth)
    times, level = _blocks(usable, rate, block)
    low = _db(noise) + ABOVE_NOISE_DB
    start, stop = ((edge - line[1]) / line[0] for edge in (low + LATE_RANGE_DB, low))
    after_peak = times >= times[int(np.argmax(level))]
    picked = after_peak & (times >= start) & (times <= stop)
    return _falling_line(times[picked], level[picked]) if picked.sum() >= 3 else None


def _falling_line(times: Array, level: Array) -> Array | None:
    if times.size < 2:
        return None
    slope, start = np.polyfit(times, level, 1)
    return np.array([slope, start]) if slope < 0.0 else None


def _noise_after(usable: Array, rate: int, begin: float) -> float:
    latest = usable.size - max(1, int(TAIL_SHARE * usable.size))
    return float(usable[min(max(round(begin * rate), 0), latest) :].mean())


def _blocks(usable: Array, rate: int, seconds: float) -> tuple[Array, Array]:
    """Mid-times (s) and levels (dB) of successive blocks."""
    size = max(1, round(seconds * rate))
    count = max(1, usable.size // size)
    means = usable[: count * size].reshape(count, -1).mean(axis=1)
    times = (np.arange(count) + 0.5) * (usable[: count * size].size / count) / rate
    return times, np.asarray(10.0 * np.log10(means))


def _db(energy: float) -> float:
    return float(10.0 * np.log10(energy))
