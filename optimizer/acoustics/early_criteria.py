"""First reflections against their limit, and how alike left and right reflect."""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.criteria import Criterion, Rows, Tangent, TwoSided
from optimizer.acoustics.early import EarlyPaths, coverage, patch_point_change, reflected_energy
from optimizer.acoustics.scattered import Window
from optimizer.acoustics.scene import Patches, Scene
from optimizer.room.geometry import Floats

MODEL = "image sources"
PROFILES = {"controlled": (-10.0, 15.0), "reflection-free": (-20.0, 20.0)}  # dB, ms
LATERAL = {"left": "right", "right": "left"}
LATE_LEVEL = -15.0  # dB re direct beyond the early window; ours, no standard gives one
DELAY_ALIKE_MS = 1.0  # ours; no standard gives a limit
BY_MOVING = "no product lies on it: move "  # begins what is said of rows that only moving mends
_QUIET = 1e-9  # energy re direct below which a path is not listed


@dataclass(frozen=True)
class EarlyFamily(Rows):
    """Rows per speaker, seat and reflector. Quantity: energy re direct, 1-8 kHz, that is mirrored
    or scattered within the window.

    Value: level in dB re the direct sound. Excess: energy over the limit's energy, less one.
    """

    paths: EarlyPaths
    index: NDArray[np.int64]  # (K, 3) speaker, seat, reflector
    limit: float  # energy re direct
    window_ms: float
    after_ms: float = 0.0
    covers: bool = True  # whether its reflection points are counted in the coverage of the seats

    def quantities(self, scene: Scene) -> Floats:
        """Energies (K,) re direct."""
        energy = reflected_energy(scene, self.paths, self._window)
        return np.asarray(energy[tuple(self.index.T)])

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Change of energy (K, N)."""
        return _pick(_changes(scene, self.paths, patches, self._window), patches, self.index)

    def values(self, quantities: Floats) -> Floats:
        """Levels (K,) in dB re direct, -60 at the least."""
        return np.asarray(10 * np.log10(np.maximum(quantities, 1e-6)))

    def excess(self, quantities: Floats) -> Floats:
        """Energy above the limit (K, ...) in units of the limit."""
        allowed = self._allowed().reshape(-1, *[1] * (quantities.ndim - 1))
        return np.asarray(np.maximum(quantities / allowed - 1.0, 0.0))

    def coverage_percent(self, scene: Scene) -> Floats:
        """Share of each seat's early reflection points (R,) at or below the limit, in %."""
        return 100 * coverage(scene, self.paths, self.limit, self.window_ms)

    def tangents(self, row: int, low: float, high: float) -> list[Tangent]:
        """The one line of the excess."""
        return [(1.0 / float(self._allowed()[row]), -1.0)]

    @property
    def _window(self) -> Window:
        return self.after_ms, self.window_ms

    def _allowed(self) -> Floats:
        """Energy re direct (K,) at each row's limit."""
        return np.asarray(10 ** (np.array([row.high for row in self.rows]) / 10))


@dataclass(frozen=True)
class PairFamily(TwoSided):
    """Rows per mirrored pair of reflections at the first seat. Quantity and value: energy of the
    left speaker's reflection less its counterpart's, in % of the direct sound.
    """

    paths: EarlyPaths
    left: NDArray[np.int64]  # (K, 3) speaker, seat, reflector
    right: NDArray[np.int64]
    window_ms: float

    def quantities(self, scene: Scene) -> Floats:
        """Differences (K,) in % of direct."""
        energy = reflected_energy(scene, self.paths, (0.0, self.window_ms))
        return np.asarray(100 * (energy[tuple(self.left.T)] - energy[tuple(self.right.T)]))

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Change (K, N) in % of direct."""
        change = _changes(scene, self.paths, patches, (0.0, self.window_ms))
        left, right = (_pick(change, patches, index) for index in (self.left, self.right))
        return 100 * (left - right)


@dataclass(frozen=True)
class PairDelayFamily(TwoSided):
    """Rows per mirrored pair: difference of arrival in ms. Only positions change it."""

    difference_ms: Floats

    def quantities(self, scene: Scene) -> Floats:
        """Differences (K,) in ms; they do not depend on the treatment."""
        return self.difference_ms

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """No change (K, N)."""
        return np.zeros((len(self.rows), len(patches)))


def early_family(scene: Scene, paths: EarlyPaths, profile: str) -> EarlyFamily:
    """Early criteria of a scene under a profile of PROFILES; weights are those of the seats."""
    level, window = PROFILES[profile]
    rows, picked = _rows(scene, paths, "early", (0.0, window), level)
    return EarlyFamily(rows, paths, picked, 10 ** (level / 10), window)


def late_family(scene: Scene, paths: EarlyPaths, profile: str) -> EarlyFamily:
    """First-order reflections that arrive after the early window, such as the back wall's."""
    after = PROFILES[profile][1]
    rows, picked = _rows(scene, paths, "late", (after, np.inf), LATE_LEVEL)
    return EarlyFamily(rows, paths, picked, 10 ** (LATE_LEVEL / 10), np.inf, after, covers=False)


def _rows(
    scene: Scene, paths: EarlyPaths, group: str, window: tuple[float, float], level: float
) -> tuple[tuple[Criterion, ...], NDArray[np.int64]]:
    """Rows for paths that arrive within (window] ms of the direct sound, and their indices.

    One by way of a desk top only informs: no product lies on it.
    """
    bare = reflected_energy(scene.with_pieces(Patches.none()), paths, window)
    rows, index = [], []
    for s, r, p in product(*(range(n) for n in bare.shape)):
        delay = paths.delay_ms[s, r, p]
        if window[0] < delay <= window[1] and bare[s, r, p] > _QUIET:
            where = f"{scene.speaker_names[s]} to {scene.seat_names[r]} via {paths.names[p]}"
            by_moving = _by_moving(scene, p)
            note = f"{delay:.1f} ms after the direct sound" + (by_moving and f"; {by_moving}")
            weight = 0.0 if by_moving else float(scene.seat_weights[r])
            rows.append(Criterion(group, where, "dB", np.nan, level, weight, MODEL, note))
            index.append((s, r, p))
    return tuple(rows), np.array(index, dtype=np.int64).reshape(-1, 3)


def _by_moving(scene: Scene, reflector: int) -> str:
    """What is said of a reflector that no product can cover; nothing of a surface of the room."""
    top = reflector - len(scene.planes)
    if top < 0:
        return ""
    name = scene.object_names[scene.mirrors[top]]
    return f"{BY_MOVING}the {name}, the loudspeakers or the seat"


def pair_families(
    scene: Scene, paths: EarlyPaths, profile: str, limit_percent: float
) -> tuple[PairFamily, PairDelayFamily]:
    """How alike the two speakers reflect at the first seat, in energy and in delay.

    The left speaker by way of the left wall pairs with the right speaker by way of the right
    wall, and so on; surfaces other than side walls pair with themselves. By way of a desk top they
    only inform.
    """
    window = PROFILES[profile][1]
    left, right, names, moved = [], [], [], []
    for p, name in enumerate(paths.names):
        partner = LATERAL.get(name, name)
        q = paths.names.index(partner) if partner in paths.names else p
        if min(paths.delay_ms[0, 0, p], paths.delay_ms[1, 0, q]) > window:
            continue
        if paths.exists[0, 0, p].any() or paths.exists[1, 0, q].any():
            left.append((0, 0, p))
            right.append((1, 0, q))
            names.append(f"via {name}" if p == q else f"via {name} against via {partner}")
            moved.append(_by_moving(scene, p))
    first, second = (np.array(i, dtype=np.int64).reshape(-1, 3) for i in (left, right))
    level = tuple(
        Criterion("pair balance", name, "%", -limit_percent, limit_percent, 0.0 if by else 1.0,
                  MODEL, "limit is ours; no standard gives one" + (by and f"; {by}"))
        for name, by in zip(names, moved, strict=True)
    )  # fmt: skip
    delay = tuple(
        Criterion("pair delay", name, "ms", -DELAY_ALIKE_MS, DELAY_ALIKE_MS, 0.0, MODEL,
                  "limit is ours; moving a speaker or seat changes it, treatment does not")
        for name in names
    )  # fmt: skip
    difference = paths.delay_ms[tuple(first.T)] - paths.delay_ms[tuple(second.T)]
    return PairFamily(level, paths, first, second, window), PairDelayFamily(delay, difference)


def _changes(scene: Scene, paths: EarlyPaths, patches: Patches, window: Window) -> Floats:
    """Change (N, S, R) of the energies of paths by each patch's own surface."""
    return np.asarray(patch_point_change(scene, paths, patches, window).sum(axis=-1))


def _pick(change: Floats, patches: Patches, index: NDArray[np.int64]) -> Floats:
    """Changes (K, N) of paths `index` (K, 3) from those of _changes."""
    same = index[:, 2:3] == patches.surface[None]
    return np.asarray(np.where(same, change[:, index[:, 0], index[:, 1]].T, 0.0))
