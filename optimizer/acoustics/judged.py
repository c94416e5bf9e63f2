"""One scene judged: every criterion's value by the fullest model that answers it, and the score."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.assessment import Assessment, Judge, assess
from optimizer.acoustics.criteria import Criteria, Told
from optimizer.acoustics.scene import Ints, Scene
from optimizer.room.geometry import Floats


@dataclass(frozen=True)
class Judged:
    """A scene judged: `quantities` (K,) of the criteria, `factors` (K,) by which fuller models
    change their values, `said` by those models."""

    scene: Scene
    criteria: Criteria
    quantities: Floats
    factors: Floats
    said: Assessment

    @property
    def values(self) -> Floats:
        """What people read (K,), in the unit of each row."""
        return self.read(self.quantities)

    @property
    def met(self) -> NDArray[np.bool_]:
        """Which rows (K,) are within their limits."""
        return self.corrected.met(self.quantities)

    @property
    def score(self) -> float:
        """Weighted excess: 0 when every criterion that counts is met."""
        return self.corrected.score(self.quantities)

    @property
    def corrected(self) -> Criteria:
        """The criteria with this scene's corrections in their limits."""
        return self.criteria.scaled(self.factors)

    @property
    def models(self) -> tuple[str, ...]:
        """Name (K,) of the model that gave each value."""
        return tuple(self.said.models.get(row.key, row.model) for row in self.criteria.rows)

    def read(self, quantities: Floats) -> Floats:
        """Values (K,) of other quantities with this scene's corrections."""
        return np.asarray(self.criteria.values(quantities) * self.factors)

    @property
    def told(self) -> Told:
        """What people read (T,) of the scene, and what the models say of it."""
        told = self.told_in(self.scene, self.quantities)
        rows = zip(self.criteria.told_rows, told.notes, strict=True)
        return replace(told, notes=tuple(self.said.notes.get(r.key, note) for r, note in rows))

    def told_in(self, scene: Scene, quantities: Floats) -> Told:
        """What people read (T,) of another scene, whose quantities these are, with this one's
        corrections."""
        met = self.corrected.met(quantities)
        return self.criteria.told(scene, self.read(quantities), met)

    def lost(self, quantities: Floats) -> tuple[Floats, Ints]:
        """What the weighted excess of each row that people read (T,) gains with other quantities,
        and which row of the criteria (T,) has most to do with it."""
        criteria = self.corrected
        lost = criteria.weights * (criteria.excess(quantities) - criteria.excess(self.quantities))
        of = criteria.told_of
        order = np.argsort(-np.abs(lost), kind="stable")
        rows, first = np.unique(of[order], return_index=True)
        total = np.zeros(len(rows))
        np.add.at(total, of, lost)
        return total, np.asarray(order[first], dtype=np.int64)

    def with_findings(self, informers: Sequence[Judge]) -> "Judged":
        """The same judgement with what these models find besides the criteria."""
        more = assess(self.scene, informers)
        findings = self.said.findings + more.findings
        return replace(self, said=replace(self.said, findings=findings, low=more.low))


def judge_scene(scene: Scene, criteria: Criteria, judges: Sequence[Judge] = ()) -> Judged:
    """Judge a scene by its criteria, corrected by what the judges say."""
    quantities = criteria.quantities(scene)
    said = assess(scene, judges)
    return Judged(scene, criteria, quantities, said.factors(criteria, quantities), said)
