"""Sound in a room by the wave equation, in the time domain, for rooms of any shape.

Explicit finite differences on a regular grid (`voxel`) with locally reacting walls of any passive
admittance (`wave_admittance`): modes, diffraction round furniture and patches, and all phases, with
no diffuse-field assumption. Every run is stable by construction: the time step stays below the
limit of the bare grid, walls are passive networks, and closing faces only lowers the highest
frequency of the grid. Spacing, dispersion, cost: `wave_budget`. Compiled loop: `wave_kernel`.

Sources are points that radiate alike in all directions. All levels are relative to the pressure
the source would give at 1 m in free field.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import butter, firwin, freqs, kaiserord, sosfilt, sosfreqz

from optimizer.acoustics.quadrature import quarter_apart
from optimizer.acoustics.voxel import WaveRoom
from optimizer.acoustics.wave_admittance import Admittance
from optimizer.acoustics.wave_budget import COURANT, SOUND_SPEED, dispersion_error, time_step
from optimizer.acoustics.wave_layout import stencil
from optimizer.acoustics.wave_run import Runs

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

STOP = 1.5
"""The pulse falls from flat at f_max to silence at this multiple of it."""
STOP_DB = 80.0
STATIC_HZ = 10.0
"""Corner of the high-pass that keeps the source from raising the static pressure of a closed room;
it is part of the reference, so responses are not affected by it."""
COARSEST = 0.1
"""Largest dispersion error a run accepts at f_max."""
LOWEST_HZ = 40.0
"""From here up two places of one run sound a quarter of a period apart (the octave of 63 Hz)."""
BLOCK = 64
ROUNDING = 1e-15
"""Terms of a series from which on they are left out, relative to the first."""


@dataclass(frozen=True)
class RollOff:
    """Low-frequency roll-off of a loudspeaker: Butterworth high-pass, order 2 (closed box) or 4."""

    corner_hz: float
    order: int = 2

    def __post_init__(self) -> None:
        if not self.corner_hz > 0.0 or self.order not in (2, 4):
            raise ValueError("roll-off: the corner must be positive and the order 2 or 4")


@dataclass(frozen=True)
class Responses:
    """Impulse responses of S sources at R receivers, flat up to f_max.

    pressure (S, R, N): per second, relative to a unit impulse of pressure at 1 m in free field;
    fs: samples per second; time_s (N,): 0 is the moment of emission (the band-limited impulse
    starts a little earlier). Loudspeaker roll-offs, if given, are part of the pressure.
    """

    pressure: Floats
    fs: float
    lead_s: float
    f_max: float
    spacing: Floats
    _pulse: Floats
    _pulse_fs: float

    @property
    def time_s(self) -> Floats:
        """Time of each sample in s after emission."""
        return np.asarray(np.arange(self.pressure.shape[-1]) / self.fs - self.lead_s)

    @property
    def duration_s(self) -> float:
        """Seconds after emission that they last."""
        return float(self.pressure.shape[-1] / self.fs - self.lead_s)

    def response(self, frequency: ArrayLike) -> Complexes:
        """Transfer functions (S, R, F) at frequencies (F,) in Hz, re free field at 1 m.

        The impulse that drove the room is divided out. Valid from about 2 / duration to f_max;
        ValueError above f_max or at 0.
        """
        f = np.asarray(frequency, dtype=np.float64).reshape(-1)
        if np.any(f <= 0.0) or np.any(f > self.f_max * (1.0 + 1e-9)):
            raise ValueError(f"response: frequencies must lie above 0 and up to {self.f_max:g} Hz")
        sent = _transform(self._pulse, self._pulse_fs, f)
        sent = sent * _static_filter_response(f, self._pulse_fs)
        return np.asarray(_transform(self.pressure, self.fs, f) / sent)

    def level_db(self, frequency: ArrayLike) -> Floats:
        """Level (S, R, F) in dB relative to free field at 1 m."""
        return np.asarray(20.0 * np.log10(np.maximum(np.abs(self.response(frequency)), 1e-30)))

    def impulse_energy(self) -> float:
        """Integral over time of the squared impulse at 1 m in free field, 1/s."""
        sent = sosfilt(_static_filter(self._pulse_fs), self._pulse)
        return float(np.sum(sent**2) / self._pulse_fs)

    def remaining_db(self) -> Floats:
        """Energy (S, R) in the last twentieth of each response relative to all of it, dB.

        Above about -35 the response is cut off too early for a decay or a sharp mode.
        """
        energy = self.pressure**2
        last = energy[..., -max(1, energy.shape[-1] // 20) :].sum(axis=-1)
        return np.asarray(10.0 * np.log10(np.maximum(last / energy.sum(axis=-1), 1e-30)))


def simulate(
    room: WaveRoom,
    admittance: Sequence[Admittance],
    sources: ArrayLike,
    receivers: ArrayLike,
    duration_s: float,
    f_max: float,
    *,
    beside: ArrayLike | None = None,
    roll_off: Sequence[RollOff | None] = (),
    air: tuple[ArrayLike, ArrayLike] | None = None,
    double: bool = False,
    courant: float = COURANT,
    c: float = SOUND_SPEED,
    progress: Callable[[float], None] | None = None,
    longer: Callable[[Responses], float] = lambda responses: 0.0,
) -> Responses:
    """Impulse responses from every source to every receiver up to f_max in Hz.

    admittance: one per surface of the room (`RIGID` where it is hard); sources (S, 3) and receivers
    (R, 3) m; beside (S, 3): a second place that sounds in the same run as each source, a quarter of
    a period apart from it at every frequency above LOWEST_HZ, so that the energies of the two add
    up (`quadrature`; transfer functions then mean nothing); duration_s: seconds after emission;
    roll_off: one per source, None for flat; air: (frequency Hz, intensity attenuation m in 1/m),
    applied as exp(-m c t / 2) to what arrives at t, which is exact for a loss that is the same
    everywhere in the room; double: double precision (single is within 0.02 dB above 20 Hz; below 10
    Hz rounding leaves a slow drift some 80 dB under the peak); courant: share of the largest stable
    time step; progress: called with the finished share; longer: asked with the responses how many
    seconds they should last, and the run goes on while that is more than they do. One run per
    source or per receiver, whichever are fewer, since the scheme is reciprocal.

    ValueError for points outside the air, a wrong number of admittances or roll-offs, an unstable
    time step, or a grid too coarse for f_max (10 % dispersion; use `wave_budget.spacing_for`).
    """
    s_at, r_at = (np.asarray(p, dtype=np.float64).reshape(-1, 3) for p in (sources, receivers))
    _check_run(room, admittance, s_at, r_at, duration_s, f_max, roll_off, courant, c)
    dt = time_step(room.spacing, c, courant)
    pulse = _pulse(f_max, 1.0 / dt)
    lead_s = dt * (len(pulse) // 2)
    every = max(1, int(1.0 / dt / (2.2 * STOP * f_max)))
    inlet, outlet = ([stencil(room, p) for p in points] for points in (s_at, r_at))
    swap = len(outlet) < len(inlet) and beside is None
    starts, ends = (outlet, inlet) if swap else (inlet, outlet)
    second = [] if beside is None else [stencil(room, p) for p in np.reshape(beside, (-1, 3))]
    together = list(zip(starts, second, strict=True)) if second else [(one,) for one in starts]
    runs = Runs.at_rest(room, admittance, together, ends, dt, c, every, double)
    while True:
        signal = _signal(pulse, int(np.ceil((duration_s + lead_s) / dt)), 1.0 / dt)[:, None]
        if second:
            signal = quarter_apart(signal[:, 0], 1.0 / dt, LOWEST_HZ, max(f_max, 2 * LOWEST_HZ))
        pressure = runs.until_end_of(signal, progress)
        pressure = pressure.transpose(1, 0, 2) if swap else pressure
        fs = 1.0 / dt / every
        if air is not None:
            time_s = np.arange(pressure.shape[-1]) / fs - lead_s
            pressure = _air_loss(pressure, time_s, fs, air, c)
        for row, roll in zip(pressure, roll_off, strict=False):
            if roll is not None:
                row[:] = _roll_off(row, fs, roll)
        found = Responses(pressure, fs, lead_s, f_max, room.spacing, pulse / dt, 1.0 / dt)
        if (wanted_s := longer(found)) <= duration_s:
            return found
        duration_s = wanted_s


def _signal(pulse: Floats, steps: int, fs: float) -> Floats:
    """The pulse (P,) as sent, over some steps (N,)."""
    signal = np.zeros(steps)
    signal[: min(steps, len(pulse))] = pulse[:steps]
    return np.asarray(sosfilt(_static_filter(fs), signal))


def _pulse(f_max: float, fs: float) -> Floats:
    """Linear-phase low-pass impulse (odd length, sum 1): flat to f_max, -80 dB from 1.5 f_max."""
    taps, beta = kaiserord(STOP_DB, (STOP - 1.0) * f_max / (0.5 * fs))
    window = ("kaiser", beta)
    cut = 0.5 * (1.0 + STOP) * f_max
    return np.asarray(firwin(taps | 1, cut, window=window, fs=fs), dtype=np.float64)


def _static_filter(fs: float) -> Floats:
    return np.asarray(butter(2, STATIC_HZ, "highpass", fs=fs, output="sos"))


def _static_filter_response(frequency: Floats, fs: float) -> Complexes:
    _, h = sosfreqz(_static_filter(fs), worN=frequency, fs=fs)
    return np.asarray(h, dtype=np.complex128)


def _transform(signal: Floats, fs: float, frequency: Floats) -> Complexes:
    """Fourier integral (..., F) of signal (..., N) at frequencies (F,)."""
    time = np.arange(signal.shape[-1]) / fs
    parts = [
        signal @ np.exp(-2j * np.pi * np.outer(time, frequency[i : i + BLOCK]))
        for i in range(0, len(frequency), BLOCK)
    ]
    return np.asarray(np.concatenate(parts, axis=-1) / fs)


def _roll_off(pressure: Floats, fs: float, roll: RollOff) -> Floats:
    """Pressure (R, N) behind the analogue high-pass, with room for its ringing."""
    count = pressure.shape[-1]
    padded = count + int(fs * 20.0 / roll.corner_hz)
    b, a = butter(roll.order, 2.0 * np.pi * roll.corner_hz, "highpass", analog=True)
    _, h = freqs(b, a, worN=2.0 * np.pi * np.fft.rfftfreq(padded, 1.0 / fs))
    return np.asarray(np.fft.irfft(np.fft.rfft(pressure, padded) * h, padded)[..., :count])


def _air_loss(
    pressure: Floats,
    time_s: Floats,
    fs: float,
    air: tuple[ArrayLike, ArrayLike],
    c: float,
) -> Floats:
    """Damp what has travelled c t by exp(-m(f) c t / 2), frequency by frequency."""
    known, m = (np.asarray(part, dtype=np.float64) for part in air)
    if known.shape != m.shape or np.any(np.diff(known) <= 0.0) or np.any(m < 0.0):
        raise ValueError("air: ascending frequencies with one attenuation of at least 0 each")
    count = pressure.shape[-1]
    loss = 0.5 * c * np.interp(np.fft.rfftfreq(count, 1.0 / fs), known, m)
    path = np.maximum(time_s, 0.0)
    # exp(-l t) is exp(-l0 t) exp(-(l - l0) t0) sum_k (-(l - l0) (t - t0))^k / k!, the middles taken
    # off so that few terms do: one transform for each power of t instead of a sum over all times.
    middle_loss, middle_path = (0.5 * (part.min() + part.max()) for part in (loss, path))
    rate, late = loss - middle_loss, path - middle_path
    reach = float(np.abs(rate).max() * np.abs(late).max())
    damped = pressure * np.exp(-middle_loss * path)
    spectrum = np.fft.rfft(damped)
    term, power, bound = np.ones_like(rate), 0, 1.0
    while bound > ROUNDING:
        power += 1
        bound *= reach / power
        term = term * -rate / power
        damped *= late
        spectrum += np.fft.rfft(damped) * term
    return np.asarray(np.fft.irfft(spectrum * np.exp(-rate * middle_path), count, axis=-1))


def _check_run(
    room: WaveRoom,
    admittance: Sequence[Admittance],
    sources: Floats,
    receivers: Floats,
    duration_s: float,
    f_max: float,
    roll_off: Sequence[RollOff | None],
    courant: float,
    c: float,
) -> None:
    if len(admittance) != room.surface_count:
        raise ValueError(
            f"simulate: {room.surface_count} surfaces need one admittance each: {len(admittance)}"
        )
    if not len(sources) or not len(receivers):
        raise ValueError("simulate: at least one source and one receiver are needed")
    if len(roll_off) not in (0, len(sources)):
        raise ValueError("simulate: give one roll-off per source, or none")
    if not duration_s > 0.0 or not f_max > STATIC_HZ:
        raise ValueError(f"simulate: duration must be positive and f_max above {STATIC_HZ:g} Hz")
    if dispersion_error(f_max, room.spacing, c, courant) < -COARSEST:
        raise ValueError(f"the grid is too coarse for {f_max:g} Hz; use spacing_for({f_max:g})")
