"""Rules a room file must keep that need more than one of its keys; one function per rule.

Each rule yields faults and none depends on another, so all are told at once.
"""

import re
from collections.abc import Callable, Iterator
from itertools import combinations
from typing import get_args

import numpy as np
import shapely

from optimizer.faults import Fault
from optimizer.room.flush import in_front
from optimizer.room.geometry import Floats, Rect, boxes_overlap
from optimizer.room.impossible import IMPOSSIBLE
from optimizer.room.model import Room
from optimizer.room.scenario import Scenario
from optimizer.room.schema import (
    FurnitureSection,
    KeepClearSection,
    Mounting,
    SeatSection,
    SpeakerSection,
)
from optimizer.room.shell import boxes_within, is_inside

Rule = Callable[[Scenario, Room], Iterator[Fault]]
EURO_CLASS = re.compile(r"(A1|A2|B|C|D|E|F)(?:fl)?(?:-s([123]))?(?:,? ?d([012]))?$")
NEAREST_TO_EARS = 0.3  # metres between a speaker and a seat


def check_room(scenario: Scenario, room: Room) -> list[Fault]:
    """Faults of every rule, in the order of RULES."""
    return [fault for rule in RULES for fault in rule(scenario, room)]


def two_speakers(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Exactly two loudspeakers, left and right, apart from each other."""
    count = len(scenario.speakers)
    if count != 2:
        remedy = f"{count} usable loudspeakers; give exactly two [[speakers]]"
        yield Fault(scenario.file, "speakers", None, remedy)
    elif abs(room.speakers[0].at[1] - room.speakers[1].at[1]) < 0.2:
        remedy = "the two stand less than 0.2 m apart from left to right (y); move them apart"
        yield Fault(scenario.file, "speakers", None, remedy)


def at_least_one_seat(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """At least one seat, the mix position first."""
    if not scenario.seats:
        remedy = "no usable seat; give at least one [[seats]], the mix position first"
        yield Fault(scenario.file, "seats", None, remedy)


def names_differ(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Speakers and seats have names of their own."""
    groups: tuple[tuple[SpeakerSection | SeatSection, ...], ...]
    groups = (scenario.speakers, scenario.seats)
    for group in groups:
        seen: set[str] = set()
        for section in group:
            if section.name in seen:
                yield Fault(
                    scenario.file, f"{section.key}.name", section.name, "is used twice; rename one"
                )
            seen.add(section.name)


def points_inside(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Speakers and seats stand inside the room."""
    planes = [surface.plane for surface in room.surfaces]
    for section in _points(scenario):
        at = np.array(section.at)
        if isinstance(section, SpeakerSection):
            at = in_front(at, planes)  # one that is built in lies in the plane of a surface
        if not is_inside(at, planes):
            remedy = f"lies outside the room ({_extent(room)}); move it inside"
            yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)


def ears_apart_from_speakers(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """No seat at a loudspeaker."""
    for seat in scenario.seats:
        for speaker in scenario.speakers:
            if np.linalg.norm(np.subtract(seat.at, speaker.at)) < NEAREST_TO_EARS:
                remedy = f'is less than {NEAREST_TO_EARS} m from speaker "{speaker.name}"; move it'
                yield Fault(scenario.file, f"{seat.key}.at", seat.at, remedy)


def aims_elsewhere(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """A loudspeaker is aimed at a point away from itself."""
    for section in scenario.speakers:
        if section.aim is not None and np.linalg.norm(np.subtract(section.aim, section.at)) < 0.01:
            remedy = "is where the speaker stands; aim it at the ears, or leave aim out"
            yield Fault(scenario.file, f"{section.key}.aim", section.aim, remedy)


def points_not_in_furniture(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """No loudspeaker or ear inside a piece of furniture (sitting on one is above it)."""
    for section in _points(scenario):
        at = np.array(section.at)
        for piece in room.furniture:
            if piece.kind != "person" and np.all(at > piece.box[0]) and np.all(at < piece.box[1]):
                remedy = f'lies inside the furniture "{piece.name}"; move one of them'
                yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)


def boxes_inside(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Furniture and keep-clear boxes lie inside the room (5 mm may stick out)."""
    low, high = _bounds(room)
    boxes = np.array([(f.at, np.add(f.at, f.size)) for f in scenario.furniture])
    fits = boxes_within(boxes.reshape(-1, 2, 3), [surface.plane for surface in room.surfaces])
    sections: tuple[FurnitureSection | KeepClearSection, ...]
    sections = (*scenario.furniture, *scenario.limits.keep_clear)
    for index, section in enumerate(sections):
        key = section.key or f"limits.keep_clear[{index - len(scenario.furniture)}]"
        start = np.array(section.at)
        end = start + np.array(section.size)
        if np.any(start < low - 5e-3) or np.any(end > high + 5e-3):
            remedy = f"with its size reaches outside the room ({_extent(room)}); move or shrink it"
            yield Fault(scenario.file, f"{key}.at", section.at, remedy)
        elif isinstance(section, FurnitureSection) and not fits[index]:
            remedy = "with its size reaches through a wall or a slope; move or shrink it"
            yield Fault(scenario.file, f"{key}.at", section.at, remedy)


def areas_inside(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Areas lie on their surface."""
    planes = {surface.name: surface.plane for surface in room.surfaces}
    for section in scenario.areas:
        plane = planes.get(section.surface)
        if plane is None:
            continue
        rect = _rect(section.at, section.size)
        polygon = shapely.Polygon(plane.polygon).buffer(5e-3, join_style="mitre")
        if not polygon.covers(shapely.box(*rect)):
            u, v = plane.bounds[2:]
            remedy = (
                f'reaches outside surface "{section.surface}" ({u:g} x {v:g} m); move or shrink'
            )
            yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)


def openings_apart(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Windows, doors and the like do not overlap on one surface; a curtain may hang over them."""
    solid = [a for a in scenario.areas if a.kind not in ("finish", "curtain", "rug")]
    for first, second in combinations(solid, 2):
        if first.surface != second.surface:
            continue
        a, b = _rect(first.at, first.size), _rect(second.at, second.size)
        if shapely.box(*a).intersection(shapely.box(*b)).area > 1e-6:
            remedy = f"overlaps {first.key} ({first.kind}) on {first.surface}; move one of them"
            yield Fault(scenario.file, f"{second.key}.at", second.at, remedy)


def furniture_apart(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Two pieces of furniture do not share space (people sit on chairs and sofas)."""
    loose = ("person", "chair")
    solid = [s for s in scenario.furniture if s.kind not in loose]
    boxes = [np.array([s.at, np.add(s.at, s.size)]) for s in solid]
    for (i, first), (j, second) in combinations(enumerate(solid), 2):
        if boxes_overlap(boxes[i][None], boxes[j], 5e-3)[0]:
            remedy = f"shares space with {first.key} ({first.name or first.kind}); move one of them"
            yield Fault(scenario.file, f"{second.key}.at", second.at, remedy)


def targets_possible(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Own decay limits are above zero, and the lower one below the upper."""
    targets = scenario.targets
    for key in ("decay_low", "decay_high"):
        values = getattr(targets, key)
        if values is not None and min(values) < (0.05 if key == "decay_high" else 0.0):
            remedy = "holds a decay no room reaches; give seconds such as 0.25"
            yield Fault(scenario.file, f"targets.{key}", min(values), remedy)
    low, high = targets.decay_low, targets.decay_high
    if low is not None and high is not None and any(a >= b for a, b in zip(low, high, strict=True)):
        remedy = "a lower limit is not below decay_high of the same band; correct it"
        yield Fault(scenario.file, "targets.decay_low", None, remedy)


def limits_possible(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Limits that leave something to do, and a fire class that exists."""
    limits, file = scenario.limits, scenario.file
    height = _bounds(room)[1][2]
    if limits.headroom >= height:
        remedy = f"is not below the room's height ({height:g} m); nothing could hang over the way"
        yield Fault(file, "limits.headroom", limits.headroom, remedy)
    if limits.fire_class is not None and not EURO_CLASS.match(limits.fire_class):
        remedy = 'is no class of EN 13501-1; write it like "B-s1,d0"'
        yield Fault(file, "limits.fire_class", limits.fire_class, remedy)
    if set(limits.no_mountings) == set(get_args(Mounting)):
        remedy = "forbids every way to mount a piece; allow at least one"
        yield Fault(file, "limits.no_mountings", None, remedy)


def weights_count(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """At least one group of criteria and one seat count."""
    if not any(scenario.weights.model_dump().values()):
        remedy = "every weight is zero; give at least one group a weight above zero"
        yield Fault(scenario.file, "weights", None, remedy)
    if room.seats and not any(seat.weight for seat in room.seats):
        remedy = "every seat has weight zero; give at least one a weight above zero"
        yield Fault(scenario.file, "seats", None, remedy)


RULES: tuple[Rule, ...] = (
    two_speakers,
    at_least_one_seat,
    names_differ,
    points_inside,
    ears_apart_from_speakers,
    aims_elsewhere,
    points_not_in_furniture,
    boxes_inside,
    areas_inside,
    openings_apart,
    furniture_apart,
    targets_possible,
    limits_possible,
    weights_count,
    *IMPOSSIBLE,
)


def _points(scenario: Scenario) -> tuple[SpeakerSection | SeatSection, ...]:
    return (*scenario.speakers, *scenario.seats)


def _rect(at: tuple[float, float], size: tuple[float, float]) -> Rect:
    return at[0], at[1], at[0] + size[0], at[1] + size[1]


def _bounds(room: Room) -> tuple[Floats, Floats]:
    corners = np.concatenate([s.plane.to_xyz(s.plane.polygon) for s in room.surfaces])
    return corners.min(axis=0), corners.max(axis=0)


def _extent(room: Room) -> str:
    low, high = _bounds(room)
    return ", ".join(
        f"{axis} {a:g} to {b:g} m" for axis, a, b in zip("xyz", low, high, strict=True)
    )
