"""Positions and treatment decided together: a plan for each of a few set-ups, and which is best.

The score of a set-up knows nothing of treatment. So the most promising few are planned, each with
the same money, and the plans' own scores decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from optimizer.placement.effort import Effort
from optimizer.placement.proof import Report
from optimizer.planning import DEFAULT_GAP, DEFAULT_TIME_LIMIT, make_plan
from optimizer.positions.quality import Qualities
from optimizer.positions.search import Bench, Found, Judged, Told, search
from optimizer.positions.set_ups import Reach
from optimizer.positions.shortlist import PLACES, shortlisted
from optimizer.project import Judging, Project
from optimizer.results.model import Plan

TOP = 2


@dataclass(frozen=True)
class Pair:
    """A set-up and the treatment planned for it."""

    judged: Judged
    plan: Plan
    treated: Qualities  # the parts of the place's score with the plan's pieces in the room

    @property
    def place(self) -> float:
        """The score of the place with the treatment; 0 is best."""
        return float(self.treated.scores[0])

    @property
    def excess(self) -> float:
        """Weighted excess over the limits with the treatment; 0 = all met."""
        return self.plan.card.score_after


@dataclass(frozen=True)
class Joint:
    """The set-up as it is with its plan, and others with theirs."""

    now: Pair
    others: tuple[Pair, ...]

    @property
    def best(self) -> Pair:
        """The pair with the least excess; of equals the cheaper, then staying put."""
        return min((self.now, *self.others), key=lambda p: (p.excess, p.plan.cost_cents))

    @property
    def staying_costs(self) -> float:
        """Excess that staying put leaves beyond the best pair; 0 when staying is best."""
        return self.now.excess - self.best.excess


def promising(
    project: Project, top: int = TOP, reach: Reach | None = None, tell: Told = lambda text: None
) -> Found:
    """A search whose best are the `top` set-ups to be planned."""
    return shortlisted(search(project, max(top, PLACES), reach, tell), top, tell)


def plan_positions(
    project: Project,
    top: int = TOP,
    gap: float = DEFAULT_GAP,
    time_limit: float | Effort = DEFAULT_TIME_LIMIT,
    judging: Judging = "full",
    reach: Reach | None = None,
    found: Found | None = None,
    report: Report | None = None,
    tell: Told = lambda text: None,
    confidence: float | None = None,
) -> Joint:
    """Plans for the present set-up and the most promising `top` others, each within the project's
    budget and to the same gap and effort; `found` saves the search, and the choice among its best,
    when they were made already. When a time limit in s for all is over, no other is begun."""
    effort = Effort.of(time_limit)
    found = found or promising(project, top, reach, tell)
    chosen: Sequence[Judged] = found.best[:top]
    bench, pairs = Bench(project), list[Pair]()
    for number, judged in enumerate((found.now, *chosen)):
        if pairs and effort.guard.over():
            break
        what = "the room as it is" if number == 0 else f"set-up {number} of {len(chosen)}"
        tell(f"planning {what}")
        plan = make_plan(judged.project, gap, effort, report, judging, tell, confidence)
        tell("judging the place with its treatment")
        treated = bench.treated(plan.project, [p.piece for p in plan.pieces])
        pairs.append(Pair(judged, plan, treated))
    return Joint(pairs[0], tuple(pairs[1:]))


def with_budget(judged: Judged, amount: float) -> Project:
    """The project of a set-up with another budget."""
    scenario = judged.project.scenario
    section = scenario.budget.model_copy(update={"amount": amount})
    return replace(judged.project, scenario=replace(scenario, budget=section))
