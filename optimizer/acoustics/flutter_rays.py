"""Image rays that run to and fro between two surfaces that face each other.

A clap at a place and its images in two facing surfaces (Borish, JASA 75 (1984) 1827) lie on one
line square to both where they are parallel, so that each ray home meets the same two spots over and
over: bare spots that face each other keep it going however much hangs beside them. Where one
surface is tilted against the other the images turn about the edge in which the two would meet, and
the rays wander towards the narrow end until they miss a surface.

Rays side by side are mixed by diffraction, over a square as large as a patch has to be to reflect
by itself: S = c a / (2 f) with a = 2 a1 a2 / (a1 + a2) for distances a1 and a2 from source and
receiver to the patch (Rindel, Attenuation of sound reflections due to diffraction, Nordic
Acoustical Meeting 1986; the formula from memory, its factor derived anew from the Fresnel zone). A
place between surfaces d apart is d/2 away from each on average, so S = c d / (4 f).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from optimizer.acoustics.images import Reflectors, clear_between, inside_outline
from optimizer.acoustics.scene import Ints, Patches, Scene, contains
from optimizer.bands import BANDS
from optimizer.room.geometry import Floats, Plane

HEARD = (BANDS.index(500), BANDS.index(1000), BANDS.index(2000), BANDS.index(4000))
FEWEST = 3  # round trips below which echoes are single ones and no flutter; own choice
MOST = 10  # round trips that a wandering ray is followed, if the decay lasts so long
LEVEL = 1e-9  # off minus one, of the cosine between normals of surfaces that count as parallel
FAINTEST = 0.01  # share sent on that still counts: no coefficient is known better
C = 343.0


@dataclass(frozen=True)
class Rays:
    """K rays with up to H hits each: `surface` (K, H), `window` (K, H, 4) m on it, `share` (K, H)
    of a round trip's two hits that it stands for (0 where there is none), `band` (K,) index.

    `enough` (K,) dB is the most that a hit counts with: what a whole trip has to lose.
    """

    surface: Ints
    window: Floats
    share: Floats
    band: Ints
    enough: Floats

    def __len__(self) -> int:
        return len(self.band)

    def loss(self, scene: Scene) -> Floats:
        """What each ray (K,) loses on a round trip, dB, with the treatment of the scene: the mean
        of decibels over its windows, each at most `enough`, which is linear in the treatment.

        Half a window that swallows enough counts half of enough, about as much as is heard; more
        than enough would let half a window do for the whole.
        """
        hits = range(self.surface.shape[1])
        means = [self.share[:, hit] * self._mean(scene, hit) for hit in hits]
        return np.asarray(np.sum(means, axis=0))

    def change(self, scene: Scene, patches: Patches) -> Floats:
        """Change of `loss` (K, N) in dB that each patch makes, less what lies under it."""
        change = np.zeros((len(self), len(patches)))
        for hit in range(self.surface.shape[1]):
            change += self.share[:, hit, None] * self._change(scene, patches, hit)
        return change

    def _lost(self, alpha: Floats, scatter: Floats) -> Floats:
        """What M materials lose (K, M) in dB in each ray's band, at most enough."""
        return np.minimum(_lost_db(alpha, scatter)[:, self.band].T, self.enough[:, None])

    def _mean(self, scene: Scene, hit: int) -> Floats:
        """Mean loss (K,) over the windows of a hit."""
        base = self._lost(scene.base_alpha, scene.base_scatter)
        bare = base[np.arange(len(self)), self.surface[:, hit]]
        tiles = self._change(scene, scene.tiles, hit, with_tiles=False).sum(axis=1)
        return np.asarray(bare + tiles + self._change(scene, scene.pieces, hit).sum(axis=1))

    def _change(self, scene: Scene, patches: Patches, hit: int, with_tiles: bool = True) -> Floats:
        """Change of that mean (K, N) by each patch."""
        window = self.window[:, hit]
        on = (patches.surface == self.surface[:, hit, None]).astype(np.float64)
        on /= np.prod(window[:, 2:] - window[:, :2], axis=1)[:, None]
        base = self._lost(scene.base_alpha, scene.base_scatter)
        differs = self._lost(patches.alpha, patches.scatter) - base[:, patches.surface]
        change = on * _common(window, patches.rect) * differs
        if not with_tiles:
            return np.asarray(change)
        tiles = scene.tiles
        under = self._lost(tiles.alpha, tiles.scatter) - base[:, tiles.surface]
        for tile in range(len(tiles)):
            mine = patches.surface == tiles.surface[tile]
            low = np.maximum(patches.rect[:, :2], tiles.rect[tile, :2])
            high = np.maximum(np.minimum(patches.rect[:, 2:], tiles.rect[tile, 2:]), low)
            both = np.concatenate([low, high], axis=1)[mine]
            change[:, mine] -= on[:, mine] * _common(window, both) * under[:, [tile]]
        return np.asarray(change)


def _lost_db(alpha: Floats, scatter: Floats) -> Floats:
    """What leaves the mirror direction at a hit (..., 8), dB: (1 - alpha)(1 - s) goes on."""
    sent = (1.0 - np.clip(alpha, 0.0, 1.0)) * (1.0 - scatter)
    return np.asarray(-10.0 * np.log10(np.maximum(sent, FAINTEST)))


def _common(window: Floats, rect: Floats) -> Floats:
    """Area (K, N) in m2 that rectangles (N, 4) have in common with windows (K, 4)."""
    low = np.maximum(window[:, None, :2], rect[None, :, :2])
    high = np.minimum(window[:, None, 2:], rect[None, :, 2:])
    return np.asarray(np.prod(np.maximum(high - low, 0.0), axis=-1))


def window_side(hz: float, apart: float) -> float:
    """Side in m of the square over which diffraction mixes patches, of surfaces `apart` m."""
    return float(np.sqrt(C * apart / (4.0 * hz)))


def joined(parts: list[Rays]) -> Rays:
    """Rays of several pairs as one table."""
    most = max((part.surface.shape[1] for part in parts), default=2)
    padded = [_padded(part, most - part.surface.shape[1]) for part in parts]
    if not padded:
        none = np.zeros(0, dtype=np.int64)
        return Rays(none.reshape(0, 2), np.zeros((0, 2, 4)), np.zeros((0, 2)), none, np.zeros(0))
    names = Rays.__dataclass_fields__
    return Rays(*(np.concatenate([getattr(part, name) for part in padded]) for name in names))


def _padded(rays: Rays, more: int) -> Rays:
    """The rays with hits that stand for nothing added."""
    if not more:
        return rays
    wide = ((0, 0), (0, more))
    return Rays(
        np.pad(rays.surface, wide, mode="edge"),
        np.pad(rays.window, (*wide, (0, 0)), mode="edge"),
        np.pad(rays.share, wide),
        rays.band,
        rays.enough,
    )


@dataclass(frozen=True)
class Grid:
    """Places (U, V, 3) m in rows, and which of them are looked at (U, V); the others lie around
    those and only take part in the mixing."""

    places: Floats
    looked: NDArray[np.bool_]

    @property
    def inner(self) -> Floats:
        """The places (N, 3) that are looked at."""
        return np.asarray(self.places[self.looked])

    @property
    def step(self) -> tuple[float, float]:
        """Distance in m between neighbours each way; endless for one alone."""
        rows = self.places, self.places.swapaxes(0, 1)
        u, v = (float(np.linalg.norm(r[1, 0] - r[0, 0])) if len(r) > 1 else np.inf for r in rows)
        return u, v


@dataclass(frozen=True)
class Facing:
    """Two surfaces that face each other, and what may stand between them.

    `index` of both, `apart` in m where people are, `trips` made while the decay lasts. `known`: the
    hits of places that were asked for before.
    """

    index: tuple[int, int]
    planes: tuple[Plane, Plane]
    apart: float
    trips: float
    walls: Reflectors
    boxes: Floats  # (B, 2, 3)
    known: dict[bytes, tuple[Floats, Ints]] = field(default_factory=dict, compare=False, repr=False)

    @property
    def needed(self) -> float:
        """What a trip has to lose, dB, for echoes to be 60 dB down when the decay is."""
        return 60.0 / self.trips

    @property
    def parallel(self) -> bool:
        """Whether rays square to one surface are square to the other."""
        one, other = self.planes
        return float(one.normal @ other.normal) <= LEVEL - 1.0

    def crossed(self, places: Floats) -> Floats:
        """Those of the places (N, 3) that a ray runs through often enough."""
        hits, made = self._hits(places)
        return self._kept(places, hits, made, made > 0)

    def look_ahead(self, parts: Sequence[Floats]) -> None:
        """Look for the hits of several sets of places (N, 3) in one go."""
        ends = np.cumsum([len(part) for part in parts])[:-1]
        hits, made = self._found(np.concatenate(parts))
        each = np.split(hits, ends, axis=2), np.split(made, ends), parts
        for some, count, places in zip(*each, strict=True):
            self.known[places.tobytes()] = some, count

    def looked(self, grid: Grid) -> Floats:
        """The places of a grid that are looked at and `crossed`."""
        places = grid.places.reshape(-1, 3)
        hits, made = self._hits(places)
        return self._kept(places, hits, made, grid.looked.ravel() & (made > 0))

    def _kept(self, places: Floats, hits: Floats, made: Ints, which: NDArray[np.bool_]) -> Floats:
        """Some of the places (N, 3), whose hits are then known too."""
        some = places[which]
        self.known[some.tobytes()] = hits[:, :, which], made[which]
        return some

    def rays(self, places: Floats, bands: Sequence[int]) -> Rays:
        """Rays of claps at places (N, 3) that are `crossed`, band by band."""
        hits, made = self._hits(places)  # (2, T, N, 2), (N,)
        count = hits.shape[1]
        share = np.stack([(np.arange(count) < made[:, None]) / made[:, None]] * 2, axis=1)
        surface = np.broadcast_to(np.array(self.index)[None, :, None], share.shape)
        flat = (len(places), 2 * count)
        parts = []
        for band in bands:
            side = window_side(BANDS[band], self.apart)
            windows = np.stack(
                [_window(uv, plane, side) for uv, plane in zip(hits, self.planes, strict=True)]
            )  # (2, T, N, 4)
            parts.append(
                Rays(
                    surface.reshape(flat),
                    windows.transpose(2, 0, 1, 3).reshape(*flat, 4),
                    share.reshape(flat),
                    np.full(len(places), band, dtype=np.int64),
                    np.full(len(places), self.needed),
                )
            )
        return joined(parts)

    def sent(self, scene: Scene, grid: Grid, bands: Sequence[int]) -> Floats:
        """Share that each ray through the places of a grid keeps on a round trip: (B, U, V) in
        these bands, 0 where none runs often enough. At a hit the topmost thing there counts."""
        hits, made = self._hits(grid.places.reshape(-1, 3))  # (2, T, N, 2), (N,)
        lost = np.zeros((len(bands), len(made)))
        for trip in range(hits.shape[1]):
            for index, uv in zip(self.index, hits[:, trip], strict=True):
                lost += (trip < made) * _lost_at(scene, index, uv)[:, list(bands)].T
        kept = np.where(made > 0, 10 ** (-lost / np.maximum(made, 1) / 10), 0.0)
        return np.asarray(kept.reshape(len(bands), *grid.looked.shape))

    def heard(self, scene: Scene, grid: Grid, bands: Sequence[int]) -> Floats:
        """What is lost on a round trip, dB, with rays within a square mixed: (B, U, V) in these
        bands, infinite where no ray runs often enough, or none is looked at."""
        sent = self.sent(scene, grid, bands)
        runs = (sent > 0).all(axis=0).astype(np.float64)
        heard = np.zeros(sent.shape)
        for b, band in enumerate(bands):
            half = 0.5 * window_side(BANDS[band], self.apart)
            size = tuple(2 * int(half / step) + 1 for step in grid.step)
            near = uniform_filter(runs, size, mode="constant")
            mixed = uniform_filter(sent[b], size, mode="constant")
            heard[b] = mixed / np.where((runs > 0) & grid.looked, near, np.inf)
        with np.errstate(divide="ignore"):
            return np.asarray(-10.0 * np.log10(heard))

    def _hits(self, places: Floats) -> tuple[Floats, Ints]:
        """`_found` of places (N, 3), looked for once."""
        key = places.tobytes()
        if key not in self.known:
            self.known[key] = self._found(places)
        return self.known[key]

    def _found(self, places: Floats) -> tuple[Floats, Ints]:
        """Where rays meet both surfaces (2, T, N, 2), and how many round trips (N,) they make that
        count: each to the same spots between parallel surfaces (T = 1), else all of the longest
        ray home that stays within both surfaces."""
        if self.parallel:
            uv, inside = self._home(places, 1)
            return uv, inside.astype(np.int64)
        most = max(min(int(self.trips), MOST), FEWEST)
        hits = np.zeros((2, most, len(places), 2))
        made = np.zeros(len(places), dtype=np.int64)
        for trips in range(FEWEST, most + 1):
            uv, inside = self._home(places, trips)
            hits[:, :trips, inside] = uv[:, :, inside]
            made[inside] = trips
        return hits, made

    def _home(self, places: Floats, trips: int) -> tuple[Floats, NDArray[np.bool_]]:
        """Hits (2, trips, N, 2) of the ray home after so many round trips, and which (N,) exist."""
        images = [places]
        for k in range(2 * trips):
            plane = self.planes[k % 2]
            images.append(images[-1] - 2 * plane.height_over(images[-1])[:, None] * plane.normal)
        at = places
        inside = np.all([plane.height_over(places) > 0 for plane in self.planes], axis=0)
        uv = np.zeros((2, trips, len(places), 2))
        for k in range(2 * trips - 1, -1, -1):
            plane, image = self.planes[k % 2], images[k + 1]
            near, far = plane.height_over(at), plane.height_over(image)
            span = np.where(near - far > 1e-9, near - far, 1.0)
            hit = at + (near / span)[:, None] * (image - at)
            uv[k % 2, k // 2] = plane.to_uv(hit)
            inside &= inside_outline(uv[k % 2, k // 2][:, None], plane.polygon[None])[:, 0]
            inside &= clear_between(at, hit, self.walls, self.boxes)
            at = hit
        return uv, inside


def _lost_at(scene: Scene, surface: int, uv: Floats) -> Floats:
    """What is lost (N, 8) in dB at points (N, 2) of a surface, by the topmost thing there."""
    lost = np.repeat(
        _lost_db(scene.base_alpha[[surface]], scene.base_scatter[[surface]]), len(uv), axis=0
    )
    for layer in (scene.tiles, scene.pieces):
        own = _lost_db(layer.alpha, layer.scatter)
        for index in np.flatnonzero(layer.surface == surface):
            lost[contains(layer.rect[index], uv)] = own[index]
    return lost


def _window(uv: Floats, plane: Plane, side: float) -> Floats:
    """Squares (..., 4) about points (..., 2), cut at the bounds of the surface."""
    u0, v0, u1, v1 = plane.bounds
    low = np.clip(uv - side / 2, (u0, v0), (u1, v1))
    high = np.clip(uv + side / 2, (u0, v0), (u1, v1))
    return np.concatenate([low, high], axis=-1)
