"""Short marks of what a plan was made from, so that a later reader sees when it has changed."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
from pydantic import BaseModel

from optimizer.placement.pieces import Piece
from optimizer.project import Project

DIGITS = 6  # of numbers; finer than this a plan file does not keep them


def figures_mark(project: Project, pieces: Sequence[Piece]) -> str:
    """Mark of all that the score card depends on: room, targets, weights, loudspeaker, pieces."""
    scenario = project.scenario
    told = [scenario.targets, scenario.weights, scenario.loudspeaker, scenario.models]
    return _mark([project.room, *told, _laid(project.hung), _laid(pieces)])


def choice_mark(project: Project, pieces: Sequence[Piece]) -> str:
    """Mark of all that the choice depends on besides: price list, limits, layout and budget."""
    scenario = project.scenario
    return _mark([figures_mark(project, pieces), project.products, scenario.limits,
                  scenario.layout, scenario.budget.amount])  # fmt: skip


def _laid(pieces: Sequence[Piece]) -> list[list[Any]]:
    """What a piece is and where, without its price and name."""
    return [[p.product.id, p.mounting, p.rects, p.face, p.product.faces, p.reach, p.material]
            for p in pieces]  # fmt: skip


def _mark(value: Any) -> str:
    text = json.dumps(_plain(value), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _plain(value: Any) -> Any:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json")
    if is_dataclass(value) and not isinstance(value, type):
        return [_plain(getattr(value, field.name)) for field in fields(value)]
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, float):
        return round(value, DIGITS) + 0.0
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, (set, frozenset)):
        return sorted(_plain(item) for item in value)
    return value if isinstance(value, (str, int, float, bool, type(None))) else str(value)
