"""Where grid lines cross planes, and which share of each crossed cell face a patch covers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.room.geometry import Plane

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PARALLEL = 1e-9
"""Share of the normal along an axis below which a plane runs along it and is never crossed."""
SAMPLES = 4
"""Points per edge of a face that decide which share of it lies in a patch of a slanted plane."""


class Hits(NamedTuple):
    """Crossings of the grid lines along one axis with planes, each array (H,).

    plane: index; first, second: the line's cell along the other two axes in ascending order; gap g:
    the crossing lies between cells g-1 and g; place: its coordinate along the axis, m.
    """

    plane: Ints
    first: Ints
    second: Ints
    gap: Ints
    place: Floats


def others(axis: int) -> tuple[int, int]:
    """The two remaining axes in ascending order."""
    first, second = (a for a in range(3) if a != axis)
    return first, second


def crossings(planes: Sequence[Plane], axis: int, lattice: Sequence[Floats]) -> Hits:
    """All crossings along `axis`; lattice: coordinates of the lines and cells per axis, m."""
    rows = [_cross(i, plane, axis, lattice) for i, plane in enumerate(planes)]
    return Hits(*(np.concatenate(column) for column in zip(*rows, strict=True)))


def _cross(index: int, plane: Plane, axis: int, lattice: Sequence[Floats]) -> Hits:
    b, c = others(axis)
    slope = float(plane.normal[axis])
    corners = plane.to_xyz(plane.polygon)
    near_b, near_c = (_between(lattice[a], corners[:, a]) for a in (b, c))
    if abs(slope) < PARALLEL or not len(near_b) or not len(near_c):
        none = np.zeros(0, dtype=np.int64)
        return Hits(none, none, none, none, np.zeros(0))
    first, second = (grid.ravel() for grid in np.meshgrid(near_b, near_c, indexing="ij"))
    point = np.zeros((len(first), 3))
    point[:, b], point[:, c] = lattice[b][first], lattice[c][second]
    point[:, axis] = _place(plane, axis, point)
    hit = in_polygon(plane.to_uv(point), plane.polygon)
    place = point[hit, axis]
    gap = np.searchsorted(lattice[axis], place)
    return Hits(np.full(len(place), index), first[hit], second[hit], gap, place)


def _between(points: Floats, span: Floats) -> Ints:
    start, stop = np.searchsorted(points, [span.min(), span.max()])
    return np.arange(start, stop)


def _place(plane: Plane, axis: int, point: Floats) -> Floats:
    """Where the lines through `point` (.., 3) along `axis` meet the plane."""
    b, c = others(axis)
    n, o = plane.normal, plane.origin
    rise = n[b] * (point[..., b] - o[b]) + n[c] * (point[..., c] - o[c])
    return np.asarray(o[axis] - rise / n[axis])


def in_polygon(points: Floats, polygon: Floats) -> NDArray[np.bool_]:
    """Which points (N, 2) lie in a simple polygon (K, 2), by the parity of crossed edges."""
    inside = np.zeros(len(points), dtype=bool)
    x, y = points.T
    for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if y0 == y1:
            continue
        spans = (y0 > y) != (y1 > y)
        inside ^= spans & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
    return inside


def cover(
    planes: Sequence[Plane],
    base: Ints,
    shell: int,
    owner: Ints,
    rect: Floats,
    hits: Hits,
    axis: int,
    lattice: Sequence[Floats],
    step: Floats,
) -> tuple[Ints, Ints, Floats]:
    """Surfaces of the faces crossed along an axis: rows of (hit, surface, area in m2).

    base (planes,): surface of each bare plane; patch k has plane owner[k], rectangle rect[k] and
    surface shell + k. Areas are projected on the plane: face area times |normal along the axis|.
    """
    b, c = others(axis)
    face = float(step[b] * step[c])
    slope = np.array([abs(plane.normal[axis]) for plane in planes])
    bare = np.ones(len(hits.plane))
    rows: list[tuple[Ints, Ints, Floats]] = []
    for patch, (index, bounds) in enumerate(zip(owner, rect, strict=True)):
        own = np.flatnonzero(hits.plane == index)
        if not len(own):
            continue
        share = _share(planes[index], bounds, axis, hits, own, lattice, step)
        bare[own] -= share
        part = np.flatnonzero(share > 0.0)
        rows.append(
            (own[part], np.full(len(part), shell + patch), share[part] * face * slope[index])
        )
    keep = np.flatnonzero(bare > 1e-9)
    left = hits.plane[keep]
    rows.append((keep, base[left], bare[keep] * face * slope[left]))
    hit, surface, area = (np.concatenate(column) for column in zip(*rows, strict=True))
    return hit, surface, area


def _share(
    plane: Plane,
    rect: Floats,
    axis: int,
    hits: Hits,
    own: Ints,
    lattice: Sequence[Floats],
    step: Floats,
) -> Floats:
    """Share of each crossed face that lies in a rectangle of its plane, between 0 and 1."""
    b, c = others(axis)
    centre = np.zeros((len(own), 3))
    centre[:, b], centre[:, c] = lattice[b][hits.first[own]], lattice[c][hits.second[own]]
    if abs(plane.normal[axis]) > 1.0 - 1e-9 and np.abs(plane.u).max() > 1.0 - 1e-9:
        centre[:, axis] = plane.origin[axis]
        uv = plane.to_uv(centre)
        half = 0.5 * np.array([np.abs(step @ np.abs(plane.u)), np.abs(step @ np.abs(plane.v))])
        low, high = np.maximum(uv - half, rect[:2]), np.minimum(uv + half, rect[2:])
        return np.asarray(np.prod(np.maximum(high - low, 0.0), axis=1) / np.prod(2.0 * half))
    offset = (np.arange(SAMPLES) + 0.5) / SAMPLES - 0.5
    point = np.repeat(centre[:, None, None, :], SAMPLES, axis=1).repeat(SAMPLES, axis=2)
    point[..., b] += (offset * step[b])[None, :, None]
    point[..., c] += (offset * step[c])[None, None, :]
    point[..., axis] = _place(plane, axis, point)
    uv = plane.to_uv(point)
    inside = np.all((uv >= rect[:2]) & (uv < rect[2:]), axis=-1)
    return np.asarray(inside.mean(axis=(1, 2)))
