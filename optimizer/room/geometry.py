"""Flat surfaces of a room: a polygon in its own two axes, with an inward normal.

Axes of the room: origin at the front-left floor corner as the listener faces the speakers;
x from the front wall to the back, y from left to right, z up. Every surface has in-plane axes
chosen by one rule: on a wall u runs level (towards +x, or +y where x does not change) and v
upward; on a level floor or ceiling u is +x and v is +y.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rect = tuple[float, float, float, float]  # u0, v0, u1, v1 in metres

LEVEL = 0.999  # |normal_z| above this counts as level
FLAT_TOLERANCE = 1e-3  # metres a corner may lie off its plane
DIGITS = 6  # coordinates are kept to a micrometre, so that mirrored rooms are exact


@dataclass(frozen=True)
class Plane:
    """A planar polygon: `origin` (3,), axes `u` and `v` (3,), inward `normal`, `polygon` (K, 2)."""

    origin: Floats
    u: Floats
    v: Floats
    normal: Floats
    polygon: Floats

    def to_xyz(self, uv: Floats) -> Floats:
        """Room coordinates (..., 3) of in-plane points (..., 2)."""
        return self.origin + uv[..., :1] * self.u + uv[..., 1:] * self.v

    def to_uv(self, xyz: Floats) -> Floats:
        """In-plane coordinates (..., 2) of room points (..., 3), projected along the normal."""
        relative = xyz - self.origin
        return np.stack([relative @ self.u, relative @ self.v], axis=-1)

    def height_over(self, xyz: Floats) -> Floats:
        """Distance (...) of room points (..., 3) from the plane, positive inside the room."""
        return np.asarray((xyz - self.origin) @ self.normal)

    @cached_property
    def area(self) -> float:
        """Area of the polygon in square metres."""
        x, y = self.polygon.T
        return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)

    @cached_property
    def bounds(self) -> Rect:
        """Smallest rectangle around the polygon."""
        (u0, v0), (u1, v1) = self.polygon.min(axis=0), self.polygon.max(axis=0)
        return float(u0), float(v0), float(u1), float(v1)

    @cached_property
    def is_rectangle(self) -> bool:
        """True when the polygon fills its bounds."""
        u0, v0, u1, v1 = self.bounds
        return bool(abs((u1 - u0) * (v1 - v0) - self.area) < 1e-9)


def plane_from_corners(corners: Floats, facing: Floats) -> Plane:
    """The plane of corners (K, 3) given in order; its normal is on the side of `facing` (3,).

    Raises ValueError when the corners do not lie in one plane or span no area.
    """
    centre = corners.mean(axis=0)
    edges = np.roll(corners, -1, axis=0) - corners
    newell = np.cross(corners - centre, edges).sum(axis=0)
    length = np.linalg.norm(newell)
    if length < 1e-9:
        raise ValueError("the corners span no area; give them in order around the surface")
    normal = newell / length
    if np.abs((corners - centre) @ normal).max() > FLAT_TOLERANCE:
        raise ValueError("the corners do not lie in one plane; split the surface into flat ones")
    if facing @ normal < 0:
        normal = -normal
    u, v = _axes(normal)
    origin_uv = np.array([((corners @ axis).min()) for axis in (u, v)])
    origin = origin_uv[0] * u + origin_uv[1] * v + (centre @ normal) * normal
    polygon = np.stack([corners @ u - origin_uv[0], corners @ v - origin_uv[1]], axis=-1)
    return Plane(
        np.round(origin, DIGITS) + 0.0, u, v, normal + 0.0, np.round(polygon, DIGITS) + 0.0
    )


def _axes(normal: Floats) -> tuple[Floats, Floats]:
    if abs(normal[2]) > LEVEL:
        return np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    level = np.cross([0.0, 0.0, 1.0], normal)
    level /= np.linalg.norm(level)
    leading = level[0] if abs(level[0]) > 1e-9 else level[1]
    u = level if leading > 0 else -level
    up = np.cross(normal, u)
    v = up if up[2] > 0 else -up
    return u + 0.0, v + 0.0


def rects_overlap(one: Sequence[float], other: Sequence[float], least: float = 1e-6) -> bool:
    """Whether two rectangles (4,) of one surface share a part wider and higher than `least` m."""
    wide = min(one[2], other[2]) - max(one[0], other[0]) > least
    return wide and min(one[3], other[3]) - max(one[1], other[1]) > least


def boxes_overlap(boxes: Floats, box: Floats, tolerance: float = 1e-6) -> NDArray[np.bool_]:
    """Which axis-aligned boxes (N, 2, 3) share volume with one box (2, 3)."""
    low = np.maximum(boxes[:, 0], box[0])
    high = np.minimum(boxes[:, 1], box[1])
    return np.asarray(np.all(high - low > tolerance, axis=1))


def box_shell(length: float, width: float, height: float) -> dict[str, Floats]:
    """Corners (4, 3) of the six surfaces of a box room, by name."""
    x, y, z = length, width, height
    return {
        "front": np.array([[0, 0, 0], [0, y, 0], [0, y, z], [0, 0, z]], dtype=float),
        "back": np.array([[x, 0, 0], [x, y, 0], [x, y, z], [x, 0, z]], dtype=float),
        "left": np.array([[0, 0, 0], [x, 0, 0], [x, 0, z], [0, 0, z]], dtype=float),
        "right": np.array([[0, y, 0], [x, y, 0], [x, y, z], [0, y, z]], dtype=float),
        "floor": np.array([[0, 0, 0], [x, 0, 0], [x, y, 0], [0, y, 0]], dtype=float),
        "ceiling": np.array([[0, 0, z], [x, 0, z], [x, y, z], [0, y, z]], dtype=float),
    }
