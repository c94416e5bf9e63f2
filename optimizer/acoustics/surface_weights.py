"""How much absorption counts on each surface, by the ray tracer.

The decay formula adds up absorption wherever it lies. In a room treated unevenly a square metre
counts more where the sound still goes to and fro between bare surfaces. Each surface is made a
little more absorbing, the room is traced again with the same rays, and the change of T20 is read as
the area by which the formula would have explained it.
"""

from dataclasses import replace

import numpy as np

from optimizer.acoustics.absorption import absorption_area
from optimizer.acoustics.decay import LOG_CAP
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_room import traced_room
from optimizer.room.geometry import Floats

RAYS = 20000
MORE = 0.05  # added to the absorption coefficient of one surface after the other
LEAST, MOST = 0.4, 2.5  # weights beyond are chance, or no small change any more


def surface_weights(scene: Scene, rays: int = RAYS, seed: int = 1) -> Floats:
    """Weight (S, 8) of absorption on each surface and octave band; 1 where the field is diffuse.

    From Norris-Eyring's S ln(1 / (1 - A/S)) = K / T20 - objects - air, whose constant K is fixed by
    the scene as it is.
    """
    surface = scene.surface_area
    area = absorption_area(scene)
    first = trace(traced_room(scene), rays=rays, seed=seed).decay.t20
    log_term = -surface * np.log1p(-np.clip(area / surface, 0.0, LOG_CAP))
    rest = scene.object_area.sum(axis=0) + 4.0 * scene.air * scene.volume
    weights = np.ones((len(scene.planes), len(area)))
    for index in range(len(weights)):
        alpha = scene.base_alpha.copy()
        alpha[index] = np.minimum(alpha[index] + MORE, 1.0)
        changed = replace(scene, base_alpha=alpha)
        t20 = trace(traced_room(changed), rays=rays, seed=seed).decay.t20
        explained = (log_term + rest) * first / t20 - rest
        added = surface * -np.expm1(-explained / surface) - area
        with np.errstate(divide="ignore", invalid="ignore"):
            weight = added / (absorption_area(changed) - area)
        weights[index] = np.where(np.isfinite(weight), np.clip(weight, LEAST, MOST), 1.0)
    return weights
