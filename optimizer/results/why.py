"""Why each piece is there: what every criterion loses without it, re-evaluated."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.scene import Scene
from optimizer.placement.pieces import Piece, treated
from optimizer.project import Judging, Project
from optimizer.results.comparison_plans import groups_of
from optimizer.results.model import PlannedPiece
from optimizer.results.shopping import shopping_list, total_cents
from optimizer.room.geometry import Floats

NOTHING = 1e-9  # change of a weighted excess that counts as none


@dataclass(frozen=True)
class Loss:
    """One criterion with the whole plan and without one group of pieces.

    `lost` is what the weighted excess gains without the group: above 0 where the group helps,
    below 0 where it does harm.
    """

    criterion: str
    where: str
    unit: str
    kept: float
    without: float
    met_kept: bool
    met_without: bool
    lost: float


@dataclass(frozen=True)
class GroupWhy:
    """A mirrored pair or a single piece: what it costs and what it is worth."""

    pieces: tuple[PlannedPiece, ...]
    price_cents: int  # its share of the packs, without sundries
    saved_cents: int  # less on the shopping list without the group, in whole packs
    score: float  # weighted excess of the whole plan
    score_without: float
    losses: tuple[Loss, ...]  # criteria that change, the heaviest loss first

    @property
    def ids(self) -> str:
        """Numbers of the pieces: "3, 4"."""
        return ", ".join(piece.id for piece in self.pieces)


def judged_plan(
    project: Project, pieces: Sequence[PlannedPiece], judging: Judging = "none"
) -> Judged:
    """The room with a plan, judged."""
    scene = treated(project.room, project.scene, _laid(pieces))
    return judge_scene(scene, project.criteria, project.judges(judging))


def why_table(
    project: Project, pieces: Sequence[PlannedPiece], judged: Judged | None = None
) -> tuple[GroupWhy, ...]:
    """What each group of a plan does, by leaving it out and evaluating the room anew.

    No coefficient of the optimiser is used. Corrections by fuller models, where `judged` has
    them, are those of the whole plan.
    """
    full = judged_plan(project, pieces) if judged is None else judged
    cost = _cost(project, pieces)
    table = []
    for group in groups_of(pieces):
        rest = [piece for piece in pieces if piece not in group]
        scene = treated(project.room, project.scene, _laid(rest))
        quantities = project.criteria.quantities(scene)
        corrected = full.corrected
        losses = _losses(full, scene, quantities)
        saved, score = cost - _cost(project, rest), corrected.score(quantities)
        price = sum(_share(piece.piece) for piece in group)
        table.append(GroupWhy(tuple(group), round(price), saved, full.score, score, losses))
    return tuple(table)


def _losses(full: Judged, scene: Scene, without: Floats) -> tuple[Loss, ...]:
    """What changes of the rows that people read; of one that stands for several also what only the
    score sees of it."""
    lost, _ = full.lost(without)
    rows, kept, left = full.criteria.told_rows, full.told, full.told_in(scene, without)
    moved = np.abs(left.values - kept.values) > 1e-6 * np.maximum(np.abs(kept.values), 1e-3)
    changed = np.flatnonzero(moved | (np.abs(lost) > NOTHING))
    return tuple(
        Loss(rows[k].group, rows[k].where, rows[k].unit, float(kept.values[k]),
             float(left.values[k]), bool(kept.met[k]), bool(left.met[k]), float(lost[k]))
        for k in changed[np.argsort(-lost[changed], kind="stable")]
    )  # fmt: skip


def _laid(pieces: Sequence[PlannedPiece]) -> list[Piece]:
    return [planned.piece for planned in pieces]


def _share(piece: Piece) -> float:
    return piece.product.price_cents / piece.product.pack


def _cost(project: Project, pieces: Sequence[PlannedPiece]) -> int:
    delivery = project.scenario.budget.delivery
    return total_cents(shopping_list(_laid(pieces), project.products, delivery))
