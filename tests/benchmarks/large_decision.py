"""How a decision grows: processor seconds and memory of each stage, from 500 candidates to 35,000.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/large_decision.py
The spare room without rules of order on finer and finer grids, without the places where reflections
bounce (there are some 1,400 of them on any grid); then a room of 12 x 9 x 4 m with the whole
generic price list, as a person would plan it and on a fine grid. Each is planned in a process of
its own, so that the most memory it had is its own. The solve is to the first good selection: among
the few candidates of least reduced cost, with the bound of the relaxation. Seconds are of this
machine; the powers with which stages grow compare with others.
"""

import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

import numpy as np

from optimizer.placement.candidates import find_candidates
from optimizer.placement.effects import effects_table
from optimizer.placement.orderly import order_of
from optimizer.placement.plan import greedy, prune
from optimizer.placement.program import build_program, matrices
from optimizer.placement.proof import objective, relative
from optimizer.placement.root import at_the_root
from optimizer.placement.solver import solve
from optimizer.planning import bounce_points, load_project
from optimizer.project import Project
from optimizer.results.tables import text_table
from optimizer.room.layout import FREE
from optimizer.together import one_thread_each

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PRICES = Path(__file__).parents[2] / "materials" / "catalogue.csv"
# Grids in m that give about so many candidates.
SPARE: dict[str, float | None] = {"500": 2.0, "2,000": 0.45, "8,000": 0.18, "35,000": 0.08}
HALL: dict[str, float | None] = {"hall": None, "hall, fine": 0.3}
GAP = 0.01
T = TypeVar("T")
STAGES = ("candidates", "effects", "order", "greedy", "program", "relaxation", "solve")
HEADER = ("decision", "candidates", *(f"{stage} s" for stage in STAGES), "MB", "gap %")


@dataclass
class Stages:
    """Processor seconds by stage, and the most memory in MB when it ended; what was planned."""

    seconds: dict[str, float] = field(default_factory=dict)
    memory: dict[str, float] = field(default_factory=dict)
    count: int = 0
    gap: float = 0.0
    rows: int = 0
    entries: int = 0
    sets: int = 0
    in_sets: int = 0

    def run(self, stage: str, call: Callable[[], T]) -> T:
        """What a call gives, booked."""
        began = time.process_time()
        found = call()
        self.seconds[stage] = time.process_time() - began
        self.memory[stage] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        return found


def hall(folder: Path) -> Path:
    """A room file (invented): the spare room's things in a room of 12 x 9 x 4 m."""
    text = (SCENARIOS / "spare_room.toml").read_text()
    for old, new in (
        ('length = "4.6 m"', 'length = "12 m"'), ('width = "3.4 m"', 'width = "9 m"'),
        ('height = "2.5 m"', 'height = "4 m"'), ("amount = 900", "amount = 5000"),
        ("spare_room_prices.csv", "prices.csv"),
    ):  # fmt: skip
        if old not in text:
            raise ValueError(f"the spare room has no {old}")
        text = text.replace(old, new)
    (folder / "prices.csv").write_bytes(PRICES.read_bytes())
    (folder / "hall.toml").write_text(text[: text.index("# Invented variants")])
    return folder / "hall.toml"


def planned(project: Project, grid: float | None, free: bool) -> Stages:
    """Stages of a project's decision on a grid, in its own order or in none."""
    solved, stages = project, Stages()
    limits = solved.scenario.limits.model_copy(update={"grid": grid})
    rules = FREE if free else solved.scenario.layout.rules
    bounces = {} if free else bounce_points(solved)
    products = solved.usable_products
    scene, criteria = solved.scene, solved.criteria
    found = stages.run(
        "candidates", lambda: find_candidates(solved.room, products, limits, bounces, rules)
    )
    effects = stages.run(
        "effects",
        lambda: effects_table(
            solved.room, scene, criteria, found, products, solved.spendable_cents
        ),
    )
    order = stages.run("order", lambda: order_of(solved.room, found, rules))
    effects = replace(effects, order=order)
    first = stages.run("greedy", lambda: greedy(effects))
    program = stages.run("program", lambda: matrices(build_program(effects)))
    root = stages.run("relaxation", lambda: at_the_root(program, {"": effects}))
    few = program if root is None else root.least({f"x[{c}]" for c in first})
    answer = stages.run("solve", lambda: solve(few, GAP))
    if answer.z is None:
        raise RuntimeError("no selection was found")
    chosen = np.array(
        [int(name[2:-1]) for name, value in zip(few.names, answer.z, strict=True)
         if name.startswith("x[") and value > 0.5],
        dtype=np.int64,
    )  # fmt: skip
    value = objective(effects, prune(effects, chosen))
    bound = answer.bound if root is None else root.bound
    return replace(
        stages,
        count=effects.count,
        gap=relative(value, bound),
        rows=len(program.row_low),
        entries=int(program.A.nnz),
        sets=len(effects.cover),
        in_sets=sum(map(len, effects.cover)),
    )


def one(name: str) -> None:
    """Plan one decision and print its stages."""
    with one_thread_each(), TemporaryDirectory() as folder:
        file = SCENARIOS / "spare_room.toml" if name in SPARE else hall(Path(folder))
        project, grid = load_project(file), {**SPARE, **HALL}[name]
        print(json.dumps(asdict(planned(project, grid, free=name != "hall"))))


def told(name: str) -> Stages:
    """The stages of a decision that is planned in a process of its own."""
    command = [sys.executable, __file__, name]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return Stages(**json.loads(done.stdout.splitlines()[-1]))


def main() -> None:
    """Print a line for each decision, then the powers with which the stages grow."""
    rows, found = [], {}
    for name in (*SPARE, *HALL):
        made = found[name] = told(name)
        rows.append([
            name, str(made.count), *(f"{made.seconds[s]:.2f}" for s in STAGES),
            f"{made.memory[STAGES[-1]]:.0f}", f"{100 * made.gap:.1f}",
        ])  # fmt: skip
        print(text_table(HEADER, rows[-1:], tuple(range(1, len(HEADER)))), flush=True)
        print("MB after each stage: " + ", ".join(f"{s} {made.memory[s]:.0f}" for s in STAGES))
        print(f"{made.rows} rows, {made.entries} entries; {made.sets} sets of places that "
              f"exclude each other with {made.in_sets} members", flush=True)  # fmt: skip
    print(text_table(HEADER, rows, tuple(range(1, len(HEADER)))))
    first, last = (found[name] for name in (list(SPARE)[0], list(SPARE)[-1]))
    wider = np.log(last.count / first.count)
    powers = (np.log(last.seconds[s] / max(first.seconds[s], 1e-3)) / wider for s in STAGES)
    print(", ".join(f"{s} ~ n^{p:.2f}" for s, p in zip(STAGES, powers, strict=True)))


if __name__ == "__main__":
    one(sys.argv[1]) if len(sys.argv) > 1 else main()
