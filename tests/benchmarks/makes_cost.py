"""What it costs a judgement that porous pieces act in the bass as what they are made of.

Run by hand on an idle machine: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/makes_cost.py
Each demo room with the first selection of its search is judged as the program does and with pieces
of which only coefficients are known, in turns; what counts is the ratio of processor seconds.

Waves are simulated until a room has died away, and a room whose thin pieces do little in the bass,
as they are made, rings longer than their coefficients say. That is no cost of makes, so a last row
takes both simulations as long as the shorter one.
"""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.judge_waves import WaveJudge
from optimizer.acoustics.scene import Scene, objects
from optimizer.acoustics.source_places import source_places
from optimizer.placement.pieces import treated
from optimizer.placement.plan import greedy
from optimizer.planning import build_decision, load_project
from optimizer.results.tables import text_table
from optimizer.room.geometry import Floats

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


def simulated(judge: WaveJudge, scene: Scene) -> float:
    """Seconds after the first sound that waves are simulated."""
    places = source_places(scene).reshape(-1, 3)
    return judge.decaying(judge.laid(scene, places)).duration_s


def rows(name: str) -> tuple[list[list[str]], Floats]:
    """Each judge of a room: seconds without and with makes, and the ratio; and both seconds."""
    decision = build_decision(load_project(SCENARIOS / f"{name}.toml"))
    project = decision.project
    chosen = greedy(decision.effects)
    pieces = [piece for c in chosen for piece in decision.candidates[c].pieces]
    scene = treated(project.room, project.scene, pieces)
    table, total, alike = [], np.zeros(2), np.zeros(2)
    for judge in project.judges():
        judge(scene), judge(plain(scene))  # compiled and remembered
        times = [[seconds(judge, s) for s in (plain(scene), scene)] for _ in range(TURNS)]
        each = np.median(times, axis=0)
        total += each
        lengths = np.ones(2)
        if isinstance(judge, WaveJudge):
            lengths = np.array([simulated(judge, s) for s in (plain(scene), scene)])
        alike += each * lengths.min() / lengths
        table.append([name, type(judge).__name__, *(f"{t:.2f}" for t in each),
                      f"{each[1] / each[0]:.2f}"])  # fmt: skip
    for what, sums in (("all", total), ("all, waves as long", alike)):
        table.append([name, what, *(f"{t:.2f}" for t in sums), f"{sums[1] / sums[0]:.2f}"])
    return table, total


def main() -> None:
    """Print the table."""
    header = ["room", "judge", "coefficients s", "makes s", "ratio"]
    tables, totals = zip(*(rows(name) for name in ROOMS), strict=True)
    whole = np.sum(totals, axis=0)
    last = ["all", "all", *(f"{t:.2f}" for t in whole), f"{whole[1] / whole[0]:.2f}"]
    print(text_table(header, [*(row for table in tables for row in table), last], (2, 3, 4)))


if __name__ == "__main__":
    main()
