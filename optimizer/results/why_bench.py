"""A plan's pieces among all that could hang instead of them, as one table of effects.

The table is made once, for every product of the price list and every mounting, whatever the limits
ban, so that a ban is lifted by a mask. The plan's own groups come first in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.criteria import Criteria
from optimizer.placement.candidates import Candidate, allowed_products, find_candidates
from optimizer.placement.catalogue import Product
from optimizer.placement.effects import Effects, effects_table
from optimizer.placement.pieces import Piece
from optimizer.placement.plan import greedy
from optimizer.placement.stages import remaining
from optimizer.placement.zones import HEAD_HEIGHT
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
        return self.allowed_by(self.project.scenario.limits)

    def allowed_by(self, limits: LimitsSection) -> Mask:
        """Candidates (C,) that these limits allow; the plan's groups always."""
        usable = {p.id: p for p in allowed_products(self.project.products, limits)}
        inside = (_within(self.project, c, usable, limits) for c in self.candidates)
        mask = np.fromiter(inside, dtype=np.bool_, count=len(self.candidates))
        mask[self.plan] = True
        return mask

    def like(self, group: int) -> Mask:
        """Candidates (C,) of the same product that would overlap a group, itself included."""
        own = self.candidates[group]
        alike = (
            c.product.id == own.product.id
            and any(_overlap(a, b) for a in c.pieces for b in own.pieces)
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
    free = limits.model_copy(update={"max_depth": DEEPER * limits.max_depth})
    groups = tuple(tuple(group) for group in groups_of(pieces))
    own = tuple(Candidate(tuple(p.piece for p in group)) for group in groups)
    found = find_candidates(project.room, project.products, free, bounces)  # banned ones too
    candidates = (*own, *(c for c in found if c not in own))
    effects = effects_table(
        project.room, project.scene, criteria, candidates, project.products, project.spendable_cents
    )
    return Bench(project, groups, candidates, effects)


def _within(
    project: Project, candidate: Candidate, usable: dict[str, Product], limits: LimitsSection
) -> bool:
    product = usable.get(candidate.product.id)
    return product is not None and all(
        piece.mounting in product.mountings and _shallow(project, piece, limits)
        for piece in candidate.pieces
    )


def _shallow(project: Project, piece: Piece, limits: LimitsSection) -> bool:
    """Not deeper than the limit where people walk (walls below HEAD_HEIGHT)."""
    if len(piece.rects) > 1 or not project.room.surface(piece.surface).is_wall:
        return True
    low = float(piece.box[0, 2])
    return piece.reach <= limits.max_depth + 1e-9 or low >= HEAD_HEIGHT - 1e-9


def _overlap(first: Piece, second: Piece) -> bool:
    return any(
        a == b
        and min(p[2], q[2]) - max(p[0], q[0]) > 1e-6
        and min(p[3], q[3]) - max(p[1], q[1]) > 1e-6
        for a, p in first.rects
        for b, q in second.rects
    )
