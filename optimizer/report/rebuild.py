"""A plan read back from its plan.json, with today's room file and price list.

The room is judged anew with the models that judge a plan; no figure of the file is taken over
but its proof, which only a new solve could give.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from optimizer.acoustics.judged import judge_scene
from optimizer.placement.pieces import Piece, treated
from optimizer.placement.plan import Selection
from optimizer.project import Judging, Project
from optimizer.results.fingerprint import choice_mark
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.plan_model import PieceEntry, PlanFile, read_plan
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
    card, why = _judged(project, pieces, _groups(file.pieces), judging)
    plan = Plan(
        project=project,
        selection=_selection(file, card),
        candidates=file.candidates or 0,
        pairs=file.pairs or 0,
        judged=file.plans_judged,
        pieces=_numbered(pieces, file.pieces, why),
        card=card,
        shopping=shopping_list(pieces, project.products, project.scenario.budget.delivery),
        cut_off=file.cut_off,
    )
    same = file.made_from is not None and file.made_from.choice == choice_mark(project, pieces)
    return Rebuilt(plan, not same, figures_replaced(file, card, plan.cost_cents))


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


def _groups(entries: Sequence[PieceEntry]) -> list[list[int]]:
    """Indices of pieces that belong together: mirrored pairs, and singles."""
    ids = [entry.id or str(i) for i, entry in enumerate(entries, 1)]
    place = {name: i for i, name in enumerate(ids)}
    groups: dict[int, list[int]] = {}
    for index, entry in enumerate(entries):
        twin = index if entry.pair is None else place.get(entry.pair, index)
        mutual = entries[twin].pair == ids[index]
        groups.setdefault(min(index, twin) if mutual else index, []).append(index)
    return list(groups.values())


def _numbered(
    pieces: list[Piece], entries: Sequence[PieceEntry], why: list[str]
) -> tuple[PlannedPiece, ...]:
    return tuple(
        PlannedPiece(entry.id or str(i), piece, entry.pair, text)
        for i, (piece, entry, text) in enumerate(zip(pieces, entries, why, strict=True), 1)
    )


def _selection(file: PlanFile, card: ScoreCard) -> Selection:
    """What the file says of its proof."""
    objective = card.score_after if file.objective is None else file.objective
    return Selection(
        status=file.status or "unknown",
        chosen=np.zeros(0, dtype=np.int64),
        objective=objective,
        bound=-math.inf if file.bound is None else file.bound,
        gap=math.inf if file.gap is None else file.gap,
        seconds=file.seconds or 0.0,
    )
