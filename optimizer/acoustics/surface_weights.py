"""How much absorption counts on each surface, and what scattering is worth, by the ray tracer.

The decay formula adds up absorption wherever it lies. In a room treated unevenly a square metre
counts more where the sound still goes to and fro between bare surfaces. Each surface is made a
little more absorbing, the room is traced again with the same rays, and the change of T20 is read as
the area by which the formula would have explained it. Scattering absorbs nothing, but sends such
sound where it is absorbed; what it does to T20 is read as an area likewise.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.absorption import absorption_area
from optimizer.acoustics.decay import LOG_CAP
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.trace import decays
from optimizer.acoustics.trace_room import traced_room
from optimizer.room.geometry import Floats

RAYS = 20000
MORE = 0.05  # added to the absorption coefficient of one surface after the other
LEAST, MOST = 0.4, 2.5  # weights beyond are chance, or no small change any more
# Share of what the surfaces mirror that is scattered instead. On 60 m2 that is what 6 to 8 m2 of
# diffusers do: more than is bought, as the effect levels off and a smaller step drowns in the rays.
SCATTERED = 0.1


def surface_weights(scene: Scene, rays: int = RAYS, seed: int = 1) -> Floats:
    """Weight (S, 8) of absorption on each surface and octave band; 1 where the field is diffuse."""
    area = absorption_area(scene)
    changed = [replace(scene, base_alpha=alpha) for alpha in _each_more(scene.base_alpha)]
    traced = decays([traced_room(s) for s in (scene, *changed)], rays=rays, seed=seed)
    first = traced[0].t20
    weights = np.ones((len(scene.planes), len(area)))
    for index, (other, decay) in enumerate(zip(changed, traced[1:], strict=True)):
        with np.errstate(divide="ignore", invalid="ignore"):
            weight = _explained(scene, first / decay.t20) / (absorption_area(other) - area)
        weights[index] = np.where(np.isfinite(weight), np.clip(weight, LEAST, MOST), 1.0)
    return weights


def _each_more(alpha: Floats) -> Iterator[Floats]:
    """Coefficients (S, 8) with those of one surface after the other a little larger."""
    for index in range(len(alpha)):
        more = alpha.copy()
        more[index] = np.minimum(more[index] + MORE, 1.0)
        yield more


def scattering_worth(
    scene: Scene, surfaces: NDArray[np.bool_], rays: int = RAYS, seed: int = 1
) -> Floats:
    """Absorption in m2 (8,) that is as good as 1 m2 which scatters all that meets it, on what of
    these surfaces (S,) is bare; 0 where nothing is."""
    bare = np.array([plane.area for plane in scene.planes])
    for part in (scene.tiles, scene.pieces):
        covered = np.prod(part.rect[:, 2:] - part.rect[:, :2], axis=1)
        np.subtract.at(bare, part.surface, covered)
    mirrored = 1.0 - scene.base_scatter
    more = np.where(surfaces[:, None], SCATTERED * mirrored, 0.0)
    changed = replace(scene, base_scatter=scene.base_scatter + more)
    reflected = 1.0 - np.clip(scene.base_alpha, 0.0, 1.0)
    added = (np.maximum(bare, 0.0)[:, None] * more * reflected).sum(axis=0)
    rooms = [traced_room(s) for s in (scene, changed)]
    first, t20 = (decay.t20 for decay in decays(rooms, rays=rays, seed=seed))
    with np.errstate(divide="ignore", invalid="ignore"):
        worth = _explained(scene, first / t20) / added
    return np.where(np.isfinite(worth), np.clip(worth, 0.0, MOST), 0.0)


def _explained(scene: Scene, shorter: Floats) -> Floats:
    """Absorption area in m2 (8,) whose addition would divide the decay time by `shorter` (8,).

    From Norris-Eyring's S ln(1 / (1 - A/S)) = K / T20 - objects - air, whose constant K is fixed by
    the scene as it is.
    """
    surface, area = scene.surface_area, absorption_area(scene)
    log_term = -surface * np.log1p(-np.clip(area / surface, 0.0, LOG_CAP))
    rest = scene.object_area.sum(axis=0) + 4.0 * scene.air * scene.volume
    explained = (log_term + rest) * shorter - rest
    return np.asarray(surface * -np.expm1(-explained / surface) - area)
