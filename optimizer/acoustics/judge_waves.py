"""The wave equation as judge of the low and middle range, in rooms of any shape."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfilt

from optimizer.acoustics.absorption import absorption_area
from optimizer.acoustics.assessment import Assessment, Finding
from optimizer.acoustics.decay import LOG_CAP, eyring
from optimizer.acoustics.decay_curve import DecayTimes, backward_integral, decay_times
from optimizer.acoustics.low_response import LowResponse
from optimizer.acoustics.modes import octave_edges
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.voxel import WaveRoom
from optimizer.acoustics.wave_budget import affordable_frequency, spacing_for
from optimizer.acoustics.wave_room import wave_scene
from optimizer.acoustics.waves import Responses, simulate
from optimizer.bands import BANDS, EXACT_HZ, band_label
from optimizer.room.geometry import Floats

MODEL = "wave equation"
TOLERANCE = 0.03  # dispersion at the highest frequency
HEAD = 0.10  # metres to either side of the ears that the head region reaches
LENGTH = 0.8  # of the longest decay time by the formula, which low modes outlast
SHORTEST, LONGEST = 0.35, 4.0  # seconds simulated
CUT_OFF = -27.0  # dB that the last twentieth of a response may hold, else it is simulated longer
ORDER = 3  # of the band filters


@dataclass(frozen=True)
class WaveJudge:
    """T20 of the octave bands from 63 Hz up to one, at the seats and around the heads.

    `top_band` is the highest octave, `tolerance` the dispersion at its upper edge.
    """

    top_band: int = 500
    tolerance: float = TOLERANCE

    def __call__(self, scene: Scene) -> Assessment:
        """Decay times by the key of their criterion; evenness over the head; early arrivals."""
        heard = self.responses(scene)
        reach = [b for b in BANDS if octave_edges(b)[1] <= heard.f_max * 1.001]
        decay = band_decays(heard, reach)
        values, notes = {}, {}
        for index, band in enumerate(reach):
            if np.isfinite(decay.t20[index]):
                key = f"decay: {band_label(band)}"
                values[key] = float(decay.t20[index])
                if decay.double_slope[index]:
                    notes[key] = f"the decay bends: {decay.edt[index]:.2f} s by its first 10 dB"
        findings = tuple(self._findings(scene, heard))
        return Assessment(values, dict.fromkeys(values, MODEL), notes, findings)

    def responses(self, scene: Scene) -> Responses:
        """Impulse responses (S, R * 7) at each seat and 10 cm to each side of it, seat by seat.

        Coarsened to what the grid may hold in a large room.
        """
        wanted = octave_edges(self.top_band)[1]
        f_max, _ = affordable_frequency(scene.volume, wanted, coarsen=True)
        made = wave_scene(scene, spacing_for(f_max, self.tolerance))
        receivers = head_region(made.room, scene.seats)
        seconds = duration(scene, self.top_band)
        while True:
            heard = simulate(
                made.room, made.admittance, scene.speakers, receivers, seconds, f_max,
                air=(EXACT_HZ, scene.air),
            )  # fmt: skip
            if heard.remaining_db().max() < CUT_OFF or seconds >= LONGEST:
                return heard
            seconds = min(1.6 * seconds, LONGEST)

    def _findings(self, scene: Scene, heard: Responses) -> Iterator[Finding]:
        around = len(HEAD_POINTS)
        f_hz = np.geomspace(20.0, 300.0, 95)
        level = heard.level_db(f_hz)
        for index, name in enumerate(scene.seat_names):
            own = level[:, index * around : (index + 1) * around]
            spread = LowResponse(f_hz, own).both_db.std(axis=0)
            yield Finding("low end", f"{name}, difference around the head", "dB",
                          float(spread.mean()), np.nan, np.nan, MODEL,
                          "20-300 Hz, within 10 cm of the ears, both loudspeakers")  # fmt: skip
            early = early_level(scene, heard, index)
            yield Finding("early sound below 1 kHz", name, "dB", early, np.nan, np.nan, MODEL,
                          f"energy 2 to 15 ms after the direct sound, up to {heard.f_max:.0f} Hz, "
                          "re the direct sound")  # fmt: skip


HEAD_POINTS = HEAD * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)])


def duration(scene: Scene, top_band: int) -> float:
    """Seconds to simulate: a share of the longest decay time of the bands by the formula."""
    mean = np.clip(absorption_area(scene) / scene.surface_area, 0.0, LOG_CAP)
    decay = eyring(
        scene.volume, [scene.surface_area], mean[None], air=scene.air,
        object_area=scene.object_area.sum(axis=0),
    )  # fmt: skip
    longest = float(decay[np.array(BANDS) <= top_band].max())
    return float(np.clip(LENGTH * longest, SHORTEST, LONGEST))


def head_region(room: WaveRoom, seats: Floats) -> Floats:
    """Each seat and six points 10 cm around it (R * 7, 3), held inside the air."""
    points = (seats[:, None, :] + HEAD_POINTS[None]).reshape(-1, 3)
    cell = np.floor((points - room.origin) / room.spacing).astype(int)
    inside = np.all((cell >= 0) & (cell < room.air.shape), axis=1)
    cell = np.clip(cell, 0, np.array(room.air.shape) - 1)
    free = inside & room.air[tuple(cell.T)]
    return np.where(free[:, None], points, np.repeat(seats, len(HEAD_POINTS), axis=0))


def band_decays(heard: Responses, bands: list[int]) -> DecayTimes:
    """Decay of octave bands from the mean energy decay over all pairs (ISO 3382-2, ensemble).

    Filters run backward in time, so that their own ringing does not lengthen the decay.
    """
    curves = []
    for band in bands:
        low, high = octave_edges(band)
        edges = (low, min(high, 0.45 * heard.fs))
        sos = butter(ORDER, edges, "bandpass", fs=heard.fs, output="sos")
        filtered = sosfilt(sos, heard.pressure[..., ::-1], axis=-1)[..., ::-1]
        curves.append((filtered**2).sum(axis=(0, 1)))
    energy = np.array(curves).T
    start = int(energy.sum(axis=1).argmax())
    curve = backward_integral(energy[start:], 1.0 / heard.fs)
    return decay_times(curve, 1.0 / heard.fs)


def early_level(scene: Scene, heard: Responses, seat: int) -> float:
    """Energy 2-15 ms after the direct sound in dB re it, mean of the loudspeakers."""
    ratios = []
    for speaker in range(len(scene.speakers)):
        arrival = float(np.linalg.norm(scene.speakers[speaker] - scene.seats[seat])) / 343.0
        energy = heard.pressure[speaker, seat * len(HEAD_POINTS)] ** 2
        after = heard.time_s - arrival
        direct = energy[np.abs(after) <= 0.002].sum()
        ratios.append(energy[(after > 0.002) & (after <= 0.015)].sum() / max(direct, 1e-30))
    return float(10 * np.log10(max(float(np.mean(ratios)), 1e-12)))
