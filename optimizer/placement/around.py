"""The decision around a plan: its own places slid a little, and the candidates that do most there.

A search by fuller models looks at plans near one that they have judged. There candidates are fewer
and finer than in the whole decision, few of them may change at once, and what a piece does is
taken at the plan: by the slopes of the modes as they are there (acoustics.mode_slopes), and by what
the models said of other plans near it.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from optimizer.acoustics.coupled import CoupledModes
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.mode_slopes import damping_slopes, quantity_slopes
from optimizer.acoustics.scene import Scene
from optimizer.placement.candidates import Candidate, slid_candidates
from optimizer.placement.catalogue import Product
from optimizer.placement.cover import cover_rows
from optimizer.placement.effects import Effects, by_candidate, effects_table
from optimizer.placement.greedy import extra_cost
from optimizer.placement.order import AtMost, Ints, Order
from optimizer.placement.orderly import order_of
from optimizer.room.geometry import Floats
from optimizer.room.layout import OrderRules
from optimizer.room.model import Room
from optimizer.room.schema import LimitsSection

SLIDES: Floats = 0.1 * np.arange(-3.0, 4.0)  # m, along each direction of the surface
USEFUL = 60  # candidates that do most by themselves, and as many that do most for their money
BELIEVED = 0.5  # share of the slopes at the plan in what a piece does; the rest is first order


@dataclass(frozen=True)
class Offer:
    """A room, and what may be hung there."""

    room: Room
    scene: Scene
    products: tuple[Product, ...]  # those allowed
    limits: LimitsSection
    rules: OrderRules
    refused: Callable[[Candidate], bool] = lambda _: False
    lifted: frozenset[str] = frozenset()  # rules of order that are not kept to

    def order(self, candidates: tuple[Candidate, ...]) -> Order:
        """The rules of order over these candidates."""
        order = order_of(self.room, candidates, self.rules)
        return replace(order, rules=tuple(r for r in order.rules if r.name not in self.lifted))


@dataclass(frozen=True)
class Around:
    """Candidates (C,) around a plan, their effects of first order, and the plan (N,) among them."""

    candidates: tuple[Candidate, ...]
    effects: Effects
    chosen: Ints


def placed(plan: Iterable[Candidate], candidates: Sequence[Candidate]) -> Ints:
    """Where those of a plan that are among the candidates stand there, in order."""
    place = {candidate: index for index, candidate in enumerate(candidates)}
    return np.array(sorted(place[c] for c in plan if c in place), dtype=np.int64)


def around(
    offer: Offer,
    candidates: Sequence[Candidate],
    effects: Effects,
    plan: Sequence[Candidate],
    criteria: Criteria,
    useful: int = USEFUL,
) -> Around:
    """The decision around a plan, of the whole one and its effects; `criteria` with the limits of
    the plan.

    What the plan has of other places than `candidates` is offered again. `useful` candidates are
    kept of those that do most, and as many of those that do most for their money.
    """
    mine = placed(plan, candidates)
    kept = np.union1d(_useful(replace(effects, criteria=criteria), mine, useful), mine)
    there = {candidates[c] for c in kept.tolist()}
    slid = slid_candidates(offer.room, offer.limits, plan, SLIDES, offer.rules)
    more = [c for c in dict.fromkeys((*plan, *slid)) if c not in there and not offer.refused(c)]
    everything = (*(candidates[c] for c in kept.tolist()), *more)
    table = with_places(offer, among(effects, kept), everything, len(kept), candidates)
    return Around(everything, table, placed(plan, everything))


def with_places(
    offer: Offer,
    effects: Effects,
    everything: tuple[Candidate, ...],
    known: int,
    beside: Sequence[Candidate] = (),
) -> Effects:
    """Effects of all candidates, of which the first so many have those given; what excludes each
    other does so as it would with those `beside` them."""
    order, cover = offer.order(everything), cover_rows(offer.room, everything, beside)
    added = effects_table(
        offer.room, offer.scene, effects.criteria, everything[known:], offer.products,
        effects.budget_cents, cover=False,
    )  # fmt: skip
    return effects.with_more(added, cover, order)


def among(effects: Effects, index: Ints) -> Effects:
    """The effects of some candidates (C,), without rules on which go together."""
    place = np.full(effects.count, -1)
    place[index] = np.arange(len(index))
    wished = tuple(place[row][place[row] >= 0] for row in effects.wished)
    return replace(
        effects, change=effects.change[:, index], product=effects.product[index],
        pieces=effects.pieces[index], cover=(), wished=wished,
    )  # fmt: skip


def _useful(effects: Effects, plan: Ints, most: int) -> Ints:
    """Candidates that make the plan better by themselves, most of all or for their money."""
    criteria, now = effects.criteria, effects.quantities(plan)
    gain = criteria.score(now) - criteria.weights @ criteria.excess(now[:, None] + effects.change)
    cost = np.maximum(extra_cost(effects, np.zeros(0, dtype=np.int64)), 1.0)
    first, second = (np.argsort(-worth, kind="stable")[:most] for worth in (gain, gain / cost))
    return np.union1d(first, second)


def at_the_plan(offer: Offer, here: Around, modes: CoupledModes) -> Effects:
    """The effects about a plan, those on the modes of the room with it half by their slopes."""
    effects, slopes_of = here.effects, partial(damping_slopes, modes, offer.scene)
    damping = by_candidate(offer.room, here.candidates, len(modes.k), slopes_of)
    now = effects.quantities(here.chosen)
    slopes = quantity_slopes(effects.criteria, now, modes, damping)
    blend = BELIEVED * slopes + (1.0 - BELIEVED) * effects.change
    return about(effects, np.where(np.isnan(slopes), effects.change, blend), here.chosen)


def about(effects: Effects, change: Floats, chosen: Ints) -> Effects:
    """The effects with another table (K, C) that leaves the quantities of a selection alone."""
    moved = (change - effects.change)[:, chosen].sum(axis=1)
    return replace(effects, change=change, base=effects.base - moved)


def few_changes(effects: Effects, chosen: Ints, most: int) -> Effects:
    """The effects with a rule: at most so many candidates of a selection are given up."""
    weight = np.zeros((1, effects.count))
    weight[0, chosen] = -1.0
    rule = AtMost("changes", weight, float(most - len(chosen)))
    return replace(effects, order=replace(effects.order, rules=(*effects.order.rules, rule)))
