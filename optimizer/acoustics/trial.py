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
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.judge_modes import ModesJudge
from optimizer.acoustics.judge_waves import WaveJudge
from optimizer.acoustics.judged import Judged
from optimizer.acoustics.scene import Scene
from optimizer.room.geometry import Floats

STEPS = 10  # towards the quantity that reads as wanted; each leaves a small share of the gap
TOLERANCE = 0.1  # dispersion of the wave equation at its highest frequency


@dataclass(frozen=True)
class Trial:
    """A scene by coarse models: quantities (K,) of the criteria, and what the models `said`."""

    quantities: Floats
    said: Assessment

    def told_from(self, judged: Judged, near: "Trial") -> Floats:
        """Quantities (K,) that read, with the corrections of a scene `near` this one that was
        judged too, as this one would be judged."""
        full, one, other = judged.said.values, near.said.values, self.said.values
        both = full.keys() & one.keys() & other.keys()
        values = {key: full[key] * other[key] / one[key] for key in both}
        factors = Assessment(values).factors(judged.criteria, self.quantities)
        told = np.array([row.key in both for row in judged.criteria.rows])
        factors = np.where(told, factors, judged.factors)
        return read_alike(judged.criteria, self.quantities, factors, judged.factors)


def read_alike(criteria: Criteria, quantities: Floats, factors: Floats, own: Floats) -> Floats:
    """Quantities (K,) that with corrections of their `own` (K,) read as others do with factors.

    Only times are corrected, which fall about as the quantity rises: a few steps of that ratio.
    """
    wanted = criteria.values(quantities) * factors
    found = quantities.copy()
    for _ in range(STEPS):
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = criteria.values(found) * own / wanted
        found *= np.where((factors != own) & np.isfinite(ratio), ratio, 1.0)
    return found


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
