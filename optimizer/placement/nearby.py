"""Selections near a given one: one candidate taken out, put in, or exchanged for another.

Used twice: to better a first selection before the solver starts from it, and to list selections
that are as good as the best by the quick models, so that fuller ones can tell them apart.
"""

from collections.abc import Callable, Container
from dataclasses import dataclass

import numpy as np

from optimizer.placement.effects import Effects
from optimizer.placement.greedy import extra_cost
from optimizer.placement.order import Ints
from optimizer.placement.program import TIE
from optimizer.placement.proof import objective
from optimizer.room.geometry import Floats

ENOUGH = 1e-9  # least gain in the objective worth a move
MOST_PASSES = 20


@dataclass(frozen=True)
class Neighbours:
    """The moves of one decision."""

    effects: Effects

    def additions(self, rest: Ints) -> Floats:
        """Objective (C,) with each candidate beside `rest`; inf where it does not fit."""
        effects = self.effects
        barred = effects.excluded(rest)
        for row in effects.wished:
            if not np.isin(row, rest).any():
                barred[np.setdiff1d(np.arange(effects.count), row)] = True
        barred |= ~effects.order.open(rest, effects.count)
        cost = effects.cost_cents(rest) + extra_cost(effects, rest)
        open_ = np.flatnonzero(~barred & (cost <= effects.budget_cents))
        after = effects.criteria.excess(
            effects.quantities(rest)[:, None] + effects.change[:, open_]
        )
        value = np.full(effects.count, np.inf)
        money = TIE * cost[open_] / max(effects.budget_cents, 1)
        value[open_] = effects.criteria.weights @ after + money
        return value

    def bettered(self, chosen: Ints, passes: int = MOST_PASSES) -> Ints:
        """A selection no single exchange, addition or removal makes better, after so many passes
        at most."""
        held, value = np.sort(chosen), objective(self.effects, chosen)
        for _ in range(passes):
            before = value
            for out in [None, *held.tolist()]:
                rest = held if out is None else np.setdiff1d(held, [out])
                held, value = self._best(held, value, rest)
            if value >= before:
                break
        return held

    def alike(
        self, chosen: Ints, kinds: Ints, within: float, most: int,
        known: Callable[[Ints], bool] = lambda _: False, passed: Container[int] = (),
    ) -> list[tuple[int, Ints]]:  # fmt: skip
        """At most `most` other selections, none of them `known`, whose objective is worse by no
        more than a share, each after the kind of candidate that it puts in.

        The best first; of exchanges that put in the same kind only the best, and none of a kind
        `passed`. `kinds` (C,) numbers them: fuller models tell pieces on different walls apart,
        hardly one from its neighbour on the grid.
        """
        held = np.sort(chosen)
        limit = objective(self.effects, held) * (1.0 + within)
        each = [self._instead(held, out) for out in held.tolist()]
        added = np.array(each).reshape(len(held), len(kinds))
        found: dict[int, Ints] = {}
        for flat in np.argsort(added, axis=None, kind="stable").tolist():
            place, taken = divmod(flat, len(kinds))
            if len(found) == most or not added[place, taken] <= limit:
                break
            kind = int(kinds[taken])
            selection = np.sort(np.append(np.delete(held, place), taken))
            if kind not in found and kind not in passed and not known(selection):
                found[kind] = selection
        return list(found.items())

    def _instead(self, held: Ints, out: int) -> Floats:
        """Objective (C,) with each candidate instead of one of those held."""
        value = self.additions(np.setdiff1d(held, [out]))
        value[out] = np.inf
        return value

    def _best(self, held: Ints, value: float, rest: Ints) -> tuple[Ints, float]:
        fewer = len(rest) < len(held) and self.effects.order.holds(rest)
        without = objective(self.effects, rest)
        fewer = fewer and self.effects.granted(rest)
        if fewer and without < value - ENOUGH:
            held, value = rest, without
        added = self.additions(rest)
        best = int(added.argmin()) if len(added) else 0
        if len(added) and added[best] < value - ENOUGH:
            return np.sort(np.append(rest, best)), float(added[best])
        return held, value
