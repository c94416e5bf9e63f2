"""A first selection by benefit for money, to start the solver from and to compare it with."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from optimizer.placement.effects import Effects
from optimizer.room.geometry import Floats

Ints = NDArray[np.int64]
FREE = 1e-6  # share of the budget that a piece at hand counts as when gains are weighed by cost


def greedy_selection(effects: Effects, value: Callable[[Ints], float]) -> Ints:
    """Add the candidate with the largest gain per share of the budget until none helps or fits."""
    blocks = _blocks(effects)
    open_ = np.ones(effects.count, dtype=bool)
    chosen: list[int] = []
    quantities = effects.base.copy()
    while True:
        gain = _gains(effects, quantities)
        cost = extra_cost(effects, np.array(chosen, dtype=np.int64))
        free = open_ & effects.order.open(np.array(chosen, dtype=np.int64), effects.count)
        fits = free & (cost + effects.cost_cents(np.array(chosen, dtype=np.int64))
                        <= effects.budget_cents)  # fmt: skip
        share = np.maximum(cost / max(effects.budget_cents, 1), FREE)
        worth = np.where(fits & (gain > 1e-9), gain / share, -1.0)
        best = int(worth.argmax())
        if worth[best] <= 0:
            return np.array(sorted(chosen), dtype=np.int64)
        trial = np.array([*chosen, best], dtype=np.int64)
        if value(trial) >= value(trial[:-1]):
            open_[best] = False
            continue
        chosen.append(best)
        quantities = effects.quantities(trial)
        open_[best] = False
        open_[blocks[best]] = False


def _blocks(effects: Effects) -> list[Ints]:
    """Candidates that each candidate excludes."""
    excluded: list[set[int]] = [set() for _ in range(effects.count)]
    for row in effects.cover:
        members = set(row.tolist())
        for c in members:
            excluded[c] |= members
    return [np.array(sorted(s), dtype=np.int64) for s in excluded]


def _gains(effects: Effects, quantities: Floats) -> Floats:
    """How much each candidate alone lowers the score from here (C,)."""
    criteria = effects.criteria
    after = criteria.excess(quantities[:, None] + effects.change)
    return np.asarray(criteria.score(quantities) - criteria.weights @ after)


def extra_cost(effects: Effects, chosen: Ints) -> Floats:
    """Cents that each candidate would add (C,), packs already open used first."""
    used = np.bincount(effects.product[chosen], effects.pieces[chosen], len(effects.pack))
    packs = effects.packs(chosen)
    need = used[effects.product] + effects.pieces
    pack = effects.pack[effects.product]
    after = np.ceil(np.maximum(need - effects.owned[effects.product], 0) / pack - 1e-9)
    return np.asarray((after - packs[effects.product]) * effects.price_cents[effects.product])
