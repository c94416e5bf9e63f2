"""Two signals a quarter of a period apart at every frequency of a band.

What is driven by both at once then has the energy that each would give by itself, mode by mode:
with phases 0 and 90 degrees |a + j b|^2 = |a|^2 + |b|^2. So one run of a linear model carries the
energy decay of two places. The signals come from one by two chains of first-order all-passes whose
poles alternate; their phases differ by 90 degrees with equal ripple when the poles are

    p_i = f_low sc((2 i + 1) K' / (4 n), k'),   k = f_low / f_high

(S. Darlington, Bell System Tech. J. 29 (1950) 94, from memory; the ripple is tested). Six poles
keep within 0.7 degrees over 40 Hz to 1.5 kHz.
"""

import numpy as np
from scipy.signal import sosfilt
from scipy.special import ellipj, ellipk

from optimizer.room.geometry import Floats

POLES = 6


def quarter_apart(signal: Floats, fs: float, low: float, high: float) -> Floats:
    """Signals (N, 2) made of one (N,): the first a quarter of a period behind the second, `low` to
    `high` Hz, each as strong as the one at every frequency.

    ValueError unless 0 < low < high < fs / 2.
    """
    if not 0.0 < low < high < 0.5 * fs:
        raise ValueError("quarter_apart: 0 < low < high < fs / 2 is needed")
    poles = _poles(*np.tan(np.pi * np.array([low, high]) / fs))
    return np.stack([sosfilt(_all_passes(poles[i::2]), signal) for i in (0, 1)], axis=1)


def _poles(low: float, high: float) -> Floats:
    rest = 1.0 - (low / high) ** 2
    sn, cn, _, _ = ellipj((2 * np.arange(POLES) + 1) / (2 * POLES) * ellipk(rest), rest)
    return np.asarray(low * sn / cn)


def _all_passes(poles: Floats) -> Floats:
    """Second-order sections (P, 6) of (p - s) / (p + s), s = (1 - z^-1) / (1 + z^-1)."""
    a = (poles - 1.0) / (poles + 1.0)
    one, none = np.ones_like(a), np.zeros_like(a)
    return np.stack([a, one, none, one, a, none], axis=1)
