"""Absorption area of a scene, whole and left against right, and what a patch adds to it.

Coefficients above one (edge effect of the laboratory's sample) are taken as one here, because
these areas feed formulas with a logarithm; pass `clip=False` for a Sabine sum. What free edges of
single pieces add to that (`Patches.edge`, at most a tenth) comes on top, where the scene lets it.
"""

import numpy as np
import shapely

from optimizer.acoustics.scene import Patches, Scene
from optimizer.room.geometry import Floats, Plane


def absorption_area(scene: Scene, clip: bool = True) -> Floats:
    """Absorption area (8,) in m2 of surfaces, tiles and treatment; no objects, no air."""
    base = np.array([plane.area for plane in scene.planes]) @ scene.base_alpha
    tiles = added_area(scene, scene.tiles, clip, over_tiles=False).sum(axis=0)
    pieces = added_area(scene, scene.pieces, clip).sum(axis=0)
    return np.asarray(base + tiles + pieces)


def added_area(
    scene: Scene, patches: Patches, clip: bool = True, over_tiles: bool = True
) -> Floats:
    """What each patch adds (N, 8) in m2: its own absorption less what it hides of that under it,
    both as far as sound gets there (`Patches.shade`).

    Behind a porous piece: alpha + (1 - alpha) alpha_under, as for two layers passed in turn.

    Linear in the patches as long as they do not overlap or touch each other.
    """
    own = own_area(scene, patches, clip)
    added = own - patches.hides * area_under(scene, patches, over_tiles)
    return np.asarray(patches.shade * added)


def own_area(scene: Scene, patches: Patches, clip: bool = True) -> Floats:
    """Absorption area (N, 8) in m2 of patches by themselves, with their free edges."""
    alpha = np.minimum(patches.alpha, 1.0) if clip else patches.alpha
    own = patches.face[:, None] * alpha
    return np.asarray(own * patches.edge if scene.edge_effect else own)


def area_under(scene: Scene, patches: Patches, over_tiles: bool = True) -> Floats:
    """Absorption area (N, 8) in m2 of the bare surface and tiles under each patch."""
    rect = patches.rect
    size = (rect[:, 2] - rect[:, 0]) * (rect[:, 3] - rect[:, 1])
    hidden = size[:, None] * scene.base_alpha[patches.surface]
    tiles = scene.tiles
    if over_tiles and len(tiles):
        common = _common(rect, tiles.rect) * (patches.surface[:, None] == tiles.surface)
        hidden += common @ (tiles.alpha - scene.base_alpha[tiles.surface])
    return np.asarray(hidden)


def _common(first: Floats, second: Floats) -> Floats:
    low = np.maximum(first[:, None, :2], second[None, :, :2])
    high = np.minimum(first[:, None, 2:], second[None, :, 2:])
    return np.asarray(np.prod(np.maximum(high - low, 0.0), axis=-1))


def side_difference(scene: Scene) -> Floats:
    """Absorption area left of the speakers' axis minus right of it (8,) in m2."""
    base = np.array([_left_minus_right(plane, scene.axis_y) for plane in scene.planes])
    tiles = added_area(scene, scene.tiles, over_tiles=False)
    objects = (2 * _left_share_of_boxes(scene) - 1)[:, None] * scene.object_area
    return np.asarray(
        base @ scene.base_alpha
        + (side_sign(scene, scene.tiles)[:, None] * tiles).sum(axis=0)
        + (side_sign(scene, scene.pieces)[:, None] * added_area(scene, scene.pieces)).sum(axis=0)
        + objects.sum(axis=0)
    )


def side_sign(scene: Scene, patches: Patches) -> Floats:
    """Share of each patch (N,) left of the axis minus the share right of it: 1, -1 or between.

    A patch counts as spread evenly over its extent in y, exact where an edge runs along y.
    """
    span = np.zeros((len(patches), 2))
    for index, plane in enumerate(scene.planes):
        mine = patches.surface == index
        corners = patches.rect[mine][:, [[0, 1], [2, 1], [2, 3], [0, 3]]]
        y = plane.to_xyz(corners)[..., 1]
        span[mine] = np.stack([y.min(axis=-1), y.max(axis=-1)], axis=-1) if len(y) else 0.0
    return 2 * _share_below(span[:, 0], span[:, 1], scene.axis_y) - 1


def _share_below(low: Floats, high: Floats, axis: float) -> Floats:
    extent = np.maximum(high - low, 1e-9)
    flat = high - low < 1e-9
    share = np.clip((axis - low) / extent, 0.0, 1.0)
    return np.asarray(np.where(flat, np.where(np.abs(low - axis) < 1e-9, 0.5, share), share))


def _left_share_of_boxes(scene: Scene) -> Floats:
    return _share_below(scene.object_box[:, 0, 1], scene.object_box[:, 1, 1], scene.axis_y)


def _left_minus_right(plane: Plane, axis: float) -> float:
    """Area of a polygon left of the axis minus right of it, in m2."""
    slope = np.array([plane.u[1], plane.v[1]])
    if np.linalg.norm(slope) < 1e-9:
        offset = float(plane.origin[1]) - axis
        return 0.0 if abs(offset) < 1e-9 else -float(np.sign(offset)) * plane.area
    direction = slope / np.linalg.norm(slope)
    start = direction * (axis - float(plane.origin[1])) / float(np.linalg.norm(slope))
    across = np.array([-direction[1], direction[0]])
    far = 1e3
    half = shapely.Polygon(
        [start + far * across, start - far * across,
         start - far * (across + direction), start + far * (across - direction)]
    )  # fmt: skip
    left = shapely.Polygon(plane.polygon).intersection(half).area
    return float(2 * left - plane.area)
