"""A plan read back from its plan.json, with today's room file and price list.

Where nothing that the figures depend on has changed since, the score card of the file is kept;
otherwise the room is judged anew with the same models that judge a plan.
"""

import json
import math
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.acoustics.judged import judge_scene
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.pieces import Piece, treated
from optimizer.placement.plan import Selection
from optimizer.project import Judging, Project
from optimizer.results.fingerprint import choice_mark, figures_mark
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.planfile import read_pieces
from optimizer.results.scorecard import ScoreCard, ScoreRow, card_of, how_sure, reasons
from optimizer.results.shopping import shopping_list
from optimizer.room.reading import read_text

_ROW_FIELDS = {field.name for field in fields(ScoreRow)}


@dataclass(frozen=True)
class Rebuilt:
    """A plan read back. `changed` when its proof was for another room, price list or pieces."""

    plan: Plan
    changed: bool


def room_file_of(path: Path) -> Path | None:
    """The room file that a plan.json names, seen from the plan's folder; None if it names none."""
    named = _content(path).get("room_file")
    return path.parent / named if isinstance(named, str) and named else None


def rebuild(path: Path, project: Project, judging: Judging = "full") -> Rebuilt:
    """The plan of a plan.json for a project; ScenarioError lists what does not fit.

    `judging` is how deep the room is judged where the figures of the file do not hold any more.
    """
    pieces = read_pieces(path, project.room, project.products)
    content = _content(path)
    marks = content.get("made_from")
    marks = marks if isinstance(marks, dict) else {}
    same = marks.get("figures") == figures_mark(project, pieces)
    card = _stored_card(content) if same else None
    entries = content["pieces"]
    if card is None:
        card, why = _judged(project, pieces, _groups(pieces, entries), judging)
    else:
        why = [str(entry.get("why", "")) for entry in entries]
    plan = Plan(
        project=project,
        selection=_selection(content, card),
        candidates=_count(content, "candidates"),
        pairs=_count(content, "pairs"),
        judged=_count(content, "plans_judged") if "plans_judged" in content else None,
        pieces=_numbered(pieces, entries, why),
        card=card,
        shopping=shopping_list(pieces, project.products, project.scenario.budget.delivery),
    )
    return Rebuilt(plan, marks.get("choice") != choice_mark(project, pieces))


def _content(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(read_text(path, "plan.json"))
    except (ValueError, RecursionError):
        content = None
    if not isinstance(content, dict):
        remedy = "is no plan; give a plan.json as `treatment plan` writes it"
        raise ScenarioError([Fault(str(path), "", None, remedy)])
    return content


def _stored_card(content: dict[str, Any]) -> ScoreCard | None:
    """The score card of the file; None when it is not whole."""
    rows = content.get("score")
    scores = [content.get(key) for key in ("score_before", "score_after")]
    if not isinstance(rows, list) or not all(isinstance(s, (int, float)) for s in scores):
        return None
    try:
        kept = [{k: v for k, v in row.items() if k in _ROW_FIELDS} for row in rows]
        before, after = map(float, scores)  # type: ignore[arg-type]  # both are numbers
        return ScoreCard(tuple(ScoreRow(**row) for row in kept), before, after)
    except (AttributeError, TypeError):
        return None


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


def _groups(pieces: list[Piece], entries: list[dict[str, Any]]) -> list[list[int]]:
    """Indices of pieces that belong together: mirrored pairs, and singles."""
    ids = [str(entry.get("id", i + 1)) for i, entry in enumerate(entries)]
    place = {name: i for i, name in enumerate(ids)}
    groups: dict[int, list[int]] = {}
    for index, entry in enumerate(entries):
        twin = place.get(str(entry.get("pair")), index)
        mutual = str(entries[twin].get("pair")) == ids[index]
        groups.setdefault(min(index, twin) if mutual else index, []).append(index)
    return list(groups.values())


def _numbered(
    pieces: list[Piece], entries: list[dict[str, Any]], why: list[str]
) -> tuple[PlannedPiece, ...]:
    twins = [entry.get("pair") for entry in entries]
    return tuple(
        PlannedPiece(str(entry.get("id", i + 1)), piece, None if twin is None else str(twin), text)
        for i, (piece, entry, twin, text) in enumerate(
            zip(pieces, entries, twins, why, strict=True)
        )
    )


def _selection(content: dict[str, Any], card: ScoreCard) -> Selection:
    status = content.get("status")
    bound = _number(content, "bound", -math.inf)
    return Selection(
        status=status if isinstance(status, str) else "unknown",
        chosen=np.zeros(0, dtype=np.int64),
        objective=_number(content, "objective", card.score_after),
        bound=bound,
        gap=_number(content, "gap", math.inf),
        seconds=_number(content, "seconds", 0.0),
    )


def _number(content: dict[str, Any], key: str, otherwise: float) -> float:
    value = content.get(key)
    usable = isinstance(value, (int, float)) and not isinstance(value, bool)
    return float(value) if usable and value is not None else otherwise


def _count(content: dict[str, Any], key: str) -> int:
    return max(int(_number(content, key, 0.0)), 0)
