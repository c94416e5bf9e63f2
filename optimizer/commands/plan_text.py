"""What `treatment plan` prints: short enough to read in a terminal; report.md has everything."""

from collections.abc import Iterator
from itertools import groupby

from optimizer.results import tellings as tell
from optimizer.results.by_moving import by_moving
from optimizer.results.cautions import cautions
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.nothing import why_nothing
from optimizer.results.order_words import order_in_words
from optimizer.results.proof import proof_in_words
from optimizer.results.rule_words import LIFT, rules_in_words
from optimizer.results.score_words import (
    LEGEND,
    SHORT_HEADER,
    SHORT_RIGHT,
    judged_by,
    left_out,
    rows_of_interest,
    short_rows,
)
from optimizer.results.shopping import money
from optimizer.results.tables import folded, text_table
from optimizer.results.words import place_in_words, size_in_words


def plan_in_words(plan: Plan, units: str, more: str, files: str) -> str:
    """The whole text; `more` is about stages or alternatives, `files` what was written."""
    currency = plan.project.scenario.budget.currency
    cost, budget = (money(c, currency) for c in (plan.cost_cents, plan.project.budget_cents))
    shown, card = rows_of_interest(plan.card), plan.card
    parts = [
        f"{plan.project.scenario.title}: {len(plan.pieces)} pieces, {cost} of {budget}",
        text_table(tell.SHOPPING_HEADER, tell.shopping_rows(plan), tell.SHOPPING_RIGHT)
        if plan.shopping
        else f"To buy: {why_nothing(plan)}",
        "\n".join(_places(plan, units)) or "The room stays as it is.",
        text_table(SHORT_HEADER, short_rows(shown), SHORT_RIGHT),
        "\n".join(filter(None, [left_out(card, shown, "report.md has all"), LEGEND])),
        folded(tell.wrapped(by_moving(card))),
        f"Judged by\n{judged_by(card)}",
        f"Weighted excess over the limits: {card.score_before:.3f} before, "
        f"{card.score_after:.3f} after (0 = all met)",
        folded(f"{proof_in_words(plan)}\nSearch: {plan.selection.seconds:.1f} s."),
        _rules(plan, units),
        folded(order_in_words(plan, units)),
        more,
        folded(tell.wrapped(cautions([p.piece for p in plan.pieces]), "! ")),
        f"Written: {files}",
    ]
    return "\n\n".join(part for part in parts if part)


def _rules(plan: Plan, units: str) -> str:
    """The rules that cost the plan; empty where none does."""
    told = rules_in_words(plan, units)
    return folded("\n".join(["In the way:", *(f"- {text}" for text in told), LIFT])) if told else ""


def _places(plan: Plan, units: str) -> Iterator[str]:
    """Each product as hung, and below it the places of its pieces."""
    width = max((len(p.id) for p in plan.pieces), default=0)
    for (name, size), group in groupby(plan.pieces, key=lambda p: _kind(p, units)):
        yield f"{name}: {size}"
        for planned in group:
            where = place_in_words(planned.piece, plan.project.room, units)
            yield f"  {planned.id:>{width}}  {where}"


def _kind(planned: PlannedPiece, units: str) -> tuple[str, str]:
    return planned.piece.product.name, size_in_words(planned.piece, units)
