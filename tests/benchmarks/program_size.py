"""Time of building, solving and re-evaluating a plan against the number of candidates.

Run: python tests/benchmarks/program_size.py [ROOM.toml] [SECONDS]
Prints one line per grid step, with greedy and simulated annealing on the same effects table.
Times are of this machine in this run; compare ratios, not seconds between machines.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from annealing import anneal

from optimizer.placement.greedy import greedy_selection
from optimizer.placement.pieces import treated
from optimizer.placement.plan import select
from optimizer.placement.program import build_program, matrices
from optimizer.placement.proof import objective
from optimizer.planning import build_decision, load_project
from optimizer.project import Project
from optimizer.results.tables import text_table

GRIDS = (0.9, 0.6, 0.45, 0.3)
HEADER = ("grid m", "candidates", "pairs", "effects s", "program s", "solve s", "re-evaluate ms",
          "objective", "bound", "greedy", "greedy s", "annealing")  # fmt: skip
ROOM = Path(__file__).parents[2] / "scenarios" / "spare_room.toml"


def on_grid(project: Project, grid: float) -> Project:
    """The project with another grid step."""
    limits = project.scenario.limits.model_copy(update={"grid": grid})
    return replace(project, scenario=replace(project.scenario, limits=limits))


def measure(project: Project, grid: float, seconds: float) -> list[str]:
    """One line of the table."""
    times = [time.perf_counter()]
    decision = build_decision(on_grid(project, grid))
    effects = decision.effects
    times.append(time.perf_counter())
    matrices(build_program(effects))
    times.append(time.perf_counter())
    selection = select(effects, 0.01, seconds)
    times.append(time.perf_counter())
    pieces = [p for c in selection.chosen for p in decision.candidates[c].pieces]
    solved = decision.project
    solved.criteria.quantities(treated(solved.room, solved.scene, pieces))
    times.append(time.perf_counter())
    greedy = greedy_selection(effects, lambda chosen: objective(effects, chosen))
    times.append(time.perf_counter())
    annealed, _ = anneal(effects, np.zeros(0, dtype=np.int64), selection.seconds)
    effort = np.diff(times)
    return [
        f"{grid:.2f}", str(effects.count), str(sum(c.is_pair for c in decision.candidates)),
        f"{effort[0]:.2f}", f"{effort[1]:.2f}", f"{effort[2]:.2f}", f"{1e3 * effort[3]:.1f}",
        f"{selection.objective:.4f}", f"{selection.bound:.4f}",
        f"{objective(effects, greedy):.4f}", f"{effort[4]:.2f}", f"{annealed:.4f}",
    ]  # fmt: skip


def main() -> None:
    """Print the table."""
    room = sys.argv[1] if len(sys.argv) > 1 else ROOM
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 60.0
    project = load_project(room)
    rows = []
    for grid in GRIDS:
        rows.append(measure(project, grid, seconds))
        print(text_table(HEADER, rows[-1:], tuple(range(12))), flush=True)
    print("\nAnnealing had as many seconds as the solver.")
    print(text_table(HEADER, rows, tuple(range(12))))


if __name__ == "__main__":
    main()
