"""How sure the figures are: coefficients, scattering and positions drawn at random.

Each material is drawn as a whole: alpha exp(z ln(1 + sigma / alpha)), sigma the larger of the
spread between sources and ISO 12999-2 (or what a calibration left), z normal with a correlation of
one half between bands. Scattering moves in all its bands alike, its odds s/(1 - s) as a log-normal:
by 0.15 (one sigma) at one half, by which two laboratories differ on one batten (materials/
scattering.csv, relief_battens_100), and from 0.05 of a plain surface to 0.03 or 0.09. So it stays
within 0 to 1, and a plain surface never becomes a mirror. Loudspeakers and seats move by up to 5 cm
each way. Decay above the Schroeder frequency is traced anew in each draw; all else follows the
criteria with the corrections of the plan. What the models themselves leave out is not in these
figures.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.random import Generator
from scipy.stats import norm

from materials import Material
from materials.incidence import admittance_from_alpha
from optimizer.acoustics.criteria import Criteria, Criterion
from optimizer.acoustics.judge_trace import MODEL as TRACED
from optimizer.acoustics.judged import Judged
from optimizer.acoustics.scene import Patches, Scene, tile_materials
from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_room import traced_room
from optimizer.bands import BAND_LABELS, N_BANDS
from optimizer.room.flush import FLUSH, flush_with
from optimizer.room.geometry import Floats
from optimizer.room.model import Room
from optimizer.room.shell import inside_many
from optimizer.together import together

DRAWS = 64
FEWER_DRAWS = 32  # where a quick answer is wanted: ends wander by a third more
RAYS = 3000  # T20 of a treated room then errs by 5 to 7 % a draw, which is taken out again
SCATTER_SIGMA = 0.15  # at a coefficient of one half
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
    """Values of the criteria (D, K) in D draws of a scene, and as people read them (D, T)."""

    values: Floats
    criteria: Criteria
    told: Floats = field(default_factory=lambda: np.zeros((0, 0)))

    def interval(self, share: float = INTERVAL) -> tuple[Floats, Floats]:
        """Lower and upper end (K,) of the middle `share`, that a further draw lies between."""
        return _middle(self.values, share)

    def probability(self) -> Floats:
        """Share (K,) of the draws in which each row is within its limits; nan without limits."""
        return _within(self.values, self.criteria.rows)

    def told_interval(self, share: float = INTERVAL) -> tuple[Floats, Floats]:
        """`interval` of what people read (T,)."""
        return _middle(self.told, share)

    def told_probability(self) -> Floats:
        """`probability` of what people read (T,)."""
        return _within(self.told, self.criteria.told_rows)


def _middle(values: Floats, share: float) -> tuple[Floats, Floats]:
    """The k-th of n draws in order stands for k / (n + 1), without which few draws hold too
    little."""
    ends = [(1 - share) / 2, (1 + share) / 2]
    low, high = np.quantile(values, ends, axis=0, method="weibull")
    return low, high


def _within(values: Floats, rows: Sequence[Criterion]) -> Floats:
    low, high = (np.array([getattr(row, side) for row in rows]) for side in ("low", "high"))
    inside = ~(values > high + 1e-9) & ~(values < low - 1e-9)
    unlimited = np.isnan(low) & np.isnan(high)
    return np.asarray(np.where(unlimited, np.nan, inside.mean(axis=0)))


Moved = Callable[[Scene], Criteria]


def sample(
    judged: Judged, kinds: Kinds, moved: Moved, seed: int = 1, draws: int = DRAWS
) -> Sampled:
    """Draw a judged scene `draws` times; `moved` gives the criteria of a scene with new positions.

    Every number drawn falls once into each of `draws` equal shares of its distribution (McKay,
    Beckman and Conover, Technometrics 21 (1979) 239), so that few draws give steady ends.
    """
    rng = np.random.default_rng(seed)
    materials = norm.ppf(_strata(rng, draws, _names(kinds), N_BANDS + 2))
    points = len(judged.scene.speakers) + len(judged.scene.seats)
    spots = 2.0 * _strata(rng, draws, points, 3) - 1.0
    scenes = [
        _moved(redrawn(judged.scene, kinds, z), POSITION_M * at)
        for z, at in zip(materials, spots, strict=True)
    ]

    rows = _Kept.of(judged.criteria.rows, judged.criteria.values(judged.quantities))
    told = _Kept.of(judged.criteria.told_rows, judged.told.values)

    def by_criteria() -> Floats:
        made = [_by_families(moved(scene), scene) for scene in scenes]
        return np.array(
            [[*rows.or_drawn(own) * judged.factors, *told.or_drawn(read)] for own, read in made]
        )

    def by_tracer() -> Floats:
        return _traced(judged, scenes)

    drawn_values, traced = together([by_criteria, by_tracer])
    plain, read = np.split(drawn_values, [traced.shape[1]], axis=1)
    values = np.where(np.isnan(traced), plain, traced)
    alone = _alone(judged.criteria, values)
    return Sampled(values, judged.criteria, np.where(np.isnan(alone), read, alone))


@dataclass(frozen=True)
class _Kept:
    """What was judged (K,), by the names of its rows."""

    names: tuple[str, ...]
    judged: tuple[float, ...]

    @classmethod
    def of(cls, rows: Sequence[Criterion], judged: Floats) -> "_Kept":
        """Rows (K,) as judged (K,)."""
        return cls(tuple(row.key for row in rows), tuple(judged.tolist()))

    def or_drawn(self, drawn: dict[str, float]) -> Floats:
        """Values (K,) of a draw. A row that it does not have (its positions have no such
        reflection, say) stays as judged."""
        return np.array([drawn.get(*row) for row in zip(self.names, self.judged, strict=True)])


def _by_families(criteria: Criteria, scene: Scene) -> tuple[dict[str, float], dict[str, float]]:
    """Values of a drawn scene by its own criteria, and what people read where one row stands for
    several, both by the names of the rows."""
    values: dict[str, float] = {}
    read: dict[str, float] = {}
    for family in criteria.families:
        own = family.values(family.quantities(scene))
        values |= zip((row.key for row in family.rows), own.tolist(), strict=True)
        told_rows = family.told_rows
        if len(told_rows) < len(own):
            told = family.told(scene, own, np.ones(len(own), dtype=np.bool_))
            read |= zip((row.key for row in told_rows), told.values.tolist(), strict=True)
    return values, read


def _alone(criteria: Criteria, values: Floats) -> Floats:
    """Values (D, K) of rows that people read as they are (D, T); nan of those read as one."""
    of = criteria.told_of
    alone = np.bincount(of)[of] == 1
    out = np.full((len(values), len(criteria.told_rows)), np.nan)
    out[:, of[alone]] = values[:, alone]
    return out


def _strata(rng: Generator, draws: int, rows: int, columns: int) -> Floats:
    """Uniform numbers (draws, rows, columns), one in each of `draws` equal parts of 0 to 1."""
    order = np.tile(np.arange(draws)[:, None], (1, rows * columns))
    inside = rng.random(order.shape)
    return np.asarray((rng.permuted(order, axis=0) + inside) / draws).reshape(draws, rows, columns)


def _moved(scene: Scene, off: Floats) -> Scene:
    """The scene with its loudspeakers, then its seats, off by (S + R, 3) metres.

    What would be moved out of the room, or off the surface it is built into, stays in it.
    """
    count = len(scene.speakers)
    points = np.concatenate([scene.speakers, scene.seats])
    off = off.copy()
    for speaker, surface in np.argwhere(flush_with(scene.speakers, scene.planes)):
        normal = scene.planes[surface].normal
        off[speaker] -= (off[speaker] @ normal) * normal
    corners = np.concatenate([plane.to_xyz(plane.polygon) for plane in scene.planes])
    low, high = corners.min(axis=0) + FLUSH, corners.max(axis=0) - FLUSH
    moved = np.clip(points + off, low, high)
    moved = np.where(inside_many(moved, list(scene.planes))[:, None], moved, points)
    return replace(scene, speakers=moved[:count], seats=moved[count:])


def drawn(scene: Scene, kinds: Kinds, rng: Generator) -> Scene:
    """The scene with every material drawn anew."""
    return redrawn(scene, kinds, rng.standard_normal((_names(kinds), N_BANDS + 2)))


def redrawn(scene: Scene, kinds: Kinds, z: Floats) -> Scene:
    """The scene with its materials, in the order of their names, moved by normal numbers.

    `z` (M, 10) for each material: all bands alike, each band by itself (8), scattering.
    """
    materials = {m.id: m for part in _parts(kinds) for m in part}
    draw = {
        id: (_ratio(material, row[:-1]), 4.0 * SCATTER_SIGMA * float(row[-1]))
        for (id, material), row in zip(sorted(materials.items()), z, strict=True)
    }
    return replace(
        scene,
        base_alpha=np.clip(scene.base_alpha * _ratios(kinds.base, draw), 0.0, 1.0),
        base_scatter=_scattered(scene.base_scatter, kinds.base, draw),
        tiles=_redrawn(scene.tiles, kinds.tiles, draw),
        pieces=_redrawn(scene.pieces, kinds.pieces, draw),
        object_area=scene.object_area * _ratios(kinds.objects, draw),
    )


def _names(kinds: Kinds) -> int:
    """Number of different materials."""
    return len({m.id for part in _parts(kinds) for m in part})


Draw = dict[str, tuple[Floats, float]]


def _parts(kinds: Kinds) -> tuple[tuple[Material, ...], ...]:
    return kinds.base, kinds.tiles, kinds.objects, kinds.pieces


def _ratio(material: Material, normal: Floats) -> Floats:
    """Drawn over stated coefficient (8,) from normal numbers (9,): common, one per band."""
    z = np.sqrt(BETWEEN_BANDS) * normal[0] + np.sqrt(1 - BETWEEN_BANDS) * normal[1:]
    stated = np.maximum(np.array(material.absorption), 1e-4)
    return np.asarray(np.exp(z * np.log1p(np.array(material.spread) / stated)))


def _ratios(kinds: Sequence[Material], draw: Draw) -> Floats:
    return np.array([draw[m.id][0] for m in kinds]).reshape(-1, N_BANDS)


def _scattered(scatter: Floats, kinds: Sequence[Material], draw: Draw) -> Floats:
    odds = np.exp([draw[m.id][1] for m in kinds]).reshape(-1, 1)
    return np.asarray(scatter * odds / (1.0 - scatter + scatter * odds))


def _redrawn(patches: Patches, kinds: Sequence[Material], draw: Draw) -> Patches:
    """Patches with drawn coefficients; the admittance of a make moves as its coefficient does."""
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
        strength=_strength(patches, alpha),
    )


def _strength(patches: Patches, alpha: Floats) -> Floats:
    """How much more admittance (N,) the make of a piece has with drawn coefficients (N, 8)."""
    beta = [admittance_from_alpha(np.clip(a[:, :3], 1e-4, 0.95)) for a in (patches.alpha, alpha)]
    return np.asarray(patches.strength * (beta[1] / beta[0]).mean(axis=1))


def _traced(judged: Judged, scenes: Sequence[Scene]) -> Floats:
    """The values (D, K) of the rows that the tracer judged, traced anew and freed of the rays' own
    error; nan in all others."""
    out = np.full((len(scenes), len(judged.criteria.rows)), np.nan)
    rows = [k for k, model in enumerate(judged.models) if model == TRACED]
    if not rows:
        return out
    bands = [BAND_LABELS.index(judged.criteria.rows[k].where) for k in rows]

    traced = [trace(traced_room(s), rays=RAYS, seed=draw + 1) for draw, s in enumerate(scenes)]
    values, errors = (
        np.array([x.t20[bands] for x in each])
        for each in ([t.decay for t in traced], [t.errors for t in traced])
    )
    out[:, rows] = without_chance(values, errors)
    return out


def without_chance(values: Floats, errors: Floats) -> Floats:
    """Draws (D, R) drawn together about their mean by what their own standard errors (D, R) add to
    their scatter: independent errors add by squares."""
    mean, total = values.mean(axis=0), values.var(axis=0)
    share = 1.0 - np.mean(errors**2, axis=0) / np.maximum(total, 1e-300)
    return np.asarray(mean + np.sqrt(np.clip(share, 0.0, 1.0)) * (values - mean))
