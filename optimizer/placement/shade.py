"""How much of a room's sound reaches a piece that furniture stands before.

A panel behind a bed, a sofa or a bookcase sees the room only past their edges. With e the share of
its directions (weighted by their cosine) that pass them, and a the absorption of what it faces
elsewhere, the sound on it is e (1 + (1 - e) (1 - a)) of that on an open wall: what passes, and what
the furniture's own back, lit no better, returns once. Below 500 Hz part of the rest bends round
(`BENT`). Set against the ray tracer and the wave equation in tests/evidence/shaded_panels.md.
"""

from collections.abc import Sequence

import numpy as np

from optimizer.acoustics.scene import object_area
from optimizer.bands import N_BANDS
from optimizer.placement.walking import MOVABLE
from optimizer.room.geometry import Floats
from optimizer.room.model import Furniture, Room

NEAR = 1.0  # m before a piece within which furniture counts as standing before it
TOUCH = 0.02  # m within which furniture stands at a wall or on the floor
BENT = np.array([1.0, 0.5, 0.25, 0.0, 0.0, 0.0, 0.0, 0.0])  # of what is kept off, by octave band
SIDE = 4  # points along each side of a face
ROUND, UP = 16, 10  # directions around the normal, and by their slope
MOST = 0.99
TOGETHER = 64  # faces that are looked at in one go


def shades(room: Room, faces: Floats, normals: Floats) -> Floats:
    """Share (N, 8) of an open wall's sound that reaches faces (N, 4, 3) looking along unit normals
    (N, 3)."""
    shade = np.ones((len(faces), N_BANDS))
    solid = [thing for thing in room.furniture if thing.kind not in MOVABLE]
    if not solid or not len(faces):
        return shade
    boxes = np.stack([thing.box for thing in solid])
    before = _stands_before(faces, normals, boxes)
    mirrored = np.stack([_with_images(room, box) for box in boxes])
    soaks = np.stack([_coefficient(thing) for thing in solid])
    lit = np.flatnonzero(before.any(axis=1))
    rows = np.concatenate([faces.reshape(-1, 12), normals, before], axis=1)[lit]
    _, first, alike = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    found = np.empty((len(first), N_BANDS))
    one = lit[first]
    keys = np.concatenate([normals, before], axis=1)[one]
    _, start, group = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    for number, begin in enumerate(start):  # faces that look one way, past the same things
        places, mine = np.flatnonzero(group.ravel() == number), np.flatnonzero(before[one[begin]])
        for some in np.array_split(places, -(-len(places) // TOGETHER)):
            hidden = _hidden(faces[one[some]], normals[one[begin]], mirrored[mine])
            open_ = 1.0 - hidden.sum(axis=1, keepdims=True)
            light = open_ * (1.0 + hidden @ (1.0 - soaks[mine]))
            found[some] = light + BENT * (1.0 - light)
    shade[lit] = found[alike.ravel()]
    return shade


def _stands_before(faces: Floats, normals: Floats, boxes: Floats) -> Floats:
    """Which boxes (B, 2, 3) reach into the space NEAR before faces and beside it: mask (N, B)."""
    low = np.minimum(faces, faces + NEAR * normals[:, None]).min(axis=1)
    high = np.maximum(faces, faces + NEAR * normals[:, None]).max(axis=1)
    meets = (boxes[None, :, 0] < high[:, None] - 1e-6) & (boxes[None, :, 1] > low[:, None] + 1e-6)
    return np.asarray(meets.all(axis=2))


def _with_images(room: Room, box: Floats) -> Floats:
    """The box joined with its images in the floor and the walls that it stands at: sound that
    would pass there is sent back."""
    grown = box.copy()
    size = box[1] - box[0]
    if box[0, 2] < TOUCH:
        grown[0, 2] -= size[2]
    if room.dimensions is not None:
        for axis, length in enumerate(room.dimensions[:2]):
            if box[0, axis] < TOUCH:
                grown[0, axis] -= size[axis]
            if box[1, axis] > length - TOUCH:
                grown[1, axis] += size[axis]
    return grown


def _coefficient(thing: Furniture) -> Floats:
    """Absorption coefficient (8,) of furniture over its faces off the floor."""
    dx, dy, dz = thing.box[1] - thing.box[0]
    return np.asarray(np.clip(object_area(thing) / (dx * dy + 2 * dz * (dx + dy)), 0.0, MOST))


def _directions(normal: Floats) -> Floats:
    """Directions (D, 3) about a normal, each standing for the same share by cosine."""
    rise = (np.arange(UP) + 0.5) / UP  # of sin^2 of the angle to the normal
    turn = 2 * np.pi * (np.arange(ROUND) + 0.5) / ROUND
    across = np.sqrt(rise)[:, None] * np.stack([np.cos(turn), np.sin(turn)])[:, None]
    helper = np.eye(3)[int(np.abs(normal).argmin())]
    first = np.cross(normal, helper)
    first /= np.linalg.norm(first)
    second = np.cross(normal, first)
    out = across[0][..., None] * first + across[1][..., None] * second
    return np.asarray((out + np.sqrt(1.0 - rise)[:, None, None] * normal).reshape(-1, 3))


def _hidden(faces: Floats, normal: Floats, boxes: Floats) -> Floats:
    """Share (N, B) of the directions of faces (N, 4, 3) that end on each box (B, 2, 3), the nearest
    first."""
    steps = (np.arange(SIDE) + 0.5) / SIDE
    u, v = ((faces[:, i] - faces[:, 0])[:, None, None] for i in (1, 3))
    points = faces[:, 0][:, None, None] + steps[:, None, None] * u + steps[None, :, None] * v
    points = points.reshape(len(faces), -1, 3) + 1e-3 * normal
    ways = _directions(normal)
    shape = (len(faces), points.shape[1], len(ways))
    nearest, which = np.full(shape, np.inf), np.zeros(shape, dtype=np.int64)
    for number, box in enumerate(boxes):
        reached = _reached(points, ways, box)
        closer = reached < nearest
        nearest[closer], which[closer] = reached[closer], number
    hit = np.isfinite(nearest)
    ends = [np.count_nonzero(hit & (which == number), axis=(1, 2)) for number in range(len(boxes))]
    return np.asarray(np.stack(ends, axis=1) / (shape[1] * shape[2]))


def _reached(points: Floats, ways: Floats, box: Floats) -> Floats:
    """How far off (N, Q, D) a box (2, 3) is from points (N, Q, 3) along ways (D, 3), inf where it
    is not met."""
    near, far = np.array(-np.inf), np.array(np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        for axis in range(3):
            one, other = ((box[k, axis] - points[..., axis, None]) / ways[:, axis] for k in (0, 1))
            near = np.maximum(near, np.minimum(one, other))
            far = np.minimum(far, np.maximum(one, other))
        return np.where((near <= far) & (far > 0.0), np.maximum(near, 0.0), np.inf)


def normals_of(room: Room, surfaces: Sequence[Sequence[str]]) -> Floats:
    """Unit normals (N, 3) of pieces on surfaces: that of the one, or between those of two."""
    each = {surface.name: surface.plane.normal for surface in room.surfaces}
    sums = np.array([np.sum([each[name] for name in names], axis=0) for names in surfaces])
    sums = sums.reshape(-1, 3)
    return np.asarray(sums / np.maximum(np.linalg.norm(sums, axis=1, keepdims=True), 1e-9))
