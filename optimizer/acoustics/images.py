"""First reflections by image sources on planar polygons.

Every reflector is a flat polygon with an inward normal: a wall, a piece of one, a sloped
ceiling, a desk top. Nothing here assumes a box-shaped room.

Source of the method: Allen and Berkley, JASA 65 (1979) 943 (image source in a rigid wall);
Borish, JASA 75 (1984) 1827 (visibility of images in rooms of any shape).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

SPEED_OF_SOUND = 343.0
_TOUCH = 1e-6  # metres: contact closer than this is grazing and blocks nothing


@dataclass(frozen=True)
class Reflectors:
    """P flat reflecting polygons; build with make_reflectors, which checks them."""

    origin: FloatArray  # (P, 3) m
    u: FloatArray  # (P, 3) unit, in the plane
    v: FloatArray  # (P, 3) unit, in the plane, square to u
    normal: FloatArray  # (P, 3) unit, towards the reflecting side
    outline: FloatArray  # (P, K, 2) corners in (u, v), m; short ones repeat their last corner
    carrier: IntArray  # (P,) obstacle box that carries the reflector, -1 if none

    def __len__(self) -> int:
        return len(self.origin)


@dataclass(frozen=True)
class Paths:
    """First-order reflections from S sources to R receivers by P reflectors.

    Geometry is given for every path; `valid` tells which of them exist.
    """

    image: FloatArray  # (S, P, 3) mirrored sources, m
    direct_m: FloatArray  # (S, R) length of the direct path
    direct_clear: BoolArray  # (S, R) nothing stands in the direct path
    direct_leave: FloatArray  # (S, R, 3) unit vector from source to receiver
    length_m: FloatArray  # (S, R, P) length of the reflected path
    delay_ms: FloatArray  # (S, R, P) after the direct sound
    spreading_db: FloatArray  # (S, R, P) 20 lg(direct / reflected), level before any absorption
    bounce: FloatArray  # (S, R, P, 3) where the path meets the plane, m
    bounce_uv: FloatArray  # (S, R, P, 2) the same in the reflector's (u, v), m
    leave: FloatArray  # (S, R, P, 3) unit vector from source to bounce point
    incidence_cos: FloatArray  # (S, R, P) cosine of the angle to the reflector's normal
    valid: BoolArray  # (S, R, P)


def make_reflectors(
    origin: ArrayLike,
    u: ArrayLike,
    v: ArrayLike,
    normal: ArrayLike,
    outlines: Sequence[ArrayLike],
    carrier: ArrayLike | None = None,
) -> Reflectors:
    """Reflectors from origins, axes and inward normals (P, 3) and P outlines (K_p, 2) in (u, v).

    The corners of an outline run in either sense. carrier (P,) is the index of the obstacle
    box whose face the reflector is (a desk top), -1 if none. ValueError unless u, v and normal
    are unit vectors square to each other and every outline has three corners and an area.
    """
    base = np.asarray(origin, dtype=np.float64)
    axes = np.stack([np.asarray(a, dtype=np.float64) for a in (u, v, normal)], axis=-2)
    count = len(outlines)
    if base.shape != (count, 3) or axes.shape != (count, 3, 3):
        raise ValueError("origin, u, v and normal must have shape (P, 3), P outlines")
    if not np.allclose(axes @ axes.swapaxes(-1, -2), np.eye(3), rtol=0, atol=1e-9):
        raise ValueError("u, v and normal must be unit vectors square to each other")
    corners = [_outline(outline) for outline in outlines]
    longest = max((len(c) for c in corners), default=3)
    padded = [np.pad(c, ((0, longest - len(c)), (0, 0)), mode="edge") for c in corners]
    owner = np.full(count, -1) if carrier is None else np.asarray(carrier, dtype=np.int64)
    if owner.shape != (count,):
        raise ValueError("carrier must name one box, or -1, per reflector")
    outline = np.array(padded).reshape(count, longest, 2)
    return Reflectors(base, axes[:, 0], axes[:, 1], axes[:, 2], outline, owner)


def first_reflections(
    sources: ArrayLike,
    receivers: ArrayLike,
    reflectors: Reflectors,
    obstacles: ArrayLike | None = None,
    c: float = SPEED_OF_SOUND,
) -> Paths:
    """First-order reflections from sources (S, 3) to receivers (R, 3), all lengths in metres.

    obstacles (B, 2, 3) are boxes along the axes, [least corner, greatest corner].
    A path is valid when source and receiver lie on the reflecting side, the bounce point lies
    inside the polygon, and neither leg meets an obstacle or crosses another reflector's
    polygon (a wall of an L-shaped room). Touching a face blocks nothing, nor does the box
    that carries the reflector, nor a box that holds the source or receiver itself, on their
    own leg. ValueError when a source and a receiver coincide, or shapes are wrong.
    """
    src, rec = _points(sources, "sources"), _points(receivers, "receivers")
    boxes = _boxes(obstacles)
    if np.any(reflectors.carrier >= len(boxes)):
        raise ValueError("a reflector names a carrying box that is not among the obstacles")
    towards = rec[None] - src[:, None]  # (S, R, 3)
    direct = np.linalg.norm(towards, axis=-1)
    if np.any(direct == 0):
        raise ValueError("a source and a receiver are at the same place")

    image, path, bounce, facing, sum_dist = _bounces(src, rec, reflectors)
    length = np.linalg.norm(path, axis=-1)
    uv = _on_plane(bounce, reflectors)
    valid = facing & inside_outline(uv, reflectors.outline)
    valid &= _legs_clear(src, rec, bounce, reflectors, boxes)

    out = bounce - src[:, None, None]
    out_length = np.linalg.norm(out, axis=-1, keepdims=True)
    with np.errstate(divide="ignore"):
        spreading = 20 * np.log10(direct[..., None] / length)
    return Paths(
        image=image,
        direct_m=direct,
        direct_clear=_direct_clear(src, rec, reflectors, boxes),
        direct_leave=towards / direct[..., None],
        length_m=length,
        delay_ms=1e3 * (length - direct[..., None]) / c,
        spreading_db=spreading,
        bounce=bounce,
        bounce_uv=uv,
        leave=out / np.where(out_length > 0, out_length, 1.0),
        incidence_cos=np.where(facing, sum_dist / np.where(length > 0, length, 1.0), 0.0),
        valid=valid,
    )


def bounce_uv(sources: ArrayLike, receivers: ArrayLike, reflectors: Reflectors) -> FloatArray:
    """Where first-order reflections meet the reflectors' planes (S, R, P, 2), as first_reflections
    has it, whether or not the paths exist."""
    src, rec = _points(sources, "sources"), _points(receivers, "receivers")
    _, _, bounce, _, _ = _bounces(src, rec, reflectors)
    return _on_plane(bounce, reflectors)


def boundary_notch(path_difference: ArrayLike, c: float = SPEED_OF_SOUND) -> FloatArray:
    """Lowest frequency in Hz that a copy arriving path_difference metres later cancels.

    f = c / (2 D), half a wavelength of detour; further nulls at its odd multiples. Close to a
    rigid wall at distance d behind the source D = 2 d and f = c / (4 d).
    """
    detour = np.asarray(path_difference, dtype=np.float64)
    if not np.all(detour > 0):
        raise ValueError("the path difference must be above zero")
    return np.asarray(c / (2 * detour))


def comb_extremes(level_db: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Peak and null in dB re direct sound when a copy at level_db (<= 0) is added to it.

    Pressure sums 20 lg(1 + g) and 20 lg(1 - g), g = 10^(level/20); the null of an equal copy
    is minus infinity.
    """
    level = np.asarray(level_db, dtype=np.float64)
    if not np.all(level <= 0):
        raise ValueError("the copy must not be louder than the direct sound")
    gain = 10.0 ** (level / 20)
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(1 + gain)), np.asarray(20 * np.log10(1 - gain))


def clear_between(
    start: FloatArray, end: FloatArray, reflectors: Reflectors, boxes: FloatArray
) -> BoolArray:
    """Segments (...) from `start` to `end` (..., 3) that meet no box (B, 2, 3) and no polygon.

    Touching blocks nothing, nor does a box that holds the start.
    """
    boxed = _meets_boxes(start, end, boxes).any(axis=-1)
    return np.asarray(~(boxed | _crosses_polygons(start, end, reflectors).any(axis=-1)))


def _bounces(
    src: FloatArray, rec: FloatArray, reflectors: Reflectors
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray, FloatArray]:
    """Mirrored sources (S, P, 3), paths from them and where these meet the planes (S, R, P, 3),
    whether both ends are in front, and the sum of their distances from the plane (S, R, P)."""
    src_dist = _distance(src, reflectors)  # (S, P)
    rec_dist = _distance(rec, reflectors)  # (R, P)
    image = src[:, None] - 2 * src_dist[..., None] * reflectors.normal  # (S, P, 3)
    path = rec[None, :, None] - image[:, None]  # (S, R, P, 3)
    facing = (src_dist[:, None] > _TOUCH) & (rec_dist[None] > _TOUCH)
    sum_dist = np.where(facing, src_dist[:, None] + rec_dist[None], 1.0)
    share = src_dist[:, None] / sum_dist  # of the path covered at the bounce point
    bounce = image[:, None] + share[..., None] * path
    return image, path, bounce, facing, sum_dist


def _on_plane(points: FloatArray, reflectors: Reflectors) -> FloatArray:
    """Points (..., P, 3) in the (u, v) of each reflector's plane (..., P, 2)."""
    relative = points - reflectors.origin
    return np.stack([_dot(relative, reflectors.u), _dot(relative, reflectors.v)], axis=-1)


def _legs_clear(
    src: FloatArray,
    rec: FloatArray,
    bounce: FloatArray,
    reflectors: Reflectors,
    boxes: FloatArray,
) -> BoolArray:
    """Paths (S, R, P) of which neither leg meets a box or another polygon."""
    shape = bounce.shape
    first = np.broadcast_to(src[:, None, None], shape)
    second = np.broadcast_to(rec[None, :, None], shape)
    start = np.stack([first, second])  # (2, S, R, P, 3): from the source, from the receiver
    end = np.broadcast_to(bounce, start.shape)
    carried = reflectors.carrier[:, None] == np.arange(len(boxes))  # (P, B)
    boxed = _meets_boxes(start, end, boxes) & ~carried
    # A leg ends on its own polygon, within _TOUCH, and so does not count as crossing it.
    crossed = _crosses_polygons(start, end, reflectors)
    blocked = boxed.any(axis=-1) | crossed.any(axis=-1)
    return np.asarray(~blocked.any(axis=0))


def sees(
    ends: ArrayLike, points: ArrayLike, reflectors: Reflectors, obstacles: ArrayLike | None = None
) -> BoolArray:
    """Whether each of ends (E, 3) sees each of points (Q, 3), (E, Q): no obstacle (B, 2, 3) and no
    reflector's polygon lies between, touching blocks nothing, nor does a box around the end."""
    eye, target = _points(ends, "ends"), _points(points, "points")
    shape = (len(eye), len(target), 3)
    start, end = np.broadcast_to(eye[:, None], shape), np.broadcast_to(target[None], shape)
    blocked = _meets_boxes(start, end, _boxes(obstacles)).any(axis=-1)
    return np.asarray(~(blocked | _crosses_polygons(start, end, reflectors).any(axis=-1)))


def _direct_clear(
    src: FloatArray, rec: FloatArray, reflectors: Reflectors, boxes: FloatArray
) -> BoolArray:
    shape = (len(src), len(rec), 3)
    start, end = np.broadcast_to(src[:, None], shape), np.broadcast_to(rec[None], shape)
    # Checked from both ends, so that a box around either of them is left out.
    boxed = _meets_boxes(start, end, boxes) & _meets_boxes(end, start, boxes)
    crossed = _crosses_polygons(start, end, reflectors)
    return np.asarray(~(boxed.any(axis=-1) | crossed.any(axis=-1)))


def _meets_boxes(start: FloatArray, end: FloatArray, boxes: FloatArray) -> BoolArray:
    """Which segments (..., 3) pass through which boxes (B, 2, 3): (..., B), slab by slab.

    A box that holds the start is not counted.
    """
    enter, leave, holds_start = np.array(-np.inf), np.array(np.inf), np.array(True)
    for axis in range(3):  # one after another: many times faster than along a last axis of three
        low, high = boxes[:, 0, axis] + _TOUCH, boxes[:, 1, axis] - _TOUCH
        origin = start[..., axis, None]
        step = (end[..., axis] - start[..., axis])[..., None]
        with np.errstate(over="ignore"):
            pace = 1.0 / np.where(step == 0, 1e-300, step)
            to_low, to_high = (low - origin) * pace, (high - origin) * pace
        enter = np.maximum(enter, np.minimum(to_low, to_high))
        leave = np.minimum(leave, np.maximum(to_low, to_high))
        holds_start = holds_start & (origin > low) & (origin < high)
    return np.asarray((enter < leave) & (enter < 1) & (leave > 0) & ~holds_start)


def _crosses_polygons(start: FloatArray, end: FloatArray, reflectors: Reflectors) -> BoolArray:
    """Which segments (..., 3) cross which polygons from side to side: (..., P)."""
    before, after = _distance(start, reflectors), _distance(end, reflectors)
    through = (np.minimum(before, after) < -_TOUCH) & (np.maximum(before, after) > _TOUCH)
    crossed = np.zeros(through.shape, dtype=bool)
    where = np.nonzero(through)  # few in most rooms, so only these are worked out
    which = where[-1]
    ahead, behind = before[where], after[where]
    begin, finish = start[where[:-1]], end[where[:-1]]
    point = begin + (ahead / (ahead - behind))[:, None] * (finish - begin)
    relative = point - reflectors.origin[which]
    uv = np.stack([_dot(relative, reflectors.u[which]), _dot(relative, reflectors.v[which])], -1)
    crossed[where] = inside_outline(uv, reflectors.outline[which])
    return crossed


def inside_outline(points: FloatArray, outline: FloatArray) -> BoolArray:
    """Even-odd rule: points (..., P, 2) against the outlines (P, K, 2) of the same reflector."""
    start, end = outline, np.roll(outline, -1, axis=-2)
    x, y = points[..., None, 0], points[..., None, 1]
    spans = (start[..., 1] > y) != (end[..., 1] > y)
    rise = end[..., 1] - start[..., 1]
    slope = (end[..., 0] - start[..., 0]) / np.where(rise == 0, 1.0, rise)
    crossing = start[..., 0] + (y - start[..., 1]) * slope
    return np.asarray((spans & (x < crossing)).sum(axis=-1) % 2 == 1)


def _distance(points: FloatArray, reflectors: Reflectors) -> FloatArray:
    """Signed distance of points (..., 3) from the planes, positive in front: (..., P)."""
    offset = _dot(reflectors.origin, reflectors.normal)
    return np.asarray(points @ reflectors.normal.T - offset)


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("...i,...i->...", a, b))


def _outline(outline: ArrayLike) -> FloatArray:
    corners = np.asarray(outline, dtype=np.float64)
    if corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 3:
        raise ValueError("an outline needs at least three (u, v) corners")
    x, y = corners.T
    if abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) < 1e-9:
        raise ValueError("an outline encloses no area")
    return corners


def _points(points: ArrayLike, name: str) -> FloatArray:
    array = np.asarray(points, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != 3 or not np.all(np.isfinite(array)):
        raise ValueError(f"{name} must be finite and of shape (count, 3)")
    return array


def _boxes(obstacles: ArrayLike | None) -> FloatArray:
    boxes = np.zeros((0, 2, 3)) if obstacles is None else np.asarray(obstacles, dtype=np.float64)
    if boxes.size == 0:
        return np.zeros((0, 2, 3))
    if boxes.ndim != 3 or boxes.shape[1:] != (2, 3):
        raise ValueError("obstacles must have shape (B, 2, 3)")
    if not np.all(boxes[:, 1] - boxes[:, 0] > 2 * _TOUCH):
        raise ValueError("an obstacle's greatest corner must lie beyond its least corner")
    return boxes
