"""What the seats hear of the loudspeakers by the wave equation, and the decay from where they are.

Beside the score: no criterion hangs on these figures, and the decay that counts is that from
places no loudspeaker decides (judge_waves).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.assessment import Assessment, Finding
from optimizer.acoustics.judge_waves import (
    MODEL,
    Laid,
    WaveJudge,
    at_receivers,
    band_decays,
    in_air,
    nearest,
    spread_points,
)
from optimizer.acoustics.low_response import LowResponse
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.voxel import WaveRoom
from optimizer.acoustics.wave_budget import SOUND_SPEED
from optimizer.acoustics.waves import Responses
from optimizer.bands import band_label
from optimizer.room.geometry import Floats

HEAD = 0.10  # metres to either side of the ears that the head region reaches
HEAD_POINTS = HEAD * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)])
EARLY = 0.002, 0.015  # seconds after the direct sound between which sound is early
SHADE = -3.0  # dB of the direct sound re free field below which it is said to be in the shade
GROUP = "decay from the loudspeakers"
NOTE = "sound from where the loudspeakers stand; what counts is the decay from fixed places"


@dataclass(frozen=True)
class Heard:
    """Responses at each seat and 10 cm around it, and at positions over the room.

    seats: (S, R * 7), seat by seat; room: (S, P), P at least 1.
    """

    seats: Responses
    room: Responses


@dataclass(frozen=True)
class HeardJudge:
    """Findings on what the seats hear from the loudspeakers; answers no criterion."""

    waves: WaveJudge

    def __call__(self, scene: Scene) -> Assessment:
        """Evenness over the head, early arrivals, and decay from the loudspeakers per band."""
        laid = self.waves.laid(scene)
        heard = self.responses(laid)
        findings = (
            *head_findings(scene, heard), *early_findings(scene, heard),
            *decay_findings(laid, heard),
        )  # fmt: skip
        return Assessment(findings=findings)

    def responses(self, laid: Laid) -> Heard:
        """Impulse responses from every loudspeaker."""
        scene, room = laid.scene, laid.made.room
        seats = head_region(room, scene.seats)
        spread = spread_points(room, scene.speakers, nearest(scene))
        over = slice(len(seats), None) if len(spread) else slice(None)
        found = self.waves.sounded(laid, scene.speakers, np.concatenate([seats, spread]), over)
        return Heard(at_receivers(found, slice(len(seats))), at_receivers(found, over))


def decay_findings(laid: Laid, heard: Heard) -> Iterator[Finding]:
    """Decay time of each octave band with the loudspeakers as sources."""
    decay = band_decays(heard.room, laid.bands)
    for band, seconds in zip(laid.bands, decay.t20.tolist(), strict=True):
        if np.isfinite(seconds):
            note = "; ".join(filter(None, [NOTE, laid.message]))
            yield Finding(GROUP, band_label(band), "s", seconds, np.nan, np.nan, MODEL, note)


def head_region(room: WaveRoom, seats: Floats) -> Floats:
    """Each seat and six points 10 cm around it (R * 7, 3), held inside the air."""
    points = (seats[:, None, :] + HEAD_POINTS[None]).reshape(-1, 3)
    own = np.repeat(seats, len(HEAD_POINTS), axis=0)
    return np.where(in_air(room, points)[:, None], points, own)


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
