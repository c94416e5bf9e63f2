"""Loudspeakers built into a surface: flush with it, so that they radiate into half the space.

Sound of such a loudspeaker and what its surface returns are one and the same. Its acoustic centre
is put FLUSH in front of the surface, where all models take it, and no reflection by that surface
is looked for.
"""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from optimizer.room.geometry import DIGITS, Floats, Plane
from optimizer.room.model import Surface

FLUSH = 0.01  # m; a copy 2 cm later first cancels at 8.6 kHz, c / (2 * 2 cm)
BUILT_IN = FLUSH + 1e-5  # m; coordinates are kept to a micrometre


def near_surfaces(points: Floats, planes: Sequence[Plane], distance: float) -> NDArray[np.bool_]:
    """Which points (N, 3) lie within `distance` m of which surfaces (N, P), behind them too."""
    near = np.zeros((len(points), len(planes)), dtype=bool)
    for index, plane in enumerate(planes):
        outline = shapely.Polygon(plane.polygon)
        uv = plane.to_uv(points)
        beside = shapely.distance(outline, shapely.points(uv)) <= distance
        near[:, index] = beside & (np.abs(plane.height_over(points)) <= distance)
    return near


def flush_with(points: Floats, planes: Sequence[Plane]) -> NDArray[np.bool_]:
    """Which points (N, 3) are flush with which surfaces (N, P)."""
    return near_surfaces(points, planes, BUILT_IN)


def names_near(points: Floats, surfaces: Sequence[Surface], distance: float) -> list[list[str]]:
    """Names of the surfaces that each of points (N, 3) lies within `distance` m of."""
    near = near_surfaces(points, [surface.plane for surface in surfaces], distance)
    return [[s.name for s, at in zip(surfaces, row, strict=True) if at] for row in near]


def in_front(point: Floats, planes: Sequence[Plane]) -> Floats:
    """The point (3,), FLUSH in front of the surfaces it is flush with."""
    moved = np.array(point, dtype=float)
    for plane, flush in zip(planes, flush_with(moved[None], planes)[0], strict=True):
        if flush:
            moved += (FLUSH - float(plane.height_over(moved))) * plane.normal
    return np.round(moved, DIGITS)
