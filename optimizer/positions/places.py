"""Where loudspeakers, a listener and what moves along may stand.

The figures are common practice, no source: an arm's length beside a person, room to push a chair
back, a cabinet's depth behind a loudspeaker, a door that can be opened, people not sitting in each
other's laps.
"""

from dataclasses import dataclass

import numpy as np

from optimizer.positions.moving import moved_box, movers
from optimizer.positions.set_ups import Bools, SetUps
from optimizer.room.geometry import Floats
from optimizer.room.model import Room
from optimizer.room.shell import boxes_within, inside_many
from optimizer.units import format_length

BEHIND = 0.6  # m, free behind the ears
BESIDE = 0.5  # m, free to either side of them
AHEAD = 0.3  # m, free in front of them
CABINET = 0.25  # m, from a loudspeaker's acoustic centre to anything to its sides and behind it
APART = 0.6  # m, from any seat or loudspeaker to another seat
LEAF = 1.0  # m, widest door leaf; a wider door has two leaves or slides up
PASSAGE = 0.6  # m, kept free in front of an opening
DOORS = ("door", "closet")


@dataclass(frozen=True)
class Taken:
    """Boxes (B, 2, 3) of a room that stay, as seen by someone who wants to stand there."""

    solid: Floats  # furniture that stays
    clear: Floats  # keep-clear boxes, swings of doors, passages


def taken(room: Room, along: tuple[int, ...]) -> Taken:
    """What stays in a room whose furniture `along` moves with the listener."""
    solid = [f.box for i, f in enumerate(room.furniture) if i not in along and f.kind != "person"]
    return Taken(_boxes(solid), _boxes([*(b.box for b in room.keep_clear), *swings(room)]))


def swings(room: Room) -> list[Floats]:
    """Boxes (2, 3) that doors, closets and openings need in front of them."""
    boxes = []
    for surface in room.surfaces:
        if not surface.is_wall:
            continue
        for area in surface.areas:
            u0, v0, u1, v1 = area.rect
            width = u1 - u0
            leaf = width if width <= LEAF else min(width / 2, LEAF)
            deep = leaf if area.kind in DOORS else PASSAGE if area.kind == "opening" else 0.0
            if deep:
                flat = surface.plane.to_xyz(np.array([[u0, v0], [u1, v1]]))
                corners = np.concatenate([flat, flat + deep * surface.plane.normal])
                boxes.append(np.stack([corners.min(axis=0), corners.max(axis=0)]))
    return boxes


def admissible(room: Room, home: Room, set_ups: SetUps) -> Bools:
    """Which set-ups (N,) can be stood and sat in.

    `room` is the room with the wall in front that they face, `home` the same as its file has it:
    what moves along keeps its place relative to the ears of `home`.
    """
    along = movers(home)
    there = taken(room, along)
    speakers, heads = set_ups.speakers, set_ups.heads
    ok = _inside(room, speakers.reshape(-1, 3), CABINET).reshape(-1, 2).all(axis=1)
    ok &= _inside(room, heads, 0.0)
    body = _around(heads, (AHEAD, BESIDE), (BEHIND, BESIDE), 0.4, 0.2)
    ok &= boxes_within(body, [s.plane for s in room.surfaces])
    ok &= ~_meet(body, there.solid) & ~_meet(body, there.clear)
    floor = [_around(speakers[:, s], (CABINET, CABINET), (CABINET, CABINET)) for s in (0, 1)]
    for box in floor:
        ok &= ~_meet(box, there.solid) & ~_meet(box, there.clear)
    for index in along:
        ok &= _mover_fits(room, home, index, heads, there)
    for seat in room.seats[1:]:
        for point in (speakers[:, 0], speakers[:, 1], heads):
            ok &= np.linalg.norm(point[:, :2] - seat.at[:2], axis=1) >= APART
    return ok & _in_sight(speakers, heads, there.solid)


def _mover_fits(room: Room, home: Room, index: int, heads: Floats, there: Taken) -> Bools:
    """Whether what moves along has room: inside, and not in other things or in keep-clear boxes."""
    item = home.furniture[index]
    before = home.seats[0].at
    boxes = np.array([moved_box(item.box, before, head) for head in heads]).reshape(-1, 2, 3)
    fits = boxes_within(boxes, [s.plane for s in room.surfaces])
    if item.kind in ("person", "chair"):
        return fits  # the space around the ears is theirs
    return fits & ~_meet(boxes, there.solid) & ~_meet(boxes, there.clear)


def _boxes(boxes: list[Floats]) -> Floats:
    return np.array(boxes).reshape(-1, 2, 3)


def _around(
    points: Floats,
    before: tuple[float, float],
    after: tuple[float, float],
    low: float = 0.0,
    above: float = 0.2,
) -> Floats:
    """Boxes (N, 2, 3) around points (N, 3): so far to the front and left, to the back and right,
    from height `low` to `above` the point."""
    start = np.stack([points[:, 0] - before[0], points[:, 1] - before[1],
                      np.full(len(points), low)], axis=1)  # fmt: skip
    end = np.stack([points[:, 0] + after[0], points[:, 1] + after[1], points[:, 2] + above], axis=1)
    return np.stack([start, end], axis=1)


def _meet(boxes: Floats, others: Floats) -> Bools:
    """Which boxes (N, 2, 3) share space with any of others (B, 2, 3)."""
    low = np.maximum(boxes[:, None, 0], others[None, :, 0])
    high = np.minimum(boxes[:, None, 1], others[None, :, 1])
    return np.asarray(np.all(high - low > 1e-6, axis=2).any(axis=1))


def _inside(room: Room, points: Floats, margin: float) -> Bools:
    """Which points (N, 3) lie inside the room, and `margin` from its walls."""
    planes = [s.plane for s in room.surfaces]
    inside = inside_many(points, planes)
    for plane in (s.plane for s in room.surfaces if s.is_wall and margin > 0):
        inside &= _height(plane.origin, plane.normal, points, margin)
    return inside


def _height(origin: Floats, normal: Floats, points: Floats, margin: float) -> Bools:
    """Which points (N, 3) are in front of a plane by a margin, or well behind it (an alcove)."""
    height = (points - origin) @ normal
    return np.asarray((height >= margin - 1e-9) | (height < 0))


def _in_sight(speakers: Floats, heads: Floats, boxes: Floats) -> Bools:
    """Whether nothing solid stands between either loudspeaker and the ears."""
    clear = np.ones(len(heads), dtype=bool)
    for side in (0, 1):
        start = speakers[:, side, None]
        step = heads[:, None] - start
        step = np.where(np.abs(step) < 1e-12, 1e-12, step)
        first, second = (boxes[None, :, 0] - start) / step, (boxes[None, :, 1] - start) / step
        enter = np.minimum(first, second).max(axis=2)
        leave = np.maximum(first, second).min(axis=2)
        clear &= ~((enter < leave) & (enter < 1) & (leave > 0)).any(axis=1)
    return clear


def rules(units: str = "m") -> str:
    """What is kept free, in a sentence."""
    behind, beside, cabinet, leaf, apart = (
        format_length(x, units) for x in (BEHIND, BESIDE, CABINET, LEAF, APART)
    )
    return (
        f"Kept free: {behind} behind the ears, {beside} beside them; {cabinet} around a "
        f"loudspeaker; the swing of each door (leaves up to {leaf}); {apart} to other seats."
    )
