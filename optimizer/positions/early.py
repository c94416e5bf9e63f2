"""First reflections at set-ups, how alike left and right are, and the dip that the wall behind the
loudspeakers makes."""

from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.absorption import side_difference
from optimizer.acoustics.directivity import Directivity
from optimizer.acoustics.early import early_paths, reflected_energy
from optimizer.acoustics.early_criteria import LATERAL
from optimizer.acoustics.images import boundary_notch
from optimizer.acoustics.judging import target_area
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.side_criteria import FIRST_BAND, LAST_BAND
from optimizer.bands import BANDS
from optimizer.positions.early_kernel import reflected
from optimizer.room.geometry import Floats

FRONT = "front"
LEAST_ENERGY = 1e-6  # re direct, -60 dB
_BAND_LOGS = np.log(np.array(BANDS, dtype=float))


@dataclass(frozen=True)
class EarlyRows:
    """Values (N,): `early` dB re direct of all first reflections within the window, the louder
    loudspeaker; `pair` % of direct by which those of left and right differ; `area` % of half the
    wanted absorption area by which left and right of the axis differ; `dip` dB taken off by the
    wall behind at `dip_hz`."""

    early: Floats
    pair: Floats
    area: Floats
    dip: Floats
    dip_hz: Floats


def early_rows(
    scene: Scene,
    speakers: Floats,
    ears: Floats,
    directivity: Directivity,
    window_ms: float,
    moves: Floats | None = None,
) -> EarlyRows:
    """Rows of set-ups with loudspeakers (N, 2, 3), aimed at ears (N, 3), in a room without
    treatment. `scene` gives the room; its own loudspeakers and seats do not enter.

    `moves` (N, O, 3): how far furniture stands from where the scene has it; for a box room in
    which nothing hangs yet.
    """
    if moves is not None:
        energy, delay, names = reflected(scene, speakers, ears, moves, directivity, window_ms)
    else:
        each = [
            _reflected(scene, s, e, directivity, window_ms)
            for s, e in zip(speakers, ears, strict=True)
        ]
        names = each[0][2] if each else ()
        energy, delay = (np.array([e[i] for e in each]).reshape(-1, 2, len(names)) for i in (0, 1))
    counted = np.where(delay <= window_ms, energy, 0.0)
    loudest = counted.sum(axis=2).max(axis=1)
    early = 10 * np.log10(np.maximum(loudest, LEAST_ENERGY))
    dip, dip_hz = wall_dip(scene, speakers, ears, directivity)
    pair = 100 * _unlike(counted, names)
    return EarlyRows(early, pair, _area(scene, speakers), dip, dip_hz)


def wall_dip(
    scene: Scene, speakers: Floats, ears: Floats, directivity: Directivity
) -> tuple[Floats, Floats]:
    """Depth in dB (N,) and frequency in Hz (N,) of the first cancellation by the wall behind the
    loudspeakers, the deeper of the two.

    The image of a loudspeaker in the front wall arrives D later and cancels at c/(2 D), c/(4 d)
    straight ahead of a loudspeaker at d from the wall. Its pressure re direct is the ratio of the
    path lengths, times sqrt(1 - alpha) of what the wall is where it reflects and the loudspeaker's
    radiation to the rear, both at that frequency, which is all that keeps a loudspeaker close to
    the wall from a dip.
    """
    index = _front(scene)
    plane = scene.planes[index]
    height = (speakers - plane.origin) @ plane.normal
    image = speakers - 2 * height[..., None] * plane.normal
    direct = np.linalg.norm(ears[:, None] - speakers, axis=-1)
    path = np.linalg.norm(ears[:, None] - image, axis=-1)
    notch = boundary_notch(np.maximum(path - direct, 1e-6))
    at = np.log(notch)
    alpha = _read_bands(_alpha_where(scene, index, speakers, ears, image), at)
    rear = np.interp(at, _BAND_LOGS, directivity.energy(np.pi))
    copy = direct / path * np.sqrt((1.0 - alpha) * rear)
    depth = -20 * np.log10(np.maximum(1.0 - copy, 1e-3))
    worst = depth.argmax(axis=1)
    rows = np.arange(len(ears))
    return depth[rows, worst], notch[rows, worst]


def _alpha_where(scene: Scene, index: int, speakers: Floats, ears: Floats, image: Floats) -> Floats:
    """Absorption (N, 2, bands) of a surface where it reflects loudspeakers (N, 2, 3) to ears."""
    plane = scene.planes[index]
    away, heard = ((p - plane.origin) @ plane.normal for p in (speakers, ears[:, None]))
    share = (away / np.maximum(away + heard, 1e-9))[..., None]
    point = image + share * (ears[:, None] - image) - plane.origin
    u, v = point @ plane.u, point @ plane.v
    alpha = np.broadcast_to(scene.base_alpha[index], (*u.shape, len(BANDS))).copy()
    for part in (scene.tiles, scene.pieces):
        for tile in np.flatnonzero(part.surface == index):
            u0, v0, u1, v1 = part.rect[tile]
            alpha[(u >= u0) & (u <= u1) & (v >= v0) & (v <= v1)] = part.alpha[tile]
    return np.asarray(np.clip(alpha, 0.0, 1.0))


def _read_bands(values: Floats, at: Floats) -> Floats:
    """Band values (N, 2, bands) read at log frequencies (N, 2), level outside the bands."""
    place = np.interp(at, _BAND_LOGS, np.arange(len(BANDS), dtype=float))
    low = np.minimum(place.astype(np.int64), len(BANDS) - 2)
    part = place - low
    first, second = (np.take_along_axis(values, (low + i)[..., None], -1)[..., 0] for i in (0, 1))
    return np.asarray((1.0 - part) * first + part * second)


def _front(scene: Scene) -> int:
    """The wall behind the loudspeakers: the one named so, else that which faces back most."""
    if FRONT in scene.names:
        return scene.names.index(FRONT)
    return int(np.argmax([plane.normal[0] - 1e-6 * plane.origin[0] for plane in scene.planes]))


def _reflected(
    scene: Scene, speakers: Floats, ears: Floats, directivity: Directivity, window_ms: float
) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Energy (2, P) and delay in ms (2, P) at ears (3,), loudspeakers (2, 3) aimed at them."""
    aims = np.broadcast_to(ears, (2, 3)) - 0.0
    here = replace(scene, speakers=speakers, aims=aims, seats=ears[None])
    paths = early_paths(here, directivity)
    energy = reflected_energy(here, paths, (0.0, window_ms))[:, 0]
    return energy, paths.delay_ms[:, 0], paths.names


def _unlike(energy: Floats, names: tuple[str, ...]) -> Floats:
    """How much the reflections (N, 2, P) of left and right differ (N,), summed over reflectors: the
    left loudspeaker by the left wall goes with the right one by the right wall."""
    partner = [names.index(LATERAL.get(n, n)) if LATERAL.get(n, n) in names else i
               for i, n in enumerate(names)]  # fmt: skip
    return np.asarray(np.abs(energy[:, 0] - energy[:, 1][:, partner]).sum(axis=1))


def _area(scene: Scene, speakers: Floats) -> Floats:
    """Absorption area left of the axis less right of it (N,), mean of 125 Hz to 4 kHz, in % of
    half the wanted area."""
    axis = np.round(speakers[:, :, 1].mean(axis=1), 6)
    found, which = np.unique(axis, return_inverse=True)
    differ = [
        np.abs(side_difference(replace(scene, axis_y=float(y)))[FIRST_BAND : LAST_BAND + 1]).mean()
        for y in found
    ]
    return np.asarray(100 * np.array(differ)[which.ravel()] / (target_area(scene.volume) / 2))
