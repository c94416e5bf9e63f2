"""`treatment report`: a plan as one page to read, print and take to the wall."""

import argparse
import os
from pathlib import Path

from optimizer.acoustics.low_response import low_response
from optimizer.commands.printing import ProgressLine, say, tell_doubts
from optimizer.drawings.unfolded import unfolded
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.pieces import treated
from optimizer.project import Judging, Project, load_project
from optimizer.report.figures import Responses
from optimizer.report.page import hanging_html, report_html
from optimizer.report.rebuild import Rebuilt, rebuild, room_file_of
from optimizer.results.model import Plan
from optimizer.results.money_curve import MoneyCurve, read_money_curve
from optimizer.results.output import check_writable, write_folder
from optimizer.results.planfile import plan_faults, read_pieces

REPORT = "report.html"
ONLY = {"hanging": "hanging.html", "picture": "unfolded.svg"}
EPILOG = """\
examples:
  treatment report plan/plan.json --out plan
  treatment report plan/plan.json --out sheets --only hanging --units ft
  treatment report plan/plan.json --out plan --only picture
  treatment report plan/plan.json --room rooms/attic.toml --out plan
  treatment report plan/plan.json --budget budget/budget.json --out plan

DIR then holds report.html (one file, no other is needed), hanging.html with --only hanging, or
unfolded.svg, the picture of the room, with --only picture. Pages print to A4 and Letter; what is
folded on the page is not printed, with --whole it is. Prices, names and sizes are those of today's
room file and price list; where they changed what the figures depend on, the room is judged anew,
which takes longer.
"""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "report",
        help="a plan as one page to read and print",
        description="Write a plan as one HTML page: the room unfolded, shopping list, what "
        "changes, hanging sheets, and after them all that stands behind the plan.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("plan", type=Path, metavar="plan.json", help="the plan")
    parser.add_argument("--room", type=Path, metavar="ROOM.toml",
                        help="the room file (default: the one the plan names)")  # fmt: skip
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to write to")
    parser.add_argument("--units", choices=("m", "ft"), default="m", help="lengths in the report")
    parser.add_argument(
        "--only",
        choices=tuple(ONLY),
        help="only the hanging sheets, or only the picture of the room",
    )
    parser.add_argument("--whole", action="store_true",
                        help="with everything unfolded that stands behind the plan, so that it is "
                        "printed too")  # fmt: skip
    parser.add_argument("--bass", action="store_true",
                        help="also draw the bass at the seats (slower; box rooms)")  # fmt: skip
    parser.add_argument("--fast", action="store_true",
                        help="judge anew, where needed, without wave equation")  # fmt: skip
    parser.add_argument("--budget", type=Path, metavar="budget.json",
                        help="also show what other money would buy, as `treatment budget` "
                        "found it")  # fmt: skip
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Read the plan back, write the page or the picture, say where it is."""
    name = ONLY.get(arguments.only, REPORT)
    project, curve = _checked(arguments, name)
    tell_doubts([project])
    with ProgressLine("reading the plan, judging it anew where the room changed") as progress:
        rebuilt = rebuild(arguments.plan, project, _judging(arguments))
        text = _drawn(arguments, rebuilt, curve, progress)
    write_folder(arguments.out, {name: text})
    replaced = "" if arguments.only == "picture" else rebuilt.replaced
    say("\n".join(filter(None, [replaced, f"Written: {arguments.out / name}"])))
    return 0


def _judging(arguments: argparse.Namespace) -> Judging:
    """How fully the plan is judged; a picture shows no figure but first reflections."""
    if arguments.only == "picture":
        return "none"
    return "fast" if arguments.fast else "full"


def _drawn(
    arguments: argparse.Namespace,
    rebuilt: Rebuilt,
    curve: MoneyCurve | None,
    progress: ProgressLine,
) -> str:
    """The page or the picture that was asked for."""
    plan, units = rebuilt.plan, arguments.units
    heard = None
    if arguments.bass and not arguments.only:
        progress.tell("computing the bass at the seats")
        heard = _bass(plan)
    progress.tell("drawing")
    if arguments.only == "picture":
        return unfolded(plan, units).svg
    if arguments.only == "hanging":
        return hanging_html(plan, units)
    return report_html(plan, units, heard, rebuilt.changed, budget=curve, whole=arguments.whole)


def _checked(arguments: argparse.Namespace, name: str) -> tuple[Project, MoneyCurve | None]:
    """The project and the budget curve; ScenarioError tells the faults of all files together."""
    faults: list[Fault] = []
    try:
        check_writable(arguments.out, [name])
    except ScenarioError as error:
        faults += error.faults
    broken = plan_faults(arguments.plan)
    faults += broken
    curve = None
    try:
        project = load_project(_room_file(arguments))
        if not broken:
            read_pieces(arguments.plan, project.room, project.products)
        if arguments.budget is not None:
            curve = read_money_curve(arguments.budget, project)
    except ScenarioError as error:
        if not broken or arguments.room is not None:
            faults += error.faults
    if faults:
        raise ScenarioError(faults)
    return project, curve


def _room_file(arguments: argparse.Namespace) -> Path:
    room: Path | None = arguments.room or room_file_of(arguments.plan)
    if room is None:
        remedy = "names no room file; give it with --room ROOM.toml"
        raise ScenarioError([Fault(str(arguments.plan), "room_file", None, remedy)])
    if arguments.room is None and not os.path.isfile(room):  # also for a name that is too long
        remedy = "the room file is not there; give it with --room ROOM.toml"
        raise ScenarioError([Fault(str(arguments.plan), "room_file", str(room), remedy)])
    return room


def _bass(plan: Plan) -> Responses | None:
    """The response at the seats now and with the plan; None where the room is no box."""
    room, scene = plan.project.room, plan.project.scene
    if room.dimensions is None:
        return None
    after = treated(room, scene, [p.piece for p in plan.pieces])
    return low_response(scene, room.dimensions), low_response(after, room.dimensions)
