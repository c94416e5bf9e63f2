"""Rules on places beside being free: those of [limits], each by its key, slots, and what can hold.

`RULES` names what each rule bars, so that places are found by them and the rule that stops a piece
can be told.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.placement.holding import NO_STRIPS_ON, POLE_LONGEST
from optimizer.placement.walking import MOVABLE, at_the_head, below_headroom
from optimizer.placement.zones import (
    HEAD_HEIGHT,
    Zones,
    bounding_boxes,
    covers_blocked,
    prism_corners,
)
from optimizer.room.geometry import Floats
from optimizer.room.model import Room, Surface
from optimizer.room.schema import LimitsSection

Mask = NDArray[np.bool_]
SLOT = 0.15  # m between a face and furniture; an arm reaches in, and a quarter of the sound


@dataclass(frozen=True)
class Spread:
    """N rectangles (N, 4) on a surface whose pieces reach from 0 to `reach` m off it, all or each
    (N,)."""

    surface: Surface
    rect: Floats
    reach: float | Floats

    @property
    def corners(self) -> Floats:
        """Corners (N, 8, 3) of the space the pieces take."""
        return prism_corners(self.surface.plane, self.rect, self.reach)


Rule = Callable[[Room, Spread, LimitsSection], Mask]


def too_deep(room: Room, spread: Spread, limits: LimitsSection) -> Mask:
    """Pieces off a wall below HEAD_HEIGHT that stand out more than the depth allowed."""
    deep = np.broadcast_to(spread.reach > limits.max_depth + 1e-9, len(spread.rect))
    if not spread.surface.is_wall or not deep.any():
        return np.zeros(len(spread.rect), dtype=bool)
    low = spread.surface.plane.to_xyz(spread.rect.reshape(-1, 2, 2))[..., 2].min(axis=1)
    return np.asarray(deep & (low < HEAD_HEIGHT - 1e-9))


def too_low(room: Room, spread: Spread, limits: LimitsSection) -> Mask:
    """Pieces overhead that leave less than the headroom where people walk or sit."""
    if not spread.surface.is_ceiling:
        return np.zeros(len(spread.rect), dtype=bool)
    return below_headroom(room, spread.corners, limits.headroom)


def at_head_height(room: Room, spread: Spread, limits: LimitsSection) -> Mask:
    """Pieces off a wall that stick out where a head passes by."""
    found = np.zeros(len(spread.rect), dtype=bool)
    if spread.surface.is_wall:
        deep = np.broadcast_to(spread.reach > limits.head_depth + 1e-9, len(found))
        found[deep] = at_the_head(room, spread.corners[deep], limits.headroom)
    return found


def in_a_slot(room: Room, spread: Spread, limits: LimitsSection) -> Mask:
    """Pieces off a wall that look, by more than half their face, into a slot behind furniture that
    is too narrow to reach into, and that little sound reaches."""
    found = np.zeros(len(spread.rect), dtype=bool)
    if not spread.surface.is_wall:
        return found
    plane, rect = spread.surface.plane, spread.rect
    hidden = np.zeros(len(rect))
    for thing in room.furniture:
        corners = thing.box[[0, 0, 0, 0, 1, 1, 1, 1], 0], thing.box[[0, 0, 1, 1, 0, 0, 1, 1], 1]
        points = np.stack([*corners, thing.box[[0, 1, 0, 1, 0, 1, 0, 1], 2]], axis=1)
        off = plane.height_over(points)
        before = (off.max() >= spread.reach) & (off.min() < spread.reach + SLOT)
        if thing.kind in MOVABLE or not np.any(before):
            continue
        uv = plane.to_uv(points)
        low, high = np.maximum(rect[:, :2], uv.min(axis=0)), np.minimum(rect[:, 2:], uv.max(axis=0))
        hidden += np.where(before, np.prod(np.maximum(high - low, 0.0), axis=1), 0.0)
    return np.asarray(hidden > 0.5 * np.prod(rect[:, 2:] - rect[:, :2], axis=1))


RULES: dict[str, Rule] = {
    "max_depth": too_deep,
    "headroom": too_low,
    "head_depth": at_head_height,
    "slot": in_a_slot,
}


def barred(room: Room, spread: Spread, limits: LimitsSection) -> Mask:
    """Which places any rule bars."""
    found = np.zeros(len(spread.rect), dtype=bool)
    for rule in RULES.values():
        found |= rule(room, spread, limits)
    return found


def holds(zones: Zones, spread: Spread, mounting: str) -> Mask:
    """Where strips or poles can hold: strips on smooth walls and not over a bed, poles between a
    level floor and ceiling with nothing in their way."""
    if mounting == "adhesive":
        return _strips_hold(zones.room, spread)
    if mounting == "pole":
        return _poles_hold(zones, spread)
    return np.ones(len(spread.rect), dtype=bool)


def _strips_hold(room: Room, spread: Spread) -> Mask:
    fine = not spread.surface.material.id.startswith(NO_STRIPS_ON)
    held = np.full(len(spread.rect), fine)
    boxes = bounding_boxes(spread.corners)
    for thing in room.furniture:
        if thing.kind == "bed":
            over = (boxes[:, 0, :2] < thing.box[1, :2]) & (boxes[:, 1, :2] > thing.box[0, :2])
            held &= ~over.all(axis=1)
    return held


def _poles_hold(zones: Zones, spread: Spread) -> Mask:
    surface, (_, v0, _, v1) = spread.surface, spread.surface.plane.bounds
    top = float(surface.plane.to_xyz(np.array([[0.0, v1]]))[0, 2])
    ceilings = [s.plane for s in zones.room.surfaces if s.is_ceiling]
    level = any(p.normal[2] < -0.999 and abs(float(p.origin[2]) - top) < 1e-3 for p in ceilings)
    if not (level and surface.plane.is_rectangle and v1 - v0 <= POLE_LONGEST):
        return np.zeros(len(spread.rect), dtype=bool)
    columns = spread.rect.copy()
    columns[:, [1, 3]] = v0, v1
    boxes = bounding_boxes(prism_corners(surface.plane, columns, spread.reach))
    passed = frozenset({"window", "curtain", "switch"})
    return np.asarray(zones.clear_of_boxes(boxes) & ~covers_blocked(surface, columns, passed))
