"""The decision itself: from effects to a proven selection, frozen."""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from optimizer.placement.calm import SHARE, calmed
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.greedy import greedy_selection
from optimizer.placement.order import Ints
from optimizer.placement.program import build_program, matrices
from optimizer.placement.proof import (
    Problem,
    Report,
    held_by,
    objective,
    promising,
    prove,
    relative,
    slack,
)


@dataclass(frozen=True)
class Selection:
    """A selection of candidates and how good it is proven to be.

    `objective` is recomputed from the selection with the exact criteria (the program's tangents
    never overstate it), `bound` is proven by the solver, `gap` = (objective - bound) / objective,
    where an objective below 0.01 (next to nothing left to mend) counts as 0.01.
    """

    status: str
    chosen: Ints
    objective: float
    bound: float
    gap: float
    seconds: float


def select(
    effects: Effects,
    gap: float = 0.01,
    limit: float | Effort = math.inf,
    report: Report | None = None,
    start: Ints | None = None,
) -> Selection:
    """The best selection within a relative gap, or the best found with an effort or in so many s.

    `start` are candidates to begin from besides the greedy ones (the better of the two is taken);
    ValueError when they cannot be bought and hung together, or when no selection holds all that is
    wished for. Same effects and start, same
    selection, as long as the time is not what ends the search.
    """
    began, effort = time.monotonic(), Effort.of(limit)
    nothing = np.zeros(0, dtype=np.int64)
    if start is not None and not feasible(effects, start):
        raise ValueError("the selection to begin from does not fit the room or the budget")
    if effects.count == 0:
        value = objective(effects, nothing)
        return Selection("optimal", nothing, value, value, 0.0, 0.0)
    first = greedy(effects)
    if start is not None:
        first = min(first, start, key=lambda o: objective(effects, o))
    if effort.guard.over():
        best, bound = prune(effects, first), 0.0
    else:
        program = matrices(build_program(effects))
        problem = Problem(program, {"": effects}, (1.0,), lambda held: (prune(effects, held[0]),))
        (best,), bound = prove(problem, (first,), gap, effort, report)
    if effects.order.rules:
        best = _calm(effects, best, bound, gap)
    return judged(effects, best, bound, gap, time.monotonic() - began)


def propose(effects: Effects, gap: float, effort: Effort, start: Ints) -> Ints:
    """A good selection, begun from one that fits; how good is not proven."""
    if effects.count == 0 or effort.guard.over():
        return start
    program = matrices(build_program(effects))
    problem = Problem(program, {"": effects}, (1.0,), lambda held: (prune(effects, held[0]),))
    return promising(problem, (start,), gap, effort)[0]


def _calm(effects: Effects, best: Ints, bound: float, gap: float) -> Ints:
    """Of the selections within the gap one with fewer placements."""
    value = objective(effects, best)
    worst = min(bound / (1.0 - min(gap, 0.5)), value * (1.0 + SHARE * gap))
    return calmed(effects, best, max(worst, value), lambda chosen: objective(effects, chosen))


def greedy(effects: Effects) -> Ints:
    """A selection by benefit for money, to begin from; empty without candidates."""
    if effects.count == 0:
        return np.zeros(0, dtype=np.int64)
    return greedy_selection(effects, lambda chosen: objective(effects, chosen))


def judged(effects: Effects, chosen: Ints, bound: float, gap: float, seconds: float) -> Selection:
    """A selection with its exact objective against a bound; "optimal" when within the gap.

    The bound is one of these effects, so no selection of them that fits is below it: neither the
    one it was proven with, nor one whose pieces were moved apart, nor one found besides.
    UntrustedSolutionError for one that is.
    """
    value = objective(effects, chosen)
    bound = held_by(bound, value, slack([effects], (1.0,), value))
    reached = relative(value, bound)
    status = "optimal" if reached <= gap + 1e-9 else "feasible"
    return Selection(status, chosen, value, bound, reached, seconds)


def feasible(effects: Effects, chosen: Ints) -> bool:
    """Whether these are candidates that exclude none of each other, fit the budget, hold what is
    wished for and keep to the order."""
    taken = np.bincount(chosen, minlength=effects.count) if np.all(chosen >= 0) else np.array([2])
    if len(taken) != effects.count or taken.max(initial=0) > 1:
        return False
    apart = all(taken[row].sum() <= 1 for row in effects.cover)
    paid = effects.cost_cents(chosen) <= effects.budget_cents
    return bool(apart and paid and effects.granted(chosen) and effects.order.holds(chosen))


def prune(effects: Effects, chosen: Ints, may_be: Callable[[Ints], bool] = lambda _: True) -> Ints:
    """The selection without candidates whose removal makes the objective no worse.

    Only selections for which `may_be` and the order hold, and that hold what is wished for, are
    passed through.
    """
    kept = list(np.sort(chosen))
    value = objective(effects, np.array(kept, dtype=np.int64))
    while kept:
        trials = [np.array(kept[:i] + kept[i + 1 :], dtype=np.int64) for i in range(len(kept))]
        fits = [
            may_be(trial) and effects.granted(trial) and effects.order.holds(trial)
            for trial in trials
        ]
        values = [
            objective(effects, trial) if fit else math.inf
            for trial, fit in zip(trials, fits, strict=True)
        ]
        best = int(np.argmin(values))
        if values[best] > value + 1e-12:
            break
        value = min(value, values[best])
        del kept[best]
    return np.array(kept, dtype=np.int64)
