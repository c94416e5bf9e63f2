"""How sure the figures are: coefficients, scattering and positions drawn at random.

Each material is drawn as a whole: alpha exp(z ln(1 + sigma / alpha)), sigma the larger of the
spread between sources and ISO 12999-2 (or what a calibration left), z normal with a correlation of
one half between bands; scattering moves by 0.15 (one sigma) in all its bands alike. Loudspeakers
and seats move by up to 5 cm each way. Decay above the Schroeder frequency is traced anew in each
draw; all else follows the criteria with the corrections of the plan. What the models themselves
leave out is not in these figures.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator

from materials import Material
from materials.incidence import admittance_from_alpha
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.judge_trace import MODEL as TRACED
from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.judged import Judged
from optimizer.acoustics.scene import Complexes, Patches, Scene, tile_materials
from optimizer.bands import N_BANDS
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

DRAWS = 64
POSITIONS = 12
RAYS = 3000
SCATTER_SIGMA = 0.15
POSITION_M = 0.05
BETWEEN_BANDS = 0.5  # correlation; own estimate, no source
INTERVAL = 0.8


@dataclass(frozen=True)
class Kinds:
    """Material of each row of a scene: surfaces, tiles, objects, pieces."""

    base: tuple[Material, ...]
    tiles: tuple[Material, ...]
    objects: tuple[Material, ...]
    pieces: tuple[Material, ...]


def room_kinds(room: Room, pieces: Sequence[Material]) -> Kinds:
    """Materials of a room's scene; `pieces` those of its patches of treatment, in their order."""
    return Kinds(
        tuple(surface.material for surface in room.surfaces),
        tile_materials(room),
        tuple(furniture.material for furniture in room.furniture),
        tuple(pieces),
    )


@dataclass(frozen=True)
class Sampled:
    """Values (D, K) of the criteria in D draws of a judged scene."""

    values: Floats
    criteria: Criteria

    def interval(self, share: float = INTERVAL) -> tuple[Floats, Floats]:
        """Lower and upper end (K,) of the middle `share` of the draws."""
        low, high = np.quantile(self.values, [(1 - share) / 2, (1 + share) / 2], axis=0)
        return low, high

    def probability(self) -> Floats:
        """Share (K,) of the draws in which each row is within its limits; nan without limits."""
        low, high = self.criteria.limits
        inside = ~(self.values > high + 1e-9) & ~(self.values < low - 1e-9)
        unlimited = np.isnan(low) & np.isnan(high)
        return np.asarray(np.where(unlimited, np.nan, inside.mean(axis=0)))


Moved = Callable[[Scene], Criteria]


def sample(judged: Judged, kinds: Kinds, moved: Moved, seed: int = 1) -> Sampled:
    """Draw a judged scene DRAWS times; `moved` gives the criteria of a scene with new positions."""
    rng = np.random.default_rng(seed)
    scenes = [drawn(judged.scene, kinds, rng) for _ in range(DRAWS)]
    values = np.array([judged.read(judged.criteria.quantities(scene)) for scene in scenes])
    values = _traced(judged, scenes, values)
    shifts = _position_shifts(judged, moved, rng)
    return Sampled(values + shifts[rng.integers(len(shifts), size=DRAWS)], judged.criteria)


def drawn(scene: Scene, kinds: Kinds, rng: Generator) -> Scene:
    """The scene with every material drawn anew."""
    materials = {m.id: m for part in _parts(kinds) for m in part}
    draw = {
        id: (_ratio(material, rng), SCATTER_SIGMA * rng.standard_normal())
        for id, material in sorted(materials.items())
    }
    return replace(
        scene,
        base_alpha=np.clip(scene.base_alpha * _ratios(kinds.base, draw), 0.0, 1.0),
        base_scatter=_scattered(scene.base_scatter, kinds.base, draw),
        tiles=_redrawn(scene.tiles, kinds.tiles, draw),
        pieces=_redrawn(scene.pieces, kinds.pieces, draw),
        object_area=scene.object_area * _ratios(kinds.objects, draw),
    )


Draw = dict[str, tuple[Floats, float]]


def _parts(kinds: Kinds) -> tuple[tuple[Material, ...], ...]:
    return kinds.base, kinds.tiles, kinds.objects, kinds.pieces


def _ratio(material: Material, rng: Generator) -> Floats:
    """Drawn over stated coefficient (8,)."""
    common, own = rng.standard_normal(), rng.standard_normal(N_BANDS)
    z = np.sqrt(BETWEEN_BANDS) * common + np.sqrt(1 - BETWEEN_BANDS) * own
    stated = np.maximum(np.array(material.absorption), 1e-4)
    return np.asarray(np.exp(z * np.log1p(np.array(material.spread) / stated)))


def _ratios(kinds: Sequence[Material], draw: Draw) -> Floats:
    return np.array([draw[m.id][0] for m in kinds]).reshape(-1, N_BANDS)


def _scattered(scatter: Floats, kinds: Sequence[Material], draw: Draw) -> Floats:
    shift = np.array([draw[m.id][1] for m in kinds]).reshape(-1, 1)
    return np.asarray(np.clip(scatter + shift, 0.0, 0.99))


def _redrawn(patches: Patches, kinds: Sequence[Material], draw: Draw) -> Patches:
    """Patches with drawn coefficients; a build's own admittance moves as its coefficient does."""
    if not len(patches):
        return patches
    ratio = _ratios(kinds, draw)
    alpha = np.clip(patches.alpha * ratio, 0.0, 1.1)
    hides = np.where(patches.hides < 1.0, np.minimum(patches.hides * ratio, 1.0), 1.0)
    return replace(
        patches,
        alpha=alpha,
        hides=hides,
        scatter=_scattered(patches.scatter, kinds, draw),
        built=_built(patches, alpha),
    )


def _built(patches: Patches, alpha: Floats) -> Complexes:
    beta = [admittance_from_alpha(np.clip(a[:, :3], 1e-4, 0.95)) for a in (patches.alpha, alpha)]
    change = (beta[1] / beta[0]).mean(axis=1, keepdims=True)
    return np.asarray(patches.built * change, dtype=np.complex128)


def _traced(judged: Judged, scenes: Sequence[Scene], values: Floats) -> Floats:
    """The values with those rows traced anew that the tracer judged."""
    rows = [k for k, model in enumerate(judged.models) if model == TRACED]
    if not rows:
        return values
    judge = TraceJudge(0.0, RAYS)
    keys = [judged.criteria.rows[k].key for k in rows]
    nominal = judge(judged.scene).values
    out = values.copy()
    for index, scene in enumerate(scenes):
        said = judge(scene).values
        for k, key in zip(rows, keys, strict=True):
            if key in said and key in nominal:
                out[index, k] = judged.values[k] * said[key] / nominal[key]
    return out


def _position_shifts(judged: Judged, moved: Moved, rng: Generator) -> Floats:
    """Change of the values (N, K) of reflections when loudspeakers and seats stand a bit off."""
    where = {row.key: k for k, row in enumerate(judged.criteria.rows)}
    plain = judged.criteria.values(judged.quantities)
    shifts = np.zeros((POSITIONS, len(plain)))
    for index in range(POSITIONS):
        scene = judged.scene
        speakers, seats = (
            at + rng.uniform(-POSITION_M, POSITION_M, at.shape)
            for at in (scene.speakers, scene.seats)
        )
        scene = replace(scene, speakers=speakers, seats=seats)
        criteria = moved(scene)
        values = criteria.values(criteria.quantities(scene))
        for row, value in zip(criteria.rows, values, strict=True):
            if row.key in where:
                k = where[row.key]
                shifts[index, k] = value - plain[k]
    return shifts
