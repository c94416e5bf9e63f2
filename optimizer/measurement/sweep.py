"""Impulse response from a recorded sweep and the sweep that was played.

Division of the spectra, with the divisor kept from vanishing outside the sweep's range (Mueller and
Massarani, "Transfer-function measurement with sweeps", J. Audio Eng. Soc. 49 (2001) 443). With an
exponential sweep, what a loudspeaker adds by distortion comes out ahead of the direct sound and is
cut off with everything else before time zero (Farina, AES 108th Convention (2000), preprint 5093).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Array = NDArray[np.float64]

FLOOR = 1e-4
"""Share of the largest power x frequency below which the sweep counts as not there."""
SHORTEST_TAIL_S = 0.2
SMOOTHED_HZ = 20.0
BEFORE_S = 0.005
"""Kept ahead of time zero, so that a direct sound without delay keeps its rise."""


def deconvolve(recorded: Array, reference: Array, rate: int) -> Array:
    """Impulse response (samples,) of a room excited by `reference` and heard as `recorded`.

    It begins 5 ms ahead of time zero and is as long as the recording goes on after the sweep.
    ValueError when that is less than 0.2 s, when the reference is no sweep, or when the recording
    begins after it.
    """
    tail = recorded.size - reference.size
    if tail < SHORTEST_TAIL_S * rate:
        left = max(tail, 0) / rate
        raise ValueError(f"goes on for {left:.2f} s after the sweep; record at least 1 s more")
    if not is_sweep(reference, rate):
        raise ValueError("the reference does not rise steadily from low to high")
    size = fft.next_fast_len(recorded.size + reference.size, real=True)
    played = fft.rfft(reference, size)
    frequencies = fft.rfftfreq(size, 1.0 / rate)
    floor = _floor(np.abs(played) ** 2, frequencies, size / rate)
    response = fft.irfft(
        fft.rfft(recorded, size) * np.conj(played) / (np.abs(played) ** 2 + floor), size
    )
    before = round(BEFORE_S * rate)
    response = np.roll(response, before)
    if int(np.argmax(np.abs(response))) > recorded.size:
        raise ValueError("begins after the sweep did; start recording first, then play")
    return np.asarray(response[: tail + before])


def _floor(power: Array, frequencies: Array, seconds: float) -> Array:
    """What is added to the divisor: flat for a sweep whose power falls as 1/f."""
    width = max(1, round(SMOOTHED_HZ * seconds))
    sums = np.concatenate([[0.0], np.cumsum(power * frequencies)])
    largest = float(np.max((sums[width:] - sums[:-width]) / width))
    return np.asarray(FLOOR * largest / np.maximum(frequencies, frequencies[1]))


def is_sweep(signal: Array, rate: int) -> bool:
    """Whether the loudest frequency rises steadily through at least two octaves."""
    pieces = 16
    size = signal.size // pieces
    if size < 64:
        return False
    spectra = np.abs(fft.rfft(signal[: pieces * size].reshape(pieces, -1), axis=1)) ** 2
    energy = spectra.sum(axis=1)
    spread = np.cumsum(spectra, axis=1) / np.maximum(energy[:, None], 1e-300)
    middle = np.argmax(spread >= 0.5, axis=1)[energy > 1e-3 * energy.max()]
    steady = bool(np.all(np.diff(middle) >= 0))
    return steady and middle.size >= pieces // 2 and bool(middle[-1] >= 4 * max(middle[0], 1))
