"""A purchase in stages: plans that each contain the one before, decided in one program.

What is hung in a stage stays where it is, what is bought stays bought, and pieces left over from
an early pack may be hung later. The budgets are running totals.
"""

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.plan import Selection, greedy, judged, select
from optimizer.placement.program import build_staged, matrices
from optimizer.placement.proof import (
    Held,
    Problem,
    Report,
    held_by,
    objective,
    prove,
    relative,
    slack,
)
from optimizer.placement.solver import Progress

NESTING_SHARE = 0.2  # of the effort: each of the nested plans stage by stage, to begin from
ROUGH = 0.02  # gap that is near enough for a plan to begin from


@dataclass(frozen=True)
class StagedSelection:
    """Selections that contain each other, and what that costs.

    `stages` (S): each stage's plan; its `bound` is that of the best plan of its budget alone, its
    `gap` therefore holds the price of nesting too. `own_best` (S): that best plan. `regret` (S):
    what nesting costs the stage against it, in units of the objective. `objective`, `bound` and
    `gap`: the weighted mean over the stages, proven for all together.
    """

    status: str
    stages: tuple[Selection, ...]
    own_best: tuple[Selection, ...]
    regret: tuple[float, ...]
    weights: tuple[float, ...]
    objective: float
    bound: float
    gap: float
    seconds: float


def plan_stages(
    effects: Effects,
    budgets_cents: Sequence[int],
    gap: float = 0.01,
    limit: float | Effort = math.inf,
    report: Report | None = None,
    weights: Sequence[float] | None = None,
) -> StagedSelection:
    """Selections for rising budgets (S,), each containing the one before, best by weighted mean.

    To a gap, or as far as an effort for each solve or a time in s goes. `weights` (S,) count the
    stages, equal when none are given. ValueError for budgets that do not
    rise or weights that are not positive. One stage is the plain plan.
    """
    began, effort = time.monotonic(), Effort.of(limit)
    shares = _shares(budgets_cents, weights)
    stages = tuple(replace(effects, budget_cents=int(b)) for b in budgets_cents)
    tell = running(began, report)
    own = _own_best(stages, gap, effort, tell)
    if len(stages) == 1 or effects.count == 0:
        return _staged(stages, shares, tuple(s.chosen for s in own), own, 0.0, gap, began)
    nested = _nested(stages, own, effort.share(NESTING_SHARE), tell)
    bound = sum(share * s.bound for share, s in zip(shares, own, strict=True))
    best = min(nested, key=lambda held: _mean(stages, shares, held))
    met = np.unique(np.concatenate([o for held in nested for o in held] + [s.chosen for s in own]))
    if relative(_mean(stages, shares, best), bound) > gap and not effort.guard.over():
        best = _together_among(met, stages, shares, best, gap, effort, tell)
    if relative(_mean(stages, shares, best), bound) > gap and not effort.guard.over():
        best, bound = prove(_problem(stages, shares, bound), best, gap, effort, tell)
    own = _no_worse_than(stages, own, best, gap)
    return _staged(stages, shares, best, own, bound, gap, began)


def _shares(budgets_cents: Sequence[int], weights: Sequence[float] | None) -> tuple[float, ...]:
    if not budgets_cents or budgets_cents[0] < 0:
        raise ValueError("give the budget of each stage, none below zero")
    if any(second <= first for first, second in pairwise(budgets_cents)):
        raise ValueError("budgets of stages are running totals: each must be above the one before")
    given = [1.0] * len(budgets_cents) if weights is None else [float(w) for w in weights]
    if len(given) != len(budgets_cents) or not all(0 < w < math.inf for w in given):
        raise ValueError("give one weight above zero for each stage")
    return tuple(w / sum(given) for w in given)


def running(began: float, report: Report | None) -> Report | None:
    """A report whose seconds run on through several solves."""
    if report is None:
        return None

    def tell(progress: Progress) -> None:
        report(replace(progress, seconds=time.monotonic() - began))

    return tell


def _own_best(
    stages: Sequence[Effects], gap: float, effort: Effort, report: Report | None
) -> tuple[Selection, ...]:
    """The best plan of each budget by itself, begun from the one before with more added."""
    found: list[Selection] = []
    for effects in stages:
        start = grown(effects, found[-1].chosen) if found else None
        found.append(select(effects, gap, effort, report, start))
    return tuple(found)


def remaining(effects: Effects, kept: Ints, allowed: NDArray[np.bool_]) -> tuple[Effects, Ints]:
    """What is left to decide once `kept` hangs: effects of the other allowed candidates (C,).

    Their indices in the full table are given too. Money is what is left of the budget, and pieces
    left over from the packs of `kept` count as owned.
    """
    free = allowed.copy()
    free[kept] = False
    taken = np.zeros(effects.count, dtype=bool)
    taken[kept] = True
    for row in effects.cover:
        if taken[row].any():
            free[row] = False
    index = np.flatnonzero(free)
    place = np.full(effects.count, -1)
    place[index] = np.arange(len(index))
    rows = (place[row][free[row]] for row in effects.cover)
    used = np.bincount(effects.product[kept], effects.pieces[kept], len(effects.pack))
    have = effects.owned + effects.pack * effects.packs(kept)
    left = replace(
        effects,
        base=effects.quantities(kept),
        change=effects.change[:, index],
        product=effects.product[index],
        pieces=effects.pieces[index],
        cover=tuple(row for row in rows if len(row) > 1),
        wished=tuple(
            place[row][free[row]] for row in effects.wished if not np.isin(row, kept).any()
        ),
        order=effects.order.remaining(kept, index),
        owned=have - used.astype(np.int64),
        budget_cents=effects.budget_cents - effects.cost_cents(kept),
    )
    return left, index


def grown(effects: Effects, chosen: Ints) -> Ints:
    """A selection with more added by benefit for money, as far as the budget goes."""
    sub, index = remaining(effects, chosen, np.ones(effects.count, dtype=bool))
    return np.sort(np.concatenate([chosen, index[greedy(sub)]]))


def _nested(
    stages: Sequence[Effects],
    own: Sequence[Selection],
    effort: Effort,
    report: Report | None,
) -> list[Held]:
    """Nested plans from each stage's own best: earlier stages out of it, later ones upon it."""
    all_of_them = np.ones(stages[0].count, dtype=bool)
    found = []
    for s in range(len(stages)):
        held: dict[int, Ints] = {s: own[s].chosen}
        for t in [*range(s - 1, -1, -1), *range(s + 1, len(stages))]:
            if t < s:
                kept, allowed = np.zeros(0, dtype=np.int64), np.zeros(stages[0].count, dtype=bool)
                allowed[held[t + 1]] = True
            else:
                kept, allowed = held[t - 1], all_of_them
            sub, index = remaining(stages[t], kept, allowed)
            added = select(sub, ROUGH, effort, report)
            held[t] = np.sort(np.concatenate([kept, index[added.chosen]]))
        found.append(tuple(held[t] for t in range(len(stages))))
    return found


def _mean(stages: Sequence[Effects], shares: Sequence[float], held: Held) -> float:
    """Exact weighted mean of the stages' objectives."""
    each = zip(shares, stages, held, strict=True)
    return sum(share * objective(effects, chosen) for share, effects, chosen in each)


def _problem(stages: Sequence[Effects], shares: tuple[float, ...], bound: float) -> Problem:
    return Problem(
        program=matrices(build_staged(stages, shares)),
        blocks={f"stage[{s}].": effects for s, effects in enumerate(stages)},
        weights=shares,
        polish=lambda held: later(stages, shares, held),
        known_bound=bound,
    )


def _together_among(
    met: Ints,
    stages: Sequence[Effects],
    shares: tuple[float, ...],
    held: Held,
    gap: float,
    effort: Effort,
    report: Report | None,
) -> Held:
    """All stages decided together over a few candidates: no proof for the room, but soon."""
    allowed = np.zeros(stages[0].count, dtype=bool)
    allowed[met] = True
    nothing = np.zeros(0, dtype=np.int64)
    few = [remaining(effects, nothing, allowed)[0] for effects in stages]
    first = tuple(np.searchsorted(met, chosen) for chosen in held)
    best, _ = prove(_problem(few, shares, 0.0), first, 0.5 * gap, effort, report)
    return tuple(met[chosen] for chosen in best)


def later(stages: Sequence[Effects], shares: Sequence[float], held: Held) -> Held:
    """Nested selections without what is superfluous.

    A candidate is hung some stages later, or never, for as long as that makes the weighted mean
    no worse.
    """
    best = tuple(np.sort(chosen) for chosen in held)
    while True:
        moves = list(_delays(stages, shares, best))
        if not moves:
            return best
        change, candidate, first, last = min(moves)
        if change > 1e-12:
            return best
        best = tuple(o[o != candidate] if first <= s <= last else o for s, o in enumerate(best))


def _delays(
    stages: Sequence[Effects], shares: Sequence[float], held: Held
) -> Sequence[tuple[float, int, int, int]]:
    """Every way to hang a candidate later: change of the mean, candidate, stages without it."""
    moves = []
    for c in held[-1]:
        first = next(s for s, chosen in enumerate(held) if c in chosen)
        change = 0.0
        for s in range(first, len(stages)):
            without = held[s][held[s] != c]
            if not stages[s].order.holds(without):
                break
            now, then = (objective(stages[s], o) for o in (held[s], without))
            change += shares[s] * (then - now)
            moves.append((change, int(c), first, s))
    return moves


def _no_worse_than(
    stages: Sequence[Effects], own: Sequence[Selection], held: Held, gap: float
) -> tuple[Selection, ...]:
    """Own best plans, replaced where a stage turned out better than the plan found for it alone."""
    return tuple(
        judged(effects, chosen, s.bound, gap, s.seconds)
        if objective(effects, chosen) < s.objective
        else s
        for effects, s, chosen in zip(stages, own, held, strict=True)
    )


def _staged(
    stages: Sequence[Effects],
    shares: tuple[float, ...],
    held: Held,
    own: tuple[Selection, ...],
    bound: float,
    gap: float,
    began: float,
) -> StagedSelection:
    value = _mean(stages, shares, held)
    alone = sum(share * s.bound for share, s in zip(shares, own, strict=True))
    bound = held_by(max(bound, alone), value, slack(stages, shares, value))
    reached = relative(value, bound)
    plans = tuple(
        judged(effects, chosen, s.bound, gap, s.seconds)
        for effects, chosen, s in zip(stages, held, own, strict=True)
    )
    return StagedSelection(
        status="optimal" if reached <= gap + 1e-9 else "feasible",
        stages=plans,
        own_best=own,
        regret=tuple(p.objective - s.objective for p, s in zip(plans, own, strict=True)),
        weights=shares,
        objective=value,
        bound=bound,
        gap=reached,
        seconds=time.monotonic() - began,
    )
