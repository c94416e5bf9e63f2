"""How many set-ups are judged in a minute.

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/positions_speed.py

Run by hand on two cores; "a CPU minute" tells what one core does when others work beside. A first,
small search compiles what is compiled.
"""

import time
from pathlib import Path

from optimizer.positions.search import judge_all
from optimizer.positions.set_ups import Reach
from optimizer.project import load_project

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage", "living_room")


def main() -> None:
    bedroom = load_project(SCENARIOS / "small_bedroom.toml")
    judge_all(bedroom, Reach((1.15,), step=0.4, offsets=(0.0,)))
    print(f"{'room':15}{'set-ups':>9}{'seconds':>9}{'a minute':>10}{'CPU s':>8}"
          f"{'a CPU minute':>14}")  # fmt: skip
    for name in ROOMS:
        project = load_project(SCENARIOS / f"{name}.toml")
        start, work = time.perf_counter(), time.process_time()
        count = sum(len(part.set_ups) for part in judge_all(project))
        seconds, work = time.perf_counter() - start, time.process_time() - work
        print(f"{name:15}{count:9}{seconds:9.1f}{60 * count / seconds:10.0f}{work:8.1f}"
              f"{60 * count / work:14.0f}")  # fmt: skip


if __name__ == "__main__":
    main()
