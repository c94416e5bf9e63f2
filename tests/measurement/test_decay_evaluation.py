"""Decay figures of signals whose decay is known by construction.

Limits and ranges: ISO 3382-1:2009, ISO 3382-2:2008 as cited in the modules. The 2 % on decay times
is below half the just noticeable difference of 5 % (ISO 3382-1:2009, Table A.1).
"""

import numpy as np
import pytest
from made_decays import RATE, envelope, noise_decay, tones, with_noise
from scipy.signal import freqz_sos

from optimizer.bands import BANDS
from optimizer.measurement.decay_evaluation import BandDecay, evaluate_decay, nonlinearity
from optimizer.measurement.filters import (
    OCTAVES,
    THIRDS,
    BandSet,
    band_energy,
    band_sections,
    filter_reversed,
    power_gain,
)

# One per octave; a neighbour's tone comes 20 dB weaker through a filter's skirt, so that steeper
# steps than these mix two slopes in one band.
TIMES = (0.9, 0.75, 0.6, 0.5, 0.45, 0.36, 0.3, 0.24)


@pytest.mark.parametrize("rate", [32000, 44100, 48000, 96000])
def test_tones_that_decay_give_their_own_times_in_every_band(rate: int) -> None:
    found = evaluate_decay(tones([envelope(T, 1.8, rate) for T in TIMES], rate), rate)
    for figure in (found.edt, found.t20, found.t30):
        np.testing.assert_allclose(figure, TIMES, rtol=0.02)
    assert not found.double_slope.any()
    assert not any(found.reasons)


@pytest.fixture(scope="module")
def noise_decays() -> list[BandDecay]:
    """60 straight decays of noise, T = 0.5 s."""
    return [evaluate_decay(noise_decay(0.5, 0.7, seed, 24000), 24000) for seed in range(60)]


def test_noise_that_decays_gives_its_time_on_average(noise_decays: list[BandDecay]) -> None:
    # ISO 3382-2:2008, Eq. 3 (from memory): one T20 scatters by .88 sqrt((1 + 1.9/n)/(B T))
    # with n = 10 for impulse responses; from 500 Hz on, 2 % is at least twice that of 60's mean.
    for name in ("t20", "t30"):
        means = np.nanmean([getattr(f, name)[3:] for f in noise_decays], axis=0)
        np.testing.assert_allclose(means, 0.5, rtol=0.02)


def test_few_straight_noise_decays_are_called_bent(noise_decays: list[BandDecay]) -> None:
    bent = np.array([f.double_slope for f in noise_decays])
    assert bent.mean() < 0.04  # three criteria at 1 in 100 each, a little more below B T = 40


@pytest.mark.parametrize("bands", [OCTAVES, THIRDS], ids=["octaves", "thirds"])
def test_short_decays_come_out_down_to_the_limit_of_the_filter(bands: BandSet) -> None:
    index = 3  # a tone in the middle of one narrow band, B T = 4.4
    T = 4.4 / bands.width[index]
    t = np.arange(RATE) / RATE
    tone = envelope(T, 1.0) * np.cos(2 * np.pi * bands.exact[index] * t)
    found = evaluate_decay(np.concatenate([np.zeros(500), tone]), RATE, bands)
    assert found.t20[index] == pytest.approx(T, rel=0.02)
    assert found.reasons[index]["edt"].word == "filter"


def test_below_the_limit_of_the_filter_there_is_no_figure() -> None:
    found = evaluate_decay(tones([envelope(0.08, 1.0)] * 8), RATE)  # B T = 3.6 at 63 Hz
    assert np.isnan(found.t20[0])
    assert {r.word for r in found.reasons[0].values()} <= {"filter", "direct"}
    assert found.t20[2:] == pytest.approx(0.08, rel=0.02)


@pytest.mark.parametrize("knee_db", [-12.0, -18.0, -25.0])
@pytest.mark.parametrize("below_db", [200.0, 75.0])
def test_two_slopes_are_told_and_not_averaged(knee_db: float, below_db: float) -> None:
    # levels of the two energies at the onset; in the backward integral the knee is 6 dB higher
    energy = envelope(0.3, 2.5) ** 2 + 10 ** (knee_db / 10) * envelope(1.2, 2.5) ** 2
    found = evaluate_decay(with_noise(tones([np.sqrt(energy)] * 8), below_db), RATE)
    assert found.double_slope[2:].all()
    for band in range(2, 8):
        if knee_db == -12.0:  # within the first 10 dB: a straight late decay, and its time
            assert "two slopes" in found.notes[band][0]
            assert found.t30[band] == pytest.approx(1.2, rel=0.05)
        else:
            assert np.isnan([found.t20[band], found.t30[band]]).all()
            assert found.reasons[band]["t20"].word == "bent"


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("hum", [0.0, 3e-3])
def test_a_straight_decay_in_noise_keeps_its_time_and_is_cut_where_it_meets_it(
    seed: int, hum: float
) -> None:
    T, below = 0.5, 75.0
    clean = tones([envelope(T, 1.6)] * 8)
    noise = with_noise(clean, below, seed) - clean
    noise += hum * np.abs(clean).max() * np.sin(2 * np.pi * 50 * np.arange(clean.size) / RATE)
    found = evaluate_decay(clean + noise, RATE)
    np.testing.assert_allclose(found.t20[3 if hum else 0 :], T, rtol=0.02)
    assert hum == 0.0 or found.reasons[0]["t30"].word == "noise"
    for band in range(4 if hum else 3, 8):
        decay, start = filter_reversed(clean[480:], RATE, OCTAVES, band)
        level = 10 * np.log10(np.mean(decay[start : start + 480] ** 2))  # at 5 ms
        floor = 10 * np.log10(band_energy(noise, RATE, OCTAVES, band) * RATE / noise.size)
        meets = T / 60 * (level + 60 / T * 0.005 - floor)
        assert found.end_s[band] == pytest.approx(meets, rel=0.03)  # 3 % is 2 dB


@pytest.mark.parametrize(
    ("below_db", "given", "missing"),
    [(38.0, {"edt", "t20"}, {"t30"}), (28.0, {"edt"}, {"t20", "t30"}), (12.0, set(), {"edt"})],
)
def test_noise_takes_figures_out_one_by_one(
    below_db: float, given: set[str], missing: set[str]
) -> None:
    # one tone alone, so that peak and level of the 1 kHz band are one; white noise in that band is
    # 15 dB below its total: 10 log10(705 / 24000). A tone's mean square is 3 dB below its peak.
    t = np.arange(2 * RATE) / RATE
    tone = np.concatenate([np.zeros(500), envelope(0.4, 2.0) * np.cos(2 * np.pi * 1000 * t)])
    found = evaluate_decay(with_noise(tone, below_db - 12.3), RATE)
    assert {name for name in ("edt", "t20", "t30") if np.isfinite(getattr(found, name)[4])} == given
    assert all(found.reasons[4][name].word == "noise" for name in missing)
    assert "needs" in found.reasons[4]["t30"].text or below_db < 20


def test_a_file_that_ends_in_the_decay_says_so() -> None:
    found = evaluate_decay(tones([envelope(1.0, 0.65)] * 8), RATE)  # 39 dB
    assert np.all([r["t30"].word == "ends" for r in found.reasons[2:]])
    np.testing.assert_allclose(found.t20[2:], 1.0, rtol=0.02)


def test_a_fade_does_not_pass_for_a_decay() -> None:
    response = tones([envelope(1.5, 1.0)] * 8)  # 40 dB, then faded away over 0.4 s
    fade = np.ones(response.size)
    fade[-19200:] = 0.5 + 0.5 * np.cos(np.pi * np.arange(19200) / 19200)
    found = evaluate_decay(response * fade, RATE)
    assert np.isnan(found.t30[2:]).all()


def test_bands_above_half_the_sampling_rate_are_left_out() -> None:
    found = evaluate_decay(tones([envelope(0.4, 1.0, 8000)] * 6, 8000), 8000)
    assert [r.get("t20") is not None and r["t20"].word for r in found.reasons[6:]] == ["rate"] * 2
    np.testing.assert_allclose(found.t30[1:6], 0.4, rtol=0.02)


def test_thirds_have_their_nominal_names_and_tile_the_octaves() -> None:
    # IEC 61260-1:2014: nominal mid-bands are within 2 % of the exact ones; edges meet.
    np.testing.assert_allclose(THIRDS.exact, THIRDS.nominal, rtol=0.02)
    np.testing.assert_allclose(THIRDS.upper[:-1], THIRDS.lower[1:], rtol=1e-12)
    np.testing.assert_allclose(THIRDS.lower[::3], OCTAVES.lower, rtol=1e-12)
    np.testing.assert_allclose(THIRDS.upper[2::3], OCTAVES.upper, rtol=1e-12)
    assert OCTAVES.nominal == BANDS


def test_nonlinearity_is_that_of_the_correlation() -> None:
    # ISO 3382-2:2008, B.2: 1000 (1 - r^2), r by numpy's own fit
    level = -(np.linspace(0, 8, 400) ** 1.8)
    inside = (level <= -5) & (level >= -25)
    t = np.arange(400)[inside]
    residual = np.polyfit(t, level[inside], 1, full=True)[1][0]
    expected = 1000 * residual / np.sum((level[inside] - level[inside].mean()) ** 2)
    assert nonlinearity(level, 1.0, -5, -25) == pytest.approx(expected, rel=1e-6)
    assert nonlinearity(-np.linspace(0, 40, 99), 0.1, -5, -25) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("signal", "rate"),
    [(np.ones((9, 2)), 48000), (np.array([1.0, np.nan]), 48000), (np.ones(9), 0),
     (np.zeros(9), 48000)],
)  # fmt: skip
def test_what_is_no_signal_is_refused(signal: np.ndarray, rate: int) -> None:
    with pytest.raises(ValueError, match=r"signal|rate|onset"):
        evaluate_decay(signal, rate)


@pytest.mark.parametrize(
    ("bands", "index"), [(OCTAVES, 0), (OCTAVES, 7), (THIRDS, 0), (THIRDS, 23)]
)
def test_the_gain_is_that_of_the_filter(bands: BandSet, index: int) -> None:
    # scipy.signal is the reference for the frequency response of the sections
    frequencies = bands.exact[index] * 2.0 ** np.linspace(-1, 1, 51)
    _, gain = freqz_sos(band_sections(bands, index, RATE), worN=frequencies, fs=RATE)
    found = power_gain(frequencies, RATE, bands, index)
    np.testing.assert_allclose(found, np.abs(gain) ** 2, rtol=1e-6)
    edges = power_gain(np.array([bands.lower[index], bands.upper[index]]), RATE, bands, index)
    np.testing.assert_allclose(edges, 0.5, rtol=1e-9)  # -3 dB, IEC 61260-1
