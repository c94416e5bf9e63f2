"""`treatment plan`: the best plan for a room and a budget."""

import argparse
import math
from collections.abc import Iterator
from pathlib import Path

from optimizer.acoustics.low_response import LowResponse, low_response
from optimizer.commands.plan_more import (
    alternatives_in_words,
    first_plan,
    option_faults,
    others,
    stage_cents,
    staged,
    stages_in_words,
    stages_picture,
)
from optimizer.commands.plan_text import plan_in_words
from optimizer.commands.printing import ProgressLine, say
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.alternatives import WITHIN
from optimizer.planning import DEFAULT_GAP, DEFAULT_TIME_LIMIT, make_plan
from optimizer.project import Project, load_project
from optimizer.report.page import report_html
from optimizer.results import tellings as tell
from optimizer.results.model import Plan
from optimizer.results.output import check_writable, write_folder
from optimizer.results.planfile import plan_as_json
from optimizer.results.report_md import report_markdown
from optimizer.results.scorecard import treated

FILES = ("shopping.csv", "report.md", "plan.json", "report.html")
EPILOG = """\
example:
  treatment plan scenarios/spare_room.toml --out plan --budget 1200
  treatment plan scenarios/garage.toml --out plan --stages 600,1500,3000
  treatment plan scenarios/garage.toml --out plan --alternatives 3 --within 0.05

DIR then holds report.html (to read, print and take to the wall), report.md and shopping.csv, and
plan.json (everything, for programs); a plan of each stage or alternative beside them.
The plan printed is the best one found, and a line below the score card says how near the best
possible it is proven to be. With a short --time-limit the plan may be less good, never wrong.
"""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "plan",
        help="what to buy and where to put it, for a budget",
        description="Decide what to buy and exactly where to put it, and prove how good that is.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("room", type=Path, metavar="ROOM.toml", help="the room file")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR",
                        help="folder for report.html and the plan's other files")  # fmt: skip
    parser.add_argument("--budget", type=float, metavar="N", help="money, instead of the file's")
    parser.add_argument("--time-limit", type=float, default=DEFAULT_TIME_LIMIT, metavar="S",
                        help="seconds to search at most (default %(default)g)")  # fmt: skip
    parser.add_argument("--gap", type=float, default=DEFAULT_GAP, metavar="G",
                        help="how near the best possible is near enough, 0.01 = 1 %% "
                        "(default %(default)g)")  # fmt: skip
    parser.add_argument(
        "--fast",
        action="store_true",
        help="leave the wave equation out: quicker, less sure under 1 kHz",
    )
    parser.add_argument("--confidence", type=float, metavar="P",
                        help="plan so that each criterion holds with this probability, as far as "
                        "the money goes, such as 0.8")  # fmt: skip
    parser.add_argument("--variant", action="append", default=[], metavar="NAME",
                        help="a variant of the room file; may be given again")  # fmt: skip
    parser.add_argument("--stages", metavar="A,B,...",
                        help="buy in stages: rising totals of money")  # fmt: skip
    parser.add_argument("--alternatives", type=int, metavar="K",
                        help="also K plans that differ in kinds or places")  # fmt: skip
    parser.add_argument("--within", type=float, default=WITHIN, metavar="W",
                        help="how much worse it may be (default %(default)g)")  # fmt: skip
    parser.add_argument(
        "--units", choices=("m", "ft"), default="m", help="lengths shown (default m)"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Load, plan, write, print."""
    project = _checked(arguments)
    with ProgressLine() as progress:
        plan, told, more = _made(project, arguments, progress)
        progress.tell("drawing the report")
        charts = [stages_picture(list(more.values()))] if arguments.stages is not None else []
        page = report_html(plan, arguments.units, _bass(plan, arguments), more=charts)
    table, notes = tell.shopping_csv(plan), report_markdown(plan, arguments.units)
    files = dict(zip(FILES, (table, notes, plan_as_json(plan, arguments.out), page), strict=True))
    files |= {name: plan_as_json(other, arguments.out) for name, other in more.items()}
    write_folder(arguments.out, files)
    written = f"{arguments.out}/{', '.join([*reversed(FILES), *sorted(more)])}"
    say(plan_in_words(plan, arguments.units, told, written))
    return 0


def _made(
    project: Project, arguments: argparse.Namespace, progress: ProgressLine
) -> tuple[Plan, str, dict[str, Plan]]:
    """The plan to show in full, what to say of the others, and those by file name."""
    if arguments.stages is not None:
        stages = staged(project, arguments, progress)
        more = {f"stage_{i}.json": plan for i, plan in enumerate(stages.plans, 1)}
        return first_plan(stages), stages_in_words(stages), more
    if arguments.alternatives is not None:
        found = others(project, arguments, progress)
        more = {f"alternative_{i}.json": plan for i, plan in enumerate(found.plans, 1)}
        return found.best, alternatives_in_words(found, arguments.alternatives), more
    return _one_plan(project, arguments, progress), "", {}


def _one_plan(project: Project, arguments: argparse.Namespace, progress: ProgressLine) -> Plan:
    return make_plan(
        project, arguments.gap, arguments.time_limit, progress.report,
        "fast" if arguments.fast else "full", progress.tell, arguments.confidence,
    )  # fmt: skip


def _bass(plan: Plan, arguments: argparse.Namespace) -> tuple[LowResponse, LowResponse] | None:
    """The response at the seats before and after, for the report; boxes only, not when fast."""
    room, scene = plan.project.room, plan.project.scene
    if room.dimensions is None or arguments.fast:
        return None
    after = treated(room, scene, [p.piece for p in plan.pieces])
    return low_response(scene, room.dimensions), low_response(after, room.dimensions)


def _checked(arguments: argparse.Namespace) -> Project:
    """The project; ScenarioError tells the faults of the options and of the files together."""
    faults = list(_option_faults(arguments))
    try:
        check_writable(arguments.out, FILES)
    except ScenarioError as error:
        faults += error.faults
    try:
        project = load_project(arguments.room, _budget(arguments), arguments.variant)
    except ScenarioError as error:
        faults += error.faults
    if faults:
        raise ScenarioError(faults)
    return project


def _budget(arguments: argparse.Namespace) -> float | None:
    """Money instead of the file's: --budget, or what the last stage may spend."""
    cents = None if arguments.stages is None else stage_cents(arguments.stages)
    asked: float | None = arguments.budget
    return cents[-1] / 100 if cents else asked


def _option_faults(arguments: argparse.Namespace) -> Iterator[Fault]:
    gap, seconds = arguments.gap, arguments.time_limit
    if not 0 <= gap <= 1:
        remedy = "give a share from 0 to 1, such as 0.01 for 1 %"
        yield Fault("command line", "--gap", gap, remedy)
    yield from option_faults(arguments)
    sure = arguments.confidence
    if sure is not None and not 0.5 <= sure < 1:
        remedy = "give a probability from 0.5 to below 1, such as 0.8"
        yield Fault("command line", "--confidence", sure, remedy)
    if not (seconds > 0 and math.isfinite(seconds)):
        remedy = "give a number of seconds above 0, such as 60"
        yield Fault("command line", "--time-limit", seconds, remedy)
