"""A plan made earlier, to begin from and to keep when nothing better is found.

Whoever measured the room after a first plan should not have to hang everything anew for a
difference that the models cannot tell. Places depend a little on what a room is made of (they are
centred on strong reflections), so those of the earlier plan are offered beside the usual ones.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from optimizer.faults import Fault, ScenarioError
from optimizer.placement.around import with_places
from optimizer.placement.candidates import Candidate, candidates_at
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.pieces import Piece, mirrored_piece
from optimizer.placement.plan import feasible
from optimizer.placement.proof import Report
from optimizer.planning import (
    DEFAULT_GAP,
    DEFAULT_TIME_LIMIT,
    Decision,
    Plan,
    build_decision,
    planned,
)
from optimizer.project import Judging, Project
from optimizer.results.planfile import read_pieces
from optimizer.results.shopping import money
from optimizer.room.geometry import Floats
from optimizer.round_record import Told

SAME = 1e-3  # m within which two rectangles are one place


@dataclass(frozen=True)
class Earlier:
    """The pieces of an earlier plan that are still to hang, and those that hang already, as they
    lie in the person's room."""

    file: str
    pieces: tuple[Piece, ...]
    hung: tuple[Piece, ...] = ()


@dataclass(frozen=True)
class Begun:
    """An earlier plan in the decision of a project, which offers the plan's places too: the
    candidates (N,) that it comes to, and its pieces that cannot hang there any more (as they lie
    in the person's room)."""

    earlier: Earlier
    project: Project
    decision: Decision
    chosen: Ints
    missing: tuple[Piece, ...]


@dataclass(frozen=True)
class Renewed:
    """A plan made from an earlier one, and whether it is that one."""

    plan: Plan
    stays: bool


def make_plan_from(
    begun: Begun,
    gap: float = DEFAULT_GAP,
    time_limit: float | Effort = DEFAULT_TIME_LIMIT,
    report: Report | None = None,
    judging: Judging = "full",
    tell: Told = lambda text: None,
    confidence: float | None = None,
) -> Renewed:
    """The best plan for a project, or the earlier one where nothing better by more than
    round_record.WORTH of its score is found; arguments as for planning.make_plan.

    Both are judged by the same models in the project's room.
    """
    made = planned(
        begun.project, begun.decision, gap, Effort.of(time_limit), report, judging, tell,
        confidence, (begun.chosen,),
    )  # fmt: skip
    best = made.rounds.best.selection
    plan = made.plan(best, judging, tell)
    return Renewed(plan, np.array_equal(np.sort(best.chosen), np.sort(begun.chosen)))


def read_earlier(path: Path, project: Project) -> Earlier:
    """An earlier plan.json; ScenarioError when it is of another room or price list, or when all
    of it hangs already."""
    pieces = read_pieces(path, project.room, project.products)
    hangs = [any(_same(piece, other) for other in project.hung) for piece in pieces]
    new = tuple(piece for piece, there in zip(pieces, hangs, strict=True) if not there)
    if not new:
        remedy = "has no piece that is still to hang; leave --earlier out"
        raise ScenarioError([Fault(str(path), "pieces", None, remedy)])
    hung = tuple(piece for piece, there in zip(pieces, hangs, strict=True) if there)
    return Earlier(str(path), new, hung)


def begin_from(earlier: Earlier, project: Project) -> Begun:
    """An earlier plan found again in the decision of a project; ScenarioError when nothing of it
    can hang, or when it costs more than there is."""
    decision = build_decision(project)
    pieces, solved, flipped = earlier.pieces, decision.project, decision.flipped
    if flipped:
        pieces = tuple(mirrored_piece(piece, project.room, solved.room) for piece in pieces)
    lacking = _chosen(decision.candidates, pieces)[1]
    products, limits = solved.usable_products, solved.scenario.limits
    rules = solved.scenario.layout.rules
    more = candidates_at(solved.room, products, limits, lacking, rules)
    decision = offering(decision, more)
    chosen, missing = _chosen(decision.candidates, pieces)
    chosen, clash = _apart(decision.effects, chosen)
    decision = _ordered_like(decision, chosen)
    missing += [piece for c in clash for piece in decision.candidates[c].pieces]
    if flipped:
        missing = [mirrored_piece(piece, solved.room, project.room) for piece in missing]
    _check(earlier, decision, chosen)
    return Begun(earlier, project, decision, chosen, tuple(missing))


def _ordered_like(decision: Decision, chosen: Ints) -> Decision:
    """The decision without the rules of order that the earlier plan breaks: it may stay."""
    order = decision.effects.order.without_broken(chosen)
    return replace(decision, effects=replace(decision.effects, order=order))


def offering(decision: Decision, more: tuple[Candidate, ...]) -> Decision:
    """The decision with more candidates."""
    if not more:
        return decision
    everything = (*decision.candidates, *more)
    known = len(decision.candidates)
    effects = with_places(decision.project.offer, decision.effects, everything, known)
    return replace(decision, candidates=everything, effects=effects)


def _chosen(candidates: tuple[Candidate, ...], pieces: Sequence[Piece]) -> tuple[Ints, list[Piece]]:
    """Candidates all of whose pieces are among these, each piece used once, the largest blocks
    first; and the pieces left."""
    left = dict(enumerate(pieces))
    kinds = {_kind(piece) for piece in pieces}
    chosen = []
    for index in sorted(range(len(candidates)), key=lambda i: -len(candidates[i].pieces)):
        candidate = candidates[index]
        if not all(_kind(piece) in kinds for piece in candidate.pieces):
            continue
        found = [next((i for i, p in left.items() if _same(p, q)), -1) for q in candidate.pieces]
        if -1 not in found and len({*found}) == len(found):
            chosen.append(index)
            for i in found:
                del left[i]
    return np.array(sorted(chosen), dtype=np.int64), list(left.values())


def _apart(effects: Effects, chosen: Ints) -> tuple[Ints, list[int]]:
    """The candidates that hang together, the first of those that clash; and the others."""
    taken = np.zeros(effects.count, dtype=bool)
    clash = []
    for c in chosen:
        if any(c in row and taken[row].any() for row in effects.cover):
            clash.append(int(c))
        else:
            taken[c] = True
    return np.flatnonzero(taken), clash


def _check(earlier: Earlier, decision: Decision, chosen: Ints) -> None:
    effects, remedy = decision.effects, ""
    if not len(chosen):
        remedy = "is no plan for this room and these limits: none of its pieces can hang there"
    elif not feasible(effects, chosen):
        currency = decision.project.scenario.budget.currency
        cost, spendable = effects.cost_cents(chosen), effects.budget_cents
        remedy = (
            f"comes to {money(cost, currency)} with what is needed to hang it, more than the "
            f"{money(spendable, currency)} that can be spent; give a higher --budget or leave "
            "--earlier out"
        )
    if remedy:
        raise ScenarioError([Fault(earlier.file, "pieces", None, remedy)])


def _kind(piece: Piece) -> tuple[object, ...]:
    """What pieces at one place have in common; a square one is never turned."""
    product = piece.product
    turned = piece.turned and abs(product.width - product.height) > SAME
    gap = round(product.fittings[piece.fitting].gap, 6)
    return product.id, gap, piece.mounting, turned, tuple(sorted(name for name, _ in piece.rects))


def _same(one: Piece, other: Piece) -> bool:
    if _kind(one) != _kind(other):
        return False
    return bool(np.abs(_rects(one) - _rects(other)).max() <= SAME)


def _rects(piece: Piece) -> Floats:
    """Rectangles (N, 4) in the order of their surfaces' names."""
    return np.array([rect for _, rect in sorted(piece.rects)])
