"""Time of a solve with the rules of order against one without, in one run.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/order_time.py [ROOM.toml ...]
Processor seconds of the first solve (quick models, uncorrected) to a gap of 1 %, each begun from
its own greedy selection: with the rules, and without them among the same places. The level "free"
has other places besides (no blocks), so it is told but not compared. The ratio is what counts,
seconds are of this machine.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from optimizer.placement.effects import Effects
from optimizer.placement.order import NO_ORDER
from optimizer.placement.plan import select
from optimizer.planning import build_decision, load_project
from optimizer.results.tables import text_table
from optimizer.room.layout import LayoutSection

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("spare_room", "small_bedroom", "garage", "living_room")
GAP = 0.01
HEADER = ("room", "placements", "rules s", "no rules s", "ratio", "objective", "without",
          "free: placements", "s", "objective")  # fmt: skip


def solved(effects: Effects) -> tuple[float, float]:
    """Processor seconds and objective of a selection."""
    began = time.process_time()
    selection = select(effects, GAP)
    return time.process_time() - began, selection.objective


def main() -> None:
    """Print the table."""
    paths = [Path(p) for p in sys.argv[1:]] or [SCENARIOS / f"{name}.toml" for name in ROOMS]
    rows, totals = [], np.zeros(2)
    for path in paths:
        project = load_project(path)
        orderly = build_decision(project).effects
        free = build_decision(project.with_layout(LayoutSection(level="free"))).effects
        (ruled, one), (plain, other), (loose, third) = (
            solved(effects) for effects in (orderly, replace(orderly, order=NO_ORDER), free)
        )
        totals += ruled, plain
        rows.append([path.stem, str(orderly.count), f"{ruled:.1f}", f"{plain:.1f}",
                     f"{ruled / plain:.2f}", f"{one:.4f}", f"{other:.4f}", str(free.count),
                     f"{loose:.1f}", f"{third:.4f}"])  # fmt: skip
    rows.append(["all", "", f"{totals[0]:.1f}", f"{totals[1]:.1f}", f"{totals[0] / totals[1]:.2f}",
                 *[""] * 5])  # fmt: skip
    print(text_table(HEADER, rows, tuple(range(1, len(HEADER)))))


if __name__ == "__main__":
    main()
