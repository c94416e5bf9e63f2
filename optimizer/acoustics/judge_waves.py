"""The wave equation as judge of the low and middle range, in rooms of any shape."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt
from scipy.stats import qmc

from optimizer.acoustics.absorption import absorption_area
from optimizer.acoustics.assessment import Assessment
from optimizer.acoustics.decay import LOG_CAP, eyring
from optimizer.acoustics.decay_curve import DecayTimes, backward_integral, decay_times
from optimizer.acoustics.modes import octave_edges
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.source_places import source_places
from optimizer.acoustics.voxel import WaveRoom
from optimizer.acoustics.wave_budget import SOUND_SPEED, affordable_frequency, spacing_for
from optimizer.acoustics.wave_room import WaveScene, wave_scene
from optimizer.acoustics.waves import Responses, simulate
from optimizer.bands import BANDS, EXACT_HZ, band_label
from optimizer.room.geometry import Floats

MODEL = "wave equation"
TOLERANCE = 0.03  # dispersion at the highest frequency
MOST_CELLS = 1_000_000  # as many as let a plan be judged several times within minutes
SPREAD = 96  # positions over the room at which its decay is heard; half may be too near a source
INSET = 0.1  # share of the room's length, width and height that they keep off the walls
LENGTH = 0.8  # of the longest decay time by the formula, which low modes outlast
SHORTEST, LONGEST = 0.35, 4.0  # seconds simulated
CUT_OFF = -35.0  # dB that the last tenth may hold in any band, else simulated longer
MARGIN = 1.1  # of the time after which a band should be that low
LEAST_MORE, MOST_MORE = 0.05, 0.6  # of a simulation, when it goes on
ORDER = 3  # of the band filters


@dataclass(frozen=True)
class Laid:
    """A room on its grid, up to which frequency in Hz, and a remark: empty unless coarsened."""

    scene: Scene
    made: WaveScene
    f_max: float
    message: str

    @property
    def bands(self) -> list[int]:
        """Octave bands that are judged."""
        return bands_within(self.f_max)


@dataclass(frozen=True)
class WaveJudge:
    """T20 of the octave bands from 63 Hz up to one, over the room, from fixed places.

    Sound comes from `source_places` and is heard over the room, so that the decay is the room's and
    changes with no loudspeaker or seat. A place and one of the other kind sound in one run
    (waves.simulate, `beside`): two runs carry four places.

    `top_band` is the highest octave, `tolerance` the dispersion at its upper edge. A room that
    takes more than `most_cells` is judged up to a lower frequency, and its rows say so.
    """

    top_band: int = 500
    tolerance: float = TOLERANCE
    most_cells: int = MOST_CELLS

    def __call__(self, scene: Scene) -> Assessment:
        """Decay times by the key of their criterion."""
        laid = self.laid(scene, source_places(scene).reshape(-1, 3))
        decay = band_decays(self.decaying(laid), laid.bands)
        values, notes = {}, {}
        for index, band in enumerate(laid.bands):
            if np.isfinite(decay.t20[index]):
                key = f"decay: {band_label(band)}"
                values[key] = float(decay.t20[index])
                bends = f"the decay bends: {decay.edt[index]:.2f} s by its first 10 dB"
                said = [bends if decay.double_slope[index] else "", laid.message]
                notes[key] = "; ".join(filter(None, said))
        notes = {key: note for key, note in notes.items() if note}
        return Assessment(values, dict.fromkeys(values, MODEL), notes)

    def laid(self, scene: Scene, points: Floats | None = None) -> Laid:
        """The scene on a grid for the top band, or as far as it may go in a large room; furniture
        keeps off the `points` (wave_scene)."""
        f_max, message = affordable_frequency(
            scene.volume, octave_edges(self.top_band)[1], self.most_cells, coarsen=True,
            tolerance=self.tolerance,
        )  # fmt: skip
        made = wave_scene(scene, spacing_for(f_max, self.tolerance), points)
        return Laid(scene, made, f_max, message)

    def decaying(self, laid: Laid) -> Responses:
        """Responses (2, P, N) over the room, each to a pair of the places sounding together."""
        places = source_places(laid.scene)
        room = laid.made.room
        one, two = (in_the_air(room, places[:, kind]) for kind in (0, 1))
        points = spread_points(room, places.reshape(-1, 3), nearest(laid.scene))
        if not len(points):
            points = spread_points(room, places.reshape(-1, 3), 0.0)
        return self.sounded(laid, one, points, slice(None), beside=two)

    def sounded(
        self, laid: Laid, sources: Floats, receivers: Floats, over: slice,
        beside: Floats | None = None,
    ) -> Responses:  # fmt: skip
        """Responses at receivers, long enough for the decay in every band `over` some of them."""

        def longer(found: Responses) -> float:
            missing = seconds_missing(at_receivers(found, over), laid.bands)
            return min(found.duration_s + missing, LONGEST) if missing > 0.0 else 0.0

        scene, made = laid.scene, laid.made
        return simulate(
            made.room, made.admittance, sources, receivers, duration(scene, self.top_band),
            laid.f_max, beside=beside, air=(EXACT_HZ, scene.air), longer=longer,
        )  # fmt: skip


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


def in_the_air(room: WaveRoom, points: Floats) -> Floats:
    """Points (N, 3), those that a coarse grid gives no air moved to its nearest cell of air."""
    held = np.array(points)
    for index in np.flatnonzero(~in_air(room, points)):
        centres = room.origin + room.spacing * (np.argwhere(room.air) + 0.5)
        held[index] = centres[np.linalg.norm(centres - points[index], axis=1).argmin()]
    return held


def in_air(room: WaveRoom, points: Floats) -> NDArray[np.bool_]:
    """Which points (N, 3) lie in a cell of air."""
    cell = np.floor((points - room.origin) / room.spacing).astype(int)
    inside = np.all((cell >= 0) & (cell < room.air.shape), axis=1)
    cell = np.clip(cell, 0, np.array(room.air.shape) - 1)
    return np.asarray(inside & room.air[tuple(cell.T)])


def band_energy(heard: Responses, bands: Sequence[int]) -> Floats:
    """Energy (N, bands) over time of octave bands, summed over all pairs.

    Filters run backward in time, so that their own ringing does not lengthen the decay.
    """
    curves = []
    for band in bands:
        sos = _octave_filter(band, heard.fs)
        filtered = sosfilt(sos, heard.pressure[..., ::-1], axis=-1)[..., ::-1]
        curves.append((filtered**2).sum(axis=(0, 1)))
    return np.array(curves).reshape(len(bands), -1).T


@lru_cache(maxsize=64)
def _octave_filter(band: int, fs: float) -> Floats:
    """Sections of the filter of an octave band at fs samples per second."""
    low, high = octave_edges(band)
    edges = (low, min(high, 0.45 * fs))
    return np.asarray(butter(ORDER, edges, "bandpass", fs=fs, output="sos"))


def remaining_by_band(heard: Responses, bands: Sequence[int]) -> tuple[Floats, Floats]:
    """Energy (bands,) in the last tenth of a response relative to all of it, dB, and by how many
    dB in each s it fell there over the second half.

    At -35 dB about as much lies beyond the end, which shortens T20 by one or two per cent.
    """
    energy = band_energy(heard, bands)
    tenth = max(1, len(energy) // 10)
    last, middle = (energy[end - tenth : end].sum(axis=0) for end in (len(energy), 6 * tenth))
    left, before = (
        10.0 * np.log10(np.maximum(part / energy.sum(axis=0), 1e-30)) for part in (last, middle)
    )
    return left, (before - left) * heard.fs / (len(energy) - 6 * tenth)


def seconds_missing(heard: Responses, bands: Sequence[int]) -> float:
    """How much longer a response should be for the decay in every band, s; 0 when long enough.

    As each band fell over the second half, and a little longer since late decay is the slower; at
    least LEAST_MORE and at most MOST_MORE of what there is.
    """
    left, fall = remaining_by_band(heard, bands)
    cut = left >= CUT_OFF
    if not np.any(cut):
        return 0.0
    missing = MARGIN * (left - CUT_OFF)[cut] / np.maximum(fall[cut], 1e-9)
    least, most = LEAST_MORE * heard.duration_s, MOST_MORE * heard.duration_s
    return float(np.clip(missing.max(), least, most))


def band_decays(heard: Responses, bands: Sequence[int]) -> DecayTimes:
    """Decay of octave bands from the mean energy decay over all pairs (ISO 3382-2, ensemble)."""
    energy = band_energy(heard, bands)
    start = int(energy.sum(axis=1).argmax())
    curve = backward_integral(energy[start:], 1.0 / heard.fs)
    return decay_times(curve, 1.0 / heard.fs)
