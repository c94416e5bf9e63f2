"""`treatment plan --earlier`: begin from a plan made before, keep it if none is better."""

import argparse
from collections.abc import Iterator
from pathlib import Path

from optimizer.commands.exclusive import exclusive_faults
from optimizer.commands.printing import ProgressLine
from optimizer.earlier_plan import Begun, Renewed, begin_from, make_plan_from, read_earlier
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.effort import Effort
from optimizer.project import Project
from optimizer.results.planfile import plan_faults
from optimizer.results.tables import folded
from optimizer.results.words import place_in_words
from optimizer.round_record import WORTH

MOST_NAMED = 6  # pieces named one by one
NOT_WITH = ("stages", "alternatives", "positions")


def add_earlier(parser: argparse.ArgumentParser) -> None:
    """The option."""
    said = "a plan to begin from, and to keep if none better is found"
    parser.add_argument("--earlier", type=Path, metavar="PLAN.json", help=said)


def earlier_faults(arguments: argparse.Namespace) -> Iterator[Fault]:
    """What is wrong with --earlier among the options."""
    return exclusive_faults(arguments, "earlier", NOT_WITH)


def begun_of(
    arguments: argparse.Namespace, project: Project | None, faults: list[Fault]
) -> Begun | None:
    """The earlier plan asked for, found again; without a project only the file is checked."""
    if arguments.earlier is None:
        return None
    if project is None:
        faults += plan_faults(arguments.earlier)
        return None
    try:
        return begin_from(read_earlier(arguments.earlier, project), project)
    except ScenarioError as error:
        faults += error.faults
        return None


def renewed(
    begun: Begun, arguments: argparse.Namespace, effort: Effort, progress: ProgressLine
) -> Renewed:
    """The plan made from the earlier one."""
    return make_plan_from(
        begun, arguments.gap, effort, progress.report,
        "fast" if arguments.fast else "full", progress.tell, arguments.confidence,
    )  # fmt: skip


def renewed_in_words(made: Renewed, begun: Begun, units: str = "m") -> str:
    """Whether the earlier plan stays, what of it hangs already and what cannot hang any more."""
    earlier, missing = begun.earlier, begun.missing
    less = ", less the pieces named below," if missing else ""
    margin = f"better by more than {100 * WORTH:.0f} % of its excess"
    verdict = (
        f"stays: no plan {margin} was found"
        if made.stays
        else f"gives way: the one above is {margin}"
    )
    lines = [f"The earlier plan ({earlier.file}){less} {verdict}, both judged in this room."]
    if earlier.hung:
        lines.append(f"Pieces of it that hang already and are not listed: {len(earlier.hung)}.")
    if missing:
        lines.append(f"Pieces of it that cannot hang there any more: {len(missing)}.")
        lines += [
            f"- {piece.product.name}: {place_in_words(piece, begun.project.room, units)}"
            for piece in missing[:MOST_NAMED]
        ]
        more = len(missing) - MOST_NAMED
        lines += [f"- and {more} more"] if more > 0 else []
    return folded("\n".join(lines))
