"""`treatment why`: what each piece of a plan is there for, and what stands in the way of more."""

import argparse
from pathlib import Path

import numpy as np

from optimizer.commands.compare import add_judging
from optimizer.commands.printing import ProgressLine, say, tell_doubts
from optimizer.commands.time_limit import add_time_limit, time_faults
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.effort import Effort
from optimizer.planning import bounce_points
from optimizer.project import Project, load_project
from optimizer.results.comparison_plans import read_planned
from optimizer.results.diffuser_words import diffuser_sentences
from optimizer.results.model import PlannedPiece
from optimizer.results.planfile import plan_faults
from optimizer.results.product_words import bass_sentences
from optimizer.results.tables import folded
from optimizer.results.tellings import CUT_OFF
from optimizer.results.why import judged_plan, why_table
from optimizer.results.why_bench import build_bench
from optimizer.results.why_obstacles import obstacle, relaxations, unmet_rows_told
from optimizer.results.why_text import (
    instead_table,
    losses_table,
    obstacles_table,
    relaxations_table,
)

EPILOG = """\
example:
  treatment why plan/plan.json --room scenarios/spare_room.toml

Pieces: each pair or single piece is left out and the room judged anew. Instead: the same product
may not hang there, and its money and what was left is spent anew, piece by piece, the most benefit
for money first (no proof). In the way: one criterion at a time, by the same quick search.
Relaxations: one limit at a time, the whole plan solved again roughly; not tried once --time-limit
is over.
Values are those of the quick models; --fast and --full correct them by fuller ones, and take
minutes.
"""
EXCESS = (
    '"price" is the share of the packs, "saves" what the shopping list costs less in whole packs, '
    '"excess" the change of the weighted excess over the limits (+ is worse).'
)
BANS = "Lift a ban only where the rules and the landlord allow it."


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "why",
        help="what each piece of a plan is for, and what stands in the way of more",
        description="Say what each piece of a plan is for, and what stands in the way of more.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plan", type=Path, metavar="plan.json", help="the plan")
    parser.add_argument("--room", type=Path, required=True, metavar="ROOM.toml",
                        help="the room file it is for")  # fmt: skip
    parser.add_argument("--variant", action="append", default=[], metavar="NAME",
                        help="a variant of the room file; again for more")  # fmt: skip
    add_judging(parser)
    add_time_limit(parser)
    parser.add_argument("--units", choices=("m", "ft"), default="m", help="lengths in the text")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Load, leave out, spend anew, relax, print."""
    effort = Effort.of(arguments.time_limit)
    project, pieces = _checked(arguments)
    tell_doubts([project])
    with ProgressLine("judging the room with the plan") as progress:
        judged = judged_plan(project, pieces, arguments.judging)
        progress.tell("leaving out one piece or pair at a time")
        table = why_table(project, pieces, judged)
        progress.tell("listing all that could hang instead")
        bench = build_bench(project, pieces, judged.corrected, bounce_points(project))
        progress.tell("spending the money of each piece anew")
        added = [
            bench.refilled(np.delete(bench.plan, g), bench.allowed & ~bench.like(g))
            for g in range(len(bench.groups))
        ]
        progress.tell("looking for what stands in the way")
        found = [obstacle(bench, int(row)) for row in unmet_rows_told(bench)]
        progress.tell("relaxing one limit at a time")
        tried = relaxations(bench, effort, arguments.units)
    currency = project.scenario.budget.currency
    parts = [
        f"{project.scenario.title}: {len(pieces)} pieces, weighted excess over the limits "
        f"{judged.score:.3f} (0 = all met)",
        losses_table(table, currency) if table else "The plan has no piece.",
        folded(EXCESS) if table else "",
        instead_table(bench, table, added) if table else "",
        obstacles_table(bench, judged, found, tried, arguments.units)
        if found
        else "Every criterion is met.",
        relaxations_table(bench, tried),
        BANS if len(tried) > 1 else "",
        _list("In the bass:", _bass(project, pieces, arguments.units)),
        _list(
            "Diffusers:",
            diffuser_sentences(project.room, [e.pieces for e in table], arguments.units),
        ),
        folded(CUT_OFF) if effort.guard.cut else "",
    ]
    say("\n\n".join(part for part in parts if part))
    return 0


def _bass(project: Project, pieces: tuple[PlannedPiece, ...], units: str) -> list[str]:
    """What the products do in the bass."""
    return bass_sentences([p.piece for p in pieces], project.usable_products, units)


def _list(heading: str, said: list[str]) -> str:
    return folded("\n".join([heading, *(f"- {text}" for text in said)])) if said else ""


def _checked(arguments: argparse.Namespace) -> tuple[Project, tuple[PlannedPiece, ...]]:
    """The room and the plan; ScenarioError tells all that is wrong at once."""
    faults: list[Fault] = []
    faults += time_faults(arguments)
    pieces: tuple[PlannedPiece, ...] = ()
    try:
        project = load_project(arguments.room, variants=arguments.variant)
    except ScenarioError as error:
        faults += [*error.faults, *plan_faults(arguments.plan)]
    else:
        try:
            pieces = read_planned(arguments.plan, project.room, project.products)
        except ScenarioError as error:
            faults += error.faults
    if faults:
        raise ScenarioError(faults)
    return project, pieces
