"""`treatment compare`: variants of a room, or several plans, side by side."""

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from optimizer.commands.printing import ProgressLine, say, tell_doubts
from optimizer.commands.time_limit import add_time_limit, time_faults
from optimizer.faults import Fault, ScenarioError
from optimizer.order_price import order_prices
from optimizer.placement.effort import Effort
from optimizer.planning import plan_decision
from optimizer.project import Project, load_project
from optimizer.results.comparison import Column, Comparison, compare, judged_column
from optimizer.results.comparison_plans import plan_names, read_planned
from optimizer.results.comparison_text import (
    comparison_csv,
    comparison_json,
    comparison_table,
    left_out_lines,
    money_lines,
)
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.output import check_writable, write_folder
from optimizer.results.planfile import plan_as_json, plan_faults
from optimizer.results.proof import BEST
from optimizer.results.tables import folded, text_table
from optimizer.results.tellings import CUT_OFF, wrapped
from optimizer.room.variants import BASE

MOST_COLUMNS = 8
GAP = 0.03  # quick plans: a comparison asks which way, not the last percent
EFFORT_SHARE = 0.1  # of that of `treatment plan`
FAR = 0.1  # from the best possible: said so
FILES = ("comparison.json", "comparison.csv")
EPILOG = """\
examples:
  treatment compare scenarios/spare_room.toml couch
  treatment compare scenarios/spare_room.toml corner_traps_only --replan
  treatment compare scenarios/small_bedroom.toml curtain_left curtain_left+curtain_right --bare
  treatment compare scenarios/spare_room.toml --with a/plan.json --with b/plan.json

A variant is a [variants.NAME] table of the room file; "couch+half_budget" lays both over it. Each
is a column; "base", the room file itself, is the first one unless you put it elsewhere. One plan
(that of --with, else one made for the base room) is judged in every column: pieces that do not fit
there are told and left out. With --replan each column gets a plan of its own, with --bare none.
Values are those of the quick models; --fast and --full ask fuller ones too, and take minutes.
"""


@dataclass(frozen=True)
class Hung:
    """What hangs in a column: pieces, and the plan they are where it was made for this room."""

    pieces: tuple[PlannedPiece, ...] = ()
    plan: Plan | None = None


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "compare",
        help="variants of a room, or several plans, side by side",
        description="Judge variants of a room, or several plans, side by side.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("room", type=Path, metavar="ROOM.toml", help="the room file")
    parser.add_argument("variants", nargs="*", metavar="VARIANT", help="variants, one a column")
    parser.add_argument("--with", dest="plans", type=Path, action="append", default=[],
                        metavar="plan.json", help="a plan to judge; again for more")  # fmt: skip
    parser.add_argument("--replan", action="store_true", help="a plan of its own for each column")
    parser.add_argument("--bare", action="store_true", help="the rooms without any treatment")
    parser.add_argument("--out", type=Path, metavar="DIR",
                        help="folder for comparison.json, comparison.csv, plans")  # fmt: skip
    parser.add_argument("--differences", action="store_true", help="only rows that differ")
    parser.add_argument("--other-orders", action="store_true",
                        help="also what plans with a stricter order would leave")  # fmt: skip
    add_judging(parser)
    add_time_limit(parser)
    parser.add_argument("--gap", type=float, default=GAP, metavar="G",
                        help="how near the best is near enough (default %(default)g)")  # fmt: skip
    parser.add_argument("--units", choices=("m", "ft"), default="m", help="lengths in the text")
    parser.set_defaults(run=run)


def add_judging(parser: argparse.ArgumentParser) -> None:
    """Options for the fuller models; `judging` is "none" without them."""
    ways = parser.add_mutually_exclusive_group()
    ways.add_argument("--fast", dest="judging", action="store_const", const="fast",
                      default="none", help="ask the coupled modes and the tracer too")  # fmt: skip
    ways.add_argument("--full", dest="judging", action="store_const", const="full",
                      default="none", help="ask the wave equation as well")  # fmt: skip


def run(arguments: argparse.Namespace) -> int:
    """Load every column, judge, write, print."""
    effort = Effort.of(arguments.time_limit).share(EFFORT_SHARE)
    names = _names(arguments.variants)
    projects, read = _checked(arguments, names)
    tell_doubts(projects.values())
    with ProgressLine("reading the rooms") as progress:
        comparison = compare(_columns(arguments, effort, projects, read, progress))
    if arguments.out is not None:
        write_folder(arguments.out, _files(comparison))
    say(_printed(comparison, arguments))
    return 0


def _names(variants: Sequence[str]) -> list[str]:
    return list(variants) if BASE in variants else [BASE, *variants]


def _checked(
    arguments: argparse.Namespace, names: list[str]
) -> tuple[dict[str, Project], list[tuple[PlannedPiece, ...]]]:
    """Projects by column name and plans read; ScenarioError tells all that is wrong at once."""
    faults = list(_option_faults(arguments, names))
    projects: dict[str, Project] = {}
    plans: list[tuple[PlannedPiece, ...]] = []
    if arguments.out is not None:
        try:
            check_writable(arguments.out, FILES)
        except ScenarioError as error:
            faults += error.faults
    for name in dict.fromkeys([BASE, *names]):
        try:
            projects[name] = load_project(arguments.room, variants=[name])
        except ScenarioError as error:
            faults += error.faults
    if BASE in projects:
        room, products = projects[BASE].room, projects[BASE].products
        for path in arguments.plans:
            try:
                plans.append(read_planned(path, room, products))
            except ScenarioError as error:
                faults += error.faults
    else:
        faults += [fault for path in arguments.plans for fault in plan_faults(path)]
    if faults:
        raise ScenarioError({str(fault): fault for fault in faults}.values())
    return projects, plans


def _option_faults(arguments: argparse.Namespace, names: list[str]) -> Iterator[Fault]:
    plans, line = arguments.plans, "command line"
    if len(names) < 2 and len(plans) < 2:
        remedy = "name at least one variant of the room file, or give two plans with --with"
        yield Fault(line, "VARIANT", None, remedy)
    for name in sorted({n for n in names if names.count(n) > 1}):
        yield Fault(line, "VARIANT", name, "is given twice; leave one out")
    for path in sorted({str(p) for p in plans if plans.count(p) > 1}):
        yield Fault(line, "--with", path, "is given twice; leave one out")
    count = len(names) * max(len(plans), 1)
    if count > MOST_COLUMNS:
        remedy = f"makes {count} columns; at most {MOST_COLUMNS} stand side by side"
        yield Fault(line, "VARIANT", None, remedy)
    ways = [f"--{way}" for way in ("replan", "bare") if getattr(arguments, way)]
    ways += ["--with"] if plans else []
    if len(ways) > 1:
        yield Fault(line, " and ".join(ways), None, "exclude each other; give one of them")
    if not 0 <= arguments.gap <= 1:
        yield Fault(line, "--gap", arguments.gap, "give a share from 0 to 1, such as 0.03 for 3 %")
    yield from time_faults(arguments)


def _columns(
    arguments: argparse.Namespace,
    effort: Effort,
    projects: dict[str, Project],
    read: list[tuple[PlannedPiece, ...]],
    progress: ProgressLine,
) -> list[Column]:
    """Every column judged; plans are made on the way where none was given."""
    names = _names(arguments.variants)
    if len(read) > 1:
        labels = plan_names(arguments.plans)
        wanted = [
            (label if len(names) == 1 else f"{name} {label}", name, Hung(pieces))
            for name in names
            for label, pieces in zip(labels, read, strict=True)
        ]
    else:
        hung = _hung(arguments, effort, names, projects, read, progress)
        wanted = [(name, name, hung[name]) for name in names]
    columns = []
    for label, name, what in wanted:
        progress.tell(f"judging {label}")
        columns.append(
            judged_column(label, projects[name], what.pieces, arguments.judging, what.plan)
        )
    return columns


def _hung(
    arguments: argparse.Namespace,
    effort: Effort,
    names: list[str],
    projects: dict[str, Project],
    read: list[tuple[PlannedPiece, ...]],
    progress: ProgressLine,
) -> dict[str, Hung]:
    """What hangs in each column when there is one plan, one a column, or none."""
    if arguments.bare:
        return {name: Hung() for name in names}
    if read:
        return {name: Hung(read[0]) for name in names}
    made = {}
    for name in names if arguments.replan else [BASE]:
        progress.tell(f"planning {name}")
        planned = plan_decision(
            projects[name], arguments.gap, effort, progress.report, arguments.judging, progress.tell
        )
        plan = planned.plan(planned.rounds.best.selection, arguments.judging, progress.tell)
        orders = order_prices(planned, progress.tell, arguments.other_orders)
        made[name] = Hung(plan.pieces, replace(plan, orders=orders))
    return {name: made.get(name) or Hung(made[BASE].pieces) for name in names}


def _files(comparison: Comparison) -> dict[str, str]:
    texts = (comparison_json(comparison), comparison_csv(comparison))
    plans = {
        f"plan_{column.name}.json": plan_as_json(column.plan)
        for column in comparison.columns
        if column.plan is not None
    }
    return {**dict(zip(FILES, texts, strict=True)), **plans}


def _printed(comparison: Comparison, arguments: argparse.Namespace) -> str:
    columns = comparison.columns
    says = [[c.name, c.project.says or "the room file as it is"] for c in columns]
    lines = [*left_out_lines(comparison, arguments.units), *money_lines(comparison)]
    parts = [
        folded(
            f"{columns[0].project.scenario.title}: {len(columns)} columns compared, "
            + _hung_in_words(comparison, arguments)
        ),
        text_table(("column", "what changes"), says),
        comparison_table(comparison, arguments.differences),
        folded(wrapped(lines)) if lines else "",
        f"Written: {arguments.out}/{', '.join(_files(comparison))}" if arguments.out else "",
    ]
    return "\n\n".join(part for part in parts if part)


def _hung_in_words(comparison: Comparison, arguments: argparse.Namespace) -> str:
    if arguments.bare:
        return "without treatment"
    made = [c for c in comparison.columns if c.plan is not None]
    if not made:
        return "with " + ", ".join(str(path) for path in arguments.plans)
    gaps = ", ".join(f"{c.name} {_within(c.plan)}" for c in made if c.plan is not None)
    which = "each with a plan of its own" if arguments.replan else f"with the plan for {BASE}"
    told = f"{which} (of {BEST}: {gaps})"
    if any(c.plan is not None and c.plan.cut_off for c in made):
        return f"{told}. {CUT_OFF}"
    rough = any(c.plan is not None and c.plan.selection.gap > FAR for c in made)
    return f"{told}; `treatment plan` searches further" if rough else told


def _within(plan: Plan) -> str:
    gap = plan.selection.gap
    return f"within {100 * gap:.1f} %" if gap < 1 else "not proven"
