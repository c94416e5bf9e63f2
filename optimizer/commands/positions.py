"""`treatment positions`: where to sit, and where the loudspeakers go."""

import argparse
import math
from collections.abc import Iterator
from pathlib import Path

from optimizer.commands.printing import ProgressLine, say, tell_doubts
from optimizer.drawings.positions_map import positions_map
from optimizer.faults import Fault, ScenarioError
from optimizer.positions import telling
from optimizer.positions.mapped import mapped
from optimizer.positions.room_files import file_name, pasted, room_files
from optimizer.positions.search import Found, bounds, search
from optimizer.positions.set_ups import STANDS, Reach
from optimizer.positions.turning import FACINGS
from optimizer.project import Project, load_project
from optimizer.results.output import check_writable, write_folder
from optimizer.results.tables import folded
from optimizer.results.tellings import wrapped
from optimizer.room.schema import length_in_metres
from optimizer.units import format_length

MAP = "positions.svg"
MOST = 6  # each with colour and mark of its own on the map
EPILOG = """\
examples:
  treatment positions scenarios/spare_room.toml
  treatment positions scenarios/spare_room.toml --top 5 --out positions --units ft
  treatment compare positions/spare_room_facing_back.toml set_up_2 --replan

Tries which wall to face, how far from it the loudspeakers stand, how far apart, and where the
listener sits; furniture stays, but what belongs to the seat (desk, chair, person) moves along. With
--out, DIR holds a map (positions.svg) and a room file for each wall faced among the best: the
room turned so that this wall is its front wall, set-ups as variants of it.
"""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "positions",
        help="where to sit, and where the loudspeakers go",
        description="Search for the best places of the listener and the loudspeakers.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("room", type=Path, metavar="ROOM.toml", help="the room file")
    parser.add_argument("--top", type=int, default=3, metavar="K",
                        help="how many set-ups to show (default %(default)d)")  # fmt: skip
    parser.add_argument("--ears", nargs="+", metavar="H",
                        help="heights of the ears to try (default: as they are)")  # fmt: skip
    parser.add_argument("--stands", nargs=2, metavar=("LOW", "HIGH"),
                        help="least and greatest height of a loudspeaker (default "
                        f"{STANDS[0]:g} m {STANDS[1]:g} m)")  # fmt: skip
    parser.add_argument("--variant", action="append", default=[], metavar="NAME",
                        help="a variant of the room file; may be given again")  # fmt: skip
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder for map and room files")
    parser.add_argument(
        "--units", choices=("m", "ft"), default="m", help="lengths shown (default m)"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Load, search, write, print."""
    project, reach = _checked(arguments)
    tell_doubts([project])
    with ProgressLine("looking for places to sit") as progress:
        found = search(project, arguments.top, reach, progress.tell)
        files = _files(project, found, arguments, progress)
    if arguments.out is not None:
        write_folder(arguments.out, files)
    say(_printed(project, found, files, arguments))
    return 0


def _checked(arguments: argparse.Namespace) -> tuple[Project, Reach]:
    """The project and the heights to try; ScenarioError tells all that is wrong at once."""
    faults: list[Fault] = []
    if not 1 <= arguments.top <= MOST:
        remedy = f"give a number of set-ups from 1 to {MOST}"
        faults.append(Fault("command line", "--top", arguments.top, remedy))
    ears = list(_lengths(arguments.ears or [], "--ears", faults))
    stands = list(_lengths(arguments.stands or [], "--stands", faults))
    if len(stands) == 2 and not stands[0] <= stands[1]:
        remedy = "give the lower height first"
        faults.append(Fault("command line", "--stands", " ".join(arguments.stands), remedy))
    if arguments.out is not None:
        try:
            rooms = (file_name(arguments.room, facing) for facing in FACINGS)
            check_writable(arguments.out, [MAP, *rooms])
        except ScenarioError as error:
            faults += error.faults
    try:
        project = load_project(arguments.room, variants=arguments.variant)
    except ScenarioError as error:
        faults += error.faults
    else:
        top = float(bounds(project.room)[1][2])
        for key, heights in (("--ears", ears), ("--stands", stands)):
            for height in heights:
                if not 0.3 <= height <= top - 0.1:
                    least, most = (format_length(x, arguments.units) for x in (0.3, top - 0.1))
                    remedy = f"give a height between {least} and {most}"
                    faults.append(Fault("command line", key, height, remedy))
    if faults:
        raise ScenarioError(faults)
    own = (float(project.room.seats[0].at[2]),)
    low, high = stands or STANDS
    return project, Reach(tuple(sorted(set(ears))) or own, (low, high))


def _lengths(texts: list[str], key: str, faults: list[Fault]) -> Iterator[float]:
    for text in texts:
        try:
            value = length_in_metres(_number(text))
        except ValueError as error:
            faults.append(Fault("command line", key, text, str(error)))
        else:
            yield value


def _number(text: str) -> float | str:
    try:
        value = float(text)
    except ValueError:
        return text
    return value if math.isfinite(value) else text


def _files(
    project: Project, found: Found, arguments: argparse.Namespace, progress: ProgressLine
) -> dict[str, str]:
    if arguments.out is None:
        return {}
    progress.tell("drawing the map")
    files = room_files(project, found.best, arguments.out, arguments.variant)
    drawn = positions_map(mapped(project, found, telling.columns_of(found)), arguments.units)
    return {MAP: drawn.svg, **files}


def _printed(
    project: Project, found: Found, files: dict[str, str], arguments: argparse.Namespace
) -> str:
    columns, walls = telling.columns_of(found), telling.walls_of(found)
    notes = [*telling.notes(found), telling.rules_of_thumb(found, arguments.units),
             telling.searched_in_words(found, arguments.units)]  # fmt: skip
    parts = [
        folded(f"{project.scenario.title}: {telling.verdict(found)}"),
        telling.score_table(columns),
        telling.tape_table(columns, arguments.units),
        "The best of each wall that can be faced:\n\n" + telling.score_table(walls)
        if len(walls) > 1
        else "",
        folded(telling.why_walls(found, arguments.units)),
        folded(wrapped(notes)),
        f"Written: {arguments.out}/{', '.join(files)}" if files else _to_keep(project, found),
    ]
    return "\n\n".join(part.rstrip("\n") for part in parts if part)


def _to_keep(project: Project, found: Found) -> str:
    """Variants to paste, and what only --out writes."""
    text = pasted(project, found.best)
    parts = ["To paste into the room file:", text.rstrip("\n")] if text else []
    turned = [str(n) for n, j in enumerate(found.best, 1) if j.set_up.facing != "front"]
    if turned:
        parts.append(
            folded(
                f"Set-up {', '.join(turned)} faces another wall: --out DIR writes a room file that "
                "is turned so."
            )
        )
    return "\n\n".join(parts)
