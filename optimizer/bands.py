"""Octave bands used by every module, in hertz (nominal centres of IEC 61260-1)."""

import numpy as np

BANDS: tuple[int, ...] = (63, 125, 250, 500, 1000, 2000, 4000, 8000)
N_BANDS = len(BANDS)

# Exact mid-band frequencies of the base-ten system, IEC 61260-1: 1000 * 10**(3 k / 10).
EXACT_HZ = 1000.0 * 10.0 ** (0.3 * np.arange(-4, 4))

# Bands in which single early reflections are judged (1-8 kHz, BS.1116-3 section 8).
EARLY_BANDS: tuple[int, ...] = (1000, 2000, 4000, 8000)
EARLY_INDEX = np.array([BANDS.index(b) for b in EARLY_BANDS])


def band_label(band_hz: int) -> str:
    """Band as people write it: "125 Hz", "2 kHz"."""
    return f"{band_hz} Hz" if band_hz < 1000 else f"{band_hz // 1000} kHz"


BAND_LABELS = tuple(band_label(band) for band in BANDS)
