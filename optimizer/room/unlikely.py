"""What is possible in a room but more often a slip: told, while the run goes on.

Each rule yields doubts, written like faults (file, key, value, what to look at). The thresholds
are in sane.py. `doubts` of a project are printed by every command that loads it and listed in the
report.
"""

import re
from collections.abc import Iterator

import numpy as np

from optimizer.faults import Fault
from optimizer.room import sane
from optimizer.room.flush import BUILT_IN, names_near
from optimizer.room.geometry import Floats, boxes_overlap
from optimizer.room.model import Room
from optimizer.room.scenario import Scenario
from optimizer.room.schema import FurnitureSection

# Kinds that stand on the floor; desks and tables are often given as their top alone, people sit.
_STANDING = ("sofa", "armchair", "bookcase", "cabinet", "bed", "chair", "rack")
_AT_A_WALL = ("bookcase", "cabinet", "rack")  # may hang on one
_SIDES = {"left": re.compile(r"\b(left|l)\b", re.I), "right": re.compile(r"\b(right|r)\b", re.I)}


def room_doubts(scenario: Scenario, room: Room) -> list[Fault]:
    """Doubts of every rule about a room without a fault, in the order of UNLIKELY."""
    return [doubt for rule in UNLIKELY for doubt in rule(scenario, room)]


def speakers_before_the_listener(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """The listener at the first seat faces the front wall, and the loudspeakers."""
    seat = scenario.seats[0]
    behind = [s for s in scenario.speakers if s.at[0] > seat.at[0]]
    level = [s for s in scenario.speakers if abs(s.at[0] - seat.at[0]) <= sane.SAME_PLACE]
    for section in behind if not level else ():
        remedy = (
            f'stands behind seat "{seat.name}", who faces the front wall (x = 0); is x measured '
            "from the wall behind the loudspeakers?"
        )
        yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)
    if level:
        remedy = (
            f'stands beside seat "{seat.name}" and not in front; is x measured from the wall '
            "behind the loudspeakers?"
        )
        for section in level:
            yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)


def sides_as_named(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """A loudspeaker called left stands left of one called right."""
    left, right = sorted(scenario.speakers, key=lambda s: s.at[1])
    called_right = _SIDES["right"].search(left.name) and not _SIDES["left"].search(left.name)
    called_left = _SIDES["left"].search(right.name) and not _SIDES["right"].search(right.name)
    if called_right and called_left:
        remedy = (
            f'stands left of "{right.name}" (y counts from the left wall to the right as you face '
            "the front wall); swap the names or the places"
        )
        yield Fault(scenario.file, f"{left.key}.name", left.name, remedy)


def built_in(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """A loudspeaker in the plane of a surface is judged as built into it."""
    points = np.array([section.at for section in scenario.speakers])
    near = names_near(points, room.surfaces, BUILT_IN)
    for section, names in zip(scenario.speakers, near, strict=True):
        if names:
            remedy = (
                f"is judged as built into {' and '.join(names)}, flush with it: no reflection by "
                "it is looked for; else give the acoustic centre in front of it"
            )
            yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)


def doors_in_walls(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """A door stands on the floor, in a wall."""
    surfaces = {surface.name: surface for surface in room.surfaces}
    for section in scenario.areas:
        surface = surfaces.get(section.surface)
        if surface is None or section.kind not in ("door", "closet"):
            continue
        if not surface.is_wall:
            remedy = f"a {section.kind} there is a hatch at most; is another surface meant?"
            yield Fault(scenario.file, f"{section.key}.surface", section.surface, remedy)
        elif section.kind == "door" and section.at[1] > sane.DOOR_SILL:
            remedy = (
                f"the door starts {section.at[1]:g} m above the floor; the second number counts "
                "up from the floor"
            )
            yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)


def furniture_stands(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Furniture stands on the floor or on other furniture, or hangs on a wall."""
    corners = np.concatenate([s.plane.to_xyz(s.plane.polygon) for s in room.surfaces])
    floor = float(corners[:, 2].min())
    for section in scenario.furniture:
        height = section.at[2] - floor
        if section.kind not in _STANDING or height <= sane.FLOATING:
            continue
        if _held(section, scenario) or (section.kind in _AT_A_WALL and _at_wall(section, room)):
            continue
        remedy = f"stands {height:g} m above the floor with nothing below it; is that meant?"
        yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)


def _held(section: FurnitureSection, scenario: Scenario) -> bool:
    """True when a piece of furniture ends just below it."""
    own = _box(section)
    below = np.array([[*own[0, :2], own[0, 2] - sane.FLOATING], [*own[1, :2], own[0, 2]]])
    others = [s for s in scenario.furniture if s is not section]
    return any(boxes_overlap(below[None], _box(s))[0] for s in others)


def _at_wall(section: FurnitureSection, room: Room) -> bool:
    corners = np.array(np.meshgrid(*_box(section).T)).reshape(3, -1).T
    walls = [surface.plane for surface in room.surfaces if surface.is_wall]
    return any(np.abs(plane.height_over(corners)).min() <= sane.FLOATING for plane in walls)


def doors_open(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Furniture leaves a way through every door."""
    sections = {s.key: s for s in scenario.furniture if s.kind != "person"}
    for surface in room.surfaces:
        plane = surface.plane
        for area in surface.areas:
            if area.kind not in ("door", "opening") or not surface.is_wall:
                continue
            u0, v0, u1, v1 = area.rect
            face = plane.to_xyz(np.array([[u0, v0], [u1, v1]]))
            ends = np.concatenate([face, face + sane.IN_FRONT_OF_DOOR * plane.normal])
            before = np.stack([ends.min(axis=0), ends.max(axis=0)])
            for key, section in sections.items():
                box = _box(section)
                if boxes_overlap(before[None], box, sane.FLOATING)[0] and not _way_by(before, box):
                    remedy = (
                        f'stands in front of the {area.kind} on {surface.name} ("{area.name}"); '
                        "keep the way out clear"
                    )
                    yield Fault(scenario.file, f"{key}.at", section.at, remedy)


def _way_by(before: Floats, box: Floats) -> bool:
    """True where enough of a door's width stays free beside furniture that stands before it."""
    along = int(np.argmax(before[1, :2] - before[0, :2]))
    beside = max(box[0, along] - before[0, along], before[1, along] - box[1, along])
    return bool(beside >= sane.WAY_THROUGH)


def targets_worth_asking(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Own decay limits ask for something."""
    for key in ("decay_low", "decay_high"):
        values = getattr(scenario.targets, key)
        if values is not None and max(values) > sane.LONG_TARGET:
            remedy = (
                f"a decay above {sane.LONG_TARGET:g} s is a church's, not a listening room's; are "
                "these seconds?"
            )
            yield Fault(scenario.file, f"targets.{key}", max(values), remedy)


def skirting_is_low(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """A skirting is a hand high; pieces on walls begin above it."""
    height = scenario.room.skirting
    if height > sane.HIGH_SKIRTING:
        remedy = f"no piece hangs on a wall below {height:g} m; is the skirting as high as that?"
        yield Fault(scenario.file, "room.skirting", height, remedy)


def _box(section: FurnitureSection) -> Floats:
    return np.array([section.at, np.add(section.at, section.size)])


UNLIKELY = (
    speakers_before_the_listener,
    sides_as_named,
    built_in,
    doors_in_walls,
    furniture_stands,
    doors_open,
    targets_worth_asking,
    skirting_is_low,
)
