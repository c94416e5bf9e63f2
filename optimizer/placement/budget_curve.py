"""What money buys: the best plan for each of several budgets.

The budgets are solved from the least to the most, each begun from the plan before with more added.
Then every budget also tries the plans of its neighbours, the dearer one's with pieces taken away
until it fits, so that the score never rises with the budget.
"""

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.plan import Selection, judged, prune, select
from optimizer.placement.program import TIE
from optimizer.placement.proof import Report, objective
from optimizer.placement.stages import grown, running

GAP = 0.02  # near enough for a curve
STEP_SHARE = 0.2  # of the effort of a plan, for each budget
LITTLE = 0.25  # of the average gain for money so far: a step that gains less buys little
NOTHING = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True)
class Point:
    """The best plan found for one budget.

    `score` is its weighted excess over the limits (0 = all met), `floor` what no plan of this
    budget can be below, `groups` the part of each group of criteria that counts. `enter` and
    `leave` are candidates against the point before (the empty room before the first); `gain` is
    the score gained since then for each unit of money in cents added.
    """

    budget_cents: int
    cost_cents: int
    selection: Selection
    score: float
    floor: float
    groups: dict[str, float]
    enter: Ints
    leave: Ints
    gain: float


@dataclass(frozen=True)
class Curve:
    """Points by rising budget, what the untreated room scores, and where money buys little.

    `enough`: index of the first point after which no later point gains more than LITTLE of the
    average gain for money up to there, None when the last point still does.
    """

    untreated: float
    untreated_groups: dict[str, float]
    points: tuple[Point, ...]
    enough: int | None


def budget_curve(
    effects: Effects,
    budgets_cents: Sequence[int],
    gap: float = GAP,
    limit: float | Effort = math.inf,
    report: Report | None = None,
) -> Curve:
    """The best plan for each budget (rising), to a gap, or as far as an effort for each or a time
    in s for all goes.

    ValueError for budgets that do not rise. The scores never rise, and each plan's bound holds
    for its budget.
    """
    if not budgets_cents or budgets_cents[0] < 0:
        raise ValueError("give budgets, none below zero")
    if any(second <= first for first, second in pairwise(budgets_cents)):
        raise ValueError("give budgets from the least to the most, none twice")
    effort = Effort.of(limit).share(STEP_SHARE)
    tell = running(time.monotonic(), report)
    steps = [replace(effects, budget_cents=int(b)) for b in budgets_cents]
    found: list[Selection] = []
    for step in steps:
        start = grown(step, found[-1].chosen) if found else None
        found.append(select(step, gap, effort, tell, start))
    smooth = _from_neighbours(steps, found, gap)
    points = _points(steps, smooth)
    untreated = effects.score(NOTHING)
    enough = _enough(untreated, points)
    return Curve(untreated, by_group(effects, NOTHING), points, enough)


def trimmed(effects: Effects, chosen: Ints) -> Ints:
    """A selection that fits the budget: the piece whose loss is least for its money goes first."""
    kept = chosen
    while effects.cost_cents(kept) > effects.budget_cents:
        trials = [np.delete(kept, i) for i in range(len(kept))]
        trials = [trial for trial in trials if effects.order.holds(trial)] or trials
        saved = np.array([effects.cost_cents(kept) - effects.cost_cents(o) for o in trials])
        lost = np.array([effects.score(o) for o in trials]) - effects.score(kept)
        # Pieces of one pack save nothing singly: then the one that is missed least goes.
        rate = np.where(saved > 0, lost / np.maximum(saved, 1), np.inf)
        best = int(rate.argmin()) if (saved > 0).any() else int(lost.argmin())
        kept = trials[best]
    return prune(effects, kept if effects.order.holds(kept) else NOTHING)


def by_group(effects: Effects, chosen: Ints) -> dict[str, float]:
    """Weighted excess of each group of criteria that counts; they add up to the score."""
    criteria = effects.criteria
    parts = criteria.weights * criteria.excess(effects.quantities(chosen))
    groups: dict[str, float] = {}
    for row, part in zip(criteria.rows, parts, strict=True):
        if row.weight > 0:
            groups[row.group] = groups.get(row.group, 0.0) + float(part)
    return groups


def _from_neighbours(
    steps: Sequence[Effects], found: Sequence[Selection], gap: float
) -> list[Selection]:
    """Each budget's plan, or a neighbour's where that is better; bounds of dearer budgets hold too.

    A plan's objective falls as the budget rises (its cost is a smaller part of it), so what no
    plan of a dearer budget is below, no plan of a cheaper one is below.
    """
    chosen = [s.chosen for s in found]
    for i in range(len(steps) - 2, -1, -1):
        trial = grown(steps[i], trimmed(steps[i], chosen[i + 1]))
        if objective(steps[i], trial) < objective(steps[i], chosen[i]):
            chosen[i] = trial
    for i in range(1, len(steps)):
        if steps[i].score(chosen[i - 1]) < steps[i].score(chosen[i]):
            chosen[i] = chosen[i - 1]
    bounds = np.maximum.accumulate([s.bound for s in found][::-1])[::-1]
    return [
        judged(step, o, float(bound), gap, s.seconds)
        for step, o, bound, s in zip(steps, chosen, bounds, found, strict=True)
    ]


def _points(steps: Sequence[Effects], found: Sequence[Selection]) -> tuple[Point, ...]:
    points: list[Point] = []
    before, money, score = NOTHING, 0, steps[0].score(NOTHING)
    for step, selection in zip(steps, found, strict=True):
        chosen = selection.chosen
        now = step.score(chosen)
        points.append(
            Point(
                budget_cents=step.budget_cents,
                cost_cents=step.cost_cents(chosen),
                selection=selection,
                score=now,
                floor=max(selection.bound - TIE, 0.0),
                groups=by_group(step, chosen),
                enter=np.setdiff1d(chosen, before),
                leave=np.setdiff1d(before, chosen),
                gain=(score - now) / max(step.budget_cents - money, 1),
            )
        )
        before, money, score = chosen, step.budget_cents, now
    return tuple(points)


def _enough(untreated: float, points: Sequence[Point]) -> int | None:
    for i, point in enumerate(points[:-1]):
        if point.budget_cents <= 0:
            continue
        average = (untreated - point.score) / point.budget_cents
        later = [
            (point.score - other.score) / (other.budget_cents - point.budget_cents)
            for other in points[i + 1 :]
        ]
        if max(later) <= LITTLE * average:
            return i
    return None
