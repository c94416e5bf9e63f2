"""A scene as the wave solver sees it: a grid, an admittance on every cell of wall, solid boxes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.admittance import (
    LOW_HZ,
    base_admittance,
    coefficient_admittance,
    low_cells,
)
from optimizer.acoustics.reactance import DIGITS, fitted
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.voxel import LostPatchError, WaveRoom, voxelise
from optimizer.acoustics.wave_admittance import Admittance
from optimizer.room.geometry import Floats

Complexes = NDArray[np.complex128]

THIN = 0.02  # metres; boxes thinner than this, and slivers of wall, are left out
HEAD = 0.2  # metres of free air under the ears of someone whose box is in the way


@dataclass(frozen=True)
class WaveScene:
    """The grid and the admittance of each of its surfaces."""

    room: WaveRoom
    admittance: tuple[Admittance, ...]


def wave_scene(scene: Scene, spacing: float, points: Floats | None = None) -> WaveScene:
    """The scene on a grid of cells of at most `spacing` m.

    Walls react locally, by the admittance that modes meet too (`low_cells`), as passive branches.
    Furniture is a closed box whose faces absorb what its absorption area says; a box around one of
    the `points` (N, 3) where sound is made or heard (left out: loudspeakers and seats) ends below.
    What is too small for any cell counts as the bare surface.
    ValueError when the planes leave a gap; GridTooLargeError.
    """
    surface, rect, beta = low_cells(scene)
    base = base_admittance(scene)
    # Bare surface is the plane itself; as a rectangle it would reach beyond planes that are none.
    other = np.any(np.abs(beta - base[surface]) > 10.0**-DIGITS, axis=1)
    own = np.flatnonzero(other & np.all(rect[:, 2:] - rect[:, :2] > THIN, axis=1))
    if points is None:
        points = np.concatenate([scene.speakers, scene.seats])
    boxes, box_beta = _boxes(scene, points)
    try:
        room = voxelise(scene.planes, spacing, surface[own], rect[own], boxes)
    except LostPatchError as small:
        own = np.delete(own, small.lost)
        room = voxelise(scene.planes, spacing, surface[own], rect[own], boxes)
    rows = np.concatenate([base, beta[own], box_beta.astype(np.complex128)])
    return WaveScene(room, tuple(fitted(rows)))


def _boxes(scene: Scene, points: Floats) -> tuple[Floats, Floats]:
    """Solid boxes (B, 2, 3) and the real admittance (B, F) of their faces."""
    low = np.min([plane.to_xyz(plane.polygon).min(axis=0) for plane in scene.planes], axis=0)
    high = np.max([plane.to_xyz(plane.polygon).max(axis=0) for plane in scene.planes], axis=0)
    boxes, alpha = [], []
    for box, area in zip(scene.object_box, scene.object_area, strict=True):
        lower, upper = np.maximum(box[0], low), np.minimum(box[1], high)
        upper = _below(lower, upper, points)
        a, b, c = upper - lower
        if min(a, b, c) >= THIN:
            covered = a * b if lower[2] < THIN else 0.0
            boxes.append([lower, upper])
            alpha.append(np.clip(area / (2 * (a * b + b * c + c * a) - covered), 0.0, 1.0))
    faces = np.array(alpha).reshape(-1, scene.base_alpha.shape[1])
    return np.array(boxes).reshape(-1, 2, 3), coefficient_admittance(faces, LOW_HZ)


def _below(lower: Floats, upper: Floats, points: Sequence[Floats] | Floats) -> Floats:
    """The upper corner, brought down below points that the box would hold."""
    upper = upper.copy()
    for point in points:
        near = (lower - 0.1 < point) & (point < upper + 0.1)
        if near.all():
            upper[2] = point[2] - HEAD
    return upper
