"""Room modes below the Schroeder frequency: how long each rings, and what damps it where.

First-order damping (optimizer.acoustics.modes): linear in the treatment, weighted by the square of
each mode's pressure at the place, so that corners count most. The real part of the admittance damps
(optimizer.acoustics.admittance): that of what a piece is made of, met at the mode's own run along
the wall, else found from the
random-incidence coefficients of the table by the relation for locally reacting surfaces.
Only for rooms that are boxes.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from optimizer.acoustics.admittance import (
    at_frequencies,
    bands_at,
    coefficient_admittance,
    endless_admittance,
    fill_axes,
    hiding,
    piece_kinds,
)
from optimizer.acoustics.criteria import Criterion, Rows, Tangent
from optimizer.acoustics.decay import schroeder_frequency
from optimizer.acoustics.make_admittance import along
from optimizer.acoustics.modes import (
    IN_PLANE,
    Modes,
    box_modes,
    decay_time,
    mode_limit,
    mode_weights,
    object_damping,
    patch_damping,
    slope_damping,
)
from optimizer.acoustics.modes import Patches as WallPatches
from optimizer.acoustics.scene import Ints, Patches, Scene
from optimizer.acoustics.targets import nominal_decay
from optimizer.room.geometry import Floats

MODEL = "modes, first order"
TANGENTS = 16  # more are added where the solver settles
SMALLEST_DAMPING = 1e-3  # 1/s
FAINT = 0.03  # of the strongest mode's energy
ON_FLOOR = 2.0  # pressure rise at the floor already in an object's measured absorption area


@dataclass(frozen=True)
class ModeFamily(Rows):
    """Rows per mode. Quantity: damping in 1/s. Value: decay time in s. Excess: T/limit - 1."""

    modes: Modes

    def quantities(self, scene: Scene) -> Floats:
        """Damping (M,) of each mode by surfaces, tiles, objects, air and treatment."""
        walls = _whole_walls(scene)
        base = coefficient_admittance(scene.base_alpha, self.modes.f_hz)
        air = _at_modes(self.modes, scene.air[None])[0] * self.modes.c / 2
        treatment = self._effects(scene, scene.pieces, base).sum(axis=1)
        bare = _areas(self.modes, scene, walls) * endless_admittance(walls, self.modes.f_hz).T
        tiles = self._instead_of_base(scene, scene.tiles, base).sum(axis=1)
        return np.asarray(bare.sum(axis=1) + tiles + _objects(self.modes, scene) + air + treatment)

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Added damping (M, N): the patch's own less what it hides of the surface under it."""
        base = coefficient_admittance(scene.base_alpha, self.modes.f_hz)
        return self._effects(scene, patches, base)

    def _effects(self, scene: Scene, patches: Patches, base: Floats) -> Floats:
        """`effects` (M, N) over bare surfaces of admittance `base` (P, M)."""
        if not len(patches):
            return np.zeros((len(self.modes.f_hz), 0))
        beta, flow = _real_admittance(self.modes, scene, patches)
        area = _areas(self.modes, scene, patches)
        walls = on_walls(self.modes.dimensions, scene, patches.surface, patches.rect)
        own = area * beta.T
        own += slope_damping(self.modes, walls, fill_axes(patches)) * flow.T
        hides = hiding(patches, self.modes.f_hz).real.T
        under = area * base[patches.surface].T + self._tiles_under(scene, patches, base)
        return np.asarray(own - hides * under)

    def values(self, quantities: Floats) -> Floats:
        """Decay times (M,) in s."""
        return decay_time(np.maximum(quantities, SMALLEST_DAMPING))

    def excess(self, quantities: Floats) -> Floats:
        """How far each mode rings beyond its limit (M, ...), in units of the limit."""
        limit = np.array([row.high for row in self.rows])
        shape = (len(limit), *[1] * (quantities.ndim - 1))
        return np.asarray(np.maximum(self.values(quantities) / limit.reshape(shape) - 1.0, 0.0))

    def tangents(self, row: int, low: float, high: float) -> list[Tangent]:
        """Tangents to T/limit - 1 = (a/d) - 1 from the least damping to where the limit is met."""
        enough = float(decay_time(1.0)) / self.rows[row].high
        start = max(low, SMALLEST_DAMPING)
        if start >= enough:
            return [(0.0, 0.0)]
        points = np.geomspace(start, enough, TANGENTS)
        return [(-enough / d**2, 2 * enough / d - 1.0) for d in points.tolist()]

    def convex(self, row: int) -> tuple[float, float]:
        """From the least damping that values are found for."""
        return SMALLEST_DAMPING, np.inf

    def _instead_of_base(self, scene: Scene, tiles: Patches, base: Floats) -> Floats:
        """What tiles add (M, N) to bare surfaces of admittance `base` (P, M)."""
        area = _areas(self.modes, scene, tiles)
        own = endless_admittance(tiles, self.modes.f_hz)
        return np.asarray(area * own.T - area * base[tiles.surface].T)

    def _tiles_under(self, scene: Scene, patches: Patches, base: Floats) -> Floats:
        """What tiles add to the base (M, N) under each patch."""
        under = np.zeros((len(self.modes.f_hz), len(patches)))
        for index in range(len(scene.tiles)):
            tile = scene.tiles.take(np.array([index]))
            low = np.maximum(patches.rect[:, :2], tile.rect[:, :2])
            high = np.minimum(patches.rect[:, 2:], tile.rect[:, 2:])
            common = (patches.surface == tile.surface[0]) & np.all(high > low, axis=1)
            if common.any():
                rect = np.concatenate([low, high], axis=1)[common]
                cut = tile.take(np.zeros(int(common.sum()), dtype=np.int64))
                cut = replace(cut, rect=rect, face=np.prod(rect[:, 2:] - rect[:, :2], axis=1))
                under[:, common] += self._instead_of_base(scene, cut, base)
        return under


def mode_family(scene: Scene, dimensions: tuple[float, float, float]) -> ModeFamily:
    """Mode criteria of a box up to the Schroeder frequency of its nominal decay time.

    A mode counts as strongly as it is driven by the loudspeakers and heard at the seats; one with
    less than FAINT of the strongest's energy only informs.
    """
    top = highest_mode(scene.volume)
    modes = box_modes(dimensions, top)
    energy = mode_weights(modes, scene.speakers, scene.seats) ** 2
    weights = np.where(energy >= FAINT, energy, 0.0)
    limits = mode_limit(modes.f_hz)
    rows = tuple(
        Criterion("mode", f"{f:.1f} Hz ({'-'.join(str(i) for i in n)})", "s", np.nan, float(limit),
                  float(weight), MODEL, "counts as strongly as it is driven and heard")
        for f, n, limit, weight in zip(modes.f_hz, modes.n, limits, weights, strict=True)
    )  # fmt: skip
    return ModeFamily(rows, modes)


def highest_mode(volume: float) -> float:
    """Schroeder frequency in Hz at the nominal decay time: below it modes are judged one by one."""
    return float(schroeder_frequency(nominal_decay(volume), volume))


def _real_admittance(modes: Modes, scene: Scene, patches: Patches) -> tuple[Floats, Floats]:
    """Real admittance (N, M) that each mode meets in pieces, by its own run along their wall, and
    that of the flow along the wall inside them (N, M), m2."""
    tables, kind = piece_kinds(patches)
    k = np.pi * modes.n / modes.dimensions
    runs = np.array([*(np.hypot(k[:, i], k[:, j]) for i, j in IN_PLANE), *k.T])
    axis = on_walls(modes.dimensions, scene, patches.surface, patches.rect).axis
    only = fill_axes(patches)
    run = np.where(only >= 0, len(IN_PLANE) + only, axis)
    pairs, pair = np.unique(np.stack([kind, run], axis=1), axis=0, return_inverse=True)
    at_modes = [at_frequencies(table, modes.f_hz) for table in tables]
    met = [along(at_modes[which], runs[way]).real for which, way in pairs.tolist()]
    flow = np.array([table[-1].real for table in at_modes])[kind]
    return np.array(met).reshape(-1, len(modes.n))[pair.ravel()], flow


def _areas(modes: Modes, scene: Scene, patches: Patches) -> Floats:
    """Damping (M, N) by the rectangles of patches per unit of real admittance."""
    if not len(patches):
        return np.zeros((len(modes.n), 0))
    return patch_damping(modes, on_walls(modes.dimensions, scene, patches.surface, patches.rect))


def _at_modes(modes: Modes, bands: Floats) -> Floats:
    """Octave-band values (N, 8) at the mode frequencies (N, M), linear in log frequency."""
    return bands_at(bands, modes.f_hz)


def _whole_walls(scene: Scene) -> Patches:
    """Every surface as one patch of its base material."""
    count = len(scene.planes)
    return Patches(
        surface=np.arange(count),
        rect=np.array([plane.bounds for plane in scene.planes]),
        alpha=scene.base_alpha,
        scatter=scene.base_scatter,
        face=np.array([plane.area for plane in scene.planes]),
        offset=np.zeros(count),
        hides=np.ones_like(scene.base_alpha),
    )


def on_walls(dimensions: ArrayLike, scene: Scene, surface: Ints, rects: Floats) -> WallPatches:
    """Rectangles (N, 4) on surfaces (N,) as patches of the box's own walls: axis, side, in-plane
    coordinates in order x, y, z."""
    size = np.asarray(dimensions, dtype=np.float64)
    normal = np.array([plane.normal for plane in scene.planes])[surface].reshape(-1, 3)
    axis = np.abs(normal).argmax(axis=1)
    side = (normal[np.arange(len(axis)), axis] < 0).astype(np.int64)
    rect = np.clip(rects, 0.0, None)
    for index, across in enumerate(IN_PLANE):
        mine = axis == index
        for column, length in enumerate(size[list(across)]):
            for end in (column, column + 2):
                rect[mine, end] = np.minimum(rect[mine, end], length)
    return WallPatches(axis, side, rect)


def _objects(modes: Modes, scene: Scene) -> Floats:
    """Damping (M,) by furniture and people; their areas were measured on a hard floor."""
    if not len(scene.object_box):
        return np.zeros(len(modes.n))
    high = modes.dimensions
    boxes = np.clip(scene.object_box, 0.0, high).reshape(-1, 6)
    area = _at_modes(modes, scene.object_area) / ON_FLOOR
    return np.asarray((object_damping(modes, boxes) * area.T).sum(axis=1))
