"""C50, C80 and D50 per band: early energy against late energy.

C = 10 log10(E(0..te) / E(te..inf)), te = 50 or 80 ms, and D50 = E(0..50 ms) / E(0..inf)
(ISO 3382-1:2009 A.2.3, Eq. A.10 and A.11). The response is cut at te first (over 1/B) and each part
filtered after, so that a filter's delay moves no energy across the cut (ISO 3382-1:2009 A.3.4).
Noise energy is taken off both parts, and the tail below the noise is put back at the late slope.
Bands too narrow to tell the parts apart, B te < 4, have none (own choice, as the filter limit for
decays).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.measurement.decay_evaluation import BandDecay, Reason
from optimizer.measurement.filters import BandSet, band_energy
from optimizer.measurement.onset import LEAD_S, from_onset

Array = NDArray[np.float64]

EARLY_S = {"c50": 0.050, "c80": 0.080, "d50": 0.050}
LEAST_BT = 4.0
CLEAR_OF_NOISE_DB = 10.0
"""How far the decay must be seen below its level at te; own choice, as for the decay ranges."""


@dataclass(frozen=True)
class BandClarity:
    """c50, c80 in dB, d50 as a share from 0 to 1, (bands,); NaN with a reason where missing."""

    bands: BandSet
    c50: Array
    c80: Array
    d50: Array
    reasons: tuple[dict[str, Reason], ...]


def evaluate_clarity(signal: Array, rate: int, decay: BandDecay) -> BandClarity:
    """Clarity of an impulse response (samples,), with the noise found by `evaluate_decay`."""
    response = from_onset(signal, rate)
    lead = min(round(LEAD_S * rate), response.size // 2)
    values = {name: np.full(len(decay.bands.nominal), np.nan) for name in EARLY_S}
    reasons: list[dict[str, Reason]] = []
    for index in range(len(decay.bands.nominal)):
        missing: dict[str, Reason] = {}
        for te in (0.050, 0.080):
            names = [name for name in EARLY_S if EARLY_S[name] == te]
            found = _early_and_late(response, rate, lead, decay, index, te)
            if isinstance(found, Reason):
                missing.update(dict.fromkeys(names, found))
                continue
            early, late = found
            for name in names:
                ratio = early / (early + late)
                values[name][index] = ratio if name == "d50" else 10.0 * np.log10(early / late)
        reasons.append(missing)
    return BandClarity(decay.bands, values["c50"], values["c80"], values["d50"], tuple(reasons))


def _early_and_late(
    response: Array, rate: int, lead: int, decay: BandDecay, index: int, te: float
) -> tuple[float, float] | Reason:
    """Energies before and after te in one band, or why they cannot be told apart."""
    noise = float(decay.noise[index])
    product = float(decay.bands.width[index]) * te
    if product < LEAST_BT:
        return Reason("filter", f"the band is too narrow to be split at {1000 * te:.0f} ms")
    if np.isnan(noise):
        return decay.reasons[index].get("t20", Reason("noise", "no decay stands out of the noise"))
    cut, end = lead + round(te * rate), lead + round(float(decay.end_s[index]) * rate)
    if cut >= end:
        return _no_late_part(te)
    fade_out, fade_in = _crossfade(end, cut, rate / float(decay.bands.width[index]))
    early, late = (
        band_energy(response[:end] * fade, rate, decay.bands, index) - noise * samples / rate
        for fade, samples in ((fade_out, cut), (fade_in, end - cut))
    )
    tail = decay.tail[index]
    late += float(tail)
    if late <= tail * 10.0 ** (CLEAR_OF_NOISE_DB / 10.0) or early <= 0.0:
        return _no_late_part(te)
    return early, late


def _crossfade(end: int, cut: int, length: float) -> tuple[Array, Array]:
    """Amplitudes before and after the cut, each (end,); their squares add up to 1.

    A hard cut would spill bass into the high bands; 1/B is as sharp as the band can tell.
    """
    share = np.clip((np.arange(end) - cut) / length + 0.5, 0.0, 1.0)
    return np.cos(0.5 * np.pi * share), np.sin(0.5 * np.pi * share)


def _no_late_part(te: float) -> Reason:
    text = f"the decay is lost in noise, or the file ends, too soon after {1000 * te:.0f} ms"
    return Reason("noise", text)
