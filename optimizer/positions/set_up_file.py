"""A set-up as a room file of its own, so that a plan made for it can be read back and kept.

What the plan was made from is then that room file: `treatment report`, `why` and `compare` find it
beside plan.json.
"""

import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from optimizer.faults import shown_name
from optimizer.positions.moving import movers
from optimizer.positions.room_files import (
    Tables,
    own_tables,
    rounded,
    says,
    turn_tables,
    wall_in_words,
)
from optimizer.positions.search import Judged
from optimizer.project import Project
from optimizer.results.model import Plan
from optimizer.room.scenario import read_tables
from optimizer.tomlfile import document

HEAD = """\
# Written by `treatment plan --positions auto` from {file}; it faces {wall}:
# {says}.
# Lengths are metres. Axes: x from the front wall (behind the loudspeakers) to the back, y from left
# to right as you face it, z up. Loudspeakers are aimed at the first seat. Variants of {file}
# are left out.
"""


def set_up_name(room: Path, number: int) -> str:
    """Name of the room file of a set-up of a room file."""
    return f"{room.stem}_set_up_{number}.toml"


def set_up_file(
    project: Project, judged: Judged, number: int, folder: Path, variants: Sequence[str] = ()
) -> str:
    """The room file of a set-up of the project, to be written to `folder`: with the project's
    money, and `variants` of its room file laid over it."""
    data = own_tables(project, folder, variants)
    data["title"] = f"{project.scenario.title}, set-up {number}"
    data["budget"]["amount"] = project.scenario.budget.amount
    facing, room = judged.set_up.facing, judged.project.room
    if facing != "front":
        turn_tables(data, room, facing)
    else:
        _move(data, judged)
    told = {
        "file": shown_name(project.scenario.path),
        "wall": wall_in_words(facing),
        "says": says(judged),
    }
    head = HEAD.format(**told)
    return f"{head}\n{document({'title': data.pop('title'), **data})}"


def _move(data: Tables, judged: Judged) -> None:
    """Loudspeakers, first seat and what moves along put to their places."""
    room = judged.project.room
    data["speakers"] = [{"name": s.name, "at": rounded(s.at)} for s in room.speakers]
    data["seats"][0]["at"] = rounded(room.seats[0].at)
    for index in movers(room):
        data["furniture"][index]["at"] = rounded(room.furniture[index].box[0])


def kept(plan: Plan, text: str, path: Path) -> Plan:
    """The plan as made from the room file `text` that will be at `path`."""
    scenario = read_tables(tomllib.loads(text), path).scenario
    return replace(plan, project=replace(plan.project, scenario=scenario))
