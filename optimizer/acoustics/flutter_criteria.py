"""Flutter: sound thrown back and forth between two surfaces that face each other.

What counts is what image rays of a clap lose on a round trip (flutter_rays.py), at places around
loudspeakers and ears, in the octaves from 500 Hz to 4 kHz, each by itself: absorbers and diffusers
count alike, and the rays between bare spots that face each other keep going whatever hangs beside
them. A trip must lose enough for the echoes to be gone as fast as the room's decay: 60 dB * 2 d /
(c T) for surfaces d apart.

For the program places and octaves are rows of their own, few of them, with a loss that is linear in
the treatment (Rays.loss). What people read is the least that is heard (Facing.heard) of all places
and octaves of a pair of surfaces, on a finer grid: after many trips little else is left.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.criteria import Criterion, Rows, Tangent, Told
from optimizer.acoustics.flutter_rays import HEARD, C, Facing, Grid, Rays, joined, window_side
from optimizer.acoustics.images import make_reflectors
from optimizer.acoustics.scene import Ints, Patches, Scene
from optimizer.bands import BANDS, band_label
from optimizer.room.flush import FLUSH
from optimizer.room.geometry import Floats, Plane

MODEL = "image rays to and fro"
FLUTTER_BAND = BANDS.index(1000)
AROUND = 0.2  # metres around loudspeakers and ears, as the head region of first reflections
STEP, FINE = 0.4, 0.1  # metres between places for the program, at least, and for what is told
PLACES = 16  # most places of a pair in an octave, for the program
PARALLEL = 0.9962  # cosine of 5 degrees: splayed further, walls do not flutter (common practice)
NOTE = (
    "least of all places around loudspeakers and ears, 500 Hz to 4 kHz; the limit keeps pace with "
    "the decay; ours, no standard gives one"
)


@dataclass(frozen=True)
class FlutterFamily(Rows):
    """Rows per pair of facing surfaces, place and octave. Quantity and value: loss of a clap's
    image ray per round trip, dB, at least, counted as far as needed. Excess: the share lacking.

    `pairs` (P) are the rows as people read them, `pair` (K,) says which a row belongs to.
    """

    rays: Rays
    pairs: tuple[Criterion, ...]
    pair: Ints
    facing: tuple[Facing, ...]
    grids: tuple[Grid, ...]  # places of each pair for what is told

    def quantities(self, scene: Scene) -> Floats:
        """Loss (K,) in dB per round trip."""
        return self.rays.loss(scene)

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Change of the loss (K, N) in dB that each patch makes."""
        return self.rays.change(scene, patches)

    def values(self, quantities: Floats) -> Floats:
        """The losses themselves (K,)."""
        return quantities

    def excess(self, quantities: Floats) -> Floats:
        """Share of the limit (K, ...) that is lacking."""
        least = np.array([row.low for row in self.rows])
        return np.asarray(
            np.maximum(1.0 - quantities / least.reshape(-1, *[1] * (quantities.ndim - 1)), 0.0)
        )

    def tangents(self, row: int, low: float, high: float) -> list[Tangent]:
        """The one line of the excess."""
        return [(-1.0 / self.rows[row].low, 1.0)]

    @property
    def told_rows(self) -> tuple[Criterion, ...]:
        """One row per pair (P), with the weight of all that belong to it."""
        weights = np.bincount(self.pair, [row.weight for row in self.rows], len(self.pairs))
        return tuple(
            row.weighing(float(weight)) for row, weight in zip(self.pairs, weights, strict=True)
        )

    @property
    def told_of(self) -> Ints:
        """The pair (K,) that each row belongs to."""
        return self.pair

    def told(self, scene: Scene, values: Floats, met: NDArray[np.bool_]) -> Told:
        """The least loss of each pair (P,), where it is, and how many places lose too little."""
        least, notes = [], []
        for row, facing, grid in zip(self.pairs, self.facing, self.grids, strict=True):
            lost = facing.heard(scene, grid, HEARD)
            octave, u, v = np.unravel_index(int(np.argmin(lost)), lost.shape)
            places = lost.min(axis=0)
            short = 100 * np.mean(places[np.isfinite(places)] < row.low - 1e-9)
            least.append(float(lost.min()))
            (near,) = _near(scene, facing.planes[0], grid.places[u, v][None])
            notes.append(
                f"{NOTE}; least {near} at {band_label(BANDS[HEARD[octave]])}; too little at "
                f"{short:.0f} % of the places"
            )
        needed = np.array([row.low for row in self.pairs])
        return Told(np.array(least), np.array(least) >= needed - 1e-9, tuple(notes))


@dataclass(frozen=True)
class _Pair:
    """One pair of surfaces: its row as people read it, and the rows and rays of the program."""

    told: Criterion
    facing: Facing
    grid: Grid
    rows: tuple[Criterion, ...]
    rays: Rays


def flutter_family(scene: Scene, decay_s: float, c: float = C) -> FlutterFamily:
    """Flutter criteria of a scene for echoes that are to die away as fast as `decay_s`."""
    found = [_pair(scene, *pair) for pair in _facing_pairs(scene, decay_s, c)]
    pairs = [pair for pair in found if pair is not None]
    return FlutterFamily(
        rows=tuple(row for pair in pairs for row in pair.rows),
        rays=joined([pair.rays for pair in pairs]),
        pairs=tuple(pair.told for pair in pairs),
        pair=np.repeat(np.arange(len(pairs), dtype=np.int64), [len(p.rays) for p in pairs]),
        facing=tuple(pair.facing for pair in pairs),
        grids=tuple(pair.grid for pair in pairs),
    )


def _pair(scene: Scene, facing: Facing, low: Floats, high: Floats) -> _Pair | None:
    """A pair of surfaces; None where no ray runs to and fro."""
    grid = _grid(facing, low, high, FINE, around=window_side(BANDS[HEARD[0]], facing.apart) / 2)
    steps = {band: max(STEP, window_side(BANDS[band], facing.apart)) for band in HEARD}
    coarse = {s: _grid(facing, low, high, s, PLACES).inner for s in sorted(set(steps.values()))}
    facing.look_ahead([grid.places.reshape(-1, 3), *coarse.values()])
    fine = facing.looked(grid)
    if not len(fine):
        return None
    where = f"between {' and '.join(scene.names[i] for i in facing.index)}"
    told = Criterion("flutter", where, "dB", facing.needed, np.nan, 1.0, MODEL, NOTE)
    rows: list[Criterion] = []
    parts = []
    for band in HEARD:
        places = facing.crossed(coarse[steps[band]])
        places = places if len(places) else fine[[len(fine) // 2]]
        parts.append(facing.rays(places, (band,)))
        octave, share = band_label(BANDS[band]), 1.0 / len(places)
        rows += [
            Criterion("flutter", f"{where}, {near}, {octave}", "dB", facing.needed, np.nan, share,
                      MODEL, NOTE)
            for near in _near(scene, facing.planes[0], places)
        ]  # fmt: skip
    return _Pair(told, facing, grid, tuple(rows), joined(parts))


def _facing_pairs(scene: Scene, decay_s: float, c: float) -> list[tuple[Facing, Floats, Floats]]:
    """Pairs of surfaces that face each other, and the part of the first (2,), (2,) to look at."""
    people = np.concatenate([scene.speakers, scene.seats])
    walls = make_reflectors(
        [p.origin for p in scene.planes], [p.u for p in scene.planes],
        [p.v for p in scene.planes], [p.normal for p in scene.planes],
        [p.polygon for p in scene.planes],
    )  # fmt: skip
    boxes = scene.object_box[scene.object_solid]
    found = []
    for first, second in combinations(range(len(scene.planes)), 2):
        one, other = scene.planes[first], scene.planes[second]
        heights = np.array([plane.height_over(people) for plane in (one, other)])
        between = np.all(heights > -FLUSH, axis=0)
        if one.normal @ other.normal > -PARALLEL or not np.any(between):
            continue
        apart = float(heights.sum(axis=0)[between].mean())
        trips = c * decay_s / (2.0 * apart)
        facing = Facing((first, second), (one, other), apart, trips, walls, boxes)
        uv = one.to_uv(people[between])
        found.append((facing, uv.min(axis=0) - AROUND, uv.max(axis=0) + AROUND))
    return found


def _near(scene: Scene, plane: Plane, places: Floats) -> list[str]:
    """Each place (N, 3) by the loudspeaker or seat whose shadow on a surface is nearest to its own,
    numbered where several are."""
    people = plane.to_uv(np.concatenate([scene.speakers, scene.seats]))
    off = np.linalg.norm(plane.to_uv(places)[:, None] - people[None], axis=-1)
    names = (*scene.speaker_names, *scene.seat_names)
    count = dict.fromkeys(names, 0)
    near = []
    for who in off.argmin(axis=1):
        name = names[int(who)]
        count[name] += 1
        near.append(f"near {name}" + (f" {count[name]}" if count[name] > 1 else ""))
    return near


def _grid(
    facing: Facing,
    low: Floats,
    high: Floats,
    step: float,
    most: int | None = None,
    around: float = 0.0,
) -> Grid:
    """Middles of cells of about `step` m midway between two surfaces, at `most` so many, between
    `low` and `high` (2,) on the first; and as many `around` as reach so far."""
    one = facing.planes[0]
    u0, v0, u1, v1 = one.bounds
    low, high = np.maximum(low, (u0, v0)), np.minimum(high, (u1, v1))
    size = np.maximum(high - low, 0.0)
    count = np.maximum(np.round(size / step), 1).astype(int)
    while most is not None and np.prod(count) > most:
        step *= 1.05
        count = np.maximum(np.round(size / step), 1).astype(int)
    cell = size / count
    more = np.where(cell > 0, np.ceil(around / np.maximum(cell, 1e-9)), 0).astype(int)
    index = [np.arange(-more[i], count[i] + more[i]) for i in (0, 1)]
    u, v = (low[i] + (index[i] + 0.5) * cell[i] for i in (0, 1))
    uv = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1)
    inside = [(index[i] >= 0) & (index[i] < count[i]) for i in (0, 1)]
    places = one.to_xyz(uv) + 0.5 * facing.apart * one.normal
    return Grid(places, np.logical_and.outer(*inside))
