"""budget.json: what the best plan of each of several budgets reaches, written and read back."""

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from optimizer.faults import Fault, ScenarioError
from optimizer.placement.budget_curve import Curve
from optimizer.project import Project
from optimizer.results.fingerprint import choice_mark
from optimizer.room.reading import read_text

FIGURES = ("budget", "spent", "excess", "at_least", "gain_per_100")


@dataclass(frozen=True)
class MoneyPoint:
    """The best plan of a budget, money in the currency's units: what is spent, the weighted excess
    left, what it cannot be below, and how much less it is for each 100 more than the one before."""

    budget: float
    spent: float
    excess: float
    at_least: float
    gain_per_100: float


@dataclass(frozen=True)
class MoneyCurve:
    """Points by rising budget, the excess without any piece, and the budget past which money buys
    little (None when it still does at the last)."""

    untreated: float
    points: tuple[MoneyPoint, ...]
    little_past: float | None


def money_curve(curve: Curve, budgets_cents: Sequence[int]) -> MoneyCurve:
    """A curve as people read it: with the budgets asked for, before anything is kept back."""
    points = tuple(
        MoneyPoint(cents / 100, p.cost_cents / 100, p.score, p.floor, 1e4 * p.gain)
        for cents, p in zip(budgets_cents, curve.points, strict=True)
    )
    little = None if curve.enough is None else points[curve.enough].budget
    return MoneyCurve(curve.untreated, points, little)


def made_from(project: Project) -> str:
    """Mark of the room and of all that the choice depends on besides, whatever the budget."""
    budget = project.scenario.budget.model_copy(update={"amount": 0.0})
    free = replace(project, scenario=replace(project.scenario, budget=budget))
    return choice_mark(free, [])


def read_money_curve(path: Path, project: Project) -> MoneyCurve:
    """A budget.json of this room; ScenarioError where it is none, or of another room or prices."""
    text = read_text(path, "budget.json")
    try:
        curve, marks = _parsed(json.loads(text))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        remedy = "is no budget curve: give a budget.json as `treatment budget --out` writes it"
        raise ScenarioError([Fault(str(path), "", None, remedy)]) from None
    if marks != made_from(project):
        remedy = (
            "was made from another room, other limits or other prices; "
            "run `treatment budget` again for today's"
        )
        raise ScenarioError([Fault(str(path), "made_from", None, remedy)])
    return curve


def _parsed(content: Any) -> tuple[MoneyCurve, Any]:
    points = tuple(MoneyPoint(*(_figure(p[name]) for name in FIGURES)) for p in content["points"])
    if not points:
        raise ValueError("no points")
    little = content["little_past"]
    return (
        MoneyCurve(
            _figure(content["untreated"]["excess"]),
            points,
            None if little is None else _figure(little),
        ),
        content.get("made_from"),
    )


def _figure(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise ValueError("not a number")
    return float(value)
