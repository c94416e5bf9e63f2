"""How even a response at low frequencies is, and how two seats differ."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from optimizer.room.geometry import Floats


@dataclass(frozen=True)
class Evenness:
    """Deviation of a response from its own octave-smoothed curve, dB.

    sd_db standard deviation; peak and dip the highest and deepest deviation, each with its
    frequency in Hz.
    """

    sd_db: float
    peak_db: float
    peak_hz: float
    dip_db: float
    dip_hz: float


def pressure_level(p: ArrayLike) -> Floats:
    """20 lg |p|, floored at -200 dB."""
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(np.asarray(p)), 1e-10)))


def response_evenness(
    level: ArrayLike, f: ArrayLike, f_range: tuple[float, float] = (20.0, 300.0)
) -> Evenness:
    """How even a level (F,), dB, is over f_range, against its energy mean over one octave.

    f (F,) rises evenly on a log axis. The window is half an octave to either side, cut off at the
    ends. ValueError for fewer than 12 points in range.
    """
    hz, off = octave_deviation(level, f, f_range)
    if off.ndim != 1:
        raise ValueError("response_evenness: needs one level per frequency")
    top, low = int(np.argmax(off)), int(np.argmin(off))
    return Evenness(
        float(np.std(off)), float(off[top]), float(hz[top]), float(off[low]), float(hz[low])
    )


def octave_deviation(
    level: ArrayLike, f: ArrayLike, f_range: tuple[float, float] = (20.0, 300.0)
) -> tuple[Floats, Floats]:
    """Frequencies (G,) in range and what levels (..., F) are there above their octave mean, dB.

    As `response_evenness`, of many responses at once.
    """
    hz, db = np.asarray(f, dtype=np.float64), np.asarray(level, dtype=np.float64)
    own = (hz >= f_range[0]) & (hz <= f_range[1])
    if db.shape[-1:] != hz.shape or np.count_nonzero(own) < 12:
        raise ValueError("response_evenness: needs at least 12 levels, one per frequency")
    hz, energy = hz[own], 10.0 ** (db[..., own] / 10.0)
    octaves = np.log2(hz)
    window = np.abs(octaves[:, None] - octaves) <= 0.5 + 1e-9
    smooth = 10.0 * np.log10((energy @ window) / np.sum(window, axis=1))
    return hz, np.asarray(db[..., own] - smooth)


def seat_difference(level_a: ArrayLike, level_b: ArrayLike, f: ArrayLike) -> tuple[Floats, Floats]:
    """Third-octave centres (B,) and level at a less level at b (B,), dB, energy means.

    Base-ten thirds (IEC 61260-1); a band counts when at least one frequency lies in it.
    """
    hz = np.asarray(f, dtype=np.float64)
    a, b = (10.0 ** (np.asarray(x, dtype=np.float64) / 10.0) for x in (level_a, level_b))
    if hz.shape != a.shape or hz.shape != b.shape:
        raise ValueError("seat_difference: needs one level per frequency at each seat")
    index = np.round(10.0 * np.log10(hz / 1000.0)).astype(int)
    bands = np.unique(index)
    ratio = [np.mean(a[index == n]) / np.mean(b[index == n]) for n in bands]
    return 1000.0 * 10.0 ** (bands / 10.0), 10.0 * np.log10(np.array(ratio))
