"""The decision around a plan: its own places slid a little, and the candidates that do most there.

A search by fuller models looks at plans near one that they have judged. There candidates are fewer
and finer than in the whole decision, few of them may change at once, and what a piece does is
taken at the plan: by the slopes of the modes as they are there (acoustics.mode_slopes), and by what
the models said of other plans near it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.coupled import CoupledModes
from optimizer.acoustics.mode_slopes import damping_slopes, quantity_slopes
from optimizer.acoustics.scene import Scene
from optimizer.placement.candidates import Candidate, slid_candidates
from optimizer.placement.catalogue import Product
from optimizer.placement.cover import cover_rows
from optimizer.placement.effects import Effects, effects_table
from optimizer.placement.greedy import extra_cost
from optimizer.placement.order import AtMost, Ints
from optimizer.placement.orderly import order_of
from optimizer.placement.pieces import Piece, piece_patches
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


@dataclass(frozen=True)
class Around:
    """Candidates (C,) around a plan, their effects of first order, and the plan (N,) among them."""

    candidates: tuple[Candidate, ...]
    effects: Effects
    chosen: Ints


def around(
    offer: Offer,
    candidates: Sequence[Candidate],
    effects: Effects,
    plan: Sequence[Candidate],
    useful: int = USEFUL,
) -> Around:
    """The decision around a plan; `effects` of the whole one, whose limits are those of the plan.

    What the plan has of other places than `candidates` is offered again. `useful` candidates are
    kept of those that do most, and as many of those that do most for their money.
    """
    place = {candidate: index for index, candidate in enumerate(candidates)}
    mine = np.array(sorted(place[c] for c in plan if c in place), dtype=np.int64)
    kept = np.union1d(_useful(effects, mine, useful), mine)
    there = {candidates[c] for c in kept.tolist()}
    slid = slid_candidates(offer.room, offer.limits, plan, SLIDES, offer.rules)
    more = [c for c in dict.fromkeys((*plan, *slid)) if c not in there and not offer.refused(c)]
    everything = (*(candidates[c] for c in kept.tolist()), *more)
    table = with_places(offer, among(effects, kept), everything, len(kept), candidates)
    now = {candidate: index for index, candidate in enumerate(everything)}
    return Around(everything, table, np.array(sorted(now[c] for c in plan), dtype=np.int64))


def with_places(
    offer: Offer,
    effects: Effects,
    everything: tuple[Candidate, ...],
    known: int,
    beside: Sequence[Candidate] = (),
) -> Effects:
    """Effects of all candidates, of which the first so many have those given; what excludes each
    other does so as it would with those `beside` them."""
    more = everything[known:]
    names = {rule.name for rule in effects.order.rules}
    order = order_of(offer.room, everything, offer.rules)
    order = replace(order, rules=tuple(rule for rule in order.rules if rule.name in names))
    cover = cover_rows(offer.room, everything, beside)
    if not more:
        return replace(effects, cover=tuple(cover), order=order)
    added = effects_table(
        offer.room, offer.scene, effects.criteria, more, offer.products, effects.budget_cents
    )
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


def at_the_plan(
    effects: Effects, chosen: Ints, scene: Scene, modes: CoupledModes, pieces: list[list[Piece]],
    room: Room,
) -> Effects:  # fmt: skip
    """The effects about a selection (N,), those on its modes half by their slopes there.

    `pieces` of each candidate (C,), `modes` of the room with the selection, `scene` without it.
    """
    flat = [piece for own in pieces for piece in own]
    each = np.repeat(np.arange(len(pieces)), [len(own) for own in pieces])
    patches, piece = piece_patches(room, flat, together=each)
    damping = np.zeros((len(modes.k), len(pieces)))
    np.add.at(damping.T, each[piece], damping_slopes(modes, scene, patches).T)
    now = effects.quantities(chosen)
    slopes = quantity_slopes(effects.criteria, now, modes, damping)
    blend = BELIEVED * slopes + (1.0 - BELIEVED) * effects.change
    return about(effects, np.where(np.isnan(slopes), effects.change, blend), chosen)


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
