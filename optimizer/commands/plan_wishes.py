"""`treatment plan --wishes`: a plan that keeps to wishes, and what each of them costs."""

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path

from optimizer.commands.exclusive import exclusive_faults
from optimizer.commands.printing import ProgressLine
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.effort import Effort
from optimizer.planning import Plan, planned
from optimizer.project import Judging, Project
from optimizer.report.more import Part
from optimizer.report.wording import Table
from optimizer.results.order_words import NOTHING
from optimizer.results.tables import folded
from optimizer.wishes.costs import WishCost, wish_costs
from optimizer.wishes.decision import Wished, wished_decision
from optimizer.wishes.file import read_wishes, wishes_file_faults

NOT_WITH = ("stages", "alternatives", "positions", "earlier")
TITLE = "What your wishes cost"
HOW = (
    "The plan keeps to every wish. The weighted excess is that of the quick models as the fuller "
    "ones corrected them, the plan chosen again roughly with all wishes and without one at a time."
)


def add_wishes(parser: argparse.ArgumentParser) -> None:
    """The option."""
    said = "pieces to keep or leave out, and places that should have one"
    parser.add_argument("--wishes", type=Path, metavar="WISHES.toml", help=said)


def wishes_faults(arguments: argparse.Namespace) -> Iterator[Fault]:
    """What is wrong with --wishes among the options."""
    return exclusive_faults(arguments, "wishes", NOT_WITH)


def wished_of(
    arguments: argparse.Namespace, project: Project | None, faults: list[Fault]
) -> Wished | None:
    """The decision with the wishes asked for; None without, or where it cannot be. Without a
    project only the file is checked."""
    if arguments.wishes is None:
        return None
    if project is None:
        faults += wishes_file_faults(arguments.wishes)
        return None
    try:
        wishes = read_wishes(arguments.wishes, project, arguments.units)
        if wishes.plan and wishes.plan.resolve() == (arguments.out / "plan.json").resolve():
            remedy = (
                "would be written over, its numbers then mean other pieces; choose another --out"
            )
            faults.append(Fault(wishes.file, "plan", str(wishes.plan), remedy))
        return None if faults else wished_decision(project, wishes)
    except ScenarioError as error:
        faults += error.faults
        return None


def plan_wished(
    wished: Wished, arguments: argparse.Namespace, effort: Effort, progress: ProgressLine
) -> tuple[Plan, tuple[WishCost, ...]]:
    """The plan that keeps to the wishes, and what each costs."""
    judging: Judging = "fast" if arguments.fast else "full"
    made = planned(
        wished.project, wished.decision, arguments.gap, effort, progress.report, judging,
        progress.tell, arguments.confidence, (),
    )  # fmt: skip
    best = made.rounds.best
    progress.tell("choosing again without one wish at a time")
    costs = wish_costs(wished, best.selection.chosen, best.judged, effort)
    return made.plan(best.selection, judging, progress.tell), costs


def wishes_in_words(costs: Sequence[WishCost]) -> str:
    """What each wish costs, one a line."""
    lines = [f"{TITLE} (weighted excess over the limits, {costs[0].score:.3f} with all of them):"]
    lines += [f"- {cost.wish.said}: {_cost(cost)}" for cost in costs]
    return folded("\n".join(lines))


def _cost(cost: WishCost) -> str:
    if cost.without is None:
        return "not tried, out of time"
    if cost.cost < NOTHING:
        return "nothing"
    share = 100 * cost.cost / cost.score
    return f"{cost.cost:.3f}, {share:.1f} % of it ({cost.without:.3f} without this wish)"


def wishes_part(costs: Sequence[WishCost]) -> Part:
    """The same for the page."""
    rows = [[cost.wish.said, _cost(cost)] for cost in costs]
    table = Table(TITLE, ("wish", "weighted excess"), rows, kind="wordy")
    return Part(TITLE, (HOW,), table, None)
