"""A plan's pieces among all that could hang instead of them, as one table of effects.

The table is made once, for every product of the price list and every mounting, whatever the limits
ban, so that a rule is lifted by a mask. The plan's own groups come first in it; what only hangs
where a rule is lifted stands on a coarser grid.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.criteria import Criteria
from optimizer.placement.bars import bars_of, without_rules
from optimizer.placement.candidates import Candidate, find_candidates
from optimizer.placement.effects import Effects, effects_table
from optimizer.placement.layouts import FINEST
from optimizer.placement.lifting import COARSE
from optimizer.placement.orderly import order_of
from optimizer.placement.pieces import pieces_overlap
from optimizer.placement.plan import greedy
from optimizer.placement.stages import remaining
from optimizer.project import Project
from optimizer.results.comparison_plans import groups_of
from optimizer.results.model import PlannedPiece
from optimizer.room.geometry import Floats
from optimizer.room.schema import LimitsSection

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
DEEPER = 2.0  # times the depth allowed that pieces may stand out when that limit is relaxed


@dataclass(frozen=True)
class Bench:
    """Candidates (C) of a room without bans: first the plan's G groups, then all others."""

    project: Project
    groups: tuple[tuple[PlannedPiece, ...], ...]
    candidates: tuple[Candidate, ...]
    effects: Effects

    @property
    def plan(self) -> Ints:
        """Indices (G,) of the plan's groups."""
        return np.arange(len(self.groups), dtype=np.int64)

    @cached_property
    def allowed(self) -> Mask:
        """Candidates (C,) that the project's own limits allow; the plan's groups always."""
        return self._beside(self.bars)

    @cached_property
    def bars(self) -> dict[str, Mask]:
        """Candidates (C,) that each rule of the project's own limits bars."""
        return bars_of(self.project.room, self.candidates, self.project.scenario.limits)

    def allowed_by(self, limits: LimitsSection) -> Mask:
        """Candidates (C,) that these limits allow; the plan's groups always."""
        return self._beside(bars_of(self.project.room, self.candidates, limits))

    def allowed_without(self, key: str) -> Mask:
        """Candidates (C,) that the project's own limits allow but for one rule."""
        return self._beside({k: mask for k, mask in self.bars.items() if k != key})

    def _beside(self, bars: dict[str, Mask]) -> Mask:
        mask = ~np.any(list(bars.values()), axis=0)
        mask[self.plan] = True
        return np.asarray(mask)

    def like(self, group: int) -> Mask:
        """Candidates (C,) of the same product that would overlap a group, itself included."""
        own = self.candidates[group]
        alike = (
            c.product.id == own.product.id
            and any(pieces_overlap(a, b) for a in c.pieces for b in own.pieces)
            for c in self.candidates
        )
        return np.fromiter(alike, dtype=np.bool_, count=len(self.candidates))

    def refilled(self, kept: Ints, allowed: Mask) -> Ints:
        """What a greedy choice adds to `kept` from the allowed, by benefit for money (indices)."""
        sub, index = remaining(self.effects, kept, allowed)
        return np.asarray(index[greedy(sub)], dtype=np.int64)


def build_bench(
    project: Project,
    pieces: Sequence[PlannedPiece],
    criteria: Criteria,
    bounces: dict[str, Floats],
) -> Bench:
    """The bench of a plan; `criteria` may carry corrections, `bounces` are points to centre on."""
    limits = project.scenario.limits
    groups = tuple(tuple(group) for group in groups_of(pieces))
    own = tuple(Candidate(tuple(p.piece for p in group)) for group in groups)
    rules = project.scenario.layout.rules
    room, free = without_rules(project.room, limits)
    free = free.model_copy(update={"grid": limits.grid or COARSE * FINEST})
    found = (
        *own,
        *find_candidates(project.room, project.usable_products, limits, bounces, rules),
        *find_candidates(room, project.products, free, bounces, rules),  # barred ones too
    )
    candidates = tuple({_place(c): c for c in reversed(found)}.values())[::-1]
    effects = effects_table(
        project.room, project.scene, criteria, candidates, project.products, project.spendable_cents
    )
    order = order_of(project.room, candidates, rules).without_broken(np.arange(len(own)))
    return Bench(project, groups, candidates, replace(effects, order=order))


def _place(candidate: Candidate) -> tuple[object, ...]:
    """What candidates have in common that are the same pieces at the same places."""
    return tuple(
        sorted((p.product.id, p.fitting, p.mounting, p.turned, p.rects) for p in candidate.pieces)
    )
