"""Compiled ray loop of the energy tracer.

All compiled functions live in this one file because the on-disk cache is renewed by the file's
own time stamp only.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.trace_pack import Packed
from optimizer.compiled import compiled

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Seeds = NDArray[np.uint64]

LANES = 62  # bits of a mask that stay clear of its sign
CUT = 1e-6  # a ray's band is dropped 60 dB down: 0.014 dB at the end of T30 at most
GRAZE = 1e-12  # cosine below which a plane counts as parallel
TOUCH = 1e-9  # metres a start point may lie behind what it hits
EDGE = 1e-7  # metres by which polygons are widened so that no ray slips between two
NOTHING, SURFACE, BOX, PANEL = -1, 0, 1, 2
SKEW = np.array([0.5773, 0.6281, 0.5217])  # no likely wall runs along it
GOLDEN = np.uint64(0x9E3779B97F4A7C15)
MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
MIX_2 = np.uint64(0x94D049BB133111EB)


# _nrt=False: no reference counting. The walk only borrows arrays that `trace_rays` holds, and
# counting each use of one made the whole tracer twelve times slower.
borrowing = compiled(error_model="numpy", forceinline=True, _nrt=False)
owning = compiled(error_model="numpy")  # for a function that allocates arrays


# --- random numbers: SplitMix64 (Steele, Lea, Flood, OOPSLA 2014), one stream per ray and bounce --
# A band's path hangs on its own surfaces only, not on which other paths forked off or ended before,
# and rays of two scenes that differ in little go the same ways up to where these differ.


@borrowing
def _mix(z: np.uint64) -> np.uint64:
    z = (z ^ (z >> np.uint64(30))) * MIX_1
    z = (z ^ (z >> np.uint64(27))) * MIX_2
    return z ^ (z >> np.uint64(31))


@borrowing
def _uniform(state: Seeds) -> float:
    state[0] += GOLDEN
    return float(_mix(state[0]) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@borrowing
def _at_bounce(state: Seeds, bounce: int) -> None:
    """Begin the stream of a bounce of the ray whose key is state[1]."""
    state[0] = _mix(state[1] + np.uint64(bounce) * MIX_1)


@borrowing
def _sphere(state: Seeds) -> tuple[float, float, float]:
    z = 2.0 * _uniform(state) - 1.0
    phi = 2.0 * np.pi * _uniform(state)
    r = np.sqrt(1.0 - z * z)
    return r * np.cos(phi), r * np.sin(phi), z


# --- what a ray meets ------------------------------------------------------------------------


@borrowing
def _in_polygon(p: Packed, i: int, u: float, v: float) -> bool:
    if u < p.bounds[i, 0] - EDGE or u > p.bounds[i, 1] + EDGE:
        return False
    if v < p.bounds[i, 2] - EDGE or v > p.bounds[i, 3] + EDGE:
        return False
    if p.is_rect[i]:
        return True
    inside = False
    first, last = p.vertex_start[i], p.vertex_start[i + 1]
    u0, v0 = p.vertices[last - 1, 0], p.vertices[last - 1, 1]
    for k in range(first, last):
        u1, v1 = p.vertices[k, 0], p.vertices[k, 1]
        if (v1 > v) != (v0 > v) and u < (u0 - u1) * (v - v1) / (v0 - v1) + u1:
            inside = not inside
        u0, v0 = u1, v1
    return inside or _on_edge(p, first, last, u, v)


@borrowing
def _on_edge(p: Packed, first: int, last: int, u: float, v: float) -> bool:
    u0, v0 = p.vertices[last - 1, 0], p.vertices[last - 1, 1]
    for k in range(first, last):
        u1, v1 = p.vertices[k, 0], p.vertices[k, 1]
        du, dv = u1 - u0, v1 - v0
        s = ((u - u0) * du + (v - v0) * dv) / (du * du + dv * dv)
        s = min(1.0, max(0.0, s))
        if (u0 + s * du - u) ** 2 + (v0 + s * dv - v) ** 2 < EDGE * EDGE:
            return True
        u0, v0 = u1, v1
    return False


@borrowing
def _in_plane(frame: Array, i: int, pos: Array, d: Array, gap: float) -> tuple[float, float]:
    """In-plane coordinates in frame i of the point gap ahead on the ray."""
    ex = pos[0] + gap * d[0] - frame[i, 0]
    ey = pos[1] + gap * d[1] - frame[i, 1]
    ez = pos[2] + gap * d[2] - frame[i, 2]
    u = ex * frame[i, 3] + ey * frame[i, 4] + ez * frame[i, 5]
    v = ex * frame[i, 6] + ey * frame[i, 7] + ez * frame[i, 8]
    return u, v


@borrowing
def _along(table: Array, i: int, first: int, d: Array) -> float:
    """Scalar product of the vector in columns first.. of row i with d."""
    total: float = table[i, first] * d[0] + table[i, first + 1] * d[1] + table[i, first + 2] * d[2]
    return total


@borrowing
def _try_surface(p: Packed, i: int, pos: Array, d: Array, best: float) -> float:
    """Distance to surface i, or infinity when it is missed or farther than best."""
    toward = -_along(p.plane, i, 0, d)
    if toward <= GRAZE:
        return np.inf
    gap = (_along(p.plane, i, 0, pos) - p.plane[i, 3]) / toward
    if gap >= best or gap < -TOUCH:
        return np.inf
    u, v = _in_plane(p.frame, i, pos, d, gap)
    return max(gap, 0.0) if _in_polygon(p, i, u, v) else np.inf


@borrowing
def _hit_convex(p: Packed, pos: Array, d: Array) -> tuple[int, float]:
    """Nearest plane faced: in a convex room no containment test, so no crack to leak through."""
    found, best = -1, np.inf
    for i in range(p.plane.shape[0]):
        toward = -_along(p.plane, i, 0, d)
        if toward > GRAZE:
            gap = (_along(p.plane, i, 0, pos) - p.plane[i, 3]) / toward
            if gap < best:
                found, best = i, gap
    best = max(best, 0.0)
    if found >= 0 and p.group_start[found + 1] - p.group_start[found] > 1:
        for k in range(p.group_start[found], p.group_start[found + 1]):
            u, v = _in_plane(p.frame, p.group[k], pos, d, best)
            if _in_polygon(p, p.group[k], u, v):
                return int(p.group[k]), best
    return found, best


@borrowing
def _hit_surface(p: Packed, pos: Array, d: Array) -> tuple[int, float]:
    if p.convex:
        return _hit_convex(p, pos, d)
    found, best = -1, np.inf
    for i in range(p.plane.shape[0]):
        gap = _try_surface(p, i, pos, d, best)
        if gap < best:
            found, best = i, gap
    return found, best


@borrowing
def _enter_box(box: Array, k: int, pos: Array, inv: Array) -> tuple[float, float, int]:
    """Entry and exit distance of an axis-aligned box and the axis of the entry face."""
    near, far, axis = -np.inf, np.inf, 0
    for a in range(3):
        t0, t1 = (box[k, a] - pos[a]) * inv[a], (box[k, a + 3] - pos[a]) * inv[a]
        if t0 > t1:
            t0, t1 = t1, t0
        if t0 > near:
            near, axis = t0, a
        far = min(far, t1)
    return near, far, axis


@borrowing
def _try_panel(p: Packed, q: int, pos: Array, d: Array, best: float) -> float:
    f = p.panel_frame
    along = _along(f, q, 9, d)
    if abs(along) <= GRAZE:
        return np.inf
    gap = (f[q, 12] - _along(f, q, 9, pos)) / along
    if gap > best or gap < -TOUCH:
        return np.inf
    u, v = _in_plane(f, q, pos, d, gap)
    if u < 0.0 or v < 0.0 or u > p.panel_size[q, 0] or v > p.panel_size[q, 1]:
        return np.inf
    return max(float(gap), 0.0)


@borrowing
def _surface_material(p: Packed, i: int, pos: Array, d: Array, gap: float) -> int:
    if p.patch_start[i] < p.patch_start[i + 1]:
        u, v = _in_plane(p.frame, i, pos, d, gap)
        r = p.patch_rect
        for k in range(p.patch_start[i], p.patch_start[i + 1]):
            if r[k, 0] <= u <= r[k, 2] and r[k, 1] <= v <= r[k, 3]:
                return int(p.patch_material[k])
    return i


@borrowing
def _nearest(
    p: Packed, pos: Array, d: Array, inv: Array, normal: Array, last: tuple[int, int]
) -> tuple[int, int, float, int]:
    """(kind, number, distance, material) of the next hit; `normal` receives its normal.

    last: kind and number of the previous hit. A convex box or a panel just left cannot be next.
    """
    for a in range(3):
        inv[a] = 1.0 / d[a] if abs(d[a]) > 1e-300 else 1e300
    number, best = _hit_surface(p, pos, d)
    kind = SURFACE if number >= 0 else NOTHING
    axis = 0
    for k in range(p.boxes.shape[0]):
        near, far, a = _enter_box(p.boxes, k, pos, inv)
        skip = last[0] == BOX and last[1] == k
        if near <= far and near > -TOUCH and far > TOUCH and near <= best and not skip:
            kind, number, best, axis = BOX, k, max(near, 0.0), a
    for q in range(p.panel_frame.shape[0]):
        if last[0] == PANEL and last[1] == q:
            continue
        gap = _try_panel(p, q, pos, d, best)
        if gap <= best and gap < np.inf:
            kind, number, best = PANEL, q, gap
    return kind, number, best, _face(p, kind, number, axis, best, pos, d, normal)


@borrowing
def _face(
    p: Packed, kind: int, i: int, axis: int, gap: float, pos: Array, d: Array, normal: Array
) -> int:
    """Write the normal of the face that was hit and return its material."""
    for a in range(3):
        if kind == SURFACE:
            normal[a] = p.plane[i, a]
        elif kind == BOX:
            normal[a] = (-1.0 if d[a] > 0.0 else 1.0) if a == axis else 0.0
        elif kind == PANEL:
            normal[a] = p.panel_frame[i, 9 + a]
    if kind == SURFACE:
        return _surface_material(p, i, pos, d, gap)
    if kind == BOX:
        return p.first_box + i
    if kind == NOTHING:
        return 0
    if _along(p.panel_frame, i, 9, d) < 0.0:
        return p.first_front + i
    for a in range(3):
        normal[a] = -normal[a]
    return p.first_back + i


# --- where a ray starts ------------------------------------------------------------------------


@borrowing
def is_inside(p: Packed, pos: Array) -> bool:
    """Whether a point lies in the room's air: inside the surfaces, outside the obstacles."""
    for k in range(p.boxes.shape[0]):
        inside = True
        for a in range(3):
            inside = inside and p.boxes[k, a] < pos[a] < p.boxes[k, a + 3]
        if inside:
            return False
    crossings = 0
    for i in range(p.plane.shape[0]):
        height = _along(p.plane, i, 0, pos) - p.plane[i, 3]
        if p.convex:
            if height <= 0.0:
                return False
            continue
        along = _along(p.plane, i, 0, SKEW)
        if abs(along) > GRAZE and height / along < 0.0:
            u, v = _in_plane(p.frame, i, pos, SKEW, -height / along)
            crossings += _in_polygon(p, i, u, v)
    return p.convex or crossings % 2 == 1


@borrowing
def _start(p: Packed, source: Array, pos: Array, d: Array, state: Seeds) -> None:
    """Isotropic direction from the source, or from a random point when it is empty."""
    _at_bounce(state, 0)
    if source.shape[0] == 3:
        for a in range(3):
            pos[a] = source[a]
    else:
        for _ in range(100000):
            for a in range(3):
                pos[a] = p.extent[a] + _uniform(state) * (p.extent[a + 3] - p.extent[a])
            if is_inside(p, pos):
                break
    _at_bounce(state, 1)
    d[0], d[1], d[2] = _sphere(state)


@borrowing
def _lambert(normal: Array, d: Array, state: Seeds) -> None:
    """Cosine-law direction: the normal plus a random unit vector, normalised."""
    length = 0.0
    while length < 1e-6:
        x, y, z = _sphere(state)
        d[0], d[1], d[2] = normal[0] + x, normal[1] + y, normal[2] + z
        length = np.sqrt(d[0] ** 2 + d[1] ** 2 + d[2] ** 2)
    for a in range(3):
        d[a] /= length


# --- the walk ------------------------------------------------------------------------------------


class Work(NamedTuple):
    """Scratch of one task: the branch being walked and those waiting (at most one per lane)."""

    pos: Array
    d: Array
    inv: Array
    normal: Array
    energy: Array  # (lanes,) each lane lives in exactly one branch
    waiting: Array  # (lanes + 1, 7) position, direction, path so far
    tags: Index  # (lanes + 1, 4) lane mask, kind and number of the last hit, number of hits


class Tally(NamedTuple):
    """What one task adds up."""

    lost: Array  # (bins + 1, lanes) energy lost per time bin, the last for what outlives them
    echo: Array  # (receivers, echo bins, lanes) energy times chord length
    path: Array  # sum of free paths, of their squares, their number, leaked branches


@borrowing
def _listen(receivers: Array, echo: Array, w: Work, mask: int, path: float, gap: float,
            step: float) -> None:  # fmt: skip
    """Energy times chord for every receiver sphere (x, y, z, radius) this leg crosses."""
    for r in range(receivers.shape[0]):
        ex = receivers[r, 0] - w.pos[0]
        ey = receivers[r, 1] - w.pos[1]
        ez = receivers[r, 2] - w.pos[2]
        along = ex * w.d[0] + ey * w.d[1] + ez * w.d[2]
        room = receivers[r, 3] ** 2 - (ex * ex + ey * ey + ez * ez - along * along)
        if room <= 0.0:
            continue
        half = np.sqrt(room)
        near, far = max(along - half, 0.0), min(along + half, gap)
        slot = int((path + 0.5 * (near + far)) / step)
        if far > near and slot < echo.shape[1]:
            for b in range(w.energy.shape[0]):
                if mask >> b & 1:
                    echo[r, slot, b] += w.energy[b] * (far - near)


@borrowing
def _absorb(
    p: Packed, material: int, mask: int, draw: float, energy: Array, lost: Array, air: Array,
    slot: int,
) -> tuple[int, int]:  # fmt: skip
    """Take the absorbed share off every band; return the masks (scattered, specular)."""
    scattered, specular = 0, 0
    for b in range(energy.shape[0]):
        if mask >> b & 1:
            share = energy[b] * p.absorption[material, b]
            energy[b] -= share
            if energy[b] * air[slot, b] < CUT:
                share += energy[b]
                energy[b] = 0.0
            elif draw < p.scattering[material, b]:
                scattered |= 1 << b
            else:
                specular |= 1 << b
            lost[slot, b] += share
    return scattered, specular


@borrowing
def _give_up(energy: Array, mask: int, lost: Array, slot: int) -> None:
    for b in range(energy.shape[0]):
        if mask >> b & 1:
            lost[slot, b] += energy[b]


@borrowing
def _wait(w: Work, size: int, mask: int, last: tuple[int, int], path: float, bounce: int) -> None:
    """Put the specular branch aside: its bands go on from here after the scattered ones end."""
    along = w.d[0] * w.normal[0] + w.d[1] * w.normal[1] + w.d[2] * w.normal[2]
    for a in range(3):
        w.waiting[size, a] = w.pos[a]
        w.waiting[size, a + 3] = w.d[a] - 2.0 * along * w.normal[a]
    w.waiting[size, 6] = path
    w.tags[size, 0], w.tags[size, 1], w.tags[size, 2] = mask, last[0], last[1]
    w.tags[size, 3] = bounce


@borrowing
def _advance(w: Work, path: Array, gap: float, whole: bool) -> None:
    """Move to the hit; count the free path if it is whole, from one hit to the next."""
    for a in range(3):
        w.pos[a] += gap * w.d[a]
    if whole:
        path[0] += gap
        path[1] += gap * gap
        path[2] += 1.0


@borrowing
def _walk(
    p: Packed, w: Work, tally: Tally, state: Seeds, size: int, step: float, echo_step: float,
    air: Array, receivers: Array,
) -> int:  # fmt: skip
    """Follow the branch on top of the stack to its end; return the new stack size."""
    size -= 1
    for a in range(3):
        w.pos[a], w.d[a] = w.waiting[size, a], w.waiting[size, a + 3]
    path = w.waiting[size, 6]
    mask, last, bounce = w.tags[size, 0], (w.tags[size, 1], w.tags[size, 2]), w.tags[size, 3]
    bins = tally.lost.shape[0] - 1
    while mask:
        kind, number, gap, material = _nearest(p, w.pos, w.d, w.inv, w.normal, last)
        if receivers.shape[0] > 0:
            _listen(receivers, tally.echo, w, mask, path, gap, echo_step)
        if kind == NOTHING:
            _give_up(w.energy, mask, tally.lost, int(path / step))
            tally.path[3] += 1.0
            return size
        path += gap
        if path >= bins * step:
            _give_up(w.energy, mask, tally.lost, bins)
            return size
        _advance(w, tally.path, gap, last[0] != NOTHING)
        slot, last = int(path / step), (kind, number)
        bounce += 1
        _at_bounce(state, bounce)
        draw = _uniform(state)
        scattered, specular = _absorb(p, material, mask, draw, w.energy, tally.lost, air, slot)
        mask = scattered if scattered else specular
        if specular:
            _wait(w, size, specular, last, path, bounce)
            if scattered:
                size += 1
            else:
                for a in range(3):
                    w.d[a] = w.waiting[size, a + 3]
        if scattered:
            _lambert(w.normal, w.d, state)
    return size


@owning
def trace_rays(
    p: Packed, tally: Tally, source: Array, seed: int, first: int, end: int, step: float,
    echo_step: float, air: Array, receivers: Array,
) -> None:  # fmt: skip
    """Trace rays number first to end - 1 into the tally.

    A lane is a band in one state of the room's materials; there may be `LANES`. step, echo_step:
    path length per bin of lost and echo, m. air: (bins + 1, lanes) energy left by the air at each
    bin. The random numbers of a bounce hang on the seed, the ray's number and the bounce's only.
    Runs without the interpreter's lock, so tasks may run in threads.
    """
    lanes = p.absorption.shape[1]
    w = Work(
        np.empty(3), np.empty(3), np.empty(3), np.empty(3), np.empty(lanes),
        np.empty((lanes + 1, 7)), np.empty((lanes + 1, 4), np.int64),
    )  # fmt: skip
    state = np.empty(2, np.uint64)
    for ray in range(first, end):
        state[1] = _mix(_mix(np.uint64(seed)) + np.uint64(ray) * MIX_2)
        _start(p, source, w.pos, w.d, state)
        w.energy[:] = 1.0
        for a in range(3):
            w.waiting[0, a], w.waiting[0, a + 3] = w.pos[a], w.d[a]
        w.waiting[0, 6] = 0.0
        w.tags[0, 0], w.tags[0, 1], w.tags[0, 2], w.tags[0, 3] = (1 << lanes) - 1, NOTHING, -1, 1
        size = 1
        while size > 0:
            size = _walk(p, w, tally, state, size, step, echo_step, air, receivers)
