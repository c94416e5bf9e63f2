"""Surfaces as they are seen: which way round they are drawn, and what they meet at their edges.

A face has drawn coordinates (a, b) in metres: a to the right, b upwards on paper. Walls and
sloped ceilings are seen square-on from inside the room. Level surfaces are drawn like a floor
plan, the front wall at the top and the left wall on the left, ceilings too (reflected).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from optimizer.results.words import surface_in_words
from optimizer.room.geometry import LEVEL, Floats, Rect
from optimizer.room.model import Room, Surface

MEETS = 2e-3  # metres within which two surfaces meet
PLAN = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])  # room coordinates to drawn ones, seen in plan
SIDES = ("left", "right", "bottom", "top")


@dataclass(frozen=True)
class Face:
    """A surface as drawn. `axes` (2, 3) turns room coordinates into drawn ones."""

    surface: Surface
    axes: Floats
    outline: Floats  # (K, 2) in drawn coordinates

    def drawn(self, points: Floats) -> Floats:
        """Drawn coordinates (..., 2) of room points (..., 3)."""
        return np.asarray(points @ self.axes.T)

    def rect(self, rect: Rect) -> Rect:
        """A rectangle of the surface in drawn coordinates: a0, b0, a1, b1."""
        corners = self.surface.plane.to_xyz(np.array(rect).reshape(2, 2))
        return bounds(self.drawn(corners))

    @cached_property
    def bounds(self) -> Rect:
        """Smallest drawn rectangle around the outline."""
        return bounds(self.outline)


def bounds(points: Floats) -> Rect:
    """a0, b0, a1, b1 around points (N, 2)."""
    (a0, b0), (a1, b1) = points.min(axis=0), points.max(axis=0)
    return float(a0), float(b0), float(a1), float(b1)


def is_level(surface: Surface) -> bool:
    """True for floors and ceilings that are not sloped."""
    return bool(abs(surface.plane.normal[2]) > LEVEL)


def face_of(surface: Surface) -> Face:
    """The surface as it is drawn by itself."""
    plane = surface.plane
    square_on = np.stack([np.cross(-plane.normal, plane.v), plane.v])
    axes = PLAN if is_level(surface) else square_on
    return Face(surface, axes, plane.to_xyz(plane.polygon) @ axes.T)


def looking_at(surface: Surface) -> str:
    """A surface in a sentence: the left wall, or the name a person gave it in quotes."""
    name = surface_in_words(surface)
    own = name == surface.name and name not in ("floor", "ceiling")
    return f'"{name}"' if own else f"the {name}"


def neighbours(face: Face, room: Room) -> dict[str, str]:
    """Which surface each side of a face meets, by "left", "right", "bottom", "top"."""
    found = {}
    for side, middle in _edge_middles(face).items():
        touching = [s for s in room.surfaces if s.name != face.surface.name and _touches(s, middle)]
        if touching:
            found[side] = surface_in_words(touching[0])
    return found


def _edge_middles(face: Face) -> dict[str, Floats]:
    """Middle (3,) of the outermost edge on each side that has one along it."""
    outline, plane = face.outline, face.surface.plane
    corners = plane.to_xyz(plane.polygon)
    after = np.roll(outline, -1, axis=0)
    middles = {}
    for side, axis, pick in (("left", 0, 0), ("right", 0, 2), ("bottom", 1, 1), ("top", 1, 3)):
        wanted = face.bounds[pick]
        along = (np.abs(outline[:, axis] - wanted) < MEETS) & (
            np.abs(after[:, axis] - wanted) < MEETS
        )
        if along.any():
            i = int(np.flatnonzero(along)[0])
            middles[side] = (corners[i] + corners[(i + 1) % len(corners)]) / 2
    return middles


def _touches(surface: Surface, point: Floats) -> bool:
    plane = surface.plane
    if abs(float(plane.height_over(point))) > MEETS:
        return False
    return bool(shapely.Polygon(plane.polygon).distance(shapely.Point(plane.to_uv(point))) <= MEETS)


def foot_of(face: Face, room: Room) -> float:
    """Drawn height from which pieces of a wall are measured: the floor below an upright wall.

    A sloped surface, or a wall that stands on a raised floor, is measured from its lower edge.
    """
    lower = face.bounds[1]
    if abs(face.surface.plane.normal[2]) > 1e-3:
        return lower
    floors = [s.plane.to_xyz(s.plane.polygon)[:, 2] for s in room.surfaces if s.is_floor]
    if not floors or any(np.abs(z - lower).min() < MEETS for z in floors):
        return lower
    return float(min(z.min() for z in floors))


def footprint(room: Room) -> shapely.Polygon | shapely.MultiPolygon:
    """The room from above, in drawn coordinates."""
    return outline_of([s for s in room.surfaces if s.is_floor])


def outline_of(surfaces: list[Surface]) -> shapely.Polygon | shapely.MultiPolygon:
    """Surfaces from above as one shape in drawn coordinates, seams between them gone."""
    shapes = [shapely.Polygon(s.plane.to_xyz(s.plane.polygon) @ PLAN.T) for s in surfaces]
    grown = shapely.union_all([s.buffer(1e-6, join_style="mitre") for s in shapes])
    return grown.buffer(-1e-6, join_style="mitre").simplify(1e-5)
