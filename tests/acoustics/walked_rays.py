"""Flutter by other means than the project's: rays walked hit by hit, and waves between two walls.

Nothing here uses the code under test: a ray is moved to the nearest wall in front of it, loses what
the piece, tile or wall at that spot takes out of the mirror direction, and turns back.
"""

from itertools import product

import numpy as np

from optimizer.acoustics.scene import Patches, Scene
from optimizer.room.geometry import Floats, Plane

AROUND = 0.2  # m about loudspeakers and seats in which claps are heard, as stated in the report
C = 343.0


def late_loss(
    scene: Scene, names: tuple[str, str], band: int, trips: tuple[int, int] = (10, 20)
) -> float:
    """dB lost per round trip, between two of many, by rays square to a wall of a box room.

    They start at points 5 cm apart about loudspeakers and seats; those that a solid piece of
    furniture stops are left out. Energies of all rays are added.
    """
    one = scene.planes[scene.names.index(names[0])]
    energy = np.zeros(2)
    for place in _places(scene, one):
        rates = walk(scene, place, -one.normal, 3, band)
        if rates is None:
            continue
        trip = rates[1] * rates[2]  # the same two spots over and over
        energy += trip ** np.array(trips, dtype=float)
    return float(-10 * np.log10(energy[1] / energy[0]) / (trips[1] - trips[0]))


def _places(scene: Scene, plane: Plane) -> Floats:
    people = np.concatenate([scene.speakers, scene.seats])
    low, high = people.min(axis=0) - AROUND, people.max(axis=0) + AROUND
    steps = [np.arange(a, b + 1e-9, 0.05) for a, b in zip(low, high, strict=True)]
    across = int(np.argmax(np.abs(plane.normal)))
    steps[across] = np.array([people[:, across].mean()])
    return np.array(list(product(*steps)))


def walk(scene: Scene, at: Floats, along: Floats, hits: int, band: int) -> list[float] | None:
    """Shares that a ray keeps at each of its hits; None when furniture is in its way."""
    kept = []
    for spot, surface in hit_points(scene, at, along, hits) or []:
        kept.append(share_at(scene, surface, spot, band))
    return kept or None


def hit_points(
    scene: Scene, at: Floats, along: Floats, hits: int
) -> list[tuple[Floats, int]] | None:
    """Where a ray meets the surfaces of a convex room, one after another; None past furniture."""
    found = []
    for _ in range(hits):
        fall = np.array([along @ plane.normal for plane in scene.planes])
        height = np.array([(at - plane.origin) @ plane.normal for plane in scene.planes])
        reach = np.where(fall < -1e-12, np.maximum(height, 0.0) / np.maximum(-fall, 1e-12), np.inf)
        reach[[s for _, s in found[-1:]]] = np.inf
        surface = int(np.argmin(reach))
        spot = at + reach[surface] * along
        if _stopped(scene, at, spot):
            return None
        found.append((spot, surface))
        normal = scene.planes[surface].normal
        at, along = spot, along - 2 * (along @ normal) * normal
    return found


def _stopped(scene: Scene, start: Floats, end: Floats) -> bool:
    """Whether solid furniture stands on the way, looked at every 2 mm or so."""
    points = start + np.linspace(0.0, 1.0, 2000)[:, None] * (end - start)
    return any(
        bool(np.all((points > box[0] + 1e-6) & (points < box[1] - 1e-6), axis=1).any())
        for box, solid in zip(scene.object_box, scene.object_solid, strict=True)
        if solid
    )


def share_at(scene: Scene, surface: int, spot: Floats, band: int) -> float:
    """What the topmost thing at a spot sends back in the mirror direction."""
    plane = scene.planes[surface]
    u, v = (spot - plane.origin) @ plane.u, (spot - plane.origin) @ plane.v
    alpha, scatter = scene.base_alpha[surface, band], scene.base_scatter[surface, band]
    for layer in (scene.tiles, scene.pieces):
        on = _on(layer, surface, float(u), float(v))
        if on is not None:
            alpha, scatter = layer.alpha[on, band], layer.scatter[on, band]
    return float((1.0 - min(alpha, 1.0)) * (1.0 - scatter))


def _on(layer: Patches, surface: int, u: float, v: float) -> int | None:
    for index in range(len(layer)):
        u0, v0, u1, v1 = layer.rect[index]
        if layer.surface[index] == surface and u0 <= u < u1 and v0 <= v < v1:
            return index
    return None


def wave_loss(
    width: float, hz: float, apart: float, bare: float, soft: float, trips: int = 8
) -> float:
    """dB lost per round trip by waves between two walls of upright strips, bare facing bare.

    Two-dimensional: a narrow source anywhere, heard within 0.2 m of itself; between the walls the
    angular spectrum of plane waves, evanescent ones left out (Goodman, Introduction to Fourier
    Optics, 3.10); at a wall the pressure is multiplied by the root of the energy share. What
    spreads aside is taken off by the same between walls that are bare all over.
    """
    count, length = 4096, 16.0 * width
    x = (np.arange(count) + 0.5) * length / count
    covered = (x / width) % 2 >= 1
    kx, k = 2 * np.pi * np.fft.fftfreq(count, length / count), 2 * np.pi * hz / C
    onward = np.where(
        np.abs(kx) < k, np.exp(1j * np.sqrt(np.maximum(k**2 - kx**2, 0.0)) * apart), 0.0
    )
    heard = np.zeros((2, 2))  # strips and bare, first and last trip
    for start in np.linspace(6.0, 10.0, 24, endpoint=False) * width:
        for row, wall in enumerate((np.where(covered, soft, bare), np.full(count, bare))):
            sound = np.exp(-(((x - start) / 0.15) ** 2)).astype(np.complex128)
            near = np.abs(x - start) < 0.2
            heard[row, 0] += float(np.sum(np.abs(sound[near]) ** 2))
            for _ in range(2 * trips):
                sound = np.fft.ifft(np.fft.fft(sound) * onward) * np.sqrt(wall)
            heard[row, 1] += float(np.sum(np.abs(sound[near]) ** 2))
    fall = 10 * np.log10(heard[:, 0] / heard[:, 1]) / trips
    return float(fall[0] - fall[1] - 20 * np.log10(bare))
