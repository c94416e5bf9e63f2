"""The decision itself: from effects to a proven selection, frozen."""

import math
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.faults import UntrustedSolutionError
from optimizer.placement.calm import SHARE, calmed
from optimizer.placement.cuts import check_lines, with_tangents
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.greedy import greedy_selection
from optimizer.placement.program import TIE, Matrices, build_program, matrices
from optimizer.placement.solver import FEASIBLE, NEGLIGIBLE, Progress, solve
from optimizer.room.geometry import Floats

Ints = NDArray[np.int64]
Report = Callable[[Progress], None]


AGAIN = 0.8  # of the gap to which a program is solved again whose tangents understated it


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


Held = tuple[Ints, ...]  # a selection per block of the program, one for a plain plan


@dataclass(frozen=True)
class Problem:
    """A program, and how its answers are judged and made better.

    `blocks`: what the names of a block's columns begin with, and the effects decided there, each
    counted with its weight. `polish` drops what is superfluous; `extra` gives columns besides
    candidates and packs; `known_bound` lies below every objective; above `cutoff` none is wanted.
    UntrustedSolutionError when the program holds an excess above the exact one.
    """

    program: Matrices
    blocks: dict[str, Effects]
    weights: tuple[float, ...]
    polish: Callable[[Held], Held]
    extra: Callable[[Held], dict[str, float]] = lambda _: {}
    known_bound: float = 0.0
    cutoff: float = math.inf

    def __post_init__(self) -> None:
        for block, effects in self.blocks.items():
            check_lines(self.program, effects, block)

    def value(self, held: Held) -> float:
        """Exact objective of selections (one per block)."""
        each = zip(self.weights, self.blocks.values(), held, strict=True)
        return sum(weight * objective(effects, chosen) for weight, effects, chosen in each)


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


def held_by(bound: float, value: float, slack: float) -> float:
    """A bound, no higher than the objective it holds for: rounding may lift it by the slack.

    UntrustedSolutionError when it lies higher than that.
    """
    if bound > value + slack or math.isnan(bound):
        raise UntrustedSolutionError(
            f"an objective of {value:.9g} lies below its bound {bound:.9g}"
        )
    return min(bound, value)


def slack(blocks: Iterable[Effects], weights: tuple[float, ...], value: float) -> float:
    """How far rounding may lift a bound: the solver's tolerance in each excess, and of the value.

    `weights` count the blocks.
    """
    counted = (
        w * effects.criteria.weights.sum() for w, effects in zip(weights, blocks, strict=True)
    )
    return float(FEASIBLE * (sum(counted) + max(1.0, value)))


def prove(
    problem: Problem, first: Held, gap: float, effort: Effort, report: Report | None = None
) -> tuple[Held, float]:
    """The best selections found from first ones with an effort, and the bound proven.

    The program's tangents may understate the excess of what it finds by more than the gap asked
    for allows. Then lines touching the excess there are added and it is solved again, until the
    gap is proven or the same selections come back, which no line can change any more.
    UntrustedSolutionError when a bound lies above what was found.
    """
    program = problem.program
    best, bound = problem.polish(first), problem.known_bound
    touched: set[tuple[tuple[int, ...], ...]] = set()
    share, nodes, guard = 1.0, effort.nodes, effort.guard
    while True:
        start = _start(problem, program, best)
        answer = solve(
            program, share * gap, guard.left(), start, report, problem.cutoff, max(nodes, 0)
        )
        nodes -= answer.nodes
        guard.cut = guard.cut or answer.late
        found = best if answer.z is None else _found(problem, program, answer.z)
        best = min(best, problem.polish(found), key=problem.value)
        bound = max(bound, min(answer.bound, problem.cutoff))
        value = problem.value(best)
        bound = held_by(bound, value, slack(problem.blocks.values(), problem.weights, value))
        proven = relative(value, bound) <= gap
        key = tuple(tuple(chosen.tolist()) for chosen in found)
        if proven or answer.status != "optimal" or key in touched:
            return best, bound
        touched.add(key)
        share = AGAIN
        for (block, effects), chosen in zip(problem.blocks.items(), found, strict=True):
            program = with_tangents(program, effects, effects.quantities(chosen), block)


def relative(value: float, bound: float) -> float:
    """The gap between an objective and a bound, or another objective, in units of the first.

    Objectives below NEGLIGIBLE count as that.
    """
    return (value - bound) / max(value, NEGLIGIBLE)


def feasible(effects: Effects, chosen: Ints) -> bool:
    """Whether these are candidates that exclude none of each other, fit the budget, hold what is
    wished for and keep to the order."""
    taken = np.bincount(chosen, minlength=effects.count) if np.all(chosen >= 0) else np.array([2])
    if len(taken) != effects.count or taken.max(initial=0) > 1:
        return False
    apart = all(taken[row].sum() <= 1 for row in effects.cover)
    paid = effects.cost_cents(chosen) <= effects.budget_cents
    return bool(apart and paid and effects.granted(chosen) and effects.order.holds(chosen))


def objective(effects: Effects, chosen: Ints) -> float:
    """Exact objective of a selection: weighted excess, then money."""
    cost = effects.cost_cents(chosen)
    return effects.score(chosen) + TIE * (cost / max(effects.budget_cents, 1))


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


def _start(problem: Problem, program: Matrices, held: Held) -> Floats:
    """Columns to begin from: the candidates of selections, the packs they need, and extras."""
    values = problem.extra(held)
    for (block, effects), chosen in zip(problem.blocks.items(), held, strict=True):
        values |= {f"{block}x[{c}]": 0.0 for c in range(effects.count)}
        values |= {f"{block}x[{c}]": 1.0 for c in chosen}
        values |= {f"{block}n[{p}]": float(n) for p, n in enumerate(effects.packs(chosen))}
        values |= {f"{block}{name}": y for name, y in effects.order.columns(chosen).items()}
    return np.array([values.get(name, math.nan) for name in program.names])


def _found(problem: Problem, program: Matrices, z: Floats) -> Held:
    """Candidate indices that the solver set to one, block by block."""
    picked = [name for name, value in zip(program.names, z, strict=True) if value > 0.5]
    return tuple(
        np.array(
            [int(n[len(block) + 2 : -1]) for n in picked if n.startswith(f"{block}x[")],
            dtype=np.int64,
        )
        for block in problem.blocks
    )
