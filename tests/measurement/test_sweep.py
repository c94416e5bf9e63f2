"""A recorded sweep gives the impulse response it was made with."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import chirp, fftconvolve

from optimizer.faults import ScenarioError
from optimizer.measurement.decay_evaluation import evaluate_decay
from optimizer.measurement.recording import read_impulse_response
from optimizer.measurement.sweep import deconvolve, is_sweep

RATE = 48000
ROOM = Path(__file__).parents[1] / "data" / "r3vival" / "state050_S000-200.wav"


@pytest.fixture(scope="module")
def sweep() -> np.ndarray:
    t = np.arange(3 * RATE) / RATE
    rising = chirp(t, 20, t[-1], 20000, method="logarithmic", phi=-90)
    fade = np.minimum(1, np.minimum(t / 0.05, (t[-1] - t) / 0.005))
    return 0.5 * rising * np.clip(fade, 0, 1)


@pytest.fixture(scope="module")
def room() -> np.ndarray:
    return soundfile.read(ROOM)[0]


@pytest.fixture(scope="module")
def recorded(sweep: np.ndarray, room: np.ndarray) -> np.ndarray:
    """0.3 s of waiting, a loudspeaker that distorts by 1 %, a room, some noise, 1.2 s more."""
    distorted = sweep + 0.02 * sweep**2
    heard = fftconvolve(np.concatenate([np.zeros(14400), distorted, np.zeros(57600)]), room)
    heard = heard[: 14400 + sweep.size + 57600]
    noise = 1e-4 * np.abs(heard).max() * np.random.default_rng(2).standard_normal(heard.size)
    return 0.3 * (heard + noise)


def test_the_response_is_that_of_the_room(
    sweep: np.ndarray, room: np.ndarray, recorded: np.ndarray
) -> None:
    found = deconvolve(recorded, sweep, RATE)
    assert int(np.argmax(np.abs(found))) == 240 + 14400 + int(np.argmax(np.abs(room)))
    before, after = evaluate_decay(room, RATE), evaluate_decay(found, RATE)
    for name in ("t20", "t30"):
        # 63 Hz lies below the loudspeaker of the data; the noise above is part of the test
        given = np.isfinite(getattr(before, name)[1:]) & np.isfinite(getattr(after, name)[1:])
        assert given.sum() >= 6
        ratio = (getattr(after, name) / getattr(before, name))[1:][given]
        np.testing.assert_allclose(ratio, 1.0, atol=0.02)


def test_the_spectrum_comes_out_flat_within_the_range_of_the_sweep(sweep: np.ndarray) -> None:
    straight = np.concatenate([sweep, np.zeros(RATE)])
    found = deconvolve(straight, sweep, RATE)
    assert int(np.argmax(np.abs(found))) == 240  # 5 ms
    level = 20 * np.log10(np.abs(np.fft.rfft(found[:RATE])))
    # what of the pulse's own ringing at 20 Hz lies more than 5 ms ahead is cut off: ripple
    assert np.abs(level[200:18000]).max() < 0.1  # 1 Hz per line
    assert np.abs(level[40:200]).max() < 1.0


def test_only_sweeps_are_references(sweep: np.ndarray, room: np.ndarray) -> None:
    noise = np.random.default_rng(1).standard_normal(RATE)
    assert is_sweep(sweep, RATE)
    assert not any(is_sweep(s, RATE) for s in (sweep[::-1], noise, room, np.sin(np.arange(RATE))))


@pytest.fixture
def files(tmp_path: Path, sweep: np.ndarray, recorded: np.ndarray) -> Path:
    soundfile.write(tmp_path / "sweep.wav", sweep, RATE, "PCM_24")
    soundfile.write(tmp_path / "recorded.wav", recorded, RATE, "PCM_24")
    return tmp_path


def test_files_are_read_with_their_reference(files: Path) -> None:
    found = read_impulse_response(files / "recorded.wav", reference=files / "sweep.wav")
    assert found.from_sweep
    assert found.rate == RATE


@pytest.mark.parametrize(
    ("recording", "reference", "told"),
    [
        ("sweep.wav", "recorded.wav", ("swapped", "sweep")),
        ("sweep.wav", "sweep.wav", ("record at least 1 s",)),
        ("recorded.wav", "room.wav", ("no sweep",)),
        ("recorded.wav", "slow.wav", ("sampling rate", "44100", "48000")),
        ("recorded.wav", "missing.wav", ("missing.wav", "not found")),
        ("recorded.wav", "two.wav", ("two.wav", "one channel")),
        ("late.wav", "sweep.wav", ("start recording first",)),
        ("recorded.wav", None, ("--reference",)),
    ],
)
def test_what_cannot_be_deconvolved_is_refused(
    files: Path, recording: str, reference: str | None, told: tuple[str, ...]
) -> None:
    sweep, recorded = (soundfile.read(files / f"{n}.wav")[0] for n in ("sweep", "recorded"))
    soundfile.write(files / "slow.wav", sweep, 44100)
    soundfile.write(files / "two.wav", np.stack([sweep, sweep[::-1]], axis=1), RATE)
    soundfile.write(files / "room.wav", soundfile.read(ROOM)[0], RATE)
    late = np.concatenate([recorded[14400 + 24000 :], np.zeros(24000)])
    soundfile.write(files / "late.wav", late, RATE)
    path = files / reference if reference else None
    with pytest.raises(ScenarioError) as refused:
        read_impulse_response(files / recording, reference=path)
    (fault,) = refused.value.faults
    assert all(word in str(fault) for word in told), str(fault)
