"""What stands in the way of each criterion that a plan leaves unmet, and what would help.

In the way: for one criterion at a time, pieces are added by effect for money until it is met,
within the budget, without regard to money, and without bans. Which of these first suffices names
the obstacle. What would help: the limits are relaxed one at a time and the whole plan is solved
again, roughly and with little effort each.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimizer.placement.bars import FREE
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.lifting import WORTH
from optimizer.placement.order import Rule
from optimizer.placement.plan import feasible, select
from optimizer.placement.stages import remaining
from optimizer.results.rule_words import order_rule_in_words
from optimizer.results.why_bench import DEEPER, Bench, Ints, Mask
from optimizer.room.geometry import Floats
from optimizer.room.schema import OVERHEAD, LimitsSection
from optimizer.units import format_length

MORE_MONEY = 1.2  # times the budget
ROUGH = 0.05  # gap of a trial
TRIAL_SHARE = 0.1  # of the effort of a plan, for each trial
HELPS = 0.05  # share of a row's excess that must go for a relaxation to count as help
TINY = 1e-9
ENDLESS = 10**12  # cents


@dataclass(frozen=True)
class Obstacle:
    """What stands in the way of one unmet criterion (row `row` of the criteria).

    `kind`: "other criteria", "budget", "bans", "space" or "no product acts on it"; `rules` are the
    keys of [limits] that bar what would act on it most, for "bans". `nearest` is
    the value (before corrections by fuller models) that the criterion reaches when all allowed
    pieces hang for its sake, `cost_cents` what meeting it alone takes, None where it cannot be.
    """

    row: int
    kind: str
    nearest: float
    cost_cents: int | None
    rules: tuple[str, ...] = ()


@dataclass(frozen=True)
class Relaxation:
    """One limit relaxed, and the plan found with it (None when time ran out before it was tried).

    `excess` (K,) is unweighted, in units of each limit.
    """

    name: str
    extra_cents: int  # spent beyond the budget as it is
    score: float | None = None
    excess: Floats | None = None


def unmet_rows(bench: Bench) -> Ints:
    """Rows of the criteria that count and that the plan leaves unmet, the heaviest first."""
    weighted = _weighted(bench)
    rows = np.argsort(-weighted, kind="stable")
    return rows[weighted[rows] > TINY]


def unmet_rows_told(bench: Bench) -> Ints:
    """The same, of those that people read as one the heaviest alone; first what is heaviest as
    people read it."""
    weighted, of = _weighted(bench), bench.effects.criteria.told_of
    rows = unmet_rows(bench)
    _, first = np.unique(of[rows], return_index=True)
    heaviest = rows[np.sort(first)]
    return heaviest[np.argsort(-np.bincount(of, weighted)[of[heaviest]], kind="stable")]


def _weighted(bench: Bench) -> Floats:
    criteria, effects = bench.effects.criteria, bench.effects
    return criteria.weights * criteria.excess(effects.quantities(bench.plan))


def obstacle(bench: Bench, row: int) -> Obstacle:
    """What stands in the way of one criterion, as far as a quick search sees."""
    effects = bench.effects
    towards = _towards(effects, row)
    everything = np.ones(effects.count, dtype=np.bool_)
    if not np.any(towards[bench.allowed] > TINY):
        kind = "bans" if np.any(towards > TINY) else "no product acts on it"
        value = _value(effects, row, np.zeros(0, dtype=np.int64))
        return Obstacle(row, kind, value, None, _barring(bench, towards))
    tries = (
        ("other criteria", bench.allowed, effects.budget_cents, True),
        ("budget", bench.allowed, ENDLESS, True),
        ("budget", bench.allowed, ENDLESS, False),
        ("bans", everything, ENDLESS, False),
    )
    nearest = np.nan
    for kind, allowed, money, thrifty in tries:
        chosen = _for_one(effects, row, allowed, money, thrifty)
        reached = _value(effects, row, chosen)
        if effects.criteria.excess(effects.quantities(chosen))[row] <= TINY:
            rules = _barring(bench, towards) if kind == "bans" else ()
            return Obstacle(row, kind, reached, effects.cost_cents(chosen), rules)
        nearest = nearest if kind == "bans" else reached
    return Obstacle(row, "space", nearest, None)


def _barring(bench: Bench, towards: Floats) -> tuple[str, ...]:
    """The rule that alone bars the candidate of the largest effect; where none alone bars any, all
    that bar the best."""
    useful = np.flatnonzero(~bench.allowed & (towards > TINY))
    if not len(useful):
        return ()
    bars = np.array(list(bench.bars.values()))[:, useful]
    single = bars.sum(axis=0) == 1
    gain = np.where(single, towards[useful], 0.0) if single.any() else towards[useful]
    best = bars[:, int(np.argmax(gain))]
    return tuple(key for key, mine in zip(bench.bars, best, strict=True) if mine)


def _towards(effects: Effects, row: int) -> Floats:
    """How far each candidate (C,) moves a row's quantity towards its limit, from the bare room."""
    quantity = float(effects.base[row])
    lines = effects.criteria.tangents(row, quantity, quantity)
    if not lines:
        return np.zeros(effects.count)
    slope = max(lines, key=lambda line: line[0] * quantity + line[1])[0]
    return np.asarray(-np.sign(slope) * effects.change[row])


def _for_one(effects: Effects, row: int, allowed: Mask, money: int, thrifty: bool) -> Ints:
    """Candidates added until one criterion is met or nothing more fits.

    By effect for money, or the largest effect first where money is no matter (not `thrifty`).
    """
    gain = _towards(effects, row)
    each = effects.price_cents[effects.product] / effects.pack[effects.product] * effects.pieces
    free = allowed & (gain > TINY)
    rate = gain / np.maximum(each, 1.0) if thrifty else gain
    chosen: list[int] = []
    for c in np.argsort(-rate, kind="stable"):
        if not free[c]:
            continue
        trial = np.array([*chosen, c], dtype=np.int64)
        if effects.cost_cents(trial) > money:
            continue
        chosen.append(int(c))
        for cells in effects.cover:
            if c in cells:
                free[cells] = False
        if effects.criteria.excess(effects.quantities(trial))[row] <= TINY:
            break
    return np.array(chosen, dtype=np.int64)


def _value(effects: Effects, row: int, chosen: Ints) -> float:
    return float(effects.criteria.values(effects.quantities(chosen))[row])


def relaxations(
    bench: Bench, limit: float | Effort = math.inf, units: str = "m"
) -> tuple[Relaxation, ...]:
    """The whole plan solved again with one limit relaxed at a time, with little effort for each;
    what is not begun when a time limit in s for all is over is not tried.

    Each begins from the plan, so that none comes out worse than it.
    """
    effort = Effort.of(limit).share(TRIAL_SHARE)
    tried = [_solved(bench, *each, effort) for each in _tries(bench, units)]
    return (*tried, *_without_order(bench, effort))


def _without_order(bench: Bench, effort: Effort) -> Iterator[Relaxation]:
    """The rules of order lifted, all of them and, where that gains enough, each by itself.

    Among the places that the plan was chosen from: blocks and the lowest edge stay as they are.
    """
    order, budget = bench.effects.order, bench.effects.budget_cents
    if not order.rules:
        return

    def lifted(name: str, rules: tuple[Rule, ...]) -> Relaxation:
        effects = replace(bench.effects, order=replace(order, rules=rules))
        return _solved(replace(bench, effects=effects), name, bench.allowed, budget, effort)

    free = lifted("order on lines, groups and kinds not kept", ())
    yield free
    now = bench.effects.score(bench.plan)
    if free.score is not None and len(order.rules) > 1 and now - free.score > WORTH * now:
        layout = bench.project.scenario.layout.rules
        for rule in order.rules:
            rest = tuple(other for other in order.rules if other is not rule)
            yield lifted(order_rule_in_words(rule.name, layout), rest)


def _tries(bench: Bench, units: str) -> Iterator[tuple[str, Mask, int]]:
    """What is relaxed, the candidates (C,) then allowed, and the budget in cents."""
    limits, budget = bench.project.scenario.limits, bench.effects.budget_cents
    more = bench.project.budget_cents * (MORE_MONEY - 1)
    yield f"{100 * (MORE_MONEY - 1):.0f} % more money", bench.allowed, budget + int(round(more))
    for name, update in _lifted(limits, units):
        mask = bench.allowed_by(limits.model_copy(update=update))
        if mask.sum() > bench.allowed.sum():
            yield name, mask, budget
    mask = bench.allowed_without("keep_clear")
    if mask.sum() > bench.allowed.sum():
        yield "boxes to keep clear given up", mask, budget


def _lifted(limits: LimitsSection, units: str) -> Iterator[tuple[str, dict[str, object]]]:
    for mounting in dict.fromkeys(limits.no_mountings):
        rest = tuple(m for m in limits.no_mountings if m != mounting)
        overhead = {"nothing_overhead": False} if mounting in OVERHEAD else {}
        yield f"mounting on {mounting} allowed", {"no_mountings": rest, **overhead}
    if limits.no_holes:
        yield "holes for hooks, screws and anchors allowed", {"no_holes": False}
    if limits.nothing_overhead and not OVERHEAD & set(limits.no_mountings):
        yield "pieces overhead allowed", {"nothing_overhead": False}
    if limits.banned_products:
        yield "banned products allowed", {"banned_products": ()}
    if limits.fire_class is not None:
        yield f"fire class {limits.fire_class} not demanded", {"fire_class": None}
    deeper = DEEPER * limits.max_depth
    yield f"pieces may stand out {format_length(deeper, units)}", {"max_depth": deeper}
    headroom, depth = (format_length(x, units) for x in (limits.headroom, limits.head_depth))
    yield f"headroom of {headroom} not kept", {"headroom": FREE["headroom"]}
    said = f"pieces at head height may stand out more than {depth}"
    yield said, {"head_depth": FREE["head_depth"]}


def _solved(bench: Bench, name: str, mask: Mask, budget: int, effort: Effort) -> Relaxation:
    if effort.guard.over():
        return Relaxation(name, 0)
    relaxed = replace(bench.effects, budget_cents=budget)
    sub, index = remaining(relaxed, np.zeros(0, dtype=np.int64), mask)
    start = np.flatnonzero(np.isin(index, bench.plan))
    selection = select(sub, ROUGH, effort, start=start if feasible(sub, start) else None)
    chosen = index[selection.chosen]
    quantities = relaxed.quantities(chosen)
    extra = max(relaxed.cost_cents(chosen) - bench.effects.budget_cents, 0)
    criteria = relaxed.criteria
    return Relaxation(name, extra, criteria.score(quantities), criteria.excess(quantities))


def cheapest_help(bench: Bench, row: int, tried: Sequence[Relaxation]) -> Relaxation | None:
    """The relaxation that helps one criterion for the least money; of equals the one that most."""
    now = bench.effects.criteria.excess(bench.effects.quantities(bench.plan))[row]
    helps = [
        (r.extra_cents, float(r.excess[row]), index)
        for index, r in enumerate(tried)
        if r.excess is not None and now - r.excess[row] > max(HELPS * now, TINY)
    ]
    return tried[min(helps)[2]] if helps else None
