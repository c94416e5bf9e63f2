"""Decay-time targets for listening rooms: nominal time and tolerance mask.

The figures are those of ITU-R BS.1116-3 (2015), section 8.2.3, and EBU Tech 3276 (1998),
section 2.3, taken from transcriptions. Both were written for rooms larger than most home
studios: read them as what a controlled listening room reaches.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.bands import BANDS

FloatArray = NDArray[np.float64]

REFERENCE_VOLUME = 100.0  # m3, V0
NOMINAL_RANGE = (0.2, 0.4)  # s, EBU Tech 3276
_ABOVE_63 = 0.30  # s above the nominal time at 63 Hz
_MIDDLE = 0.05  # s either way, 200 Hz to 4 kHz
_TOP = 0.10  # s either way, above 4 kHz


def nominal_decay(volume: float) -> float:
    """Nominal decay time in seconds of a listening room of `volume` cubic metres (> 0).

    Tm = 0.25 (V / 100 m3)^(1/3), BS.1116-3; kept within 0.2 to 0.4 s as EBU Tech 3276 does,
    so every room below 51.2 m3 gets 0.2 s.
    """
    if not 0 < volume < np.inf:
        raise ValueError(f"volume must be above 0 m3, not {volume}")
    low, high = NOMINAL_RANGE
    return float(np.clip(0.25 * np.cbrt(volume / REFERENCE_VOLUME), low, high))


def standard_mask(volume: float, bands: ArrayLike = BANDS) -> tuple[FloatArray, FloatArray]:
    """Shortest and longest decay time in seconds allowed at each frequency of `bands` (63-8000).

    Returns (low, high), each of the shape of bands; low is nan below 100 Hz, where there is no
    lower limit. Upper limit: Tm + 0.30 s at 63 Hz falling to + 0.05 s at 200 Hz, straight
    over the logarithm of frequency. 200 Hz to 4 kHz: Tm +/- 0.05 s. Above 4 kHz: +/- 0.10 s.
    Source: BS.1116-3 Fig. 2. The corner values come from one transcription, the logarithmic
    axis from memory of the figure. ValueError outside 63 to 8000 Hz.
    """
    freq = np.asarray(bands, dtype=np.float64)
    if not np.all((freq >= 63) & (freq <= 8000)):
        raise ValueError("the tolerance mask runs from 63 to 8000 Hz")
    nominal = nominal_decay(volume)
    falling = np.interp(np.log(freq), np.log([63.0, 200.0]), [_ABOVE_63, _MIDDLE])
    top = freq > 4000
    high = nominal + np.where(top, _TOP, falling)
    low = np.where(freq < 100, np.nan, nominal - np.where(top, _TOP, _MIDDLE))
    return low, high
