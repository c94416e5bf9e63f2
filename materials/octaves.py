"""From single frequencies to octave bands: where to sample, and the mean over a band."""

from collections.abc import Sequence

import numpy as np

from materials.medium import Floats

POINTS_PER_OCTAVE = 12


def octave_frequencies(bands: Sequence[float], per_octave: int = POINTS_PER_OCTAVE) -> Floats:
    """Frequencies that sample each octave band evenly on a log axis, shape (bands * per_octave,).

    Each band is cut into `per_octave` equal log intervals and the middle of each is taken; band
    edges follow the base-ten system, mid-band 1000 * 10**(3 n / 10) and width 10**0.3
    (IEC 61260-1). `bands` holds nominal centres in hertz. At least 3 points per octave, because
    the octave value of ISO 11654 is the mean of three thirds.
    """
    if per_octave < 3:
        raise ValueError("an octave value needs at least 3 frequencies in the octave")
    nominal = np.asarray(bands, dtype=np.float64)
    if nominal.ndim != 1 or nominal.size == 0 or np.any(nominal <= 0.0):
        raise ValueError("bands must be a list of octave centres above zero")
    exact = 1000.0 * 10.0 ** (0.3 * np.round(np.log10(nominal / 1000.0) / 0.3))
    if np.any(np.abs(exact / nominal - 1.0) > 0.03):
        raise ValueError("bands must be nominal octave centres such as 63, 125, 250")
    offsets = (np.arange(per_octave) + 0.5) / per_octave - 0.5
    grid: Floats = exact[:, None] * 10.0 ** (0.3 * offsets[None, :])
    return grid.ravel()


def octave_mean(values: Floats, n_bands: int) -> Floats:
    """Arithmetic mean per band of values sampled at `octave_frequencies`, shape (n_bands,)."""
    return np.asarray(values.reshape(n_bands, -1).mean(axis=1), dtype=np.float64)
