"""What a rule of the room file costs a plan: a quick search with one rule lifted at a time.

Candidates that just one rule bars are put beside those of the plan, on a coarser grid; begun from
the plan and from a greedy choice, one piece after the other is taken out, put in or exchanged where
that helps most. The same search without them comes first, so that a rule is not charged for what it
finds anyway. What lifting a rule gains is therefore "at least" that.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.scene import Scene
from optimizer.placement.bars import bars_of, without_rules
from optimizer.placement.candidates import Candidate, find_candidates
from optimizer.placement.catalogue import Product
from optimizer.placement.cover import cover_rows
from optimizer.placement.effects import Effects, effects_table
from optimizer.placement.layouts import FINEST
from optimizer.placement.nearby import Neighbours
from optimizer.placement.order import Ints
from optimizer.placement.orderly import order_of
from optimizer.placement.pieces import Piece
from optimizer.placement.plan import greedy
from optimizer.placement.proof import objective
from optimizer.placement.stages import remaining
from optimizer.room.geometry import Floats
from optimizer.room.layout import FREE, OrderRules
from optimizer.room.model import Room
from optimizer.room.schema import LimitsSection

COARSE = 2.0  # times the finest grid
WORTH = 0.02  # of the excess that a rule must cost to be named
PASSES = 2  # of the search


@dataclass(frozen=True)
class InTheWay:
    """A rule (key of [limits]) and the weighted excess with it and without it; `pieces` that then
    hang."""

    key: str
    score: float
    without: float
    pieces: tuple[Piece, ...]


@dataclass(frozen=True)
class Choice:
    """A plan among its candidates: what it was chosen from and with, in one room."""

    room: Room
    scene: Scene
    products: tuple[Product, ...]  # the whole price list
    limits: LimitsSection
    candidates: tuple[Candidate, ...]
    effects: Effects
    chosen: Ints
    bounces: dict[str, Floats]
    refused: Callable[[Candidate], bool] = lambda _: False  # what is wanted in no plan
    order: OrderRules = FREE


def in_the_way(choice: Choice) -> tuple[InTheWay, ...]:
    """Rules that cost the plan more than WORTH of its excess, the dearest first."""
    now = choice.effects.score(choice.chosen)
    if now <= 0.0:
        return ()
    barred = _barred(choice)
    groups = {key: picked for key, picked in barred.items() if picked}
    if not groups:
        return ()
    plain = _best(choice.effects, choice.chosen)
    base = choice.effects.score(plain)
    found = []
    for key, more in groups.items():
        effects, index = _with(choice, more)
        best = _best(effects, np.flatnonzero(np.isin(index, plain)))
        score = effects.score(best)
        fresh = [c - len(choice.candidates) for c in index[best] if c >= len(choice.candidates)]
        places = [more[c] for c in fresh]
        if base - score > WORTH * now:
            pieces = tuple(piece for candidate in places for piece in candidate.pieces)
            found.append(InTheWay(key, base, score, pieces))
    return tuple(sorted(found, key=lambda rule: rule.without))


def _barred(choice: Choice) -> dict[str, list[Candidate]]:
    """Candidates that one rule alone bars, by the key of that rule."""
    room, limits = without_rules(choice.room, choice.limits)
    if limits.grid is None:
        limits = limits.model_copy(update={"grid": COARSE * FINEST})
    found = find_candidates(room, choice.products, limits, choice.bounces, choice.order)
    found = tuple(candidate for candidate in found if not choice.refused(candidate))
    bars = bars_of(choice.room, found, choice.limits)
    count = np.sum(list(bars.values()), axis=0)
    return {key: [found[c] for c in np.flatnonzero(mask & (count == 1))]
            for key, mask in bars.items()}  # fmt: skip


def _with(choice: Choice, more: Sequence[Candidate]) -> tuple[Effects, Ints]:
    """The effects with more candidates, and the index of each among all."""
    own, everything = choice.effects, (*choice.candidates, *more)
    added = effects_table(
        choice.room, choice.scene, own.criteria, tuple(more), choice.products, own.budget_cents,
        cover=False,
    )  # fmt: skip
    order = order_of(choice.room, everything, choice.order).without_broken(choice.chosen)
    effects = replace(
        own.with_more(added, cover_rows(choice.room, everything), order, first=len(own.pack)),
        price_cents=np.concatenate([own.price_cents, added.price_cents]),
        pack=np.concatenate([own.pack, added.pack]),
        owned=np.concatenate([own.owned, added.owned]),
    )
    return remaining(effects, np.zeros(0, dtype=np.int64), np.ones(effects.count, dtype=bool))


def _best(effects: Effects, chosen: Ints) -> Ints:
    """The better of two searches, begun from a plan and from a greedy choice."""
    moves = Neighbours(effects)
    tries = (moves.bettered(start, PASSES) for start in (chosen, greedy(effects)))
    return min(tries, key=lambda found: objective(effects, found))
