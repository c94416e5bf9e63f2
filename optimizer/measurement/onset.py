"""Where the direct sound begins."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ONSET_DB = -20.0
"""Start of a response: where it first comes within 20 dB of its peak (ISO 3382-1:2009, A.3.4)."""
LEAD_S = 0.001
"""Kept ahead of the onset, so that the foot of the direct sound is not cut off; own choice."""


def onset_index(response: Array) -> int:
    """Sample at which a response (samples,) first comes within 20 dB of its peak."""
    size = np.abs(response)
    peak = float(size.max(initial=0.0))
    if peak <= 0.0:
        raise ValueError("a silent response has no onset")
    return int(np.argmax(size >= peak * 10.0 ** (ONSET_DB / 20.0)))


def from_onset(response: Array, rate: int) -> Array:
    """The response from 1 ms ahead of its onset on; what lies before is noise."""
    return response[max(0, onset_index(response) - round(LEAD_S * rate)) :]
