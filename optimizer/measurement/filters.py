"""Octave and third-octave filters, run backwards in time so that they do not lengthen the decay.

Band edges are those of the base-ten system of IEC 61260-1:2014 (mid-band 1000 G^(k/b) Hz, edges a
half band either side, G = 10^0.3). Filters are Butterworth band-passes of order three at each edge.
Fed with the response reversed in time, a filter rings into the time before the onset instead of
into the decay (Jacobsen and Rindel, "Time reversed decay measurements", J. Sound Vib. 117 (1987)
187), which lets ISO 3382-2:2008, 7.3 lower the limit from B T > 16 to B T > 4.

The direct sound then lies ahead of the onset by the filter's delay, while a diffuse decay is true
from the onset on. Decay curves begin halfway between the two: of the three places it costs least
(tests/measurement/curve_start.md).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from optimizer.bands import BANDS, EXACT_HZ

Array = NDArray[np.float64]

ORDER = 3  # at each edge: six poles in all
HIGHEST_EDGE = 0.98  # of half the sampling rate
RINGING = 4.0  # in 1/B: how long a filter rings, to below -60 dB
DELAY = 0.72  # in 1/B: mean delay of the energy of the filter's own response


@dataclass(frozen=True)
class BandSet:
    """Bands to evaluate in: nominal and exact mid-band frequencies (Hz), bands per octave."""

    nominal: tuple[int, ...]
    exact: Array
    per_octave: int

    @property
    def lower(self) -> Array:
        """Lower edges, Hz."""
        return np.asarray(self.exact * 10.0 ** (-0.15 / self.per_octave))

    @property
    def upper(self) -> Array:
        """Upper edges, Hz."""
        return np.asarray(self.exact * 10.0 ** (0.15 / self.per_octave))

    @property
    def width(self) -> Array:
        """Bandwidths B, Hz."""
        return self.upper - self.lower


OCTAVES = BandSet(BANDS, np.asarray(EXACT_HZ, dtype=np.float64), 1)
THIRDS = BandSet(
    (50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500,
     3150, 4000, 5000, 6300, 8000, 10000),
    np.asarray(1000.0 * 10.0 ** (0.1 * np.arange(-13, 11)), dtype=np.float64),
    3,
)  # fmt: skip


def fits(bands: BandSet, index: int, rate: int) -> bool:
    """Whether a sampling rate carries the whole of a band."""
    return bool(bands.upper[index] <= HIGHEST_EDGE * rate / 2)


def band_sections(bands: BandSet, index: int, rate: int) -> Array:
    """Second-order sections of one band filter; ValueError when the rate is too low for it."""
    if not fits(bands, index, rate):
        raise ValueError(_too_low(bands, index, rate))
    edges = [bands.lower[index], bands.upper[index]]
    return np.asarray(signal.butter(ORDER, edges, "bandpass", fs=rate, output="sos"))


def filter_reversed(response: Array, rate: int, bands: BandSet, index: int) -> tuple[Array, int]:
    """One band of a response (samples,), filtered backwards in time.

    Returns the filtered response with room in front for the ringing, and the index at which the
    decay curve of a response begins that has its onset at sample 0.
    """
    before = int(np.ceil(RINGING / bands.width[index] * rate))
    padded = np.concatenate([np.zeros(before), response])
    sections = band_sections(bands, index, rate)
    filtered = np.asarray(signal.sosfilt(sections, padded[::-1])[::-1])
    return filtered, before - round(0.5 * DELAY / bands.width[index] * rate)


def band_energy(part: Array, rate: int, bands: BandSet, index: int) -> float:
    """Energy (sum of squares / rate) that a part of a response has in one band, ringing and all.

    By Parseval from the spectrum of the part: the part is cut out first and filtered after.
    ValueError when the rate is too low for the band.
    """
    if not fits(bands, index, rate):
        raise ValueError(_too_low(bands, index, rate))
    if part.size == 0:
        return 0.0
    size = fft.next_fast_len(max(part.size, rate), real=True)
    power = np.abs(fft.rfft(part, size)) ** 2
    frequencies = fft.rfftfreq(size, 1.0 / rate)
    low, high = np.searchsorted(frequencies, _skirts(bands, index))
    inside = slice(max(1, low), min(high, frequencies.size - 1))
    gain = power_gain(frequencies[inside], rate, bands, index)
    return float(2.0 * np.sum(power[inside] * gain) / size / rate)


def power_gain(frequencies: Array, rate: int, bands: BandSet, index: int) -> Array:
    """Gain |H|^2 of one band's filter at frequencies (F,) above 0 and below half the rate, Hz.

    Butterworth: 1 / (1 + W^(2 ORDER)), W = (w^2 - w1 w2) / (w (w2 - w1)), with w = tan(pi f / rate)
    as the bilinear transform has it.
    """
    w, w1, w2 = (
        np.tan(np.pi * np.asarray(f) / rate)
        for f in (frequencies, bands.lower[index], bands.upper[index])
    )
    return np.asarray(1.0 / (1.0 + ((w**2 - w1 * w2) / (w * (w2 - w1))) ** (2 * ORDER)))


def _skirts(bands: BandSet, index: int) -> Array:
    """Frequencies far enough out for a filter to have fallen by more than 50 dB."""
    reach = 8.0 if bands.per_octave == 1 else 2.0
    return np.array([bands.exact[index] / reach, bands.exact[index] * reach])


def _too_low(bands: BandSet, index: int, rate: int) -> str:
    return f"the {bands.nominal[index]} Hz band needs a higher sampling rate than {rate} Hz"
