"""Scene objects flattened to the arrays the compiled tracer walks through."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.trace_scene import Panel, Patch, Scene, Surface

Array = NDArray[np.float64]
Index = NDArray[np.int64]

SAME_PLANE = 1e-6
"""Metres within which planes are one and a corner counts as inside a plane."""


class Packed(NamedTuple):
    """Read-only arrays for the kernel; n surfaces, p patches, k obstacles, q panels."""

    convex: bool  # every surface lies on the inner side of every plane
    plane: Array  # (n, 4) inward normal, offset n . origin
    frame: Array  # (n, 9) origin, u, v
    bounds: Array  # (n, 4) u and v range
    is_rect: NDArray[np.bool_]  # (n,) bounds are the polygon
    vertex_start: Index  # (n + 1,)
    vertices: Array  # (.., 2)
    group_start: Index  # (n + 1,) surfaces sharing the plane of surface i
    group: Index
    patch_start: Index  # (n + 1,)
    patch_rect: Array  # (p, 4) u0, v0, u1, v1, topmost first within a surface
    patch_material: Index  # (p,)
    boxes: Array  # (k, 6) lower, upper
    panel_frame: Array  # (q, 13) origin, u, v, normal, offset normal . origin
    panel_size: Array  # (q, 2)
    absorption: Array  # (materials, bands, or lanes): surfaces, patches, obstacles, fronts, backs
    scattering: Array
    first_patch: int  # row of the first patch, obstacle, front and back material
    first_box: int
    first_front: int
    first_back: int
    extent: Array  # (6,) bounding box of the room


def pack(scene: Scene) -> Packed:
    """Flatten a scene."""
    surfaces = scene.surfaces
    corners = [s.corners() for s in surfaces]
    plane = np.array([[*s.normal, s.normal @ s.origin] for s in surfaces])
    group_start, group = _coplanar(plane)
    patch_start, order = _patches_by_surface(scene)
    rects = _rows([_patch_rect(scene.patches[i]) for i in order], 4)
    absorption, scattering, first = _materials(scene, order)
    points = np.concatenate(corners)
    return Packed(
        convex=_is_convex(plane, corners),
        plane=plane,
        frame=np.array([[*s.origin, *s.u, *s.v] for s in surfaces]),
        bounds=np.array([_bounds(s) for s in surfaces]),
        is_rect=np.array([_is_rectangle(s) for s in surfaces]),
        vertex_start=_starts([len(s.vertices) for s in surfaces]),
        vertices=np.concatenate([s.vertices for s in surfaces]),
        group_start=group_start,
        group=group,
        patch_start=patch_start,
        patch_rect=rects,
        patch_material=first[0] + np.arange(len(rects), dtype=np.int64),
        boxes=_rows([[*o.lower, *o.upper] for o in scene.obstacles], 6),
        panel_frame=_rows([_panel_frame(p) for p in scene.panels], 13),
        panel_size=_rows([[p.width, p.height] for p in scene.panels], 2),
        absorption=absorption,
        scattering=scattering,
        first_patch=first[0],
        first_box=first[1],
        first_front=first[2],
        first_back=first[3],
        extent=np.concatenate([points.min(axis=0), points.max(axis=0)]),
    )


def alike(first: Packed, second: Packed) -> bool:
    """Whether two rooms differ in their coefficients at most."""
    return all(
        np.array_equal(getattr(first, name), getattr(second, name))
        for name in Packed._fields
        if name not in ("absorption", "scattering")
    )


def side_by_side(rooms: Sequence[Packed]) -> Packed:
    """Rooms that are alike as one: the bands of each are lanes after those of the one before."""
    return rooms[0]._replace(
        absorption=np.concatenate([room.absorption for room in rooms], axis=1),
        scattering=np.concatenate([room.scattering for room in rooms], axis=1),
    )


def _rows(values: Sequence[Sequence[float]], columns: int) -> Array:
    return np.array(values, dtype=np.float64).reshape(len(values), columns)


def _starts(counts: Sequence[int]) -> Index:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def _bounds(surface: Surface) -> list[float]:
    (u0, v0), (u1, v1) = surface.vertices.min(axis=0), surface.vertices.max(axis=0)
    return [u0, u1, v0, v1]


def _patch_rect(patch: Patch) -> list[float]:
    return [patch.u0, patch.v0, patch.u1, patch.v1]


def _panel_frame(panel: Panel) -> list[float]:
    normal = np.cross(panel.u, panel.v)
    return [*panel.origin, *panel.u, *panel.v, *normal, float(normal @ panel.origin)]


def _is_rectangle(surface: Surface) -> bool:
    spans = np.ptp(surface.vertices, axis=0)
    same_area = abs(float(np.prod(spans)) - surface.area) < 1e-9 * surface.area
    return len(surface.vertices) == 4 and same_area


def _is_convex(plane: Array, corners: Sequence[Array]) -> bool:
    points = np.concatenate(corners)
    return bool(np.all(points @ plane[:, :3].T - plane[:, 3] > -SAME_PLANE))


def _coplanar(plane: Array) -> tuple[Index, Index]:
    """For every surface the surfaces on its plane facing the same way, itself first."""
    groups = []
    for i, p in enumerate(plane):
        near = np.flatnonzero(np.all(np.abs(plane - p) < SAME_PLANE, axis=1))
        groups.append(np.concatenate([[i], near[near != i]]))
    return _starts([len(g) for g in groups]), np.concatenate(groups).astype(np.int64)


def _patches_by_surface(scene: Scene) -> tuple[Index, list[int]]:
    """Patch numbers sorted by surface, the last given first (it lies on top)."""
    order = [
        [i for i in reversed(range(len(scene.patches))) if scene.patches[i].surface == s]
        for s in range(len(scene.surfaces))
    ]
    return _starts([len(o) for o in order]), [i for part in order for i in part]


def _materials(
    scene: Scene, patch_order: Sequence[int]
) -> tuple[Array, Array, tuple[int, int, int, int]]:
    pairs = [(s.absorption, s.scattering) for s in scene.surfaces]
    pairs += [(scene.patches[i].absorption, scene.patches[i].scattering) for i in patch_order]
    pairs += [(o.absorption, o.scattering) for o in scene.obstacles]
    pairs += [(p.absorption, p.scattering) for p in scene.panels]
    pairs += [
        (p.back_absorption, p.back_scattering)
        for p in scene.panels
        if p.back_absorption is not None and p.back_scattering is not None
    ]
    patches = len(scene.surfaces)
    boxes = patches + len(scene.patches)
    fronts = boxes + len(scene.obstacles)
    first = (patches, boxes, fronts, fronts + len(scene.panels))
    return np.array([a for a, _ in pairs]), np.array([s for _, s in pairs]), first
