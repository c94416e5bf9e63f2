"""Read sound files and refuse what no figure can be got from, one line for each fault."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from optimizer.faults import Fault, ScenarioError
from optimizer.measurement.impulse_checks import (
    Wrong,
    clipped,
    no_impulse,
    silent,
    too_short,
)
from optimizer.measurement.sweep import SHORTEST_TAIL_S, deconvolve, is_sweep

Array = NDArray[np.float64]

MOST_SAMPLES = 40_000_000
LONGEST_RESPONSE_S = 30.0
LOWEST_RATE, HIGHEST_RATE = 1000, 768_000
SAME = 1e-6  # of the peak: two recordings that differ less are one
BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}


@dataclass(frozen=True)
class Recording:
    """An impulse response: the file it came from, samples (samples,), sampling rate in Hz."""

    path: Path
    signal: Array
    rate: int
    from_sweep: bool = False


@dataclass(frozen=True)
class _Sound:
    samples: Array  # (samples, channels)
    rate: int
    step: float  # of the sample format


def read_impulse_response(
    path: Path, channel: int | None = None, reference: Path | None = None
) -> Recording:
    """The impulse response in a file; ScenarioError names everything that is wrong with it.

    channel: counted from 1; needed when the file has several. reference: the sweep that was
    played, when the file is a recording of it.
    """
    sound = _read(path)
    signal = _one_channel(path, sound, channel)
    _refuse(path, silent(signal), clipped(signal, sound.step))
    if reference is not None:
        signal = _from_sweep(path, signal, sound.rate, reference)
    signal = _trimmed(signal)
    _refuse(path, too_short(signal, sound.rate))
    _refuse(path, no_impulse(signal, sound.rate))
    longest = int(LONGEST_RESPONSE_S * sound.rate)
    return Recording(path, signal[:longest], sound.rate, reference is not None)


def read_impulse_responses(
    paths: Sequence[Path], channel: int | None = None, reference: Path | None = None
) -> list[Recording]:
    """All files, or the faults of all of them together; no recording may come twice."""
    recordings: list[Recording] = []
    faults: list[Fault] = []
    for path in paths:
        try:
            recording = read_impulse_response(path, channel, reference)
        except ScenarioError as error:
            faults += error.faults
            continue
        twin = next((other for other in recordings if _same(other, recording)), None)
        if twin is not None:
            remedy = "every file must be a recording of its own; was one copied?"
            faults.append(Fault(str(path), "sound", f"the same as {twin.path}", remedy))
        recordings.append(recording)
    if faults:
        raise ScenarioError(dict.fromkeys(faults))
    return recordings


def _read(path: Path) -> _Sound:
    if not path.exists():
        raise _fault(path, "", None, "not found; check the name")
    if not path.is_file():
        raise _fault(path, "", None, "is not a file; name a sound file")
    try:
        with soundfile.SoundFile(path) as file:
            rate, frames, channels = file.samplerate, file.frames, file.channels
            if frames * channels > MOST_SAMPLES:
                value = f"{frames / rate:.0f} s"
                raise _fault(path, "length", value, "too long; cut out the part that matters")
            step = 2.0 ** (1 - BITS[file.subtype]) if file.subtype in BITS else 0.0
            samples = file.read(dtype="float64", always_2d=True)
    except (soundfile.LibsndfileError, OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or getattr(error, "error_string", None)
        why = f" ({str(reason).rstrip('. ')})" if reason else ""
        raise _fault(path, "", None, f"cannot be read as sound{why}; save it as WAV") from None
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise _fault(path, "sampling rate", rate, "record at 44100 or 48000 Hz")
    if not samples.size:
        raise _fault(path, "length", "0 s", "the file is empty; record again")
    if not np.isfinite(samples).all():
        raise _fault(path, "samples", "not all are numbers", "export the file again")
    return _Sound(samples, rate, step)


def _one_channel(path: Path, sound: _Sound, channel: int | None) -> Array:
    """The chosen channel of a file, or the only one."""
    count = sound.samples.shape[1]
    if channel is None and count > 1:
        sounding = [i + 1 for i in range(count) if silent(sound.samples[:, i]) is None]
        hint = f" (only channel {sounding[0]} holds sound)" if len(sounding) == 1 else ""
        if count > len(sounding) == 0:
            hint = " (all are silent)"
        if _alike(sound.samples):
            hint = " (all are alike: a mono recording, any will do)"
        remedy = f"choose the microphone's with --channel N, 1 to {count}{hint}"
        raise _fault(path, "channels", count, remedy)
    if channel is not None and not 1 <= channel <= count:
        raise _fault(path, "--channel", channel, f"the file has channels 1 to {count}")
    chosen = 0 if channel is None else channel - 1
    signal = np.ascontiguousarray(sound.samples[:, chosen])
    others = [i + 1 for i in range(count) if i != chosen and silent(sound.samples[:, i]) is None]
    if others and silent(signal) is not None:
        remedy = f"channel {chosen + 1} is silent but channel {others[0]} is not; choose that one"
        raise _fault(path, "--channel", chosen + 1, remedy)
    return signal


def _alike(samples: Array) -> bool:
    differ = float(np.abs(samples - samples[:, :1]).max())
    return differ <= SAME * float(np.abs(samples).max())


def _from_sweep(path: Path, signal: Array, rate: int, reference: Path) -> Array:
    played = _read(reference)
    if played.samples.shape[1] > 1 and not _alike(played.samples):
        remedy = "the reference must have one channel: the sweep as it was played"
        raise _fault(reference, "channels", played.samples.shape[1], remedy)
    sweep = np.trim_zeros(played.samples[:, 0], "b")
    _refuse(reference, silent(played.samples[:, 0]))
    if played.rate != rate:
        remedy = f"must be that of {path}, {rate} Hz; save the sweep at that rate"
        raise _fault(reference, "sampling rate", played.rate, remedy)
    if not is_sweep(sweep, rate):
        remedy = "the reference must rise steadily from low to high, as the sweep that was played"
        raise _fault(reference, "sound", "no sweep", remedy)
    left = (signal.size - sweep.size) / rate
    if left < SHORTEST_TAIL_S:
        value = f"{signal.size / rate:.2f} s, the sweep {sweep.size / rate:.2f} s"
        remedy = "record at least 1 s beyond the sweep"
        if left < 0.0:
            remedy += " (or were recording and reference swapped?)"
        raise _fault(path, "length", value, remedy)
    try:
        return deconvolve(signal, sweep, rate)
    except ValueError as error:
        raise _fault(path, "sound", None, str(error)) from None


def _trimmed(signal: Array) -> Array:
    """Without trailing zeros, which are padding, and without a constant offset."""
    trimmed = np.trim_zeros(signal, "b")
    return np.asarray(trimmed - trimmed[-max(1, trimmed.size // 10) :].mean())


def _same(first: Recording, second: Recording) -> bool:
    if first.rate != second.rate or first.signal.size != second.signal.size:
        return False
    differ = float(np.abs(first.signal - second.signal).max())
    return differ <= SAME * float(np.abs(first.signal).max())


def _refuse(path: Path, *found: Wrong | None) -> None:
    faults = [Fault(str(path), wrong.key, wrong.value, wrong.remedy) for wrong in found if wrong]
    if faults:
        raise ScenarioError(faults[:1])


def _fault(path: Path, key: str, value: object, remedy: str) -> ScenarioError:
    return ScenarioError([Fault(str(path), key, value, remedy)])
