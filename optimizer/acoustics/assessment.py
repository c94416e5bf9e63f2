"""What fuller models say about a scene, and how that corrects the quick ones.

The criteria judge a plan by quantities that are linear in the treatment. A judge solves a fuller
model of the same scene and answers some of the rows; the ratio of its answer to the row's own value
is the correction with which the optimiser goes on (Criteria.scaled), and with which the score card
is computed, so that both use one definition.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from optimizer.acoustics.coupled import CoupledModes
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.low_response import LowResponse
from optimizer.acoustics.scene import Scene
from optimizer.room.geometry import Floats
from optimizer.together import together

LARGEST = 20.0  # times by which a fuller model may differ before its answer is not believed


@dataclass(frozen=True)
class Finding:
    """A figure that no criterion has: it informs. `low`, `high` nan where open."""

    group: str
    where: str
    unit: str
    value: float
    low: float
    high: float
    model: str
    note: str = ""

    @property
    def key(self) -> str:
        """Name of the row, unique within a room."""
        return f"{self.group}: {self.where}"


@dataclass(frozen=True)
class Assessment:
    """Answers of one or more models by the key of a criterion: value, name of the model, remark.

    `low` is the response at low frequencies that findings were read from, `modes` those that modes
    and low bands were read from, where they were made.
    """

    values: Mapping[str, float] = field(default_factory=dict)
    models: Mapping[str, str] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    low: LowResponse | None = None
    modes: CoupledModes | None = None

    def over(self, other: "Assessment") -> "Assessment":
        """Both, this one's answers first; where both answer a row, the other's is noted."""
        mine = {finding.key for finding in self.findings}
        notes = {k: v for k, v in other.notes.items() if k not in self.values} | dict(self.notes)
        for key in self.values.keys() & other.values.keys():
            said = f"{other.models[key]} says {other.values[key]:.2f}"
            notes[key] = "; ".join(filter(None, [notes.get(key, ""), said]))
        return Assessment(
            {**other.values, **self.values},
            {**other.models, **self.models},
            notes,
            self.findings + tuple(f for f in other.findings if f.key not in mine),
            self.low or other.low,
            self.modes or other.modes,
        )

    def factors(self, criteria: Criteria, quantities: Floats) -> Floats:
        """Answer over own value (K,) of each criterion; 1 where no model answers."""
        own = criteria.values(quantities)
        answers = np.array([self.values.get(row.key, np.nan) for row in criteria.rows])
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = answers / own
        sound = np.isfinite(ratio) & (ratio > 1 / LARGEST) & (ratio < LARGEST)
        return np.where(sound, ratio, 1.0)


Judge = Callable[[Scene], Assessment]


def assess(scene: Scene, judges: Sequence[Judge]) -> Assessment:
    """What the judges say of a scene; where two answer the same row the later one counts."""
    said = Assessment()
    for answer in together([partial(judge, scene) for judge in judges]):
        said = answer.over(said)
    return said
