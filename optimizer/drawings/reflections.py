"""First reflections to draw: those within 15 ms of the direct sound, and which are too loud."""

from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.early_criteria import EarlyFamily
from optimizer.acoustics.head import HEAD_CENTRE
from optimizer.drawings.subject import Subject
from optimizer.placement.pieces import treated
from optimizer.room.geometry import Floats

WINDOW_MS = 15.0


@dataclass(frozen=True)
class Reflection:
    """One path: corners (3, 3) from the loudspeaker by the bounce to the ears, and its level."""

    speaker: int
    seat: int
    reflector: str
    points: Floats
    delay_ms: float
    level_db: float
    too_loud: bool

    @property
    def name(self) -> str:
        """An id for drawings."""
        words = self.reflector.replace(" ", "-")
        return f"path-{self.speaker + 1}-{self.seat + 1}-{words}"


def reflections(subject: Subject) -> tuple[list[Reflection], float]:
    """Paths that reach the ears within 15 ms, with the plan's pieces in the room, and the limit
    in dB re the direct sound that they are judged by."""
    room, scene = subject.room, subject.project.scene
    after = treated(room, scene, [p.piece for p in subject.pieces])
    found: list[Reflection] = []
    limit = np.nan
    for family in subject.project.criteria.families:
        if isinstance(family, EarlyFamily) and family.covers:
            limit = 10 * np.log10(family.limit)
            found += _of_family(family, subject, family.quantities(after))
    return found, float(limit)


def _of_family(family: EarlyFamily, subject: Subject, energy: Floats) -> list[Reflection]:
    paths, room = family.paths, subject.room
    levels, over = family.values(energy), family.excess(energy) > 1e-9
    found = []
    for row, (s, r, p) in enumerate(family.index.tolist()):
        delay = float(paths.delay_ms[s, r, p])
        if delay <= WINDOW_MS and paths.exists[s, r, p, HEAD_CENTRE]:
            points = np.stack([room.speakers[s].at, paths.bounce[s, r, p], room.seats[r].at])
            found.append(
                Reflection(s, r, paths.names[p], points, delay, float(levels[row]),
                           bool(over[row]))
            )  # fmt: skip
    return found
