"""Clarity, early arrivals, low response and level differences of signals made to known figures."""

from pathlib import Path

import numpy as np
import pytest
from made_decays import RATE, after_lead, envelope, noise_decay, tones, with_noise

from optimizer.measurement.arrivals import early_arrivals
from optimizer.measurement.clarity import evaluate_clarity
from optimizer.measurement.decay_evaluation import evaluate_decay
from optimizer.measurement.low_response import low_response
from optimizer.measurement.recording import Recording
from optimizer.measurement.session import level_differences, mean_of, measure


@pytest.mark.parametrize("below_db", [200.0, 75.0])
@pytest.mark.parametrize("T", [0.3, 0.8])
def test_clarity_of_an_exponential_decay(T: float, below_db: float) -> None:
    # ISO 3382-1:2009 A.10 and A.11 integrated for an exponential: early share 1 - exp(-13.8 te/T)
    # for tones; cutting a tone spills into other bands, so only where 50 ms is hundreds of cycles
    signal = with_noise(tones([envelope(T, 1.5)] * 8), below_db)
    found = evaluate_clarity(signal, RATE, evaluate_decay(signal, RATE))
    late50, late80 = (np.exp(-6 * np.log(10) * te / T) for te in (0.05, 0.08))
    high = slice(6, 8)
    np.testing.assert_allclose(found.c50[high], 10 * np.log10((1 - late50) / late50), atol=0.1)
    np.testing.assert_allclose(found.c80[high], 10 * np.log10((1 - late80) / late80), atol=0.1)
    np.testing.assert_allclose(found.d50[high], 1 - late50, atol=0.005)  # a tenth of the JND


def test_definition_of_noise_decays_is_right_on_average_in_every_band() -> None:
    T, rate = 0.4, 24000
    shares = []
    for seed in range(24):
        signal = noise_decay(T, 0.6, seed, rate)
        shares.append(evaluate_clarity(signal, rate, evaluate_decay(signal, rate)).d50[1:])
    mean, error = np.mean(shares, axis=0), np.std(shares, axis=0) / np.sqrt(len(shares))
    assert error.max() < 0.03  # 0.6 of the JND of 0.05 (ISO 3382-1:2009, Table A.1)
    assert np.all(np.abs(mean - (1 - np.exp(-6 * np.log(10) * 0.05 / T))) < 3.0 * error)


def test_clarity_is_withheld_in_narrow_bands_and_in_noise() -> None:
    signal = with_noise(tones([envelope(0.3, 1.5)] * 8), 25.0)
    found = evaluate_clarity(signal, RATE, evaluate_decay(signal, RATE))
    assert found.reasons[0]["c50"].word == "filter"
    assert np.isnan(found.c80[7])
    assert found.reasons[7]["c80"].word == "noise"


def test_arrivals_have_the_delay_and_level_they_were_given() -> None:
    response = np.zeros(RATE)
    given = {0.0: 0.0, 2.5: -8.0, 6.0: -14.0, 11.3: -11.0, 19.0: -18.0}  # ms: dB
    for delay, level in given.items():
        response[round(delay * RATE / 1000)] = 10 ** (level / 20)
    tail = 10 ** (-60 / 20) * envelope(0.3, 1.0) * np.random.default_rng(1).standard_normal(RATE)
    found = early_arrivals(after_lead(response + tail), RATE)
    np.testing.assert_allclose(found.delay_ms, list(given)[1:], atol=0.1)
    np.testing.assert_allclose(found.level_db, list(given.values())[1:], atol=0.5)


def test_arrivals_weigh_the_octaves_alike_whatever_the_speaker_does() -> None:
    response = np.zeros(RATE)
    response[[0, 288]] = 1.0, 0.5
    dull = np.convolve(after_lead(response), 0.75 ** np.arange(60))  # -6 dB per octave from 2 kHz
    found = early_arrivals(dull, RATE)
    np.testing.assert_allclose(found.delay_ms, [6.0], atol=0.1)
    np.testing.assert_allclose(found.level_db, [-6.02], atol=0.5)


def test_no_arrivals_in_noise_or_at_a_low_rate() -> None:
    response = np.zeros(RATE)
    response[0] = 1.0
    noisy = early_arrivals(with_noise(after_lead(response), 12.0), RATE)
    assert noisy.reason is not None
    assert noisy.reason.word == "noise"
    low = early_arrivals(after_lead(response), 16000)
    assert low.reason is not None
    assert low.reason.word == "rate"


def test_the_low_response_of_a_reflection_is_its_comb() -> None:
    # |1 + g exp(-j w t)|^2 averaged over the same twelfth of an octave; g 0.6, t 6 ms
    response = np.zeros(RATE)
    response[[0, 288]] = 1.0, 0.6
    found = low_response(after_lead(response), RATE)
    edges = found.frequency[:, None] * 2.0 ** np.linspace(-1 / 24, 1 / 24, 41)
    comb = np.mean(np.abs(1 + 0.6 * np.exp(-2j * np.pi * edges * 0.006)) ** 2, axis=1)
    exact = 10 * np.log10(comb)
    inside = np.isfinite(found.level)
    assert inside.sum() > 80
    error = found.level[inside] - exact[inside]
    assert np.ptp(error) < 0.5  # the level is relative: only its shape counts
    peaks, dips = found.extremes()
    assert [round(hertz) for hertz, _ in dips] == pytest.approx([83, 250], rel=0.02)
    assert [round(hertz) for hertz, _ in peaks] == pytest.approx([167], rel=0.02)


def test_the_low_response_says_where_noise_hides_it() -> None:
    found = low_response(with_noise(noise_decay(0.4, 2.0, 4), 0.0), RATE)
    assert np.isnan(found.level).sum() > 5
    short = low_response(noise_decay(0.4, 0.1, 4), RATE)
    assert short.reason is not None
    assert np.isnan(short.level).all()


def _measured(signal: np.ndarray, name: str, speaker: str = "", seat: str = ""):
    return measure(Recording(Path(name), signal, RATE), seat=seat, speaker=speaker)


def test_left_less_right_is_their_gain_and_only_at_one_seat() -> None:
    base = noise_decay(0.4, 1.0, 5)
    made = [
        _measured(with_noise(0.5 * base, 70.0, 1), "r.wav", "right", "mix"),
        _measured(with_noise(base, 70.0, 2), "l.wav", "left", "mix"),
        _measured(base, "c.wav", "left", "couch"),
        _measured(base, "x.wav"),
    ]
    (found,) = level_differences(made)
    assert (found.first, found.second, found.seat) == ("left", "right", "mix")
    np.testing.assert_allclose(found.level_db, 20 * np.log10(2), atol=0.1)


def test_mean_and_spread_leave_out_what_is_missing() -> None:
    made = [_measured(tones([envelope(T, 1.5)] * 8), f"{T}.wav") for T in (0.4, 0.5)]
    made.append(_measured(with_noise(tones([envelope(0.9, 1.5)] * 8), 20.0), "noisy.wav"))
    found = mean_of(made, "t30")
    assert found.count.tolist() == [2] * 8
    np.testing.assert_allclose(found.mean[1:], 0.45, rtol=0.01)
    np.testing.assert_allclose(found.spread[1:], 0.1 / np.sqrt(2), rtol=0.05)
