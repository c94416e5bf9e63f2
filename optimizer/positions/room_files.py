"""Set-ups as room files: one file for each wall faced, its set-ups as variants, ready to compare.

The axes of a room file start at the wall that is faced. A set-up that faces the present front wall
is a variant that moves loudspeakers, seat and what goes with it; one that faces another wall needs
the whole room turned, so that one is written as a room file of its own.
"""

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.faults import shown_name
from optimizer.positions.moving import movers
from optimizer.positions.search import Judged
from optimizer.positions.turning import FACINGS, ORDER, new_name
from optimizer.project import Project
from optimizer.room.geometry import DIGITS, Floats
from optimizer.room.model import Room
from optimizer.room.reading import read_toml
from optimizer.room.variants import lay_over, read_variants, split_name
from optimizer.tomlfile import document, lines

HEAD = """\
# Written by `treatment positions` from {file}; it faces {wall}.
# Lengths are metres. Axes: x from the front wall (behind the loudspeakers) to the back, y from left
# to right as you face it, z up. Loudspeakers are aimed at the first seat. Variants of {file}
# are left out.
"""
Tables = dict[str, Any]


def file_name(room: Path, facing: str) -> str:
    """Name of the room file for the set-ups of a room file that face a wall."""
    return f"{room.stem}_facing_{facing}.toml"


def variant_name(number: int) -> str:
    """Name of a set-up as a variant."""
    return f"set_up_{number}"


def room_files(
    project: Project, best: Sequence[Judged], folder: Path, variants: Sequence[str] = ()
) -> dict[str, str]:
    """Room files by name, to be written to `folder`: the present one with its set-ups, and one for
    each other wall faced, whose room as it is is the first of its set-ups. `variants` of the room
    file are laid over it, as they are in the project."""
    numbered = list(enumerate(best, 1))
    files = {}
    for facing in FACINGS:
        mine = [(n, j) for n, j in numbered if j.set_up.facing == facing]
        if mine:
            data = own_tables(project, folder, variants)
            name = file_name(project.scenario.path, facing)
            files[name] = _room_file(project, data, facing, mine)
    return files


def variant(number: int, judged: Judged, names: Mapping[int, str]) -> str:
    """A set-up as the text of a variant; `names` are those of the furniture that moves along, by
    its index."""
    room = judged.project.room
    moves: dict[str, Floats] = {s.name: s.at for s in room.speakers}
    moves[room.seats[0].name] = room.seats[0].at
    for index, known in names.items():
        moves[known] = room.furniture[index].box[0]
    name = variant_name(number)
    places = lines({key: rounded(at) for key, at in moves.items()})
    told = lines({"says": says(judged)})
    return f"[variants.{name}]\n{told}\n\n[variants.{name}.move]\n{places}\n"


def says(judged: Judged) -> str:
    """A set-up in one sentence."""
    s = judged.set_up
    return (
        f"ears {s.ears[0]:.2f} m and loudspeakers {s.left[0]:.2f} m from the wall faced, "
        f"{s.base:.2f} m apart"
    )


def pasted(project: Project, best: Sequence[Judged]) -> str:
    """The set-ups that face the present front wall as variants to paste into the room file; empty
    when there is none, or where a variant could not say it (loudspeakers with an aim of their own,
    furniture whose name is not its own)."""
    room, scenario = project.room, project.scenario
    names = [f.name for f in room.furniture]
    known = [*(s.name for s in room.speakers), *(s.name for s in room.seats), *names]
    wanted = [known[0], known[1], room.seats[0].name, *(names[i] for i in movers(room))]
    if any(s.aim is not None for s in scenario.speakers) or any(known.count(n) > 1 for n in wanted):
        return ""
    texts = [
        variant(number, judged, {i: names[i] for i in movers(room)})
        for number, judged in enumerate(best, 1)
        if judged.set_up.facing == "front"
    ]
    return "\n".join(texts)


def own_tables(project: Project, folder: Path, variants: Sequence[str]) -> Tables:
    """Tables of a project's room file with variants laid over it, to be written to `folder`:
    files named from there, loudspeakers aimed at the first seat."""
    path = project.scenario.path
    data = read_toml(path)
    known = read_variants(data, str(path), [])
    parts = [part for name in variants for part in split_name(name)]
    laid = lay_over(data, str(path), {part: known[part] for part in parts}).data
    _paths_from(laid, project, folder)
    for speaker in laid["speakers"]:
        speaker.pop("aim", None)
    return laid


def _room_file(
    project: Project, data: Tables, facing: str, mine: Sequence[tuple[int, Judged]]
) -> str:
    names = _own_names(data, project.room)
    if facing != "front":
        turn_tables(data, mine[0][1].project.room, facing)
    file, wall = shown_name(project.scenario.path), wall_in_words(facing)
    head = HEAD.format(file=file, wall=wall)
    if facing != "front":
        head += f"# As it is: set-up {mine[0][0]}. Variants: the others that face this wall.\n"
    variants = [variant(n, j, names) for n, j in mine if facing == "front" or j is not mine[0][1]]
    return "\n".join([head, document(data), *variants])


def wall_in_words(facing: str) -> str:
    """Which wall of its room file a set-up faces, in words."""
    return "the same wall" if facing == "front" else f"its {facing} wall"


def _own_names(data: Tables, room: Room) -> dict[int, str]:
    """Names of what moves along, by index; it gets one of its own where it has none."""
    items = data.get("furniture", [])
    others = [*(s.name for s in room.speakers), *(s.name for s in room.seats)]
    names = [f.name for f in room.furniture]
    for index in movers(room):
        if (names + others).count(names[index]) > 1:
            names[index] = items[index]["name"] = f"{names[index]} at the seat {index + 1}"
    return {index: names[index] for index in movers(room)}


def _paths_from(data: Tables, project: Project, folder: Path) -> None:
    """Files named beside the room file, as named from `folder`."""
    scenario = project.scenario
    data["budget"]["catalogue"] = _relative(scenario.catalogue_path, folder)
    for key, path in (("materials", scenario.materials_path), ("builds", scenario.builds_path)):
        if path is not None:
            data[key] = _relative(path, folder)


def _relative(path: Path, folder: Path) -> str:
    return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()


def turn_tables(data: Tables, there: Room, facing: str) -> None:
    """Every place of the tables as it is in the room `there`, turned."""
    assert there.dimensions is not None
    data["room"].update(length=there.dimensions[0], width=there.dimensions[1])
    named = {new_name(name, facing): material for name, material in data["surfaces"].items()}
    data["surfaces"] = {name: named[name] for name in ORDER}
    count: dict[str, int] = {}
    for area in data.get("areas", []):
        name = new_name(area["surface"], facing)
        index = count.get(name, 0)
        count[name] = index + 1
        u0, v0, u1, v1 = there.surface(name).areas[index].rect
        area.update(surface=name, at=rounded((u0, v0)), size=rounded((u1 - u0, v1 - v0)))
    for item, furniture in zip(data.get("furniture", []), there.furniture, strict=True):
        item.update(_placed(furniture.box))
    for item, box in zip(data.get("limits", {}).get("keep_clear", []), there.keep_clear,
                         strict=True):  # fmt: skip
        item.update(_placed(box.box))
    data["speakers"] = [{"name": s.name, "at": rounded(s.at)} for s in there.speakers]
    for item, seat in zip(data["seats"], there.seats, strict=True):
        item["at"] = rounded(seat.at)


def _placed(box: Floats) -> Tables:
    return {"at": rounded(box[0]), "size": rounded(box[1] - box[0])}


def rounded(values: Sequence[float] | Floats) -> list[float]:
    return [float(v) + 0.0 for v in np.round(np.asarray(values, dtype=float), DIGITS)]
