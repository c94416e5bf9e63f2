"""The same box room with another of its walls in front.

The axes of a room start at the wall that is faced, so to face another wall is to turn the room by
quarter turns about the vertical: what was the left wall becomes the front wall, and so on.
"""

from dataclasses import replace

import numpy as np

from optimizer.room.geometry import DIGITS, Floats, Plane, Rect, plane_from_corners
from optimizer.room.model import Area, Room, Surface

FACINGS = ("front", "left", "back", "right")  # by quarter turns
ORDER = ("front", "back", "left", "right", "floor", "ceiling")
_NEXT = {"left": "front", "front": "right", "right": "back", "back": "left"}


def quarter_turns(facing: str) -> int:
    """How many quarter turns bring the wall `facing` to the front; ValueError for no wall."""
    if facing not in FACINGS:
        raise ValueError(f"a listener faces one of {', '.join(FACINGS)}; not {facing!r}")
    return FACINGS.index(facing)


def new_name(name: str, facing: str) -> str:
    """What the surface `name` is called once the wall `facing` is the front wall."""
    for _ in range(quarter_turns(facing)):
        name = _NEXT.get(name, name)
    return name


def old_name(name: str, facing: str) -> str:
    """What the surface called `name` in the turned room is called in the room file."""
    back = {new: old for old, new in _NEXT.items()}
    for _ in range(quarter_turns(facing)):
        name = back.get(name, name)
    return name


def turned(room: Room, facing: str) -> Room:
    """The box room with the wall `facing` in front; the same points in turned coordinates.

    ValueError for a room that is no box.
    """
    if room.dimensions is None:
        raise ValueError("only a box room can be turned")
    for _ in range(quarter_turns(facing)):
        room = _quarter(room)
    return room


def turn_points(points: Floats, size: tuple[float, float], facing: str) -> Floats:
    """Room points (..., 3) in the turned room; `size` is length and width before turning."""
    along, across = size
    for _ in range(quarter_turns(facing)):
        points = _turn(points, along)
        along, across = across, along
    return points


def turn_back(points: Floats, size: tuple[float, float], facing: str) -> Floats:
    """Points (..., 3) of the turned room in the axes of the room file."""
    turns = quarter_turns(facing)
    here = size if turns % 2 == 0 else (size[1], size[0])
    return turn_points(points, here, FACINGS[-turns % 4])


def _turn(points: Floats, length: float) -> Floats:
    """One quarter turn: x' = y, y' = length - x."""
    moved = np.array(points, dtype=float)
    moved[..., 0] = points[..., 1]
    moved[..., 1] = np.round(length - points[..., 0], DIGITS) + 0.0
    return moved


def _turn_box(box: Floats, length: float) -> Floats:
    corners = _turn(box, length)
    return np.stack([corners.min(axis=0), corners.max(axis=0)])


def _quarter(room: Room) -> Room:
    assert room.dimensions is not None
    length, width, height = room.dimensions
    surfaces = {_NEXT.get(s.name, s.name): _turn_surface(s, length) for s in room.surfaces}
    return replace(
        room,
        surfaces=tuple(surfaces[name] for name in ORDER),
        furniture=tuple(replace(f, box=_turn_box(f.box, length)) for f in room.furniture),
        speakers=tuple(
            replace(s, at=_turn(s.at, length), aim=_turn(s.aim, length)) for s in room.speakers
        ),
        seats=tuple(replace(s, at=_turn(s.at, length)) for s in room.seats),
        keep_clear=tuple(replace(b, box=_turn_box(b.box, length)) for b in room.keep_clear),
        dimensions=(width, length, height),
    )


def _turn_surface(surface: Surface, length: float) -> Surface:
    plane = surface.plane
    corners = _turn(plane.to_xyz(plane.polygon), length)
    normal = np.array([plane.normal[1], -plane.normal[0], plane.normal[2]])
    image = plane_from_corners(corners, normal)
    image = plane_from_corners(corners[_order(image.polygon)], normal)
    areas = tuple(_turn_area(a, plane, image, length) for a in surface.areas)
    return Surface(_NEXT.get(surface.name, surface.name), image, surface.material, areas)


def _turn_area(area: Area, plane: Plane, image: Plane, length: float) -> Area:
    u0, v0, u1, v1 = area.rect
    corners = _turn(plane.to_xyz(np.array([[u0, v0], [u1, v1]])), length)
    uv = np.round(image.to_uv(corners), DIGITS) + 0.0
    low, high = uv.min(axis=0), uv.max(axis=0)
    rect: Rect = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    return replace(area, rect=rect)


def _order(polygon: Floats) -> list[int]:
    """Order of the corners (4, 2) of a rectangle as a room just read has them: from the one at the
    origin, along u first; so that a turned room equals its own file read back."""
    first = int(polygon.sum(axis=1).argmin())
    order = [(first + i) % len(polygon) for i in range(len(polygon))]
    along_v = polygon[order[1], 1] > polygon[order[-1], 1]
    return [order[0], *order[:0:-1]] if along_v else order
