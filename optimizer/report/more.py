"""Plans beside the one shown: stages of a purchase, alternatives, what other money would buy."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from optimizer.drawings.charts import budget_chart, stages_chart
from optimizer.drawings.style import Picture
from optimizer.placement.alternatives import Alternatives
from optimizer.placement.stages import StagedSelection
from optimizer.report.wording import Table, counted
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.money_curve import MoneyCurve
from optimizer.results.shopping import money


class Stages(Protocol):
    """Plans that contain each other, the first one first."""

    @property
    def plans(self) -> tuple[Plan, ...]: ...
    @property
    def found(self) -> StagedSelection: ...


class Others(Protocol):
    """The best plan, and others near it."""

    @property
    def best(self) -> Plan: ...
    @property
    def plans(self) -> tuple[Plan, ...]: ...
    @property
    def found(self) -> Alternatives: ...


@dataclass(frozen=True)
class Part:
    """A part of the page: title, sentences, table, and a chart if there is one."""

    title: str
    told: tuple[str, ...]
    table: Table
    chart: Picture | None


def stages_part(stages: Stages) -> Part:
    """Each stage: money, what is new, and the score after it."""
    plans = stages.plans
    currency = plans[0].project.scenario.budget.currency
    header = ("stage", "money so far", "of", "new pieces", "excess left", "price of nesting")
    rows, before = [], set[object]()
    for number, (plan, regret) in enumerate(zip(plans, stages.found.regret, strict=True), 1):
        new = [p for p in plan.pieces if _place(p) not in before]
        before |= {_place(p) for p in plan.pieces}
        rows.append([
            f"stage {number}", money(plan.cost_cents, currency),
            money(plan.project.budget_cents, currency), kinds(new),
            f"{plan.card.score_after:.3f}", f"{regret:.3f}",
        ])  # fmt: skip
    told = (
        f"Without any piece the excess is {plans[0].card.score_before:.3f}. Each stage keeps all "
        "pieces of the one before; this report shows the last stage. Price of nesting: what a "
        "stage's excess loses, as expected, against the best plan of its money alone.",
    )
    chart = stages_chart(
        [row[0] for row in rows],
        [plan.cost_cents / 100 for plan in plans],
        [plan.card.score_after for plan in plans],
        currency,
    )
    table = Table("Bought in stages", header, rows, (1, 2, 4, 5), kind="others")
    return Part("Bought in stages", told, table, chart)


def others_part(others: Others) -> Part:
    """The best plan and its alternatives."""
    currency = others.best.project.scenario.budget.currency
    header = ("plan", "cost", "pieces", "excess left", "differs from this plan by")
    plans = (others.best, *others.plans)
    rows = [
        ["this plan" if number == 0 else f"alternative {number}", money(plan.cost_cents, currency),
         kinds(plan.pieces), f"{plan.card.score_after:.3f}",
         f"{100 * others.found.difference[0, number]:.0f} %"]
        for number, plan in enumerate(plans)
    ]  # fmt: skip
    told: tuple[str, ...] = (
        "Nearly as good, but of other kinds or in other parts of the room: the last column is the "
        "share of the treated area that lies elsewhere or is of another kind.",
    )
    if not others.plans:
        told = (*told, "None was found: no other plan is that good." if others.found.proven
                else "None was found as far as the search went.")  # fmt: skip
    table = Table("Alternatives", header, rows, (1, 3, 4), kind="others")
    return Part("Alternatives", told, table, None)


def budget_part(curve: MoneyCurve, plan: Plan) -> Part:
    """What the best plan of each budget reaches, with what is kept back in each."""
    budget = plan.project.scenario.budget
    header = ("budget", "spent", "excess left", "cannot be below", "less for each 100 more")
    rows = [
        [*(money(round(100 * amount), budget.currency) for amount in (p.budget, p.spent)),
         f"{p.excess:.3f}", f"{p.at_least:.3f}", f"{p.gain_per_100:.3f}"]
        for p in curve.points
    ]  # fmt: skip
    told: tuple[str, ...] = (
        f"By the quick models; without any piece the excess is {curve.untreated:.3f}.",
    )
    if curve.little_past is not None:
        enough = money(round(100 * curve.little_past), budget.currency)
        told = (*told, f"Beyond {enough} more money buys little.")
    amounts = [p.budget for p in curve.points]
    excess = [p.excess for p in curve.points]
    chart = budget_chart(amounts, excess, budget.currency, budget.amount)
    table = Table("What other money would buy", header, rows, (1, 2, 3, 4), kind="others")
    return Part("What other money would buy", told, table, chart)


def kinds(pieces: Sequence[PlannedPiece]) -> str:
    """ "6 × panel; 2 × cloud" by product."""
    counts: dict[str, int] = {}
    for planned in pieces:
        name = planned.piece.product.name
        counts[name] = counts.get(name, 0) + 1
    named = "; ".join(f"{n} × {name}" for name, n in counts.items())
    return f"{counted(len(pieces), 'piece')}: {named}" if named else "nothing"


def _place(planned: PlannedPiece) -> object:
    piece = planned.piece
    return piece.product.id, piece.fitting, piece.rects
