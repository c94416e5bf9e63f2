"""The decision itself: from effects to a proven selection, frozen."""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.placement.effects import Effects
from optimizer.placement.greedy import greedy_selection
from optimizer.placement.program import TIE, Matrices, build_program, matrices, with_tangents
from optimizer.placement.solver import NEGLIGIBLE, Progress, solve
from optimizer.room.geometry import Floats

Ints = NDArray[np.int64]
Report = Callable[[Progress], None]


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
    time_limit: float = 60.0,
    report: Report | None = None,
) -> Selection:
    """The best selection within a relative gap, or the best found at the time limit.

    Same effects, same selection, as long as the time limit is not what ends the search.
    """
    began = time.monotonic()
    nothing = np.zeros(0, dtype=np.int64)
    if effects.count == 0:
        value = objective(effects, nothing)
        return Selection("optimal", nothing, value, value, 0.0, 0.0)
    first = greedy_selection(effects, lambda chosen: objective(effects, chosen))
    end = began + max(time_limit, time.monotonic() - began + 1.0)
    best, bound = _search(effects, first, gap, end, report)
    value = objective(effects, best)
    reached = _relative(value, bound)
    status = "optimal" if reached <= gap + 1e-9 else "feasible"
    return Selection(status, best, value, bound, reached, time.monotonic() - began)


def _search(
    effects: Effects, first: Ints, gap: float, end: float, report: Report | None
) -> tuple[Ints, float]:
    """The best selection found from a first one by the time `end`, and the bound proven.

    The program's tangents may understate the excess of what it finds by more than the gap asked
    for allows. Then lines touching the excess there are added and it is solved again, until the
    gap is proven or the same selection comes back, which no line can change any more.
    """
    program = matrices(build_program(effects))
    best, bound = prune(effects, first), 0.0
    touched: set[tuple[int, ...]] = set()
    while True:
        left = max(end - time.monotonic(), 0.0)
        answer = solve(program, 0.8 * gap, left, _start(effects, program, best), report)
        found = best if answer.z is None else _chosen(effects, program, answer.z)
        best = min(best, prune(effects, found), key=lambda o: objective(effects, o))
        bound = min(max(answer.bound, bound), objective(effects, best))
        proven = _relative(objective(effects, best), bound) <= gap
        if proven or answer.status != "optimal" or tuple(found) in touched:
            return best, bound
        touched.add(tuple(found))
        program = with_tangents(program, effects, effects.quantities(found))


def _relative(value: float, bound: float) -> float:
    return (value - bound) / max(value, NEGLIGIBLE)


def objective(effects: Effects, chosen: Ints) -> float:
    """Exact objective of a selection: weighted excess, then money."""
    cost = effects.cost_cents(chosen)
    return effects.score(chosen) + TIE * (cost / max(effects.budget_cents, 1))


def prune(effects: Effects, chosen: Ints) -> Ints:
    """The selection without candidates whose removal makes the objective no worse."""
    kept = list(np.sort(chosen))
    value = objective(effects, np.array(kept, dtype=np.int64))
    while kept:
        trials = [
            objective(effects, np.array(kept[:i] + kept[i + 1 :], dtype=np.int64))
            for i in range(len(kept))
        ]
        best = int(np.argmin(trials))
        if trials[best] > value + 1e-12:
            break
        value = min(value, trials[best])
        del kept[best]
    return np.array(kept, dtype=np.int64)


def _start(effects: Effects, program: Matrices, chosen: Ints) -> Floats:
    """Columns to begin from: the candidates of a selection and the packs they need."""
    values = {f"x[{c}]": 1.0 for c in chosen}
    values |= {f"n[{p}]": float(n) for p, n in enumerate(effects.packs(chosen))}
    return np.array([values.get(n, 0.0 if n[0] in "xn" else math.nan) for n in program.names])


def _chosen(effects: Effects, program: Matrices, z: Floats) -> Ints:
    """Candidate indices that the solver set to one."""
    picked = [name for name, value in zip(program.names, z, strict=True) if value > 0.5]
    return np.array([int(n[2:-1]) for n in picked if n.startswith("x[")], dtype=np.int64)
