"""What no figure can be got from is refused, one line for each file. The project's own rule."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from made_decays import RATE, after_lead, noise_decay, with_noise

from optimizer.faults import ScenarioError
from optimizer.measurement.impulse_checks import clipped
from optimizer.measurement.recording import read_impulse_response, read_impulse_responses

RANDOM = np.random.default_rng(11)
T = np.arange(2 * RATE) / RATE
GOOD = 0.5 * noise_decay(0.4, 1.0, 1) / np.abs(noise_decay(0.4, 1.0, 1)).max()


def music(seconds: float = 4.0) -> np.ndarray:
    """Plucked notes of a scale, two a second, each dying away before the next."""
    note = np.arange(int(0.45 * RATE)) / RATE
    pitches = 220.0 * 2.0 ** (np.array([0, 2, 4, 5, 7, 9, 11, 12]) / 12)
    plucked = [np.sin(2 * np.pi * p * note) * np.exp(-6 * note) for p in pitches]
    return 0.5 * np.concatenate(plucked)[: int(seconds * RATE)]


def two_claps() -> np.ndarray:
    return np.concatenate([GOOD, 0.8 * GOOD])


def raw_sweep() -> np.ndarray:
    return 0.5 * np.sin(2 * np.pi * 20 * (np.exp(T * 3.4) - 1) / 3.4)


def cable() -> np.ndarray:
    response = np.zeros(RATE)
    response[[500, 501, 502]] = 0.5, 0.3, -0.1
    return with_noise(response, 80.0)


CASES = {
    "silent": (np.zeros(RATE), "level = 'silent'"),
    "constant": (np.full(RATE, 0.1), "level = 'silent'"),
    "clipped": (np.clip(6 * GOOD, -1, 1), "clipped"),
    "clipped inside": (0.7 * np.clip(6 * GOOD, -1, 1), "clipped"),
    "clipped below": (np.clip(6 * GOOD, -1, 4) / 4, "clipped"),
    "short": (GOOD[: 480 + 2400], "too short"),
    "empty": (np.zeros(0), "empty"),
    "noise": (0.2 * RANDOM.standard_normal(2 * RATE).clip(-4, 4), "not an impulse response"),
    "sine": (0.5 * np.sin(2 * np.pi * 440.3 * T), "not an impulse response"),
    "music": (music(), "not an impulse response"),
    "hum": (0.4 * np.sin(2 * np.pi * 50 * T) + 0.001 * GOOD.mean(), "not an impulse response"),
    "two claps": (two_claps(), "one impulse per file"),
    "sweep without reference": (raw_sweep(), "--reference"),
    "noise switched off": (
        after_lead(0.2 * RANDOM.standard_normal(2 * RATE).clip(-4, 4) * np.where(T < 1.6, 1, 0.01)),
        "not an impulse response",
    ),
    "cable": (cable(), "loop-back"),
    "drowned": (with_noise(GOOD, 15.0), "not an impulse response"),
}


@pytest.mark.parametrize("name", CASES)
def test_one_line_says_what_is_wrong(tmp_path: Path, name: str) -> None:
    samples, told = CASES[name]
    path = tmp_path / f"{name}.wav"
    soundfile.write(path, samples, RATE, "PCM_24")
    with pytest.raises(ScenarioError) as refused:
        read_impulse_response(path)
    (fault,) = refused.value.faults
    assert str(fault).startswith(f"{path}: ")
    assert told in str(fault)
    assert "\n" not in str(fault)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT", "PCM_U8"])
@pytest.mark.parametrize("rate", [22050, 44100, 48000, 96000, 192000])
def test_good_responses_pass_in_any_format(tmp_path: Path, subtype: str, rate: int) -> None:
    if subtype == "PCM_U8" and rate != 48000:
        rate = 44100
    soundfile.write(tmp_path / "a.wav", 1.8 * GOOD, rate, subtype)
    found = read_impulse_response(tmp_path / "a.wav")
    assert found.rate == rate


@pytest.mark.parametrize("T60", [0.12, 0.4, 2.0, 5.0])
def test_good_responses_of_any_decay_pass(tmp_path: Path, T60: float) -> None:
    for seed in range(10):
        response = noise_decay(T60, 1.2 * T60, seed)
        response = with_noise(response / np.abs(response).max() * 0.6, 60.0, seed)
        soundfile.write(tmp_path / "a.wav", response, RATE, "PCM_24")
        read_impulse_response(tmp_path / "a.wav")


def test_a_loud_slow_wave_is_flat_on_top_but_not_clipped() -> None:
    wave = np.round(0.9 * np.sin(2 * np.pi * 25 * T) * 32767) / 32767
    assert clipped(wave, 2.0**-15) is None
    assert clipped(np.clip(1.02 * wave, -0.9, 0.9), 2.0**-15) is not None


def test_an_offset_and_padding_do_not_matter(tmp_path: Path) -> None:
    padded = np.concatenate([GOOD + 0.05, np.zeros(RATE)])
    soundfile.write(tmp_path / "a.wav", padded, RATE, "FLOAT")
    found = read_impulse_response(tmp_path / "a.wav")
    np.testing.assert_allclose(found.signal, GOOD, atol=2e-4)


def refusal(path: Path, channel: int | None = None) -> str:
    with pytest.raises(ScenarioError) as refused:
        read_impulse_response(path, channel)
    (fault,) = refused.value.faults
    return str(fault)


def test_stereo_needs_a_channel_and_says_what_it_knows(tmp_path: Path) -> None:
    path = tmp_path / "s.wav"
    other = 0.5 * noise_decay(0.4, 1.0, 2) / 5
    soundfile.write(path, np.stack([GOOD, other], axis=1), RATE, "PCM_24")
    assert "channels = 2: choose the microphone's with --channel N, 1 to 2" in refusal(path)
    assert "--channel = 3: the file has channels 1 to 2" in refusal(path, 3)
    assert "--channel = 0" in refusal(path, 0)
    np.testing.assert_allclose(
        read_impulse_response(path, 1).signal[:47000], GOOD[:47000], atol=1e-4
    )
    np.testing.assert_allclose(
        read_impulse_response(path, 2).signal[:47000], other[:47000], atol=1e-4
    )
    soundfile.write(path, np.stack([0 * GOOD, GOOD], axis=1), RATE, "PCM_24")
    assert "only channel 2 holds sound" in refusal(path)
    assert "channel 1 is silent but channel 2 is not" in refusal(path, 1)
    soundfile.write(path, np.stack([GOOD, GOOD], axis=1), RATE, "PCM_24")
    assert "all are alike" in refusal(path)
    loop = np.stack([cable()[: GOOD.size], GOOD[: cable().size]], axis=1)
    soundfile.write(path, loop, RATE, "PCM_24")
    assert "loop-back" in refusal(path, 1)
    assert read_impulse_response(path, 2).rate == RATE


def test_the_same_recording_twice_is_refused(tmp_path: Path) -> None:
    for name in ("left", "right"):
        soundfile.write(tmp_path / f"{name}.wav", GOOD, RATE, "PCM_24")
    with pytest.raises(ScenarioError) as refused:
        read_impulse_responses([tmp_path / "left.wav", tmp_path / "right.wav"])
    (fault,) = refused.value.faults
    assert "right.wav" in str(fault)
    assert "the same as" in str(fault)


def test_what_is_no_sound_file_is_refused_and_all_files_are_told_at_once(tmp_path: Path) -> None:
    text = tmp_path / "text.wav"
    text.write_text("RIFF, but not really", encoding="utf-8")
    broken = tmp_path / "broken.wav"
    soundfile.write(broken, GOOD, RATE)
    broken.write_bytes(broken.read_bytes()[:30])
    nan = tmp_path / "nan.wav"
    soundfile.write(nan, np.where(np.arange(GOOD.size) == 9, np.nan, GOOD), RATE, "FLOAT")
    slow = tmp_path / "slow.wav"
    soundfile.write(slow, GOOD, 400)
    paths = [text, broken, nan, slow, tmp_path, tmp_path / "none.wav"]
    with pytest.raises(ScenarioError) as refused:
        read_impulse_responses(paths)
    lines = [str(fault) for fault in refused.value.faults]
    assert len(lines) == len(paths)
    assert all(line.startswith(f"{path}: ") for line, path in zip(lines, paths, strict=True))
    assert "not all are numbers" in lines[2]
    assert "sampling rate = 400" in lines[3]
    assert "not found" in lines[5]
