"""A plan read back from its plan.json, with today's room file and price list.

The room is judged anew with the models that judge a plan; no figure of the file is taken over
but its objective and bound (with what was considered on the way), which only a new solve could give
and which `results/proof.py` tells as the file's. The gap is computed from them.
"""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from optimizer.acoustics.judged import judge_scene
from optimizer.faults import shown_name
from optimizer.placement.pieces import Piece, treated
from optimizer.placement.plan import Selection
from optimizer.placement.proof import relative
from optimizer.project import Judging, Project
from optimizer.results.fingerprint import choice_mark
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.plan_model import PlanFile, read_plan
from optimizer.results.planfile import figures_replaced, laid_pieces
from optimizer.results.scorecard import ScoreCard, card_of, how_sure, reasons
from optimizer.results.shopping import shopping_list


@dataclass(frozen=True)
class Rebuilt:
    """A plan read back. `changed` when its proof was for another room, price list or pieces."""

    plan: Plan
    changed: bool
    replaced: str = ""  # a line when figures of the file are not those shown


def room_file_of(path: Path) -> Path | None:
    """The room file that a plan.json names, seen from the plan's folder; None if it names none."""
    named = read_plan(path).room_file
    return path.parent / named if named else None


def rebuild(path: Path, project: Project, judging: Judging = "full") -> Rebuilt:
    """The plan of a plan.json for a project; ScenarioError lists what does not fit.

    The room is judged anew with the pieces, `judging` as deep: figures of the file are only
    compared with those.
    """
    file = read_plan(path)
    pieces = laid_pieces(file, path, project.room, project.products)
    card, why = _judged(project, pieces, _groups(file), judging)
    selection = _selection(file, card)
    plan = Plan(
        project=project,
        selection=selection,
        candidates=file.candidates or 0,
        pairs=file.pairs or 0,
        judged=file.plans_judged,
        pieces=tuple(
            PlannedPiece(name, piece, entry.pair, text)
            for name, piece, entry, text in zip(file.ids, pieces, file.pieces, why, strict=True)
        ),
        card=card,
        shopping=shopping_list(pieces, project.products, project.scenario.budget.delivery),
        cut_off=file.cut_off,
        proof_of=None if file.status is None else shown_name(path),
    )
    same = file.made_from is not None and file.made_from.choice == choice_mark(project, pieces)
    return Rebuilt(plan, not same, figures_replaced(file, card, plan.cost_cents, selection.gap))


def _judged(
    project: Project, pieces: list[Piece], groups: list[list[int]], judging: Judging
) -> tuple[ScoreCard, list[str]]:
    """Score card and reasons of pieces, computed from the room."""
    judges, informers = project.judges(judging), project.informers(judging)
    before, after = (
        judge_scene(scene, project.criteria, judges).with_findings(informers)
        for scene in (project.scene, treated(project.room, project.scene, pieces))
    )
    texts = reasons(project.room, project.scene, after, [[pieces[i] for i in g] for g in groups])
    why = [""] * len(pieces)
    for group, text in zip(groups, texts, strict=True):
        for index in group:
            why[index] = text
    return card_of(before, after, how_sure(project, after, pieces, judging)), why


def _groups(file: PlanFile) -> list[list[int]]:
    """Indices of pieces that belong together: mirrored pairs, and singles."""
    place = {name: index for index, name in enumerate(file.ids)}
    groups: dict[int, list[int]] = {}
    for index, entry in enumerate(file.pieces):
        twin = index if entry.pair is None else place[entry.pair]
        groups.setdefault(min(index, twin), []).append(index)
    return list(groups.values())


def _selection(file: PlanFile, card: ScoreCard) -> Selection:
    """What the file says of its proof, and the gap that follows."""
    objective = card.score_after if file.objective is None else file.objective
    bound = -math.inf if file.bound is None else file.bound
    return Selection(
        status=file.status or "unknown",
        chosen=np.zeros(0, dtype=np.int64),
        objective=objective,
        bound=bound,
        gap=relative(objective, bound),
        seconds=file.seconds or 0.0,
    )
