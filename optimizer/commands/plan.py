"""`treatment plan`: the best plan for a room and a budget."""

import argparse
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from optimizer.acoustics.low_response import LowResponse
from optimizer.commands.plan_earlier import (
    add_earlier,
    begun_of,
    earlier_faults,
    renewed,
    renewed_in_words,
)
from optimizer.commands.plan_more import (
    alternative_name,
    alternatives_in_words,
    first_plan,
    more_names,
    option_faults,
    others,
    stage_cents,
    stage_name,
    staged,
    stages_in_words,
)
from optimizer.commands.plan_positions import positions_faults, positions_names, with_positions
from optimizer.commands.plan_text import plan_in_words
from optimizer.commands.plan_wishes import (
    add_wishes,
    plan_wished,
    wished_of,
    wishes_faults,
    wishes_in_words,
    wishes_part,
)
from optimizer.commands.printing import ProgressLine, say, tell_doubts
from optimizer.commands.time_limit import add_time_limit, time_faults
from optimizer.earlier_plan import Begun
from optimizer.faults import Fault, ScenarioError
from optimizer.order_price import order_prices
from optimizer.placement.alternatives import WITHIN
from optimizer.placement.effort import Effort
from optimizer.planning import DEFAULT_GAP, plan_decision
from optimizer.project import Judging, Project, load_project
from optimizer.report.more import Others, Part, Stages
from optimizer.report.page import report_html
from optimizer.results import tellings as tell
from optimizer.results.model import Plan
from optimizer.results.output import check_writable, write_folder
from optimizer.results.planfile import plan_as_json
from optimizer.results.report_md import report_markdown
from optimizer.room.layout import LEVELS, LayoutSection
from optimizer.wishes.decision import Wished

FILES = ("shopping.csv", "report.md", "plan.json", "report.html")
EPILOG = """\
example:
  treatment plan scenarios/spare_room.toml --out plan --budget 1200
  treatment plan scenarios/garage.toml --out plan --stages 600,1500,3000
  treatment plan scenarios/garage.toml --out plan --alternatives 3 --within 0.05
  treatment plan scenarios/spare_room.toml --out plan --positions auto
  treatment plan room_calibrated.toml --out again --earlier plan/plan.json
  treatment plan scenarios/spare_room.toml --out again --wishes wishes.toml

DIR then holds report.html (to read, print and take to the wall), report.md and shopping.csv, and
plan.json (everything, for programs); a plan of each stage, alternative or set-up beside them.
With --positions auto the room is also planned for the most promising set-ups of `treatment
positions` with the same money; the best is shown, and the room file of each set-up is written
beside.
With --earlier an earlier plan (before a measurement, or of an older price list) is judged in the
room as it is described now, and stays unless a plan better by more than 1 % is found.
A file of wishes names a plan.json (plan = "plan/plan.json") and numbers of it to keep or to leave
out (keep = [3, 4], refuse = [7]), surfaces and products not wanted (refuse_surfaces,
refuse_products), and rectangles where a piece is wanted ([[like]] with surface, at, size and, if it
matters, product). The plan keeps to them and says what each costs.
The plan printed is the best one found, and a line below the score card says how near the best
possible it is proven to be. How long the search goes on is counted in steps, not in seconds, so the
same files give the same plan on a slow or busy machine, only later. --time-limit is a guard over
the whole command: when it is over, the best plan so far is shown and said to be cut off. That plan
may be less good, never wrong, and another machine may find another.
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
    add_time_limit(parser)
    parser.add_argument("--gap", type=float, default=DEFAULT_GAP, metavar="G",
                        help="how near the best possible is near enough, 0.01 = 1 %% "
                        "(default %(default)g)")  # fmt: skip
    parser.add_argument(
        "--fast",
        action="store_true",
        help="leave the wave equation out, and draw half as often how sure the figures are: "
        "quicker, less sure under 1 kHz",
    )
    parser.add_argument("--confidence", type=float, metavar="P",
                        help="plan so that each criterion holds with this probability, as far as "
                        "the money goes, such as 0.8")  # fmt: skip
    parser.add_argument("--layout", choices=LEVELS, metavar="LEVEL",
                        help="how orderly, instead of the file's [layout]: gallery (few lines, "
                        "blocks, few kinds), tidy (less so) or free (any place)")  # fmt: skip
    parser.add_argument("--other-orders", action="store_true",
                        help="also what a plan with a stricter order would leave, by a rough "
                        "search")  # fmt: skip
    parser.add_argument("--variant", action="append", default=[], metavar="NAME",
                        help="a variant of the room file; may be given again")  # fmt: skip
    parser.add_argument("--stages", metavar="A,B,...",
                        help="buy in stages: rising totals of money")  # fmt: skip
    parser.add_argument("--alternatives", type=int, metavar="K",
                        help="also K plans that differ in kinds or places")  # fmt: skip
    parser.add_argument("--within", type=float, default=WITHIN, metavar="W",
                        help="how much worse it may be (default %(default)g)")  # fmt: skip
    parser.add_argument("--positions", metavar="auto",
                        help="also decide where to sit and where the loudspeakers go")  # fmt: skip
    add_earlier(parser)
    add_wishes(parser)
    parser.add_argument(
        "--units", choices=("m", "ft"), default="m", help="lengths shown (default m)"
    )
    parser.set_defaults(run=run)


@dataclass(frozen=True)
class Made:
    """The plan to show in full, and what was made beside it: what to say of it, other plans and
    room files by file name, and what the report tells of."""

    plan: Plan
    told: str = ""
    others: Mapping[str, Plan] = field(default_factory=dict)
    rooms: Mapping[str, str] = field(default_factory=dict)
    stages: Stages | None = None
    alternatives: Others | None = None
    parts: Sequence[Part] = ()


def run(arguments: argparse.Namespace) -> int:
    """Load, plan, write, print."""
    effort = Effort.of(arguments.time_limit)
    project, begun, wished = _checked(arguments)
    tell_doubts([project])
    with ProgressLine() as progress:
        made = _made(project, arguments, effort, progress, begun, wished)
        progress.tell("drawing the report")
        plan, units = made.plan, arguments.units
        page = report_html(
            plan, units, _bass(plan), stages=made.stages, others=made.alternatives,
            parts=made.parts,
        )  # fmt: skip
    table, notes = tell.shopping_csv(plan), report_markdown(plan, units)
    files = dict(zip(FILES, (table, notes, plan_as_json(plan, arguments.out), page), strict=True))
    more = {name: plan_as_json(other, arguments.out) for name, other in made.others.items()}
    more |= made.rooms
    write_folder(arguments.out, files | more)
    written = f"{arguments.out}/{', '.join([*reversed(FILES), *sorted(more)])}"
    say(plan_in_words(plan, units, made.told, written))
    return 0


def _made(
    project: Project,
    arguments: argparse.Namespace,
    effort: Effort,
    progress: ProgressLine,
    begun: Begun | None,
    wished: Wished | None,
) -> Made:
    """What was asked for."""
    if arguments.stages is not None:
        stages = staged(project, arguments, effort, progress)
        more = {stage_name(i): plan for i, plan in enumerate(stages.plans, 1)}
        return Made(first_plan(stages), stages_in_words(stages), more, stages=stages)
    if arguments.alternatives is not None:
        found = others(project, arguments, effort, progress)
        more = {alternative_name(i): plan for i, plan in enumerate(found.plans, 1)}
        told = alternatives_in_words(found, arguments.alternatives)
        return Made(found.best, told, more, alternatives=found)
    if arguments.positions is not None:
        moved = with_positions(project, arguments, effort, progress)
        return Made(moved.plan, moved.told, moved.others, moved.rooms, parts=moved.parts)
    if begun is not None:
        again = renewed(begun, arguments, effort, progress)
        return Made(again.plan, renewed_in_words(again, begun, arguments.units))
    if wished is not None:
        plan, costs = plan_wished(wished, arguments, effort, progress)
        return Made(plan, wishes_in_words(costs), parts=[wishes_part(costs)])
    return Made(_alone(project, arguments, effort, progress))


def _alone(
    project: Project, arguments: argparse.Namespace, effort: Effort, progress: ProgressLine
) -> Plan:
    """The plan by itself, and what it would leave without order."""
    judging: Judging = "fast" if arguments.fast else "full"
    made = plan_decision(
        project, arguments.gap, effort, progress.report, judging, progress.tell,
        arguments.confidence,
    )  # fmt: skip
    plan = made.plan(made.rounds.best.selection, judging, progress.tell)
    return replace(plan, orders=order_prices(made, progress.tell, arguments.other_orders))


def _bass(plan: Plan) -> tuple[LowResponse, LowResponse] | None:
    """The response at the seats before and after, for the report; known of boxes only."""
    before, after = plan.low
    return None if before is None or after is None else (before, after)


def _checked(arguments: argparse.Namespace) -> tuple[Project, Begun | None, Wished | None]:
    """The project, the earlier plan and the wishes; ScenarioError tells all faults at once."""
    faults = list(_option_faults(arguments))
    try:
        names = [*FILES, *more_names(arguments), *positions_names(arguments)]
        check_writable(arguments.out, names)
    except ScenarioError as error:
        faults += error.faults
    project: Project | None = None
    try:
        project = load_project(arguments.room, _budget(arguments), arguments.variant)
        if arguments.layout is not None:
            project = project.with_layout(LayoutSection(level=arguments.layout))
    except ScenarioError as error:
        faults += error.faults
    begun = begun_of(arguments, project, faults)
    wished = wished_of(arguments, project, faults)
    if faults or project is None:
        raise ScenarioError(faults)
    return project, begun, wished


def _budget(arguments: argparse.Namespace) -> float | None:
    """Money instead of the file's: --budget, or what the last stage may spend."""
    cents = None if arguments.stages is None else stage_cents(arguments.stages)
    asked: float | None = arguments.budget
    return cents[-1] / 100 if cents else asked


def _option_faults(arguments: argparse.Namespace) -> Iterator[Fault]:
    gap = arguments.gap
    if not 0 <= gap <= 1:
        remedy = "give a share from 0 to 1, such as 0.01 for 1 %"
        yield Fault("command line", "--gap", gap, remedy)
    yield from option_faults(arguments)
    yield from positions_faults(arguments)
    yield from earlier_faults(arguments)
    yield from wishes_faults(arguments)
    sure = arguments.confidence
    if sure is not None and not 0.5 <= sure < 1:
        remedy = "give a probability from 0.5 to below 1, such as 0.8"
        yield Fault("command line", "--confidence", sure, remedy)
    yield from time_faults(arguments)
