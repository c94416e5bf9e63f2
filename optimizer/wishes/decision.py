"""A decision that keeps to wishes: what is refused is no candidate, what is kept or liked is held.

Places of kept pieces, and places in the middle of each rectangle where a piece would be liked, are
offered beside the usual ones.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from optimizer.earlier_plan import offering
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.candidates import Candidate, candidates_centred
from optimizer.placement.effects import Effects
from optimizer.placement.greedy import opening
from optimizer.placement.order import Ints
from optimizer.placement.pieces import pieces_overlap
from optimizer.placement.rules import Mask
from optimizer.placement.stages import remaining
from optimizer.planning import Decision, build_decision
from optimizer.project import Project
from optimizer.results.shopping import money
from optimizer.wishes.file import Like, Wish, Wishes

NONE: Ints = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True)
class Wished:
    """A decision with wishes: all candidates (C,) of `everything`, the `index` of those that the
    `decision` has, and the wishes as they are in its room."""

    project: Project
    wishes: Wishes
    here: tuple[Wish, ...]
    everything: Decision
    decision: Decision
    index: Ints


def wished_decision(project: Project, wishes: Wishes) -> Wished:
    """The decision of a project that keeps to wishes; ScenarioError for those that cannot be kept,
    alone or together."""
    plain = build_decision(project)
    solved = plain.project
    here = wishes.each
    if plain.flipped:
        here = tuple(wish.mirrored(project.room, solved.room) for wish in here)
    more = [Candidate(wish.kept) for wish in here if wish.kept]
    for wish in here:
        if wish.like is not None:
            more += _offered(solved, wish.like)
    known = set(plain.candidates)
    everything = offering(plain, tuple(c for c in dict.fromkeys(more) if c not in known))
    faults = list(_alone(wishes, here, everything))
    if faults:
        raise ScenarioError(faults)
    effects, index = keeping(everything, everything.effects, here)
    try:
        opening(effects)
    except ValueError:
        raise ScenarioError([_together(wishes, here, everything)]) from None
    places = tuple(everything.candidates[c] for c in index)
    decision = replace(
        everything, candidates=places, effects=effects,
        refused=lambda candidate: any(_is_refused(candidate, wish) for wish in here),
    )  # fmt: skip
    return Wished(project, wishes, here, everything, decision, index)


def keeping(everything: Decision, effects: Effects, wishes: Iterable[Wish]) -> tuple[Effects, Ints]:
    """The effects of candidates that wishes leave, what they hold in `wished`, and their indices
    among all."""
    wishes = tuple(wishes)
    allowed = np.ones(len(everything.candidates), dtype=bool)
    for wish in wishes:
        allowed &= ~_refused(everything, wish)
    rows = [row for wish in wishes if len(row := _holding(everything, wish))]
    for row in rows:
        if len(row) == 1:
            allowed[row] = True
    sub, index = remaining(effects, NONE, allowed)
    held = tuple(np.flatnonzero(np.isin(index, row)) for row in rows)
    pinned = np.array(sorted({int(row[0]) for row in held if len(row) == 1}), dtype=np.int64)
    return replace(sub, wished=held, order=sub.order.without_broken(pinned)), index


def _refused(everything: Decision, wish: Wish) -> Mask:
    """Candidates (C,) that a wish refuses."""
    return np.array([_is_refused(c, wish) for c in everything.candidates], dtype=bool)


def _is_refused(candidate: Candidate, wish: Wish) -> bool:
    if candidate.product.id == wish.product:
        return True
    if any(name == wish.surface for piece in candidate.pieces for name, _ in piece.rects):
        return True
    return any(
        candidate.product.id == piece.product.id
        and any(pieces_overlap(piece, other) for other in candidate.pieces)
        for piece in wish.refused
    )


def _holding(everything: Decision, wish: Wish) -> Ints:
    """Candidates of which a wish wants one; none for a wish that only refuses."""
    if wish.kept:
        return np.array([everything.candidates.index(Candidate(wish.kept))], dtype=np.int64)
    if wish.like is None:
        return NONE
    like = wish.like
    inside = [_is_there(c, like) for c in everything.candidates]
    return np.flatnonzero(np.array(inside, dtype=bool))


def _is_there(candidate: Candidate, like: Like) -> bool:
    if like.product not in (None, candidate.product.id):
        return False
    u0, v0, u1, v1 = like.rect
    return any(
        name == like.surface and u0 <= (r[0] + r[2]) / 2 <= u1 and v0 <= (r[1] + r[3]) / 2 <= v1
        for piece in candidate.pieces
        for name, r in piece.rects
    )


def _offered(solved: Project, like: Like) -> Iterator[Candidate]:
    """Places in the middle of a rectangle."""
    products = tuple(p for p in solved.usable_products if like.product in (None, p.id))
    u0, v0, u1, v1 = like.rect
    middle = ((u0 + u1) / 2, (v0 + v1) / 2)
    limits = solved.scenario.limits
    rules = solved.scenario.layout.rules
    yield from candidates_centred(solved.room, products, limits, like.surface, middle, rules)


def _alone(wishes: Wishes, here: tuple[Wish, ...], everything: Decision) -> Iterator[Fault]:
    """Wishes that cannot be kept whatever the others are."""
    for wish in here:
        if wish.like is not None and not len(_holding(everything, wish)):
            remedy = "no allowed piece fits with its middle there; move or widen the rectangle"
            yield Fault(wishes.file, wish.key, None, remedy)
    refused = np.zeros(len(everything.candidates), dtype=bool)
    for wish in here:
        refused |= _refused(everything, wish)
    for wish in here:
        row = _holding(everything, wish)
        if wish.like is not None and len(row) and refused[row].all():
            remedy = "what else is refused leaves no piece for there; lift one of them"
            yield Fault(wishes.file, wish.key, None, remedy)


def _together(wishes: Wishes, here: tuple[Wish, ...], everything: Decision) -> Fault:
    """Why wishes cannot be kept together."""
    effects = everything.effects
    kept = np.unique([c for wish in here if wish.kept for c in _holding(everything, wish)])
    kept = kept.astype(np.int64)
    clash = [row for row in effects.cover if np.isin(kept, row).sum() > 1]
    if clash:
        pair = [wish.said for wish in here
                if wish.kept and np.isin(_holding(everything, wish), clash[0]).any()]  # fmt: skip
        remedy = f"these take the same space: {'; '.join(pair)}; leave one out"
        return Fault(wishes.file, "keep", None, remedy)
    cost, spendable = effects.cost_cents(kept), effects.budget_cents
    currency = everything.project.scenario.budget.currency
    if cost > spendable:
        remedy = (
            f"comes to {money(cost, currency)} with what holds it, more than the "
            f"{money(spendable, currency)} that can be spent; keep less or raise the budget"
        )
        return Fault(wishes.file, "keep", None, remedy)
    remedy = "the wishes do not fit together, or not into the budget; leave one out"
    return Fault(wishes.file, "", None, remedy)
