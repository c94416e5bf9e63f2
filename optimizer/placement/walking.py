"""Where people walk, and which pieces would be in the way of their heads there.

Walking space is the floor without the furniture (chairs move, so they do not count), without strips
too narrow for a person and without what a slope makes too low to stand in. Over it nothing hangs
below the headroom, and no piece between knee and headroom sticks out far: a head meets it before a
foot does. Over a bed, a desk or a cabinet a piece may hang lower.

Figures: headroom 2.03 m, objects on walls with lower edges between 0.685 and 2.03 m stick out at
most 0.10 m into a way (ADA Standards 2010, 307.2 and 307.4); below 1.52 m a ceiling leaves no room
to stand (IRC R305.1).
"""

from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from optimizer.room.geometry import Floats, Plane
from optimizer.room.model import Room

Mask = NDArray[np.bool_]

KNEE = 0.685  # m; what begins lower is met by a foot or a stick before the head
STOOP = 1.524  # m; under a lower ceiling nobody walks upright
NARROW = 0.5  # m; strips of floor narrower than a person are no way (common practice, no source)
SITTING = 0.95  # m above what one sits or lies on that stays free (P95 sitting height, from memory)
MOVABLE = ("person", "chair")
SAT_ON = ("bed", "sofa", "armchair")
SPECK = 1e-3  # m2 over walking space that do not count
_EDGES = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [4, 5], [5, 6], [6, 7], [7, 4],
                   [0, 4], [1, 5], [2, 6], [3, 7]])  # fmt: skip


@lru_cache(maxsize=32)
def _walked(floor: bytes, taken: bytes) -> BaseGeometry:
    """Walking space of a floor (WKB) without what takes it, strips too narrow for a person left
    out."""
    free = shapely.from_wkb(floor).difference(shapely.from_wkb(taken))
    inner = free.buffer(-NARROW / 2, join_style="mitre")
    return inner.buffer(NARROW / 2, join_style="mitre").intersection(free)


def walking_space(room: Room) -> BaseGeometry:
    """Plan outline (x, y in m) of the floor on which people walk upright."""
    floor = shapely.union_all([_outline(s.plane) for s in room.surfaces if s.is_floor])
    taken = [
        shapely.box(*f.box[0, :2], *f.box[1, :2])
        for f in room.furniture
        if f.kind not in MOVABLE and f.box[0, 2] < STOOP
    ]
    taken += [_low_part(s.plane) for s in room.surfaces if not s.is_floor]
    walked: BaseGeometry = _walked(shapely.to_wkb(floor), shapely.to_wkb(shapely.union_all(taken)))
    return walked


def _outline(plane: Plane) -> BaseGeometry:
    return shapely.Polygon(plane.to_xyz(plane.polygon)[:, :2])


def _low_part(plane: Plane) -> BaseGeometry:
    """Plan outline of what lies under the part of a slope below STOOP; empty for upright walls."""
    if abs(float(plane.normal[2])) < 1e-6:
        return shapely.Polygon()
    corners = plane.to_xyz(plane.polygon)
    after = np.roll(corners, -1, axis=0)
    points = [corners[corners[:, 2] <= STOOP]]
    crossing = (corners[:, 2] - STOOP) * (after[:, 2] - STOOP) < 0
    share = (STOOP - corners[crossing, 2]) / (after[crossing, 2] - corners[crossing, 2])
    points.append(corners[crossing] + share[:, None] * (after[crossing] - corners[crossing]))
    hull = shapely.MultiPoint(np.concatenate(points)[:, :2]).convex_hull
    return hull if hull.geom_type == "Polygon" else shapely.Polygon()


def _plan_below(corners: Floats, height: float) -> NDArray[np.object_]:
    """Plan outlines (N,) of what of prisms (N, 8, 3) lies below a height, each in part."""
    start, end = corners[:, _EDGES[:, 0]], corners[:, _EDGES[:, 1]]
    rise = end[..., 2] - start[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (height - start[..., 2]) / rise
    crosses = (np.abs(rise) > 1e-9) & (share > 0.0) & (share < 1.0)
    cut = start + np.where(crosses, share, 0.0)[..., None] * (end - start)
    points = np.concatenate([corners, cut], axis=1)
    inside = np.concatenate([corners[..., 2] < height, crosses], axis=1)
    lowest = corners[np.arange(len(corners)), corners[..., 2].argmin(axis=1)]
    kept = np.where(inside[..., None], points, lowest[:, None])[..., :2]
    return np.asarray(shapely.convex_hull(shapely.multipoints(kept)))


def below_headroom(room: Room, corners: Floats, headroom: float) -> Mask:
    """Which prisms (N, 8, 3) hang below the headroom over walking space, or so low over a bed or
    a seat that one cannot sit up."""
    barred = np.zeros(len(corners), dtype=bool)
    low = np.flatnonzero(corners[..., 2].min(axis=1) < headroom - 1e-9)
    if not len(low):
        return barred
    plans = _plan_below(corners[low], headroom)
    barred[low] = shapely.area(shapely.intersection(plans, walking_space(room))) > SPECK
    for thing in room.furniture:
        if thing.kind in SAT_ON:
            needed = float(thing.box[1, 2]) + SITTING
            under = np.flatnonzero(corners[..., 2].min(axis=1) < min(needed, headroom) - 1e-9)
            seat = shapely.box(*thing.box[0, :2], *thing.box[1, :2])
            outlines = _plan_below(corners[under], needed)
            barred[under] |= shapely.area(shapely.intersection(outlines, seat)) > SPECK
    return barred


def at_the_head(room: Room, corners: Floats, headroom: float) -> Mask:
    """Which prisms (N, 8, 3) off walls begin between knee and headroom over walking space."""
    bottom = corners[..., 2].min(axis=1)
    between = np.flatnonzero((bottom > KNEE + 1e-9) & (bottom < headroom - 1e-9))
    found = np.zeros(len(corners), dtype=bool)
    if len(between):
        plans = _plan_below(corners[between], headroom)
        found[between] = shapely.area(shapely.intersection(plans, walking_space(room))) > SPECK
    return found
