"""The wave equation as judge of the low and middle range, in rooms of any shape."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt
from scipy.stats import qmc

from optimizer.acoustics.absorption import absorption_area
from optimizer.acoustics.assessment import Assessment, Finding
from optimizer.acoustics.decay import LOG_CAP, eyring
from optimizer.acoustics.decay_curve import DecayTimes, backward_integral, decay_times
from optimizer.acoustics.low_response import LowResponse
from optimizer.acoustics.modes import octave_edges
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.voxel import WaveRoom
from optimizer.acoustics.wave_budget import SOUND_SPEED, affordable_frequency, spacing_for
from optimizer.acoustics.wave_room import wave_scene
from optimizer.acoustics.waves import Responses, simulate
from optimizer.bands import BANDS, EXACT_HZ, band_label
from optimizer.room.geometry import Floats

MODEL = "wave equation"
TOLERANCE = 0.03  # dispersion at the highest frequency
MOST_CELLS = 1_000_000  # as many as let a plan be judged several times within minutes
HEAD = 0.10  # metres to either side of the ears that the head region reaches
HEAD_POINTS = HEAD * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)])
SPREAD = 24  # positions over the room at which its decay is heard
INSET = 0.1  # share of the room's length, width and height that they keep off the walls
LENGTH = 0.8  # of the longest decay time by the formula, which low modes outlast
SHORTEST, LONGEST = 0.35, 4.0  # seconds simulated
CUT_OFF = -35.0  # dB that the last tenth may hold in any band, else simulated longer
ORDER = 3  # of the band filters
EARLY = 0.002, 0.015  # seconds after the direct sound between which sound is early
SHADE = -3.0  # dB of the direct sound re free field below which it is said to be in the shade


@dataclass(frozen=True)
class Heard:
    """Responses at each seat and 10 cm around it, at positions over the room, and a remark.

    seats: (S, R * 7), seat by seat; room: (S, P), P at least 1; message: empty unless coarsened.
    """

    seats: Responses
    room: Responses
    message: str


@dataclass(frozen=True)
class WaveJudge:
    """T20 of the octave bands from 63 Hz up to one, over the room; and what the seats hear.

    `top_band` is the highest octave, `tolerance` the dispersion at its upper edge. A room that
    takes more than `most_cells` is judged up to a lower frequency, and its rows say so.
    """

    top_band: int = 500
    tolerance: float = TOLERANCE
    most_cells: int = MOST_CELLS

    def __call__(self, scene: Scene) -> Assessment:
        """Decay times by the key of their criterion; evenness over the head; early arrivals."""
        heard = self.responses(scene)
        reach = bands_within(heard.room.f_max)
        decay = band_decays(heard.room, reach)
        values, notes = {}, {}
        for index, band in enumerate(reach):
            if np.isfinite(decay.t20[index]):
                key = f"decay: {band_label(band)}"
                values[key] = float(decay.t20[index])
                bends = f"the decay bends: {decay.edt[index]:.2f} s by its first 10 dB"
                said = [bends if decay.double_slope[index] else "", heard.message]
                notes[key] = "; ".join(filter(None, said))
        notes = {key: note for key, note in notes.items() if note}
        findings = (*head_findings(scene, heard), *early_findings(scene, heard))
        return Assessment(values, dict.fromkeys(values, MODEL), notes, findings)

    def responses(self, scene: Scene) -> Heard:
        """Impulse responses up to the top band, or as far as the grid may go in a large room."""
        wanted = octave_edges(self.top_band)[1]
        f_max, message = affordable_frequency(
            scene.volume, wanted, self.most_cells, coarsen=True, tolerance=self.tolerance
        )
        made = wave_scene(scene, spacing_for(f_max, self.tolerance))
        seats = head_region(made.room, scene.seats)
        spread = spread_points(made.room, scene.speakers, nearest(scene))
        over = slice(len(seats), None) if len(spread) else slice(None)
        reach = bands_within(f_max)

        def longer(found: Responses) -> float:
            left = remaining_by_band(at_receivers(found, over), reach)
            cut = left.max(initial=-np.inf) >= CUT_OFF
            return min(1.6 * found.duration_s, LONGEST) if cut else 0.0

        found = simulate(
            made.room, made.admittance, scene.speakers, np.concatenate([seats, spread]),
            duration(scene, self.top_band), f_max, air=(EXACT_HZ, scene.air), longer=longer,
        )  # fmt: skip
        return Heard(at_receivers(found, slice(len(seats))), at_receivers(found, over), message)


def bands_within(f_max: float) -> list[int]:
    """Octave bands that end at or below f_max Hz."""
    return [band for band in BANDS if octave_edges(band)[1] <= f_max * 1.001]


def at_receivers(found: Responses, which: slice) -> Responses:
    """The responses at some of the receivers."""
    return replace(found, pressure=found.pressure[:, which])


def formula_decay(scene: Scene) -> Floats:
    """Decay times (8,) in s by Eyring."""
    mean = np.clip(absorption_area(scene) / scene.surface_area, 0.0, LOG_CAP)
    return eyring(
        scene.volume, [scene.surface_area], mean[None], air=scene.air,
        object_area=scene.object_area.sum(axis=0),
    )  # fmt: skip


def duration(scene: Scene, top_band: int) -> float:
    """Seconds to simulate: a share of the longest decay time of the bands by the formula."""
    longest = float(formula_decay(scene)[np.array(BANDS) <= top_band].max())
    return float(np.clip(LENGTH * longest, SHORTEST, LONGEST))


def nearest(scene: Scene) -> float:
    """Least distance in m of a measuring position from a source: 2 sqrt(V / (c T)), ISO 3382-2."""
    decay = float(formula_decay(scene)[BANDS.index(500)])
    return float(2.0 * np.sqrt(scene.volume / (SOUND_SPEED * decay)))


def spread_points(room: WaveRoom, sources: Floats, apart: float) -> Floats:
    """Positions (P, 3) over the room, in pairs left and right, `apart` m from every source.

    A low-discrepancy set within the grid, less what is not air; all the same for a mirrored room.
    """
    size = room.spacing * room.air.shape
    share = qmc.Halton(3, scramble=False).random(SPREAD // 2 + 1)[1:]
    share = INSET + (1.0 - 2.0 * INSET) * np.concatenate([share, share * [1, -1, 1] + [0, 1, 0]])
    points = room.origin + size * share
    far = np.linalg.norm(points[:, None] - sources[None], axis=-1).min(axis=1) > apart
    return np.asarray(points[far & in_air(room, points)])


def in_air(room: WaveRoom, points: Floats) -> NDArray[np.bool_]:
    """Which points (N, 3) lie in a cell of air."""
    cell = np.floor((points - room.origin) / room.spacing).astype(int)
    inside = np.all((cell >= 0) & (cell < room.air.shape), axis=1)
    cell = np.clip(cell, 0, np.array(room.air.shape) - 1)
    return np.asarray(inside & room.air[tuple(cell.T)])


def head_region(room: WaveRoom, seats: Floats) -> Floats:
    """Each seat and six points 10 cm around it (R * 7, 3), held inside the air."""
    points = (seats[:, None, :] + HEAD_POINTS[None]).reshape(-1, 3)
    own = np.repeat(seats, len(HEAD_POINTS), axis=0)
    return np.where(in_air(room, points)[:, None], points, own)


def band_energy(heard: Responses, bands: Sequence[int]) -> Floats:
    """Energy (N, bands) over time of octave bands, summed over all pairs.

    Filters run backward in time, so that their own ringing does not lengthen the decay.
    """
    curves = []
    for band in bands:
        low, high = octave_edges(band)
        edges = (low, min(high, 0.45 * heard.fs))
        sos = butter(ORDER, edges, "bandpass", fs=heard.fs, output="sos")
        filtered = sosfilt(sos, heard.pressure[..., ::-1], axis=-1)[..., ::-1]
        curves.append((filtered**2).sum(axis=(0, 1)))
    return np.array(curves).reshape(len(bands), -1).T


def remaining_by_band(heard: Responses, bands: Sequence[int]) -> Floats:
    """Energy (bands,) in the last tenth of a response relative to all of it, dB.

    At -35 dB about as much lies beyond the end, which shortens T20 by one or two per cent.
    """
    energy = band_energy(heard, bands)
    last = energy[-max(1, len(energy) // 10) :].sum(axis=0)
    return np.asarray(10.0 * np.log10(np.maximum(last / energy.sum(axis=0), 1e-30)))


def band_decays(heard: Responses, bands: Sequence[int]) -> DecayTimes:
    """Decay of octave bands from the mean energy decay over all pairs (ISO 3382-2, ensemble)."""
    energy = band_energy(heard, bands)
    start = int(energy.sum(axis=1).argmax())
    curve = backward_integral(energy[start:], 1.0 / heard.fs)
    return decay_times(curve, 1.0 / heard.fs)


def head_findings(scene: Scene, heard: Heard) -> Iterator[Finding]:
    """How much the low end differs around each head."""
    around = len(HEAD_POINTS)
    f_hz = np.geomspace(20.0, 300.0, 95)
    f_hz = f_hz[f_hz <= heard.seats.f_max]
    heard_db = heard.seats.level_db(f_hz)
    for index, name in enumerate(scene.seat_names):
        own = heard_db[:, index * around : (index + 1) * around]
        spread = LowResponse(f_hz, own).both_db.std(axis=0)
        yield Finding("low end", f"{name}, difference around the head", "dB",
                      float(spread.mean()), np.nan, np.nan, MODEL,
                      "20-300 Hz, within 10 cm of the ears, both loudspeakers")  # fmt: skip


def early_findings(scene: Scene, heard: Heard) -> Iterator[Finding]:
    """Early sound at each seat against the direct sound in free field."""
    for index, name in enumerate(scene.seat_names):
        early, direct = early_level(scene, heard.seats, index)
        note = (f"energy 2 to 15 ms after the direct sound, up to {heard.seats.f_max:.0f} Hz, re "
                "the direct sound in free field")  # fmt: skip
        if direct < SHADE:
            note += f"; something stands in its way: it arrives {-direct:.0f} dB weaker"
        yield Finding("early sound below 1 kHz", name, "dB", early, np.nan, np.nan, MODEL, note)


def early_level(scene: Scene, heard: Responses, seat: int) -> tuple[float, float]:
    """Energy 2-15 ms after the direct sound, and within 2 ms of it, in dB, mean of loudspeakers.

    Both re the energy of the direct sound in free field, whether or not it is in the shade: what
    blocks it would otherwise turn up as strong reflections.
    """
    ratios = []
    after, until = EARLY
    for speaker in range(len(scene.speakers)):
        distance = float(np.linalg.norm(scene.speakers[speaker] - scene.seats[seat]))
        energy = heard.pressure[speaker, seat * len(HEAD_POINTS)] ** 2 / heard.fs
        late = heard.time_s - distance / SOUND_SPEED
        early, direct = (late > after) & (late <= until), np.abs(late) <= after
        free = heard.impulse_energy() / distance**2
        ratios.append([energy[early].sum() / free, energy[direct].sum() / free])
    mean = np.mean(ratios, axis=0)
    return level(mean[0]), level(mean[1])


def level(ratio: float) -> float:
    """An energy ratio in dB."""
    return float(10.0 * np.log10(max(ratio, 1e-12)))
