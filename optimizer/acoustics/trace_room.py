"""A scene as the ray tracer sees it: polygons, patches with what shows on them, furniture boxes."""

from collections.abc import Sequence

import numpy as np

from optimizer.acoustics import trace_scene
from optimizer.acoustics.absorption import area_under, own_area
from optimizer.acoustics.patch_scattering import with_patch_scattering
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.trace_shapes import enlarge_patch
from optimizer.room.geometry import Floats, Plane, Rect

OBJECT_SCATTERING = 0.5  # furniture is no plane; own estimate, no source
INSET = 1e-4  # metres that boxes are kept off walls and each other's planes
MOST = 0.99


def traced_room(scene: Scene) -> trace_scene.Scene:
    """The scene for the tracer (all eight octave bands).

    A piece's own absorption area, and what passes through it to the surface behind, is spread
    over the rectangle it covers; where that exceeds one the rectangle grows (edge effect).
    Objects are closed boxes that absorb what their absorption area says. Surfaces of unlike patches
    scatter besides (patch_scattering).
    """
    surfaces = tuple(
        _surface(plane, scene.base_alpha[i], scene.base_scatter[i])
        for i, plane in enumerate(scene.planes)
    )
    tiles = [
        _patch(int(s), rect, np.clip(alpha, 0.0, 1.0), scatter)
        for s, rect, alpha, scatter in zip(
            scene.tiles.surface, scene.tiles.rect, scene.tiles.alpha, scene.tiles.scatter,
            strict=True,
        )
    ]  # fmt: skip
    return with_patch_scattering(
        trace_scene.Scene(
            surfaces=surfaces,
            patches=(*tiles, *_pieces(scene)),
            obstacles=tuple(_obstacles(scene)),
            air=scene.air,
        )
    )


def _surface(plane: Plane, alpha: Floats, scatter: Floats) -> trace_scene.Surface:
    return trace_scene.Surface(
        plane.origin, plane.u, plane.v, plane.normal, plane.polygon, np.clip(alpha, 0, 1), scatter
    )


def _pieces(scene: Scene) -> list[trace_scene.Patch]:
    pieces = scene.pieces
    if not len(pieces):
        return []
    size = np.prod(pieces.rect[:, 2:] - pieces.rect[:, :2], axis=1)
    own = own_area(scene, pieces)
    through = (1.0 - pieces.hides) * area_under(scene, pieces)
    alpha = (own + through) / size[:, None]
    made = []
    for index in range(len(pieces)):
        surface = int(pieces.surface[index])
        base = np.clip(scene.base_alpha[surface], 0.0, MOST)
        within = _four(scene.planes[surface].bounds)
        rect, kept = enlarge_patch(_four(pieces.rect[index]), alpha[index], base, within)
        made.append(_patch(surface, np.array(rect), kept, np.clip(pieces.scatter[index], 0, 1)))
    return made


def _patch(surface: int, rect: Floats, alpha: Floats, scatter: Floats) -> trace_scene.Patch:
    u0, v0, u1, v1 = _four(rect)
    return trace_scene.Patch(surface, u0, v0, u1, v1, alpha, scatter)


def _four(values: Sequence[float] | Floats) -> Rect:
    a, b, c, d = (float(value) for value in values)
    return a, b, c, d


def _obstacles(scene: Scene) -> list[trace_scene.Obstacle]:
    low, high = _extent(scene)
    made = []
    for box, area in zip(scene.object_box, scene.object_area, strict=True):
        lower, upper = np.maximum(box[0], low + INSET), np.minimum(box[1], high - INSET)
        if np.all(upper - lower > 2 * INSET):
            a, b, c = upper - lower
            covered = a * b if box[0, 2] < 0.02 else 0.0  # stands on the floor
            exposed = 2.0 * (a * b + b * c + c * a) - covered
            alpha = np.clip(area / exposed, 0.0, MOST)
            scatter = np.full_like(alpha, OBJECT_SCATTERING)
            made.append(trace_scene.Obstacle(lower, upper, alpha, scatter))
    return made


def _extent(scene: Scene) -> tuple[Floats, Floats]:
    points = np.concatenate([plane.to_xyz(plane.polygon) for plane in scene.planes])
    return points.min(axis=0), points.max(axis=0)
