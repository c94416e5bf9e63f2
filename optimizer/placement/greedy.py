"""A first selection by benefit for money, to start the solver from and to compare it with."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from optimizer.placement.effects import Effects
from optimizer.room.geometry import Floats

Ints = NDArray[np.int64]
MOST_TRIED = 40  # candidates of a wish that are tried beside those of the others
FREE = 1e-6  # share of the budget that a piece at hand counts as when gains are weighed by cost


def greedy_selection(effects: Effects, value: Callable[[Ints], float]) -> Ints:
    """Add the candidate with the largest gain per share of the budget until none helps or fits.

    Begun with what is wished for (`opening`).
    """
    chosen = opening(effects)
    open_ = ~effects.excluded(np.array(chosen, dtype=np.int64))
    quantities = effects.quantities(np.array(chosen, dtype=np.int64))
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
        open_ &= ~effects.excluded(trial[-1:])


def opening(effects: Effects) -> list[int]:
    """One candidate of each set that is wished for, all of which fit together and the budget.

    The fewest to choose from first, of each the one that leaves the lowest score for its money;
    ValueError when no such candidates are found.
    """
    if not effects.wished:
        return []
    rows = sorted(effects.wished, key=lambda row: (len(row), row.tolist()))
    found = _granted(effects, rows, [])
    if found is None:
        raise ValueError("what is wished for does not fit together, or not into the budget")
    return sorted(found)


def _granted(effects: Effects, rows: list[Ints], chosen: list[int]) -> list[int] | None:
    """The chosen candidates with one of each further row; None where none fits."""
    rows = [row for row in rows if not np.isin(row, chosen).any()]
    if not rows:
        return chosen if effects.order.holds(np.array(chosen, dtype=np.int64)) else None
    taken = effects.excluded(np.array(chosen, dtype=np.int64))
    trials = [[*chosen, int(c)] for c in rows[0] if not taken[c]]
    arrays = [np.array(trial, dtype=np.int64) for trial in trials]
    order = sorted(
        (i for i, a in enumerate(arrays) if effects.cost_cents(a) <= effects.budget_cents),
        key=lambda i: (effects.score(arrays[i]), trials[i]),
    )
    for i in order[:MOST_TRIED]:
        found = _granted(effects, rows[1:], trials[i])
        if found is not None:
            return found
    return None


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
