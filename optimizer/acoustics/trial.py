"""A scene tried: told from one judged near it, by coarser models of both.

Coarser models of the same kind (a coarser grid for the wave equation, less detail of the modes) are
off by much the same factor in two scenes that differ in a few pieces. So the scene that was judged
lends the other its factors (tests/evidence/regret.md: how near that comes).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.assessment import Assessment, Judge, assess
from optimizer.acoustics.coupled_build import COARSE
from optimizer.acoustics.judge_modes import ModesJudge
from optimizer.acoustics.judge_waves import WaveJudge
from optimizer.acoustics.judged import Judged
from optimizer.acoustics.scene import Scene
from optimizer.room.geometry import Floats

TOLERANCE = 0.1  # dispersion of the wave equation at its highest frequency


@dataclass(frozen=True)
class Trial:
    """A scene by coarse models: quantities (K,) of the criteria, and what the models `said`."""

    quantities: Floats
    said: Assessment

    def told_from(self, judged: Judged, near: "Trial") -> Floats:
        """Quantities (K,) that a scene `near` this one, which was judged too, would have to have to
        be judged as this one would be: its corrections are in them."""
        full, one, other = judged.said.values, near.said.values, self.said.values
        both = full.keys() & one.keys() & other.keys()
        values = {key: full[key] * other[key] / one[key] for key in both}
        factors = Assessment(values).factors(judged.criteria, self.quantities)
        told = np.array([row.key in both for row in judged.criteria.rows])
        return np.asarray(self.quantities * np.where(told, judged.factors / factors, 1.0))


def coarser(judges: Sequence[Judge]) -> tuple[Judge, ...]:
    """The models of trials: a coarser grid of waves, less detail of modes, the same rays."""
    return tuple(map(_coarser, judges))


def _coarser(judge: Judge) -> Judge:
    if isinstance(judge, WaveJudge):
        return replace(judge, tolerance=max(TOLERANCE, judge.tolerance))
    return replace(judge, detail=COARSE) if isinstance(judge, ModesJudge) else judge


def tried(scene: Scene, like: Judged, models: Sequence[Judge]) -> Trial:
    """A scene tried, by the criteria that another was judged by."""
    return Trial(like.criteria.quantities(scene), assess(scene, models))
