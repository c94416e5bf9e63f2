"""What one judgement by the wave equation costs on each demo room and on a hall.

Run: python tests/benchmarks/wave_judge.py
Seconds are of this machine in this run; processor time hardly depends on what else is running.
The first judgement of a process compiles and fits the walls; the second one is what rounds cost.
"""

import resource
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from optimizer.acoustics.judge_waves import WaveJudge
from optimizer.acoustics.scene import Patches, Scene
from optimizer.acoustics.voxel import box_planes
from optimizer.planning import load_project
from optimizer.results.tables import text_table

SCENARIOS = Path(__file__).parents[2] / "scenarios"
HEADER = ("room", "m3", "1000 cells", "simulated s", "first s", "again s", "processor s", "peak MB",
          "to Hz")  # fmt: skip


def hall(scene: Scene) -> Scene:
    """15 x 10 x 5 m with the floor, walls and ceiling of a demo room, and nothing in it."""
    size = np.array([15.0, 10.0, 5.0])
    return replace(
        scene,
        planes=tuple(box_planes(np.zeros(3), size, 1.0)),
        tiles=Patches.none(),
        volume=float(np.prod(size)),
        object_box=scene.object_box[:0],
        object_area=scene.object_area[:0],
        object_names=(),
        object_solid=scene.object_solid[:0],
        mirrors=scene.mirrors[:0],
    )


def measure(name: str, scene: Scene) -> list[str]:
    """One line of the table."""
    judge = WaveJudge()
    times = [time.perf_counter()]
    judge(scene)
    times.append(time.perf_counter())
    processor = time.process_time()
    heard = judge.decaying(judge.laid(scene))
    times.append(time.perf_counter())
    processor = time.process_time() - processor
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    cells = scene.volume / float(np.prod(heard.spacing)) / 1000.0
    shown = [scene.volume, cells, heard.time_s[-1], *np.diff(times), processor, peak]
    digits = (0, 0, 2, 1, 1, 1, 0)
    numbers = [f"{value:.{count}f}" for value, count in zip(shown, digits, strict=True)]
    return [name, *numbers, f"{heard.f_max:.0f}"]


def main() -> None:
    """Print the table."""
    names = ("small_bedroom", "spare_room", "garage")
    scenes = {name: load_project(SCENARIOS / f"{name}.toml").scene for name in names}
    rows = [measure(name, scene) for name, scene in scenes.items()]
    rows.append(measure("hall 15 x 10 x 5 m", hall(scenes["garage"])))
    print(text_table(HEADER, rows))


if __name__ == "__main__":
    main()
