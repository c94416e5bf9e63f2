"""EDT, T20 and T30 of an impulse response per band, or the reason why there is none.

Figures and their ranges are those of optimizer.acoustics.decay_curve (ISO 3382-1:2009 5.3.3 and
A.2.2, ISO 3382-2:2008 3.3), read from the noise-compensated backward integral. A figure is
withheld when
- the decay is not seen down to 10 dB below the figure's range, so 20, 35, 45 dB for EDT, T20, T30
  (ISO 3382-1:2009 5.2.1 asks 35 dB and 45 dB for T20 and T30; EDT by the same rule);
- the filter would decay as slowly as the room: B T < 4 for T20 and T30 with reversed filters
  (ISO 3382-2:2008 7.3), B T < 16 for EDT, whose range begins at the onset (own choice);
- the direct sound alone makes more than 5 of the 10 dB of EDT (own choice);
- the decay is not straight: curvature above 10 % either way, or non-linearity above 10 permille
  (ISO 3382-2:2008 Annex B), unless chance alone gives as much at the band's B T (see below).

Random interference bends any decay of narrow bandwidth, so a bend only counts when fewer than 1
in 100 straight decays of noise show as much: curvature beyond 180/sqrt(B T) per cent, non-linearity
beyond 4000/(B T) permille over T20's range or 2100/(B T) over T30's, T20 longer than EDT by more
than 750/sqrt(B T) per cent (simulated, for B T > 40; tests/measurement/decay_chance.md).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.decay_curve import (
    CURVATURE_LIMIT,
    EARLY_LIMIT,
    EDT_RANGE,
    T20_RANGE,
    T30_RANGE,
    decay_times,
    level_db,
)
from optimizer.measurement.filters import DELAY, OCTAVES, BandSet, filter_reversed, fits
from optimizer.measurement.onset import LEAD_S, from_onset
from optimizer.measurement.truncation import (
    Truncation,
    compensated_curve,
    find_truncation,
    missing_tail,
)

Array = NDArray[np.float64]

RANGES = {"edt": EDT_RANGE, "t20": T20_RANGE, "t30": T30_RANGE}
NAMES = {"edt": "EDT", "t20": "T20", "t30": "T30"}
BELOW_RANGE_DB = 10.0
LEAST_BT = {"edt": 16.0, "t20": 4.0, "t30": 4.0}
NONLINEARITY_LIMIT = 10.0
"""Permille; ISO 3382-2:2008 Annex B.2."""
CHANCE_CURVATURE = 180.0
"""Per cent at B T = 1, falling with its root; see the top of this module, as for the next two."""
CHANCE_NONLINEARITY = {"t20": 4000.0, "t30": 2100.0}
"""Permille at B T = 1, falling with it."""
CHANCE_EARLY = 750.0
"""Per cent at B T = 1, falling with its root."""
DIRECT_STEP_DB = 5.0
"""Fall of the curve with the direct sound alone beyond which EDT is no slope; own choice."""
CLEAR_STEP_DB = 1.0
"""... and below which it does not explain a fast beginning; own choice."""
DIRECT_S = 0.001


@dataclass(frozen=True)
class Reason:
    """Why a figure is missing: one word for a table, and a sentence."""

    word: str
    text: str


@dataclass(frozen=True)
class BandDecay:
    """Decay figures of one impulse response per band of `bands`; NaN where there is none.

    edt, t20, t30: seconds, shape (bands,). curvature: per cent, nonlinearity: permille of T30's
    range or, without it, of T20's (bands,). range_db: how far the decay is seen, dB (bands,).
    end_s: where it was cut off, seconds after the onset (bands,). noise: mean noise energy per
    sample (bands,). tail: energy put back after end_s, as energy times seconds (bands,).
    double_slope: bent more than chance would have it (bands,); a knee within the first 10 dB counts
    too, but T20 and T30 are then still given. reasons: per band,
    the reason for each of "edt", "t20", "t30" that is missing. notes: remarks per band on figures
    that are given.
    """

    bands: BandSet
    edt: Array
    t20: Array
    t30: Array
    curvature: Array
    nonlinearity: Array
    range_db: Array
    end_s: Array
    noise: Array
    tail: Array
    double_slope: NDArray[np.bool_]
    reasons: tuple[dict[str, Reason], ...]
    notes: tuple[tuple[str, ...], ...]


@dataclass
class _Band:
    """One band while it is judged."""

    times: dict[str, float]
    reasons: dict[str, Reason]
    notes: list[str]
    curvature: float = np.nan
    nonlinearity: float = np.nan
    range_db: float = np.nan
    end_s: float = np.nan
    noise: float = np.nan
    tail: float = np.nan
    double_slope: bool = False
    step_db: float = np.nan


def evaluate_decay(signal: Array, rate: int, bands: BandSet = OCTAVES) -> BandDecay:
    """Decay figures of an impulse response (samples,) at `rate` Hz, per band.

    ValueError for a signal that is not one-dimensional, not finite or silent, or a rate below 1.
    """
    if signal.ndim != 1 or signal.size < 2 or not np.isfinite(signal).all():
        raise ValueError("signal must be finite, of shape (samples >= 2,)")
    if rate < 1:
        raise ValueError("rate must be a positive number of samples per second")
    response = from_onset(signal, rate)
    found = [_evaluate_band(response, rate, bands, i) for i in range(len(bands.nominal))]

    def column(name: str) -> Array:
        return np.array([getattr(band, name) for band in found], dtype=np.float64)

    return BandDecay(
        bands=bands,
        edt=np.array([band.times["edt"] for band in found]),
        t20=np.array([band.times["t20"] for band in found]),
        t30=np.array([band.times["t30"] for band in found]),
        curvature=column("curvature"),
        nonlinearity=column("nonlinearity"),
        range_db=column("range_db"),
        end_s=column("end_s"),
        noise=column("noise"),
        tail=column("tail"),
        double_slope=np.array([band.double_slope for band in found], dtype=np.bool_),
        reasons=tuple(band.reasons for band in found),
        notes=tuple(tuple(band.notes) for band in found),
    )


def _evaluate_band(response: Array, rate: int, bands: BandSet, index: int) -> _Band:
    band = _Band(dict.fromkeys(RANGES, np.nan), {}, [])
    if not fits(bands, index, rate):
        _withhold(band, RANGES, "rate", f"the sampling rate of {rate} Hz ends below this band")
        return band
    filtered, start = filter_reversed(response, rate, bands, index)
    energy = filtered**2
    start += min(round(LEAD_S * rate), response.size // 2)
    width = float(bands.width[index])
    after = energy[start:]
    cut = find_truncation(after, rate, width) if after.any() else None
    curve = compensated_curve(after, float(energy[:start].sum()) / rate, rate, cut) if cut else None
    if cut is None or curve is None or curve[0] <= 0.0:
        band.range_db = 0.0
        _withhold(band, RANGES, "noise", "no decay stands out of the noise")
        return band
    band.noise = cut.noise
    band.end_s = max(cut.index / rate - 0.5 * DELAY / width, 0.0)
    band.tail = missing_tail(after, rate, cut)
    _judge(band, curve, rate, width, cut)
    return band


def _judge(band: _Band, curve: Array, rate: int, width: float, cut: Truncation) -> None:
    """Fill in the figures of one decay curve, then take out those that do not hold."""
    curve = np.maximum(curve, 1e-30 * curve[0])
    found = decay_times(curve[:, None], 1.0 / rate)
    level = level_db(curve[:, None])[:, 0]
    band.range_db = -float(level[-1])
    band.times = {name: float(getattr(found, name)[0]) for name in RANGES}
    _check_range(band, cut)
    _check_filter(band, width)
    _check_direct(band, level, rate, width)
    _check_straight(band, level, 1.0 / rate, width)


def _check_range(band: _Band, cut: Truncation) -> None:
    for name, (_, lower) in RANGES.items():
        needed = BELOW_RANGE_DB - lower
        if band.range_db < needed:
            end = ("noise", "above the noise") if cut.reached else ("ends", "before the file ends")
            text = f"the decay is seen over {int(band.range_db)} dB {end[1]}; "
            _withhold(band, [name], end[0], f"{text}{NAMES[name]} needs {needed:.0f} dB")
        elif np.isnan(band.times[name]):
            text = "the direct sound stands alone: nothing to fit a line to"
            _withhold(band, [name], "direct", text)


def _check_filter(band: _Band, width: float) -> None:
    for name, least in LEAST_BT.items():
        product = width * band.times[name]
        if product < least:
            text = f"shorter than this filter can tell ({least / width:.2f} s at least: B T > "
            _withhold(band, [name], "filter", f"{text}{least:.0f})")


def _check_direct(band: _Band, level: Array, rate: int, width: float) -> None:
    """No EDT where the direct sound alone makes more than half of the first 10 dB."""
    slope = 60.0 / (band.times["edt"] if np.isnan(band.times["t20"]) else band.times["t20"])
    span = max(DIRECT_S, 1.0 / width)
    band.step_db = -float(level[min(round(span * rate), level.size - 1)]) - slope * span
    if band.step_db > DIRECT_STEP_DB:
        text = f"the direct sound alone makes {band.step_db:.0f} of the first 10 dB"
        _withhold(band, ["edt"], "direct", text)


def _check_straight(band: _Band, level: Array, dt: float, width: float) -> None:
    t20, t30 = band.times["t20"], band.times["t30"]
    if np.isnan(t20):
        return
    product = width * t20
    name, longest = ("t20", T20_RANGE) if np.isnan(t30) else ("t30", T30_RANGE)
    band.curvature = 100.0 * (t30 / t20 - 1.0)
    band.nonlinearity = nonlinearity(level, dt, *longest)
    bent = abs(band.curvature) > CURVATURE_LIMIT
    crooked = band.nonlinearity > NONLINEARITY_LIMIT
    _check_early_knee(band, product)
    if (bent and abs(band.curvature) > CHANCE_CURVATURE / np.sqrt(product)) or (
        crooked and band.nonlinearity > CHANCE_NONLINEARITY[name] / product
    ):
        band.double_slope = True
        _withhold(band, ["t20", "t30"], "bent", _bend_in_words(t20, t30, band.nonlinearity))
    elif bent or crooked:
        band.notes.append("not quite straight, as chance often has it at this bandwidth")


def _check_early_knee(band: _Band, product: float) -> None:
    """A knee within the first 10 dB leaves T20 and T30 straight; only EDT shows it."""
    edt, t20 = band.times["edt"], band.times["t20"]
    if not 100.0 * (t20 / edt - 1.0) > max(EARLY_LIMIT, CHANCE_EARLY / np.sqrt(product)):
        return
    why = "direct sound"
    if band.step_db < CLEAR_STEP_DB:
        band.double_slope, why = True, "two slopes"
    band.notes.append(f"{why}: the first 10 dB fall at {edt:.2f} s, the rest at {t20:.2f} s")


def _bend_in_words(t20: float, t30: float, permille: float) -> str:
    off = f"({permille:.0f} permille off a line)"
    if np.isnan(t30):
        return f"not one straight decay {off}"
    return f"not one straight decay: {t20:.2f} s to -25 dB, {t30:.2f} s to -35 dB {off}"


def nonlinearity(level: Array, dt: float, upper_db: float, lower_db: float) -> float:
    """Departure from a straight line, 1000 (1 - r^2) permille, between two levels of one band.

    level: (times,) dB re the start. r: correlation of level and time (ISO 3382-2:2008, B.2).
    NaN when the range is not there.
    """
    below = np.flatnonzero(level < lower_db)
    first = int(np.argmax(level <= upper_db))
    if below.size == 0 or below[0] - first < 3:
        return float("nan")
    part = level[first : int(below[0])]
    r = np.corrcoef(dt * np.arange(part.size), part)[0, 1]
    return float(1000.0 * (1.0 - r**2))


def _withhold(band: _Band, names: Iterable[str], word: str, text: str) -> None:
    """Take figures out, with the reason; the first reason found stays."""
    for name in names:
        band.times[name] = np.nan
        band.reasons.setdefault(name, Reason(word, text))
