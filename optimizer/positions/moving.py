"""A project with another set-up: what moves along with the listener, and what stays.

The chair and the person under the first seat, the sofa one sits on, and the desk in front of it
move along and keep their place relative to the ears. All else stays where it is.
"""

from dataclasses import replace

import numpy as np

from optimizer.positions.set_ups import SetUp
from optimizer.positions.turning import turned
from optimizer.project import Project
from optimizer.room.geometry import DIGITS, Floats
from optimizer.room.model import Furniture, Room

SAT_ON = ("person", "chair", "armchair", "sofa")
IN_FRONT = ("desk", "table")
ARM = 0.8  # m from the ears to the near edge of a desk that is sat at


def present(room: Room) -> SetUp:
    """The set-up of a room as it is."""
    left, right = room.speakers
    return SetUp("front", left.at, right.at, room.seats[0].at)


def movers(room: Room) -> tuple[int, ...]:
    """Indices of the furniture that moves along with the first seat."""
    return tuple(i for i, f in enumerate(room.furniture) if _belongs(f, room))


def _belongs(furniture: Furniture, room: Room) -> bool:
    ears, (low, high) = room.seats[0].at, furniture.box
    if furniture.kind in SAT_ON:
        return bool(np.all(ears[:2] >= low[:2] - 0.1) and np.all(ears[:2] <= high[:2] + 0.1))
    if furniture.kind not in IN_FRONT:
        return False
    beside = low[1] - 1e-9 <= ears[1] <= high[1] + 1e-9
    return bool(beside and low[0] <= ears[0] and ears[0] - high[0] <= ARM + 1e-6)


def moved_box(box: Floats, before: Floats, after: Floats) -> Floats:
    """A box (2, 3) that keeps its place relative to the ears; it stays on its height."""
    step = after - before
    return np.asarray(np.round(box + np.array([step[0], step[1], 0.0]), DIGITS))


def with_home_boxes(there: Room, home: Room) -> Room:
    """The turned room with what moves along standing as it does in the file, `home`: not turned."""
    along = movers(home)
    furniture = tuple(
        replace(f, box=home.furniture[i].box) if i in along else f
        for i, f in enumerate(there.furniture)
    )
    return replace(there, furniture=furniture)


def room_with(room: Room, set_up: SetUp) -> Room:
    """The room, turned to the wall that the set-up faces, with the set-up in it.

    Both loudspeakers are aimed at the ears. The names of left and right loudspeaker stay with
    their side.
    """
    there = turned(room, set_up.facing) if set_up.facing != "front" else room
    left, right = room.speakers
    along = movers(room)
    before = room.seats[0].at
    furniture = tuple(
        replace(f, box=moved_box(room.furniture[i].box, before, set_up.ears)) if i in along else f
        for i, f in enumerate(there.furniture)
    )
    return replace(
        there,
        furniture=furniture,
        speakers=(
            replace(left, at=set_up.left, aim=set_up.ears),
            replace(right, at=set_up.right, aim=set_up.ears),
        ),
        seats=(replace(there.seats[0], at=set_up.ears), *there.seats[1:]),
    )


def project_with(project: Project, set_up: SetUp, says: str = "") -> Project:
    """The project with another set-up; its limits and prices stay. Pieces that hang already cannot
    be turned: ValueError for those with another wall in front."""
    if project.hung and set_up.facing != "front":
        raise ValueError("a room with pieces that hang already is not turned")
    return replace(project, room=room_with(project.room, set_up), says=says)
