"""First reflections of a scene: how much of each reaches the ears, and what a patch takes off.

Energies are relative to the direct sound of the same speaker, averaged over the octaves from
1 to 8 kHz with equal energy per octave, and over a head region of +/-0.2 m around the ears
(27 points), so that a reflection that meets a piece at only part of those points counts in part.
A surface sends on (1 - alpha)(1 - s) of the energy that meets it in the mirror direction: what
is absorbed and what is scattered leave the specular path. Random-incidence coefficients stand in
for the specular loss. What pieces, and what is rough of the room, scatter to the seat comes on top
(scattered), as far as it arrives in the row's window. The loudspeaker's directivity is in both
direct and reflected sound.
A loudspeaker built into a surface has no reflection by it (room/flush.py).
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.directivity import Directivity, arriving_energy
from optimizer.acoustics.head import HEAD_CENTRE, HEAD_POINTS, head_region
from optimizer.acoustics.images import (
    Paths,
    Reflectors,
    bounce_uv,
    first_reflections,
    make_reflectors,
)
from optimizer.acoustics.scattered import Ways, Window, scattered_by_room, scattered_change
from optimizer.acoustics.scene import Patches, Scene, contains
from optimizer.bands import EARLY_INDEX
from optimizer.room.flush import flush_with
from optimizer.room.geometry import Floats

Mask = NDArray[np.bool_]
KNOWN = 32  # sets of bounce points that are kept


@dataclass(frozen=True)
class EarlyPaths:
    """Paths of S speakers, R seats and P reflectors (surfaces, then tops of desks), H head points.

    `weight` (S, R, P, H, 4): energy re direct per octave 1-8 kHz of a perfect mirror, already
    divided by 4 H, zero where the path does not exist. `delay_ms` (S, R, P) at the seat itself,
    `bounce` (S, R, P, 3) where the path meets the reflector, `exists` (S, R, P, H).
    """

    weight: Floats
    delay_ms: Floats
    length_m: Floats
    direct_m: Floats
    bounce: Floats
    bounce_uv: Floats  # (S, R, P, H, 2) on the bare reflector
    exists: Mask
    names: tuple[str, ...]
    reflectors: Reflectors
    directivity: Directivity
    known: dict[tuple[float, bytes, bytes], Floats] = field(
        default_factory=dict, compare=False, repr=False
    )  # bounce points on planes moved into the room

    @cached_property
    def ways(self) -> Ways:
        """How sound gets to them besides by mirrors."""
        return Ways(self.directivity, self.reflectors)


def early_paths(scene: Scene, directivity: Directivity) -> EarlyPaths:
    """All first-order paths of a scene; treatment does not enter here."""
    reflectors, names = _reflectors(scene)
    paths = _first_reflections(scene, reflectors)
    speakers, seats = len(scene.speakers), len(scene.seats)
    shape = (speakers, seats, HEAD_POINTS, len(reflectors))
    arriving = arriving_energy(paths, scene.aims - scene.speakers, directivity)
    weight = arriving[..., EARLY_INDEX] / (HEAD_POINTS * len(EARLY_INDEX))
    weight = weight.reshape(*shape, -1).swapaxes(2, 3)
    exists = paths.valid.reshape(shape).swapaxes(2, 3).copy()
    for speaker, surface in np.argwhere(flush_with(scene.speakers, scene.planes)):
        weight[speaker, :, surface], exists[speaker, :, surface] = 0.0, False  # one with the direct
    centre = (slice(None), slice(None), HEAD_CENTRE)
    return EarlyPaths(
        weight=weight,
        delay_ms=paths.delay_ms.reshape(shape)[centre],
        length_m=paths.length_m.reshape(shape)[centre],
        direct_m=paths.direct_m.reshape(shape[:3])[centre],
        bounce=paths.bounce.reshape(*shape, 3)[centre],
        bounce_uv=paths.bounce_uv.reshape(*shape, 2).swapaxes(2, 3),
        exists=exists,
        names=names,
        reflectors=reflectors,
        directivity=directivity,
    )


def _reflectors(scene: Scene) -> tuple[Reflectors, tuple[str, ...]]:
    tops = scene.object_box[scene.mirrors]
    solid_index = np.cumsum(scene.object_solid) - 1
    carriers = [-1] * len(scene.planes) + [int(solid_index[i]) for i in scene.mirrors]
    x, y, up = np.eye(3)
    reflectors = make_reflectors(
        [p.origin for p in scene.planes] + [np.array([*b[0, :2], b[1, 2]]) for b in tops],
        [p.u for p in scene.planes] + [x] * len(tops),
        [p.v for p in scene.planes] + [y] * len(tops),
        [p.normal for p in scene.planes] + [up] * len(tops),
        [p.polygon for p in scene.planes] + [_rectangle(*(b[1, :2] - b[0, :2])) for b in tops],
        carriers,
    )
    names = scene.names + tuple(f"top of {scene.object_names[i]}" for i in scene.mirrors)
    return reflectors, names


def _rectangle(width: float, height: float) -> Floats:
    return np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float)


def _first_reflections(scene: Scene, reflectors: Reflectors) -> Paths:
    heads = head_region(scene.seats).reshape(-1, 3)
    obstacles = scene.object_box[scene.object_solid]
    return first_reflections(scene.speakers, heads, reflectors, obstacles)


def reflected_energy(scene: Scene, paths: EarlyPaths, window: Window) -> Floats:
    """Energy re direct (S, R, P) of each reflection with the scene's treatment: what is mirrored,
    and what the reflector and pieces on it scatter within the window in ms."""
    return np.asarray(_point_energy(scene, paths, window).sum(axis=-1))


def coverage(scene: Scene, paths: EarlyPaths, limit: float, window_ms: float) -> Floats:
    """Share (R,) of early reflection points of each seat whose energy is at or below `limit`.

    A point is one path to one place of the head region, within `window_ms` of the direct sound.
    """
    counts = paths.exists & (paths.delay_ms <= window_ms)[..., None]
    energy = _point_energy(scene, paths, (0.0, window_ms))
    quiet = counts & (energy * HEAD_POINTS <= limit * (1 + 1e-9))
    total = counts.sum(axis=(0, 2, 3))
    return np.asarray(quiet.sum(axis=(0, 2, 3)) / np.maximum(total, 1))


def _point_energy(scene: Scene, paths: EarlyPaths, window: Window) -> Floats:
    """Energy re direct (S, R, P, H) per head point, over H."""
    sent = np.einsum("srphb,srphb->srph", paths.weight, _bare_mirror(scene, paths))
    sent += scattered_by_room(scene, paths.ways, window)[..., None] / HEAD_POINTS
    if len(scene.pieces):
        change = patch_point_change(scene, paths, scene.pieces, window)
        for patch, surface in zip(change, scene.pieces.surface, strict=True):
            sent[:, :, surface] += patch
    return np.asarray(sent)


def _bare_mirror(scene: Scene, paths: EarlyPaths) -> Floats:
    """Share (S, R, P, H, 4) that the untreated reflector sends on in the mirror direction."""
    base = _mirror(scene.base_alpha, scene.base_scatter)  # (P, 4)
    hard = np.full((len(paths.names) - len(base), base.shape[1]), 1.0)  # desk tops
    share = np.broadcast_to(
        np.concatenate([base, hard])[:, None, :], (*paths.bounce_uv.shape[:-1], base.shape[1])
    ).copy()
    tiles = scene.tiles
    tile_mirror = _mirror(tiles.alpha, tiles.scatter)
    for index in range(len(tiles)):
        surface = int(tiles.surface[index])
        inside = contains(tiles.rect[index], paths.bounce_uv[:, :, surface])
        share[:, :, surface][inside] = tile_mirror[index]
    return share


def _mirror(alpha: Floats, scatter: Floats) -> Floats:
    early = (..., EARLY_INDEX)
    return np.asarray((1.0 - np.minimum(alpha[early], 1.0)) * (1.0 - scatter[early]))


def patch_point_change(scene: Scene, paths: EarlyPaths, patches: Patches, window: Window) -> Floats:
    """Change of energy re direct (N, S, R, H) that each patch makes on its own surface's paths, and
    what it scatters within the window, alike at all points of the head.

    A path meets a patch where it crosses the plane of the patch's face, which stands `offset`
    off the surface. Linear in the patches as long as they do not overlap.
    """
    sent = scattered_change(scene, paths.ways, patches, window)
    return _mirror_change(scene, paths, patches) + sent[..., None] / HEAD_POINTS


def _mirror_change(scene: Scene, paths: EarlyPaths, patches: Patches) -> Floats:
    """Change (N, S, R, H) of what is sent on in the mirror direction."""
    bare = _bare_mirror(scene, paths)
    sent_on = _mirror(patches.alpha, patches.scatter)
    change = np.zeros((len(patches), *paths.weight.shape[:2], HEAD_POINTS))
    for offset in np.unique(patches.offset):
        uv = _bounce_at(scene, paths, float(offset))
        for surface in np.unique(patches.surface[patches.offset == offset]):
            index = np.flatnonzero((patches.offset == offset) & (patches.surface == surface))
            weight = paths.weight[:, :, surface]
            before = (weight * bare[:, :, surface]).sum(axis=-1)
            after = np.einsum("srhb,nb->nsrh", weight, sent_on[index])
            inside = contains(patches.rect[index][:, None, None, None], uv[None, :, :, surface])
            change[index] = np.where(inside, after - before, 0.0)
    return change


def _bounce_at(scene: Scene, paths: EarlyPaths, offset: float) -> Floats:
    """Bounce points (S, R, P, H, 2) on planes moved `offset` metres into the room; looked for once,
    since every window and criterion asks again."""
    if offset == 0.0:
        return paths.bounce_uv
    key = (offset, scene.speakers.tobytes(), scene.seats.tobytes())
    known = paths.known.get(key)  # held here, since another thread may clear the rest
    if known is None:
        if len(paths.known) >= KNOWN:
            paths.known.clear()
        reflectors = paths.reflectors
        moved = replace(reflectors, origin=reflectors.origin + offset * reflectors.normal)
        uv = bounce_uv(scene.speakers, head_region(scene.seats).reshape(-1, 3), moved)
        speakers, seats = len(scene.speakers), len(scene.seats)
        uv = uv.reshape(speakers, seats, HEAD_POINTS, len(moved), 2).swapaxes(2, 3)
        known = paths.known[key] = uv
    return known
