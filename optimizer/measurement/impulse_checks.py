"""Is a signal an impulse response at all? Each check returns what is wrong and what to do, or None.

Thresholds are own choices, wide enough for any room that decays in under 9 s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BLOCK_S = 0.01
FLAT_RUN = 3  # equal samples at the peak
FLAT_EDGE = 4.0  # steps of the sample format by which a clipped run stands off its neighbours
SHORTEST_S = 0.1
FALL_DB = 20.0
LOUDEST_WITHIN_S = 0.1
LONG_S = 1.5  # within 10 dB of the peak for so long: T > 9 s
RISE_DB = 12.0
RISE_COUNTS_DB = -25.0
RISE_BLOCK_S = 0.025
ROOM_AFTER_S = 0.005
LEAST_ROOM_DB = -40.0
SWEEP_HINT = "a recorded sweep needs --reference SWEEP.wav"


@dataclass(frozen=True)
class Wrong:
    """What was found: key and value for the fault, and the remedy."""

    key: str
    value: str
    remedy: str


def silent(signal: Array) -> Wrong | None:
    """Nothing but a constant."""
    if float(np.ptp(signal)) > 0.0 and float(np.abs(signal).max()) > 1e-9:
        return None
    return Wrong("level", "silent", "nothing was recorded; check cable, channel and gain")


def clipped(signal: Array, step: float) -> Wrong | None:
    """Runs of equal samples at either extreme that stand off their neighbours.

    step: one step of the sample format (2^(1 - bits)); a slow wave is flat for a few samples too,
    but leaves its top step by step.
    """
    step = max(step, 1e-7 * float(np.abs(signal).max()))
    longest = max(_flat_top(signal, step), _flat_top(-signal, step))
    if longest < FLAT_RUN:
        return None
    value = f"clipped, {longest} samples in a row at the limit"
    return Wrong("level", value, "record again at a lower input gain")


def _flat_top(signal: Array, step: float) -> int:
    """Longest run at the maximum that has a steep edge; a maximum near zero is no limit."""
    if signal.max() < 0.1 * np.abs(signal).max():
        return 0
    at_top = np.concatenate([[False], signal == signal.max(), [False]])
    change = np.diff(at_top.astype(np.int8))
    starts, stops = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    padded = np.concatenate([[signal.max()], signal, [signal.max()]])
    drop = np.maximum(signal.max() - padded[starts], signal.max() - padded[stops + 1])
    runs = (stops - starts)[drop > FLAT_EDGE * step]
    return int(runs.max(initial=0))


def too_short(signal: Array, rate: int) -> Wrong | None:
    """Less than 0.1 s from the loudest sample on."""
    left = (signal.size - int(np.argmax(np.abs(signal)))) / rate
    if left >= SHORTEST_S:
        return None
    value = f"{1000 * left:.0f} ms after the peak"
    return Wrong("length", value, "too short to hold a decay; export at least 1 s")


def no_impulse(signal: Array, rate: int) -> Wrong | None:
    """Music, noise, tones, sweeps, several impulses, or a cable instead of a room."""
    signal = min(signal, np.diff(signal), key=lambda s: _late_db(s, rate))  # less hum and rumble
    times, level = _levels(signal, rate, BLOCK_S)
    peak = int(np.argmax(level))
    start = int(np.argmax(level > level[peak] - FALL_DB))
    late = _late_db(signal, rate)
    lasting = float(times[np.flatnonzero(level > level[peak] - 10.0)[-1]] - times[start])
    if late > -FALL_DB:
        value = f"falls by {-late:z.0f} dB to the end of the file"
        return _not_one(value, "or one drowned in noise or cut short; " + SWEEP_HINT)
    if times[peak] - times[start] > LOUDEST_WITHIN_S:
        value = f"loudest {times[peak] - times[start]:.2f} s after it begins"
        return _not_one(value, SWEEP_HINT)
    if lasting > LONG_S:
        value = f"within 10 dB of its peak for {lasting:.1f} s"
        return _not_one(value, SWEEP_HINT)
    again = _second_start(signal, rate)
    if again is not None:
        return _not_one(f"starts again at {again:.2f} s", "keep one impulse per file")
    return _cable(signal, rate)


def _late_db(signal: Array, rate: int) -> float:
    """Level of the last tenth re the loudest block, dB."""
    _, level = _levels(signal, rate, BLOCK_S)
    return float(np.median(level[-max(1, level.size // 10) :]) - level.max())


def _not_one(value: str, more: str) -> Wrong:
    return Wrong("sound", value, f"not an impulse response, {more}")


def _second_start(signal: Array, rate: int) -> float | None:
    """When the sound rises again by more than 12 dB after it has died down, in s."""
    times, level = _levels(signal, rate, RISE_BLOCK_S)
    peak = int(np.argmax(level))
    after = level[peak:]
    rise = after - np.minimum.accumulate(after)
    found = np.flatnonzero((rise > RISE_DB) & (after > level[peak] + RISE_COUNTS_DB))
    return float(times[peak + found[0]]) if found.size else None


def _cable(signal: Array, rate: int) -> Wrong | None:
    """Next to nothing after the first 5 ms: a loop-back channel, or an anechoic room."""
    energy = signal**2
    energy = energy - energy[-max(1, energy.size // 10) :].mean()
    peak = int(np.argmax(np.abs(signal)))
    late = float(energy[peak + round(ROOM_AFTER_S * rate) :].sum())
    share = late / float(energy[max(0, peak - round(ROOM_AFTER_S * rate)) :].sum())
    if share > 10.0 ** (LEAST_ROOM_DB / 10.0):
        return None
    remedy = "no room in it: a loop-back channel? choose the microphone's with --channel"
    return Wrong("sound", "all of it within 5 ms", remedy)


def _levels(signal: Array, rate: int, seconds: float) -> tuple[Array, Array]:
    """Times (s) and levels (dB) of blocks; nothing is quieter than -150 dB re the loudest."""
    size = max(1, round(seconds * rate))
    count = max(1, signal.size // size)
    means = (signal[: count * size].reshape(count, -1) ** 2).mean(axis=1)
    means = np.maximum(means, 1e-15 * means.max())
    return (np.arange(count) + 0.5) * size / rate, np.asarray(10.0 * np.log10(means))
