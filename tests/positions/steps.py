"""What a step of 10 cm changes: coupled modes against the wave equation."""

import numpy as np

from optimizer.acoustics.coupled import response
from optimizer.acoustics.judge_heard import HeardJudge
from optimizer.acoustics.judge_waves import WaveJudge
from optimizer.acoustics.low_response import Dimensions, coupled_box
from optimizer.acoustics.scene import Scene

STEPS = (1, 2, 4, 5)  # of the places of HeardJudge around a seat: itself, +x, +y, +z, -x, -y, -z


def step_errors(scene: Scene, dimensions: Dimensions) -> list[float]:
    """Rms difference in dB, 20 to 200 Hz, of the change of level at the first seat by a step of
    10 cm in each of STEPS, between both models."""
    f = np.geomspace(20.0, 200.0, 60)
    heard = HeardJudge(WaveJudge(top_band=250, tolerance=0.01))
    level = heard.responses(heard.waves.laid(scene)).seats.level_db(f)
    waves = 10 * np.log10(np.mean(10 ** (level / 10), axis=0))
    box = coupled_box(scene, dimensions, 300.0)
    around = scene.seats[0] + 0.1 * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)])
    energy = np.abs(response(box, f, scene.speakers, around)) ** 2
    modes = 10 * np.log10(energy.mean(axis=0))
    off = [(modes[k] - modes[0]) - (waves[k] - waves[0]) for k in STEPS]
    return [float(np.sqrt(np.mean(step**2))) for step in off]
