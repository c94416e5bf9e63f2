"""What diffusing faces send to the ears: the scattered part of a first reflection.

A face scatters (1 - alpha) s of the energy that meets it. Each element of it sends that by
Lambert's cosine law, as the tracer has it (Kuttruff, Room Acoustics, ch. 4, from memory: intensity
P cos / (pi r^2) of an element that scatters P), so that re the direct sound over d m there arrives

    E = d^2 / pi  integral over the face of (1 - alpha) s g cos_i cos_r / (r_i^2 r_r^2) dS,

r_i, r_r the distances from loudspeaker and seat, g the loudspeaker's energy that way over that
towards the seat. The integral is taken over the real face (Gauss-Legendre), leaves out what
furniture hides, and counts what arrives within a window after the direct sound. Ways stand at the
seat itself: the scattered field is smooth. Pieces scatter so, and what is rough of the room itself,
as far as no piece hides it.

Of a scattering coefficient counts what goes beyond a plain surface's, (s - 0.05) / 0.95: those 5 %
are what a ray model needs of any wall, and lie within 0.3 dB of its mirror reflection. How even a
diffuser scatters close by, no table knows; within its own near field it is as lumpy as it is large.
"""

import math
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import shapely
from scipy.special import roots_legendre

from materials.scattering import LOWEST
from optimizer.acoustics.directivity import Directivity, off_axis
from optimizer.acoustics.images import SPEED_OF_SOUND, Reflectors, sees
from optimizer.acoustics.scene import Ints, Patches, Scene
from optimizer.bands import EARLY_INDEX
from optimizer.room.geometry import Floats

WIDEST = 1.2  # m of a part over which one set of nodes stands
NODES = 6  # each way over a part; 0.3 m away from 1.2 m: 3 % of the energy
KNOWN = 8  # sets of faces that are kept
Window = tuple[float, float]  # ms after the direct sound, the first not counted


@dataclass(frozen=True)
class Faces:
    """N rectangles that scatter: `surface` (N,), `rect` (N, 4) m on it, `offset` (N,) m off it and
    `sent` (N, 4), the share scattered of what meets them, 1-8 kHz (below 0: taken from others)."""

    surface: Ints
    rect: Floats
    offset: Floats
    sent: Floats

    def __len__(self) -> int:
        return len(self.surface)


class Elements(NamedTuple):
    """Energy re direct (S, R, N, Q, 4) by way of elements of faces that scatter all that meets
    them, and how long after the direct sound it arrives (S, R, N, Q), ms."""

    energy: Floats
    delay_ms: Floats


@dataclass(frozen=True)
class Ways:
    """From where and to where, and what may stand in the way; for scenes with one set of positions.

    `known`: what single elements of faces send, which every window and criterion asks for again.
    """

    directivity: Directivity
    reflectors: Reflectors
    known: dict[bytes, Elements] = field(default_factory=dict, compare=False, repr=False)


def scattered_by_room(scene: Scene, ways: Ways, window: Window) -> Floats:
    """Energy re direct (S, R, P) that surfaces without treatment scatter, mean of 1-8 kHz; P runs
    over all reflectors, of which tops of furniture are plain."""
    made = np.zeros((len(scene.speakers), len(scene.seats), len(ways.reflectors)))
    faces = room_faces(scene)
    for one, surface in zip(_arriving(scene, ways, faces, window), faces.surface, strict=True):
        made[:, :, surface] += one
    return made


def scattered_change(scene: Scene, ways: Ways, patches: Patches, window: Window) -> Floats:
    """Energy re direct (N, S, R) that each patch scatters, less what it hides of the room's own;
    mean of 1-8 kHz. Linear in the patches as long as they do not overlap."""
    own = Faces(
        patches.surface, patches.rect, patches.offset, _share(patches.alpha, patches.scatter)
    )
    made = _arriving(scene, ways, own, window)
    hidden, owner = _hidden(scene, patches)
    np.subtract.at(made, owner, _arriving(scene, ways, hidden, window))
    return made


def room_faces(scene: Scene) -> Faces:
    """What is rough of the room: whole surfaces, and by how much its tiles differ from them."""
    bounds = np.array([plane.bounds for plane in scene.planes])
    base = _share(scene.base_alpha, scene.base_scatter)
    tiles = scene.tiles
    surface = np.concatenate([np.arange(len(bounds)), tiles.surface])
    sent = np.concatenate([base, _share(tiles.alpha, tiles.scatter) - base[tiles.surface]])
    rect = np.concatenate([bounds, tiles.rect])
    return Faces(surface, rect, np.zeros(len(rect)), sent)


def _hidden(scene: Scene, patches: Patches) -> tuple[Faces, Ints]:
    """What of the room's own lies behind patches, and which patch (M,) hides it."""
    room = room_faces(scene)
    rough = np.flatnonzero(np.any(room.sent != 0.0, axis=1))
    low = np.maximum(patches.rect[:, None, :2], room.rect[rough, :2])
    high = np.minimum(patches.rect[:, None, 2:], room.rect[rough, 2:])
    same = patches.surface[:, None] == room.surface[rough]
    owner, face = np.nonzero(same & np.all(high > low, axis=-1))
    rect = np.concatenate([low, high], axis=-1)[owner, face]
    index = rough[face]
    return Faces(room.surface[index], rect, np.zeros(len(index)), room.sent[index]), owner


def _share(alpha: Floats, scatter: Floats) -> Floats:
    """Share (N, 4) of the energy that meets rows (N, 8) that they scatter."""
    early = (..., EARLY_INDEX)
    beyond = np.clip((scatter[early] - LOWEST) / (1.0 - LOWEST), 0.0, 1.0)
    return np.asarray(beyond * (1.0 - np.clip(alpha[early], 0.0, 1.0)))


def _arriving(scene: Scene, ways: Ways, faces: Faces, window: Window) -> Floats:
    """Energy re direct (N, S, R) from each face, mean of the bands."""
    made = np.zeros((len(faces), len(scene.speakers), len(scene.seats)))
    parts, owner = _parted(faces)
    if len(parts):
        arrives = _transfer(scene, ways, parts, window)
        each = np.einsum("nb,nsrb->nsr", parts.sent, arrives) / len(EARLY_INDEX)
        np.add.at(made, owner, each)
    return made


def _parted(faces: Faces) -> tuple[Faces, Ints]:
    """Those that scatter, in parts no wider than WIDEST, and which face (M,) each belongs to."""
    rects: list[tuple[float, ...]] = []
    owner: list[int] = []
    for index in np.flatnonzero(np.any(faces.sent != 0.0, axis=1)):
        u0, v0, u1, v1 = faces.rect[index].tolist()
        u, v = _cuts(u0, u1), _cuts(v0, v1)
        rects += [(a, c, b, d) for a, b in zip(u[:-1], u[1:], strict=True)
                  for c, d in zip(v[:-1], v[1:], strict=True)]  # fmt: skip
        owner += [int(index)] * (len(rects) - len(owner))
    mine = np.array(owner, dtype=np.int64)
    rect = np.array(rects).reshape(-1, 4)
    return Faces(faces.surface[mine], rect, faces.offset[mine], faces.sent[mine]), mine


def _cuts(low: float, high: float) -> list[float]:
    """Ends of equal parts no wider than WIDEST."""
    count = max(1, math.ceil((high - low) / WIDEST - 1e-9))
    return [low, high] if count == 1 else np.linspace(low, high, 1 + count).tolist()


def elements(scene: Scene) -> tuple[Floats, Floats, Ints, Floats]:
    """Points (Q, 3), normals (Q, 3) and surface (Q,) of what is rough of the room, and the area in
    m2 (Q, 4) that each element has, times its share."""
    parts, _ = _parted(room_faces(scene))
    points, normals, areas = _elements(scene, parts)
    each = areas.shape[1]
    return (
        points.reshape(-1, 3),
        np.repeat(normals, each, axis=0).reshape(-1, 3),
        np.repeat(parts.surface, each),
        (areas[..., None] * parts.sent[:, None]).reshape(-1, len(EARLY_INDEX)),
    )


def _transfer(scene: Scene, ways: Ways, faces: Faces, window: Window) -> Floats:
    """Energy re direct (N, S, R, 4) that would arrive if faces scattered all that meets them."""
    key = b"".join(x.tobytes() for x in (faces.surface, faces.rect, faces.offset))
    if key not in ways.known:
        if len(ways.known) >= KNOWN:
            ways.known.clear()
        ways.known[key] = _by_elements(scene, ways, faces)
    energy, delay = ways.known[key]
    counts = (window[0] < delay) & (delay <= window[1])
    return np.asarray(np.einsum("srnq,srnqb->nsrb", counts, energy))


def _by_elements(scene: Scene, ways: Ways, faces: Faces) -> Elements:
    """What each element of faces sends, and when it arrives."""
    points, normals, areas = _elements(scene, faces)
    direct = scene.seats[None] - scene.speakers[:, None]
    straight = np.linalg.norm(direct, axis=-1)  # (S, R)
    boxes = scene.object_box[scene.object_solid]
    here, there = (
        _seen(points, normals, ends, ways.reflectors, boxes)
        for ends in (scene.speakers, scene.seats)
    )
    (irradiance, near), (returned, far) = here, there  # (S, N, Q), (R, N, Q)
    delay = 1e3 * (near[:, None] + far - straight[..., None, None]) / SPEED_OF_SOUND
    each = irradiance[:, None] * returned * areas / np.pi * straight[..., None, None] ** 2
    aims = scene.aims - scene.speakers
    leave = points[None] - scene.speakers[:, None, None]
    towards = _radiated(ways.directivity, leave, aims)  # (S, N, Q, 4)
    ahead = _radiated(ways.directivity, direct, aims)  # (S, R, 4)
    return Elements(each[..., None] * towards[:, None] / ahead[:, :, None, None], delay)


def _elements(scene: Scene, faces: Faces) -> tuple[Floats, Floats, Floats]:
    """Points (N, Q, 3) on faces, normals (N, 3) and areas (N, Q) in m2, none beyond an outline."""
    at, share = roots_legendre(NODES)
    u, v = (part.ravel() for part in np.meshgrid(0.5 * (at + 1), 0.5 * (at + 1), indexing="ij"))
    low, size = faces.rect[:, :2], faces.rect[:, 2:] - faces.rect[:, :2]
    areas = np.prod(size, axis=1)[:, None] * np.outer(share, share).ravel() / 4.0
    uv = low[:, None] + size[:, None] * np.stack([u, v], axis=-1)
    points = np.empty((*uv.shape[:2], 3))
    normals = np.array([plane.normal for plane in scene.planes])[faces.surface]
    for index, plane in enumerate(scene.planes):
        mine = faces.surface == index
        points[mine] = plane.to_xyz(uv[mine])
        inside = shapely.contains_xy(shapely.Polygon(plane.polygon), *np.moveaxis(uv[mine], -1, 0))
        areas[mine] *= inside
    points += (faces.offset[:, None] * normals)[:, None]
    return points, normals, areas


def _seen(
    points: Floats, normals: Floats, ends: Floats, reflectors: Reflectors, boxes: Floats
) -> tuple[Floats, Floats]:
    """cos / r^2 (E, N, Q) of elements seen from ends (E, 3), 0 where hidden, and r."""
    step = ends[:, None, None] - points
    distance = np.maximum(np.linalg.norm(step, axis=-1), 1e-6)
    cosine = np.maximum(np.einsum("enqi,ni->enq", step, normals) / distance, 0.0)
    clear = sees(ends, points.reshape(-1, 3), reflectors, boxes).reshape(distance.shape)
    return np.where(clear, cosine / distance**2, 0.0), distance


def _radiated(directivity: Directivity, leave: Floats, aims: Floats) -> Floats:
    """Energy (S, ..., 4) of loudspeakers with aims (S, 3) along vectors (S, ..., 3)."""
    unit = leave / np.maximum(np.linalg.norm(leave, axis=-1, keepdims=True), 1e-9)
    return directivity.energy(off_axis(unit, aims))[..., EARLY_INDEX]
