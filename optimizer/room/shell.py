"""The closed shell of a room from its planes: which side is inside, is it closed, how large."""

from collections import Counter
from itertools import product

import numpy as np
import shapely
from numpy.typing import NDArray

from optimizer.room.geometry import Floats, Plane, plane_from_corners

EDGE_DIGITS = 3  # corners within a millimetre are one corner
STICKS_OUT = 5e-3 + 1e-6  # m by which a box may stick out
RAY = np.array([0.5257311, 0.3027459, 0.7947019])  # a direction parallel to no usual wall


def facing_inwards(shell: dict[str, Floats]) -> dict[str, Plane]:
    """Planes of a closed shell, each with its normal towards the inside of the room.

    The side is found by the parity of crossings of a ray from just beside each plane, so rooms
    that are not convex (alcoves, L-shapes) are read as well. Raises ValueError with the name of
    the surface whose corners are not flat or not in order.
    """
    loose: dict[str, Plane] = {}
    for name, corners in shell.items():
        try:
            loose[name] = plane_from_corners(corners, np.array([1.0, 1.0, 1.0]))
        except ValueError as error:
            raise ValueError(f"{name}: {error}") from None
        if not shapely.Polygon(loose[name].polygon).is_valid:
            raise ValueError(f"{name}: the outline crosses itself; give the corners in order")
    sided: dict[str, Plane] = {}
    for name, plane in loose.items():
        point = plane.to_xyz(_inner_point(plane)) + 1e-4 * plane.normal
        inward = plane.normal if is_inside(point, list(loose.values())) else -plane.normal
        sided[name] = plane_from_corners(shell[name], inward)
    return sided


def _inner_point(plane: Plane) -> Floats:
    point = shapely.Polygon(plane.polygon).representative_point()
    return np.array([point.x, point.y])


def is_inside(point: Floats, planes: list[Plane]) -> bool:
    """True when `point` (3,) lies inside the closed shell."""
    return bool(inside_many(point[None], planes)[0])


def open_edges(shell: dict[str, Floats]) -> list[tuple[Floats, Floats]]:
    """Edges that do not belong to exactly two surfaces; an empty list when the shell is closed."""
    count: Counter[tuple[tuple[float, ...], ...]] = Counter()
    for corners in shell.values():
        ends = np.round(corners, EDGE_DIGITS) + 0.0
        for first, second in zip(ends, np.roll(ends, -1, axis=0), strict=True):
            count[tuple(sorted((tuple(first.tolist()), tuple(second.tolist()))))] += 1
    return [(np.array(a), np.array(b)) for (a, b), times in count.items() if times != 2]


def enclosed_volume(planes: list[Plane]) -> float:
    """Volume in cubic metres by the divergence theorem over inward-facing planes."""
    return float(sum(-(plane.origin @ plane.normal) * plane.area for plane in planes) / 3.0)


def inside_many(points: Floats, planes: list[Plane]) -> NDArray[np.bool_]:
    """Which points (N, 3) lie inside the closed shell, by parity of ray crossings."""
    crossings = np.zeros(len(points), dtype=np.int64)
    for plane in planes:
        slope = float(RAY @ plane.normal)
        if abs(slope) < 1e-12:
            continue
        distance = ((plane.origin - points) @ plane.normal) / slope
        uv = plane.to_uv(points + distance[:, None] * RAY)
        outline = shapely.Polygon(plane.polygon)
        shapely.prepare(outline)
        hit = (distance > 0) & shapely.intersects_xy(outline, uv[:, 0], uv[:, 1])
        crossings += hit
    return np.asarray(crossings % 2 == 1)


def boxes_within(boxes: Floats, planes: list[Plane]) -> NDArray[np.bool_]:
    """Which boxes (N, 2, 3) have all corners inside the closed shell (5 mm may stick out)."""
    inset = np.minimum(STICKS_OUT, (boxes[:, 1] - boxes[:, 0]) / 4)
    low, high = boxes[:, 0] + inset, boxes[:, 1] - inset
    ok = np.ones(len(boxes), dtype=bool)
    for far in product((False, True), repeat=3):
        ok &= inside_many(np.where(far, high, low), planes)
    return ok
