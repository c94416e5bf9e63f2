"""`treatment positions`: where to sit, and where the loudspeakers go."""

import argparse
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from optimizer.acoustics.low_response import HIGHEST_HZ, coupled_box
from optimizer.commands.printing import ProgressLine, say
from optimizer.drawings.positions_map import Levels, Mapped, Place, positions_map
from optimizer.faults import Fault, ScenarioError
from optimizer.positions import telling
from optimizer.positions.axis import (
    MIDDLE,
    SHARE_RULE,
    axis_levels,
    axis_places,
    best_along,
    over_floor,
)
from optimizer.positions.room_files import pasted, room_files
from optimizer.positions.search import Found, Judged, bounds, search
from optimizer.positions.set_ups import STANDS, Reach
from optimizer.positions.turning import FACINGS, turn_back
from optimizer.project import Project, load_project
from optimizer.results.output import check_writable, write_folder
from optimizer.results.tellings import wrapped
from optimizer.room.schema import length_in_metres

MAP = "positions.svg"
MOST = 8
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
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder for map and room files")
    parser.add_argument("--units", choices=("m", "ft"), default="m", help="lengths in the text")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Load, search, write, print."""
    project, reach = _checked(arguments)
    with ProgressLine() as progress:
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
            check_writable(arguments.out, [MAP])
        except ScenarioError as error:
            faults += error.faults
    try:
        project = load_project(arguments.room)
    except ScenarioError as error:
        faults += error.faults
    else:
        top = float(bounds(project.room)[1][2])
        for key, heights in (("--ears", ears), ("--stands", stands)):
            for height in heights:
                if not 0.3 <= height <= top - 0.1:
                    remedy = f"give a height between 0.3 m and {top - 0.1:.2f} m"
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
    drawn = positions_map(_mapped(project, found))
    return {MAP: drawn.svg, **room_files(project, found.best, arguments.out)}


def _mapped(project: Project, found: Found) -> Mapped:
    """The search as the map shows it."""
    room = project.room
    size = None if room.dimensions is None else room.dimensions[:2]
    best = found.best[0] if found.best else found.now
    facing = best.set_up.facing
    start, length = _axis(best)
    starts = {s.set_ups.facing: 0.0 if size else start for s in found.searched}
    along = {s.set_ups.facing: best_along(s, starts[s.set_ups.facing]) for s in found.searched}
    marks = {f"{100 * SHARE_RULE:.0f} %": SHARE_RULE * length,
             "middle": MIDDLE * length}  # fmt: skip
    places = [_place(label, j, size) for label, j in telling.columns_of(found).items()]
    return Mapped(room, over_floor(found.searched, size), along, marks, facing, places,
                  _levels(best, length))  # fmt: skip


def _axis(judged: Judged) -> tuple[float, float]:
    """Where the axis of a set-up starts, and its length."""
    low, high = bounds(judged.project.room)
    return float(low[0]), float(high[0] - low[0])


def _levels(best: Judged, length: float) -> Levels | None:
    room, scene = best.project.room, best.project.scene
    if room.dimensions is None:
        return None
    box = coupled_box(scene, room.dimensions, HIGHEST_HZ)
    places = axis_places(length)
    f, level = axis_levels(box, scene.speakers[:2], scene.seats[0], places)
    return Levels("Bass of the loudspeakers of set-up 1, by place along its axis", places, f, level)


def _place(label: str, judged: Judged, size: tuple[float, float] | None) -> Place:
    s = judged.set_up
    speakers, ears = np.stack([s.left, s.right]), s.ears
    if size is not None and s.facing != FACINGS[0]:
        speakers, ears = (turn_back(p, size, s.facing) for p in (speakers, ears))
    return Place(label, speakers, ears)


def _printed(
    project: Project, found: Found, files: dict[str, str], arguments: argparse.Namespace
) -> str:
    columns, walls = telling.columns_of(found), telling.walls_of(found)
    text = pasted(project, found.best)
    notes = [*telling.notes(found), telling.rules_of_thumb(found),
             telling.searched_in_words(found)]  # fmt: skip
    parts = [
        f"{project.scenario.title}: {telling.verdict(found)}",
        telling.score_table(columns),
        telling.tape_table(columns, arguments.units),
        "The best of each wall that can be faced:\n\n" + telling.score_table(walls)
        if len(walls) > 1
        else "",
        telling.why_wall(found),
        wrapped(notes),
        "To paste into the room file:\n\n" + text if text else "",
        f"Written: {arguments.out}/{', '.join(files)}" if files else "",
    ]
    return "\n\n".join(part.rstrip("\n") for part in parts if part)
