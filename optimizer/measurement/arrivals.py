"""Early arrivals against the direct sound, 1 to 8 kHz: how late, how loud.

The response is split into the octaves from 1 to 8 kHz by filters without phase shift; each octave
is scaled so that the direct sound has equal energy in all of them, and they are added up again.
This is how the predictions weigh reflections (equal energy per octave, re direct). Energy is then
summed over a sliding 1 ms; its peaks are the arrivals, and their level is the energy of the peak's
millisecond against that of the direct sound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from optimizer.bands import EARLY_INDEX
from optimizer.measurement.decay_evaluation import Reason
from optimizer.measurement.filters import OCTAVES, band_energy, fits, power_gain
from optimizer.measurement.onset import from_onset

Array = NDArray[np.float64]

WINDOW_S = 0.001
DIRECT_S = 0.0025  # from the start of the response, 1 ms before the onset
APART_S = 0.001
UNTIL_MS = 25.0
FAINTEST_DB = -25.0
ABOVE_NOISE_DB = 10.0
STANDS_OUT_DB = 3.0  # above the sound around it
AROUND_S = 0.004


@dataclass(frozen=True)
class Arrivals:
    """Arrivals after the direct sound: delay in ms, level in dB re direct, both (arrivals,).

    reason: why there can be none, else None. faintest_db: arrivals below this are not told.
    """

    delay_ms: Array
    level_db: Array
    faintest_db: float
    reason: Reason | None = None


def early_arrivals(response: Array, rate: int) -> Arrivals:
    """Arrivals within 25 ms of the direct sound of an impulse response (samples,)."""
    if not all(fits(OCTAVES, int(i), rate) for i in EARLY_INDEX):
        text = f"a sampling rate of {rate} Hz ends below 8 kHz octave"
        return _none(Reason("rate", text))
    whole = from_onset(response, rate)
    envelope = _envelope(_levelled(whole, rate), rate)
    direct = int(np.argmax(envelope[: round(DIRECT_S * rate)]))
    last = min(direct + round(UNTIL_MS / 1000.0 * rate), envelope.size - 1)
    relative = 10.0 * np.log10(np.maximum(envelope / envelope[direct], 1e-12))
    faintest = max(FAINTEST_DB, _noise_level(relative) + ABOVE_NOISE_DB)
    if faintest > -10.0:
        return _none(Reason("noise", "the noise is less than 20 dB below the direct sound"))
    around = round(AROUND_S * rate)
    peaks, _ = signal.find_peaks(
        relative[: last + around],
        height=faintest,
        distance=max(1, round(APART_S * rate)),
        prominence=STANDS_OUT_DB,
        wlen=2 * around + 1,
    )
    peaks = peaks[(peaks > direct + round(APART_S * rate)) & (peaks <= last)]
    delay = 1000.0 * (peaks - direct) / rate
    return Arrivals(np.asarray(delay), np.asarray(relative[peaks]), faintest)


def _levelled(whole: Array, rate: int) -> Array:
    """Octaves 1 to 8 kHz added up, the direct sound of each scaled to unit energy."""
    size = fft.next_fast_len(whole.size + rate // 10, real=True)
    spectrum, frequencies = fft.rfft(whole, size), fft.rfftfreq(size, 1.0 / rate)
    direct = whole[: round(DIRECT_S * rate)]
    weight = np.zeros(frequencies.size)
    for index in EARLY_INDEX:
        energy = band_energy(direct, rate, OCTAVES, int(index))
        gain = power_gain(frequencies[1:-1], rate, OCTAVES, int(index))
        weight[1:-1] += np.sqrt(gain / max(energy, 1e-300))
    return np.asarray(fft.irfft(spectrum * weight, size)[: whole.size])


def _envelope(levelled: Array, rate: int) -> Array:
    """Energy (samples,) within half a millisecond either side of each sample, Hann-weighted."""
    window = signal.windows.hann(2 * round(WINDOW_S * rate) + 1)
    return np.maximum(signal.fftconvolve(levelled**2, window, mode="same"), 0.0)


def _noise_level(relative: Array) -> float:
    return float(np.median(relative[-max(1, relative.size // 10) :]))


def _none(reason: Reason) -> Arrivals:
    return Arrivals(np.zeros(0), np.zeros(0), 0.0, reason)
