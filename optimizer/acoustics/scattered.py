"""What diffusing pieces send to the ears: the scattered part of a first reflection.

A piece scatters (1 - alpha) s of the energy that meets it. Each element of its face sends that by
Lambert's cosine law, as the tracer has it (Kuttruff, Room Acoustics, ch. 4, from memory: intensity
P cos / (pi r^2) of an element that scatters P), so that re the direct sound over d m there arrives

    E = d^2 / pi  integral over the face of (1 - alpha) s g cos_i cos_r / (r_i^2 r_r^2) dS,

r_i, r_r the distances from loudspeaker and seat, g the loudspeaker's energy that way over that
towards the seat. The integral is taken over the real face (Gauss-Legendre), leaves out what
furniture hides, and counts what arrives within a window after the direct sound. Ears stand at the
seat itself: the scattered field is smooth.

Of a scattering coefficient counts what goes beyond a plain surface's, (s - 0.05) / 0.95: those 5 %
are what a ray model needs of any wall, and lie within 0.3 dB of its mirror reflection. How even a
diffuser scatters close by, no table knows; within its own near field it is as lumpy as it is large.
"""

import numpy as np
from scipy.special import roots_legendre

from materials.scattering import LOWEST
from optimizer.acoustics.directivity import Directivity, off_axis
from optimizer.acoustics.images import SPEED_OF_SOUND, Reflectors, sees
from optimizer.acoustics.scene import Patches, Scene
from optimizer.bands import EARLY_INDEX
from optimizer.room.geometry import Floats

NODES = 6  # each way over a face; 1.2 m wide and 0.3 m away: 3 % of the energy
Window = tuple[float, float]  # ms after the direct sound, the first not counted


def scattered_energy(
    scene: Scene,
    directivity: Directivity,
    reflectors: Reflectors,
    patches: Patches,
    window: Window,
) -> Floats:
    """Energy re direct (N, S, R) that each patch scatters from each loudspeaker to each seat, mean
    of the octaves 1-8 kHz. Linear in the patches. `reflectors` may stand in the way."""
    made = np.zeros((len(patches), len(scene.speakers), len(scene.seats)))
    sent = scattering_share(patches)  # (N, 4)
    rough = np.flatnonzero(sent.max(axis=1, initial=0.0) > 0.0)
    if len(rough):
        few = patches.take(rough)
        arrives = _transfer(scene, directivity, reflectors, few, window)
        made[rough] = np.einsum("nb,nsrb->nsr", sent[rough], arrives) / len(EARLY_INDEX)
    return made


def scattering_share(patches: Patches) -> Floats:
    """Share (N, 4) of the energy that meets each patch that it scatters, 1-8 kHz."""
    early = (..., EARLY_INDEX)
    beyond = np.clip((patches.scatter[early] - LOWEST) / (1.0 - LOWEST), 0.0, 1.0)
    return np.asarray(beyond * (1.0 - np.minimum(patches.alpha[early], 1.0)))


def _transfer(
    scene: Scene, directivity: Directivity, reflectors: Reflectors, patches: Patches, window: Window
) -> Floats:
    """Energy re direct (N, S, R, 4) that would arrive if patches scattered all that meets them."""
    points, normals, weights = _elements(scene, patches)
    direct = scene.seats[None] - scene.speakers[:, None]
    straight = np.linalg.norm(direct, axis=-1)  # (S, R)
    boxes = scene.object_box[scene.object_solid]
    here, there = (
        _seen(points, normals, ears, reflectors, boxes) for ears in (scene.speakers, scene.seats)
    )
    (irradiance, near), (returned, far) = here, there  # (S, N, Q), (R, N, Q)
    delay = 1e3 * (near[:, None] + far - straight[..., None, None]) / SPEED_OF_SOUND
    counts = (window[0] < delay) & (delay <= window[1])  # (S, R, N, Q)
    each = np.where(counts, irradiance[:, None] * returned, 0.0) * weights / np.pi
    each *= straight[..., None, None] ** 2
    aims = scene.aims - scene.speakers
    leave = points[None] - scene.speakers[:, None, None]
    towards = _radiated(directivity, leave, aims)  # (S, N, Q, 4)
    ahead = _radiated(directivity, direct, aims)  # (S, R, 4)
    parts = np.einsum("srnq,snqb,srb->nsrb", each, towards, 1.0 / ahead, optimize=True)
    return np.asarray(parts)


def _elements(scene: Scene, patches: Patches) -> tuple[Floats, Floats, Floats]:
    """Points (N, Q, 3) on the faces of patches, normals (N, 3) and areas (N, Q) in m2."""
    at, share = roots_legendre(NODES)
    u, v = (part.ravel() for part in np.meshgrid(0.5 * (at + 1), 0.5 * (at + 1), indexing="ij"))
    area = np.outer(share, share).ravel() / 4.0
    low, size = patches.rect[:, :2], patches.rect[:, 2:] - patches.rect[:, :2]
    uv = low[:, None] + size[:, None] * np.stack([u, v], axis=-1)
    points = np.empty((len(patches), len(area), 3))
    normals = np.array([plane.normal for plane in scene.planes])[patches.surface]
    for index, plane in enumerate(scene.planes):
        mine = patches.surface == index
        points[mine] = plane.to_xyz(uv[mine])
    points += (patches.offset[:, None] * normals)[:, None]
    return points, normals, np.prod(size, axis=1)[:, None] * area


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
