"""What judging a plan costs: each fuller model on each demo room, and the coupled response.

Run by hand on an idle machine: python tests/benchmarks/judging.py
Printed seconds are of this machine; compare ratios within one run.
"""

import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from optimizer.acoustics.low_response import low_response
from optimizer.acoustics.scene import Scene
from optimizer.planning import load_project
from optimizer.results.tables import text_table

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage")


def seconds(work: Callable[[], object]) -> float:
    """The shorter of two runs: the first may compile."""
    times = []
    for _ in range(2):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return min(times)


def rows() -> list[list[str]]:
    table = []
    for name in ROOMS:
        project = load_project(SCENARIOS / f"{name}.toml")
        scene: Scene = project.scene
        row = [name, f"{scene.volume:.0f}"]
        row += [f"{seconds(partial(judge, scene)):.2f}" for judge in project.judges()]
        dimensions = project.room.dimensions
        assert dimensions is not None
        row.append(f"{seconds(partial(low_response, scene, dimensions)):.2f}")
        table.append([*row, f"{len(scene.speakers)} x {len(scene.seats)}"])
    return table


if __name__ == "__main__":
    header = ["room", "m3", "ray tracing s", "coupled modes s", "wave equation s",
              "response 20-300 Hz s", "speakers x seats"]  # fmt: skip
    print(text_table(header, rows(), (1, 2, 3, 4, 5, 6)))
