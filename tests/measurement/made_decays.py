"""Made-up signals with known figures."""

import numpy as np
from numpy.typing import NDArray

from optimizer.measurement.filters import OCTAVES

Array = NDArray[np.float64]

RATE = 48000
LEAD = 480  # samples of silence before the onset


def envelope(T: float, seconds: float, rate: int = RATE) -> Array:
    """Amplitude of an exponential decay of 60 dB in T."""
    return np.asarray(10.0 ** (-3.0 * np.arange(int(seconds * rate)) / rate / T))


def tones(decays: list[Array], rate: int = RATE) -> Array:
    """One tone per octave, each with its own amplitude over time: no chance in it."""
    t = np.arange(len(decays[0])) / rate
    parts = [a * np.sin(2 * np.pi * f * t) for a, f in zip(decays, OCTAVES.exact, strict=False)]
    return after_lead(np.sum(parts, axis=0))


def noise_decay(T: float, seconds: float, seed: int, rate: int = RATE) -> Array:
    """Gaussian noise that dies away: the model of a diffuse room."""
    decay = envelope(T, seconds, rate)
    return after_lead(np.random.default_rng(seed).standard_normal(decay.size) * decay)


def after_lead(response: Array) -> Array:
    """With silence in front."""
    return np.concatenate([np.zeros(LEAD), response])


def with_noise(response: Array, below_peak_db: float, seed: int = 3) -> Array:
    """White noise so far below the peak (rms against peak)."""
    level = np.abs(response).max() * 10.0 ** (-below_peak_db / 20.0)
    return response + level * np.random.default_rng(seed).standard_normal(response.size)
