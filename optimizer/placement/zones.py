"""Where treatment may go: the free part of each surface and the space in front of it.

Blocked are openings and fittings of the surface (with the clearances below), furniture,
keep-clear boxes, the swing of doors, the listeners and the loudspeakers themselves.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from optimizer.room.geometry import DIGITS, Floats, Plane, boxes_overlap
from optimizer.room.model import Room, Surface
from optimizer.room.shell import inside_many

Mask = NDArray[np.bool_]

HEAD_HEIGHT = 2.0  # m; below it a deep piece takes walking space
DOOR_SWING = 0.9  # m kept clear in front of a door (common practice, no source)
CLEARANCE = {"detector": 0.5, "vent": 0.1, "heater": 0.3}  # m around (common practice, no source)
BODY = (0.30, 0.30, 0.25)  # half width, half depth, above the ears, m, of a seated listener
CABINET = 0.20  # m kept clear around a loudspeaker's acoustic centre
TOUCH = 1e-6


@dataclass(frozen=True)
class Spots:
    """N rectangles (N, 4) on one surface whose pieces reach from 0 to `reach` m off it, all or each
    (N,)."""

    surface: int
    rect: Floats
    reach: float | Floats


def prism_corners(plane: Plane, rect: Floats, reach: float | Floats, start: float = 0.0) -> Floats:
    """The eight corners (N, 8, 3) of rectangles (N, 4) raised from `start` to `reach` m, all or
    each (N,)."""
    face = plane.to_xyz(rect[:, [[0, 1], [2, 1], [2, 3], [0, 3]]])
    out = np.asarray(reach)[..., None, None] * plane.normal
    return np.concatenate([face + start * plane.normal, face + out], axis=1)


def bounding_boxes(corners: Floats) -> Floats:
    """Axis-aligned boxes (N, 2, 3) around corners (N, K, 3)."""
    low, high = corners.min(axis=1), corners.max(axis=1)
    return np.round(np.stack([low, high], axis=1), DIGITS)


@dataclass(frozen=True)
class Zones:
    """What is free in a room. `solid` (B, 2, 3) are boxes no piece may enter."""

    room: Room
    solid: Floats
    soft: Floats  # boxes only a rug may lie under: listeners, loudspeakers

    def free(self, spots: Spots, over: frozenset[str] = frozenset(), flat: bool = False) -> Mask:
        """Which spots (N,) are free; areas of a kind in `over` may be covered.

        `flat` pieces (rugs) may lie under listeners and loudspeakers.
        """
        surface = self.room.surfaces[spots.surface]
        inside = _on_polygon(surface.plane, spots.rect)
        inside &= ~covers_blocked(surface, spots.rect, over)
        index = np.flatnonzero(inside)
        reach = np.broadcast_to(spots.reach, len(spots.rect))[index]
        corners = prism_corners(surface.plane, spots.rect[index], reach)
        inside[index] &= self.inside_room(corners)
        boxes = bounding_boxes(corners)
        inside[index] &= self.clear_of_boxes(boxes, flat)
        return inside

    def inside_room(self, corners: Floats) -> Mask:
        """Which prisms (N, 8, 3) lie inside the room; in a box by bounds, else by their corners."""
        if self.room.dimensions is not None:
            high = np.array(self.room.dimensions)
            return np.asarray(np.all((corners > -TOUCH) & (corners < high + TOUCH), axis=(1, 2)))
        middle = corners.mean(axis=1, keepdims=True)
        pulled = corners + 1e-3 * (middle - corners)  # off the surfaces they touch
        points = np.concatenate([pulled, middle], axis=1)
        planes = [surface.plane for surface in self.room.surfaces]
        return np.asarray(inside_many(points.reshape(-1, 3), planes).reshape(-1, 9).all(axis=1))

    def clear_of_boxes(self, boxes: Floats, flat: bool = False) -> Mask:
        """Which boxes (N, 2, 3) meet no solid one and, unless `flat`, no soft one either."""
        clear = np.ones(len(boxes), dtype=bool)
        for box in self.solid if flat else np.concatenate([self.solid, self.soft]):
            clear &= ~boxes_overlap(boxes, box)
        return clear


def zones_of(room: Room) -> Zones:
    """The zones of a room."""
    solid = [f.box for f in room.furniture]
    solid += [k.box for k in room.keep_clear]
    solid += [box for surface in room.surfaces for box in _door_swings(surface)]
    width, depth, above = BODY
    soft: list[Any] = []
    for seat in room.seats:
        x, y, z = seat.at
        soft.append([[x - depth, y - width, 0.05], [x + depth, y + width, z + above]])
    soft += [[s.at - CABINET, s.at + CABINET] for s in room.speakers]
    return Zones(room, np.array(solid).reshape(-1, 2, 3), np.array(soft).reshape(-1, 2, 3))


def _door_swings(surface: Surface) -> list[Floats]:
    doors = [a.rect for a in surface.areas if a.kind in ("door", "opening")]
    if not doors:
        return []
    return list(bounding_boxes(prism_corners(surface.plane, np.array(doors), DOOR_SWING)))


def _on_polygon(plane: Plane, rect: Floats) -> Mask:
    u0, v0, u1, v1 = plane.bounds
    fits = (rect[:, 0] > u0 - TOUCH) & (rect[:, 1] > v0 - TOUCH)
    fits &= (rect[:, 2] < u1 + TOUCH) & (rect[:, 3] < v1 + TOUCH)
    if not plane.is_rectangle:
        outline = shapely.Polygon(plane.polygon).buffer(1e-4, join_style="mitre")
        shapely.prepare(outline)
        fits &= shapely.covers(outline, shapely.box(*rect.T))
    return np.asarray(fits)


def covers_blocked(surface: Surface, rect: Floats, over: frozenset[str]) -> Mask:
    """Which rectangles (N, 4) cover an area that must stay free, kinds in `over` left out."""
    covered = np.zeros(len(rect), dtype=bool)
    for area in surface.areas:
        if not area.blocks or area.kind in over:
            continue
        margin = CLEARANCE.get(area.kind, 0.0)
        u0, v0, u1, v1 = np.array(area.rect) + margin * np.array([-1, -1, 1, 1])
        apart = (rect[:, 0] >= u1 - TOUCH) | (rect[:, 2] <= u0 + TOUCH)
        apart |= (rect[:, 1] >= v1 - TOUCH) | (rect[:, 3] <= v0 + TOUCH)
        covered |= ~apart
    return covered
