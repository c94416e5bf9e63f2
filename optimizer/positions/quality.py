"""How good set-ups are: every part of the score, its weight, and the score.

This is the one place where the parts are weighed against each other. The weights and scales are our
choice; no standard gives any. What is wider than an octave (balance) weighs as much as what is
narrower (unevenness): broad resonances are heard at lower levels than narrow ones (Toole and Olive,
J. Audio Eng. Soc. 36, 1988, 122-142; from memory).
"""

from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.judge_response import COUCH_LIMIT, EVEN_LIMIT
from optimizer.positions.early import EarlyRows
from optimizer.positions.low_end import LowRows
from optimizer.room.geometry import Floats


@dataclass(frozen=True)
class Part:
    """A part of the score: a value of `none` costs nothing, one of `point` costs one point."""

    name: str
    unit: str
    weight: float
    none: float
    point: float
    means: str

    def points(self, values: Floats) -> Floats:
        """Points of values (N,); less is better, nan where it could not be judged."""
        return np.asarray(np.maximum((values - self.none) / (self.point - self.none), 0.0))


PARTS = (
    Part("low end, unevenness", "dB", 0.75, 0.0, EVEN_LIMIT,
         "spread about its own octave-wide mean, 20-300 Hz, both loudspeakers"),
    Part("low end, deepest dip", "dB", 0.5, 0.0, 10.0,
         "below its own octave-wide mean; no equaliser fills it"),
    Part("low end, balance", "dB", 0.75, 0.0, EVEN_LIMIT,
         "spread of the third octaves 31.5-200 Hz: a wide hole that the octave-wide mean hides"),
    Part("low end, thin bass", "dB", 0.5, 0.0, 3.0,
         "lack of 28-56 Hz against 56-200 Hz, as where the lowest mode has its node"),
    Part("low end, 10 cm away", "dB", 0.5, 0.0, 3.0,
         "change of level when the head moves 10 cm, the worst of four ways, 20-200 Hz"),
    Part("low end, left and right", "dB", 0.5, 0.0, 4.0,
         "difference of the loudspeakers at the ears, 20-300 Hz"),
    Part("dip from the wall behind", "dB", 0.5, 0.0, 6.0,
         "first cancellation by the wall that is faced"),
    Part("first reflections", "dB", 1.0, -20.0, -10.0,
         "all within the window, re direct, 1-8 kHz, before treatment, the louder side"),
    Part("reflections, left and right", "%", 0.5, 0.0, 20.0,
         "energy by which they differ, re direct"),
    Part("absorption, left and right", "%", 0.25, 0.0, 20.0,
         "difference beside the axis, of half the wanted area, 125 Hz-4 kHz"),
    Part("other seats, louder bass", "dB", 0.25, 0.0, COUCH_LIMIT,
         "the loudest other seat over the first, 20-125 Hz"),
)  # fmt: skip
LOW = tuple(part.name for part in PARTS if part.name.startswith(("low end", "other seats")))


@dataclass(frozen=True)
class Qualities:
    """Values (N, len(PARTS)) of N set-ups, nan where a part could not be judged."""

    values: Floats
    dip_hz: Floats

    def __len__(self) -> int:
        return len(self.values)

    @property
    def points(self) -> Floats:
        """Points (N, len(PARTS)) before weighting."""
        columns = [part.points(v) for part, v in zip(PARTS, self.values.T, strict=True)]
        return np.stack(columns, axis=1)

    @property
    def scores(self) -> Floats:
        """Scores (N,): mean of the points by weight, over the parts that were judged. 0 is best."""
        weight = np.array([part.weight for part in PARTS]) * ~np.isnan(self.values)
        points = np.where(np.isnan(self.values), 0.0, self.points)
        return np.asarray((points * weight).sum(axis=1) / weight.sum(axis=1))


def qualities(early: EarlyRows, low: LowRows | None) -> Qualities:
    """The parts side by side; without `low` those of the low end are nan."""
    nothing = np.full(len(early.early), np.nan)
    bass = low or LowRows(*[nothing] * 7)
    columns = (
        bass.unevenness, bass.dip, bass.balance, bass.thin, bass.moved, bass.sides, early.dip,
        early.early, early.pair, early.area, bass.louder,
    )  # fmt: skip
    return Qualities(np.stack(columns, axis=1), early.dip_hz)
