"""Where sound is made to hear a room's decay: places that no loudspeaker decides.

ISO 3382-2:2008, 4.3 and table 1, asks for at least two source positions (engineering method). The
two loudspeakers of a set-up stand mirrored and so count for one; and a decay that hangs on them
would change whenever they are moved. Two places are taken from the room's shape instead: one in a
corner of the floor, which drives every mode (common practice), one on no plane of symmetry. Each
comes with its mirror image, so that a room and its mirror image decay alike. Furniture shifts a
place, loudspeakers, seats and treatment do not.
"""

import numpy as np
import shapely

from optimizer.acoustics.scene import Scene
from optimizer.room.geometry import DIGITS, Floats
from optimizer.room.shell import inside_many

CLEAR = 0.3  # metres from every surface and piece of furniture, where the room has such a place
CORNER = 0.4  # metres from floor and walls: corner fills with legs up to twice that stay behind it
INNER = np.array([0.62, 0.29, 0.55])  # of the room's extent; own choice, no node of a low mode
GRID = 0.25  # metres between the places tried instead
KNOWN = 16  # rooms whose places are kept
_known: dict[tuple[bytes, ...], Floats] = {}


def source_places(scene: Scene) -> Floats:
    """Places (2, 2, 3) in m: two pairs of corner and inner place, one the other's mirror image.

    The two of a pair stand on opposite sides. Where a wanted place is outside the room, or nearer
    than CLEAR to a surface or to furniture, the nearest that is clear stands for it, or the
    clearest of all.
    """
    shape = [(p.origin, p.u, p.v, p.normal, p.polygon) for p in scene.planes]
    room = tuple(part.tobytes() for parts in (*shape, (scene.object_box,)) for part in parts)
    places = _known.get(room)  # held here, since another thread may clear the rest
    if places is None:
        if len(_known) >= KNOWN:
            _known.clear()
        places = _known[room] = _places(scene)
    return places.copy()


def _places(scene: Scene) -> Floats:
    """`source_places`, looked for."""
    points = np.concatenate([plane.to_xyz(plane.polygon) for plane in scene.planes])
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    corner = np.minimum(CORNER, size / 3)
    return np.array(
        [
            [
                _nearest(scene, low, size, corner, flip),
                _nearest(scene, low, size, INNER * size, not flip),
            ]
            for flip in (False, True)
        ]
    )


def _nearest(scene: Scene, low: Floats, size: Floats, wanted: Floats, flip: bool) -> Floats:
    """The clear place nearest to one `wanted` (3,) m from the low corner, in y from the other side
    when `flip`."""
    at = _across(wanted[None], low, size, flip)
    if clearance(scene, at)[0] >= CLEAR:
        return np.asarray(np.round(at[0], DIGITS))
    counts = np.ceil(size / GRID).astype(int) | 1  # odd, so that the middle is among them
    steps = [(np.arange(count) + 0.5) / count for count in counts]
    tried = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 3) * size
    points = _across(tried, low, size, flip)
    clear = np.round(np.minimum(clearance(scene, points), CLEAR), DIGITS)
    away = np.round(np.linalg.norm(tried - wanted, axis=1), DIGITS)
    return np.asarray(np.round(points[np.lexsort((away, -clear))[0]], DIGITS))


def _across(inside: Floats, low: Floats, size: Floats, flip: bool) -> Floats:
    """Points (N, 3) of the room from those counted from its low corner, or the mirrored corner."""
    points = low + inside
    if flip:
        points[:, 1] = low[1] + size[1] - inside[:, 1]
    return np.asarray(points)


def clearance(scene: Scene, points: Floats) -> Floats:
    """Metres (N,) from points (N, 3) to the nearest surface or furniture; below 0 where outside the
    room or within furniture."""
    near = np.full(len(points), np.inf)
    for plane in scene.planes:
        off = shapely.distance(shapely.Polygon(plane.polygon), shapely.points(plane.to_uv(points)))
        near = np.minimum(near, np.hypot(off, plane.height_over(points)))
    near = np.where(inside_many(points, list(scene.planes)), near, -near)
    for box in scene.object_box:
        beyond = np.maximum(box[0] - points, points - box[1])
        gap = np.linalg.norm(np.maximum(beyond, 0.0), axis=1) + np.minimum(beyond.max(axis=1), 0.0)
        near = np.minimum(near, gap)
    return near
