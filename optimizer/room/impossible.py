"""What no room holds, though each key by itself can be read; one function per rule.

The thresholds are in sane.py. Rules in checks.py are about places and sizes that clash; these are
about things that cannot be what they are called.
"""

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from optimizer.faults import Fault
from optimizer.room import sane
from optimizer.room.flush import names_near
from optimizer.room.model import Room
from optimizer.room.scenario import Scenario
from optimizer.room.schema import AreaSection


def ears_off_surfaces(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """A head has room between the ears and every surface."""
    if not scenario.seats:
        return
    points = np.array([section.at for section in scenario.seats])
    near = names_near(points, room.surfaces, sane.NEAREST_EAR)
    for section, names in zip(scenario.seats, near, strict=True):
        if names:
            remedy = (
                f"is less than {100 * sane.NEAREST_EAR:g} cm from {' and '.join(names)}, where no "
                "head is; give the middle between the ears"
            )
            yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)


def areas_where_they_can_be(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """A rug does not lie on the ceiling, and a curtain does not hang on the floor."""
    surfaces = {surface.name: surface for surface in room.surfaces}
    for section in scenario.areas:
        surface = surfaces.get(section.surface)
        if surface is None:
            continue
        if section.kind == "rug" and surface.is_ceiling:
            remedy = "a rug cannot lie on a ceiling; put it on the floor, or call it a finish"
            yield Fault(scenario.file, f"{section.key}.surface", section.surface, remedy)
        if section.kind == "curtain" and surface.is_floor:
            remedy = "a curtain cannot hang on a floor; put it on a wall, or call it a rug"
            yield Fault(scenario.file, f"{section.key}.surface", section.surface, remedy)


def areas_once(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """The same area is not written twice (an area of another material lies on top)."""
    seen: dict[tuple[str, ...], list[AreaSection]] = {}
    for section in scenario.areas:
        alike = seen.setdefault((section.surface, section.kind, section.material), [])
        twin = next((s for s in alike if _same_place(s, section)), None)
        if twin is not None:
            remedy = f"is {twin.key} ({twin.kind}) once more in the same place; leave one out"
            yield Fault(scenario.file, f"{section.key}.at", section.at, remedy)
        else:
            alike.append(section)


def _same_place(first: AreaSection, second: AreaSection) -> bool:
    apart = np.subtract((*first.at, *first.size), (*second.at, *second.size))
    return bool(np.abs(apart).max() < sane.SAME_PLACE)


def people_of_a_size(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """A person is one person."""
    for section in scenario.furniture:
        volume = float(np.prod(section.size))
        if section.kind == "person" and volume > sane.LARGEST_PERSON:
            remedy = (
                f"is {volume:.3g} m3; the box around one person has at most "
                f"{sane.LARGEST_PERSON:g} m3, add each person by themselves"
            )
            yield Fault(scenario.file, f"{section.key}.size", section.size, remedy)


def drivers_fit_the_cabinet(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Woofer and tweeter are smaller than the cabinet."""
    speaker = scenario.loudspeaker
    for key in ("woofer_radius", "tweeter_radius"):
        radius = getattr(speaker, key)
        if radius >= speaker.cabinet_radius:
            remedy = f"is not below cabinet_radius ({speaker.cabinet_radius:g} m); correct one"
            yield Fault(scenario.file, f"loudspeaker.{key}", radius, remedy)


def people_once(scenario: Scenario, room: Room) -> Iterator[Fault]:
    """Two people or chairs do not share one place."""
    loose = [s for s in scenario.furniture if s.kind in ("person", "chair")]
    for first, second in combinations(loose, 2):
        apart = np.subtract((*first.at, *first.size), (*second.at, *second.size))
        if first.kind == second.kind and np.abs(apart).max() < sane.SAME_PLACE:
            remedy = f"is {first.key} ({first.kind}) once more in the same place; leave one out"
            yield Fault(scenario.file, f"{second.key}.at", second.at, remedy)


IMPOSSIBLE = (
    ears_off_surfaces,
    areas_where_they_can_be,
    areas_once,
    people_of_a_size,
    people_once,
    drivers_fit_the_cabinet,
)
