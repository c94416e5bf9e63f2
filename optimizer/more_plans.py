"""More plans than one for a room: a purchase in stages, and alternatives near the best."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from optimizer.placement.alternatives import Alternatives, alternatives, groups_of
from optimizer.placement.effort import Effort
from optimizer.placement.proof import Report
from optimizer.placement.stages import StagedSelection, plan_stages
from optimizer.planning import Plan, plan_decision
from optimizer.project import Judging, Project
from optimizer.round_record import Told


@dataclass(frozen=True)
class StagedPlans:
    """Plans that contain each other, the first one first."""

    plans: tuple[Plan, ...]
    found: StagedSelection


@dataclass(frozen=True)
class OtherPlans:
    """The best plan, and others near it that differ from it and from each other."""

    best: Plan
    plans: tuple[Plan, ...]
    found: Alternatives


def make_stages(
    project: Project,
    budgets_cents: Sequence[int],
    gap: float,
    time_limit: float | Effort,
    report: Report | None = None,
    judging: Judging = "full",
    tell: Told = lambda text: None,
) -> StagedPlans:
    """Plans for rising budgets that each contain the one before.

    The corrections of fuller models are those of the last budget's own plan.
    """
    effort = Effort.of(time_limit)
    last = project.with_budget(budgets_cents[-1])
    made = plan_decision(last, max(gap, 0.02), effort, report, judging, tell)
    tell("nesting the stages")
    kept_back = project.set_aside.total
    spend = [max(cents - kept_back, 0) for cents in budgets_cents]
    found = plan_stages(made.rounds.best.limited, spend, gap, effort, report)
    plans = []
    for number, (cents, selection) in enumerate(zip(budgets_cents, found.stages, strict=True), 1):
        tell(f"judging stage {number}")
        stage = replace(made, project=project.with_budget(cents))
        plans.append(stage.plan(selection, judging))
    return StagedPlans(tuple(plans), found)


def make_alternatives(
    project: Project,
    count: int,
    within: float,
    gap: float,
    time_limit: float | Effort,
    report: Report | None = None,
    judging: Judging = "full",
    tell: Told = lambda text: None,
) -> OtherPlans:
    """The best plan and up to `count` others within a share of its objective."""
    effort = Effort.of(time_limit)
    made = plan_decision(project, gap, effort, report, judging, tell)
    best, decision = made.rounds.best, made.decision
    tell("looking for plans that differ")
    groups = groups_of(decision.project.room, decision.candidates)
    found = alternatives(
        best.limited, groups, best.selection.chosen, count, within,
        gap=gap, limit=effort, report=report,
    )  # fmt: skip
    plans = tuple(made.plan(selection, judging) for selection in found.plans)
    return OtherPlans(made.plan(best.selection, judging), plans, found)
