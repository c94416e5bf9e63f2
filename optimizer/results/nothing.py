"""Why a plan buys nothing, said alike by page and terminal."""

from optimizer.results.model import Plan
from optimizer.results.scorecard import ScoreRow
from optimizer.results.shopping import money


def counting(plan: Plan) -> list[ScoreRow]:
    """Rows that count in the score."""
    return [row for row in plan.card.rows if row.weight > 0]


def why_nothing(plan: Plan) -> str:
    """One or two sentences for a plan without pieces."""
    scenario = plan.project.scenario
    if all(row.ok_before for row in counting(plan)):
        return "Nothing: every limit that counts is met already."
    if plan.project.budget_cents == 0:
        return "Nothing: the budget is 0."
    if plan.selection.status not in ("optimal", "feasible", "unknown"):
        return f"Nothing: the search ended as “{plan.selection.status}” without a plan."
    if not plan.candidates:
        why = [str(d.remedy) for d in plan.project.doubts if d.remedy.startswith("nothing can be")]
        return f"Nothing: no piece on the list has a place. {' '.join(why)}".strip()
    budget = money(plan.project.budget_cents, scenario.budget.currency)
    which = "that takes no hole, " if scenario.limits.no_holes else ""
    return (
        f"Nothing: no piece on the list {which}that {budget} buys and that fits makes the room "
        "better."
    )
