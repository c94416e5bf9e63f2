"""Flutter: sound thrown back and forth between two parallel surfaces.

What each surface sends on in the mirror direction, (1 - alpha)(1 - s), is averaged over the zone
that faces loudspeakers and listeners. A round trip loses at least -20 lg of the mean of the two
zones (the geometric mean is never above the arithmetic one), and must lose enough for the echoes to
be gone as fast as the room's decay: 60 dB * 2 d / (c T) for surfaces d apart. Absorbers and
diffusers count alike here; only absorbers shorten the decay besides.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from optimizer.acoustics.criteria import Criterion, Rows, Tangent
from optimizer.acoustics.scene import Ints, Patches, Scene
from optimizer.bands import BANDS
from optimizer.room.geometry import Floats

MODEL = "mirror share of facing zones"
FLUTTER_BAND = BANDS.index(1000)
HEARD = (BANDS.index(500), BANDS.index(1000), BANDS.index(2000), BANDS.index(4000))
MARGIN = 0.5  # metres that a zone reaches beyond loudspeakers and ears; own choice
PARALLEL = 0.9962  # cosine of 5 degrees: splayed further, walls do not flutter (common practice)
FAINTEST = 1e-3  # share sent on that still counts, 60 dB a round trip
NOTE = "500 Hz to 4 kHz; the limit keeps pace with the decay; ours, no standard gives one"


@dataclass(frozen=True)
class FlutterFamily(Rows):
    """Rows per pair of facing surfaces. Quantity: mean share sent on in the mirror direction.

    Value: dB lost per round trip, at least. Excess: share over the share of the limit, less one.
    """

    surface: Ints  # (K, 2)
    zone: Floats  # (K, 2, 4) u0, v0, u1, v1 on each surface

    def quantities(self, scene: Scene) -> Floats:
        """Mean mirror share (K,) of the two zones."""
        bare = _mirror(scene.base_alpha, scene.base_scatter)[self.surface].mean(axis=1)
        tiles = self._change(scene.tiles, scene, with_tiles=False).sum(axis=1)
        return np.asarray(bare + tiles + self.effects(scene, scene.pieces).sum(axis=1))

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Change of the share (K, N) that each patch makes."""
        return self._change(patches, scene, with_tiles=True)

    def values(self, quantities: Floats) -> Floats:
        """Loss (K,) in dB per round trip."""
        return np.asarray(-20 * np.log10(np.maximum(quantities, FAINTEST)))

    def excess(self, quantities: Floats) -> Floats:
        """Share beyond the limit's (K, ...), in units of the limit's."""
        allowed = self._allowed().reshape(-1, *[1] * (quantities.ndim - 1))
        return np.asarray(np.maximum(quantities / allowed - 1.0, 0.0))

    def tangents(self, row: int, low: float, high: float) -> list[Tangent]:
        """The one line of the excess."""
        return [(1.0 / float(self._allowed()[row]), -1.0)]

    def _allowed(self) -> Floats:
        return np.asarray(10 ** (-np.array([row.low for row in self.rows]) / 20))

    def _change(self, patches: Patches, scene: Scene, with_tiles: bool) -> Floats:
        """Change (K, N): the patch's own share less what is under it, over the two zones' area."""
        if not len(patches):
            return np.zeros((len(self.rows), 0))
        change = np.zeros((len(self.rows), len(patches)))
        own = _mirror(patches.alpha, patches.scatter)
        base = _mirror(scene.base_alpha, scene.base_scatter)
        for side in (0, 1):
            surface, zone = self.surface[:, side], self.zone[:, side]
            size = np.prod(zone[:, 2:] - zone[:, :2], axis=1)[:, None]
            on = (patches.surface == surface[:, None]).astype(float)
            covered = on * _common(zone, patches.rect) / size
            change += 0.5 * covered * (own - base[patches.surface])
            if with_tiles and len(scene.tiles):
                change -= 0.5 * self._tiles_under(patches, scene, zone, base) * on / size
        return change

    def _tiles_under(self, patches: Patches, scene: Scene, zone: Floats, base: Floats) -> Floats:
        """What tiles add to the base (K, N), m2, under each patch within each zone."""
        tiles = scene.tiles
        differs = _mirror(tiles.alpha, tiles.scatter) - base[tiles.surface]
        under = np.zeros((len(zone), len(patches)))
        for tile in range(len(tiles)):
            mine = patches.surface == tiles.surface[tile]
            low = np.maximum(patches.rect[:, :2], tiles.rect[tile, :2])
            high = np.maximum(np.minimum(patches.rect[:, 2:], tiles.rect[tile, 2:]), low)
            both = np.concatenate([low, high], axis=1)
            under += mine * _common(zone, both) * differs[tile]
        return under


def flutter_family(scene: Scene, decay_s: float, c: float = 343.0) -> FlutterFamily:
    """Flutter criteria of a scene for echoes that are to die away as fast as `decay_s`."""
    rows, surfaces, zones = [], [], []
    for first, second in combinations(range(len(scene.planes)), 2):
        pair = _facing(scene, first, second)
        if pair is not None:
            zone, apart = pair
            needed = 60.0 * 2.0 * apart / (c * decay_s)
            where = f"between {scene.names[first]} and {scene.names[second]}"
            rows.append(Criterion("flutter", where, "dB", needed, np.nan, 1.0, MODEL, NOTE))
            surfaces.append((first, second))
            zones.append(zone)
    return FlutterFamily(
        tuple(rows), np.array(surfaces, dtype=np.int64).reshape(-1, 2),
        np.array(zones).reshape(-1, 2, 4),
    )  # fmt: skip


def _facing(scene: Scene, first: int, second: int) -> tuple[Floats, float] | None:
    """Zones (2, 4) of two surfaces that face each other around the people, and their distance."""
    one, other = scene.planes[first], scene.planes[second]
    apart = float((other.origin - one.origin) @ one.normal)
    if one.normal @ other.normal > -PARALLEL or apart <= 0:
        return None
    points = np.concatenate([scene.speakers, scene.seats])
    zones = []
    for plane in (one, other):
        uv = plane.to_uv(points)
        u0, v0, u1, v1 = plane.bounds
        low = np.maximum(uv.min(axis=0) - MARGIN, (u0, v0))
        high = np.minimum(uv.max(axis=0) + MARGIN, (u1, v1))
        if np.any(high - low < MARGIN):
            return None
        zones.append([*low, *high])
    return np.array(zones), apart


def _mirror(alpha: Floats, scatter: Floats) -> Floats:
    """Share (N,) sent on in the mirror direction, mean of the bands in which flutter is heard."""
    bands = (..., list(HEARD))
    return np.asarray(((1 - np.clip(alpha[bands], 0, 1)) * (1 - scatter[bands])).mean(axis=-1))


def _common(zone: Floats, rect: Floats) -> Floats:
    """Area (K, N) in m2 that rectangles (N, 4) have in common with zones (K, 4)."""
    low = np.maximum(zone[:, None, :2], rect[None, :, :2])
    high = np.minimum(zone[:, None, 2:], rect[None, :, 2:])
    return np.asarray(np.prod(np.maximum(high - low, 0.0), axis=-1))
