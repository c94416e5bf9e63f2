"""What it costs a judgement that porous pieces act in the bass as what they are made of.

Run by hand on an idle machine: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/makes_cost.py
Each demo room with the first selection of its search is judged as the program does and with pieces
of which only coefficients are known, in turns; what counts is the ratio of processor seconds.
"""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.scene import Scene, objects
from optimizer.placement.pieces import treated
from optimizer.placement.plan import greedy
from optimizer.planning import build_decision, load_project
from optimizer.results.tables import text_table

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage")
TURNS = 5


def plain(scene: Scene) -> Scene:
    """The scene with pieces of which only coefficients are known."""
    pieces = replace(scene.pieces, make=objects([None] * len(scene.pieces)))
    return replace(scene, pieces=pieces)


def seconds(judge: Judge, scene: Scene) -> float:
    """Processor seconds of a judgement."""
    began = time.process_time()
    judge(scene)
    return time.process_time() - began


def rows(name: str) -> list[list[str]]:
    """Each judge of a room: seconds without and with makes, and the ratio."""
    decision = build_decision(load_project(SCENARIOS / f"{name}.toml"))
    project = decision.project
    chosen = greedy(decision.effects)
    pieces = [piece for c in chosen for piece in decision.candidates[c].pieces]
    scene = treated(project.room, project.scene, pieces)
    table, total = [], np.zeros(2)
    for judge in project.judges():
        judge(scene), judge(plain(scene))  # compiled and remembered
        times = [[seconds(judge, s) for s in (plain(scene), scene)] for _ in range(TURNS)]
        each = np.median(times, axis=0)
        total += each
        table.append([name, type(judge).__name__, *(f"{t:.2f}" for t in each),
                      f"{each[1] / each[0]:.2f}"])  # fmt: skip
    table.append([name, "all", *(f"{t:.2f}" for t in total), f"{total[1] / total[0]:.2f}"])
    return table


if __name__ == "__main__":
    header = ["room", "judge", "coefficients s", "makes s", "ratio"]
    print(text_table(header, [row for name in ROOMS for row in rows(name)], (2, 3, 4)))
