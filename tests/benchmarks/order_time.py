"""Time of a solve with the rules of order against one without, in one run.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/order_time.py [ROOM.toml ...]
Processor seconds of the first solve (quick models, uncorrected) to a gap of 1 %, each begun from
its own greedy selection; the ratio is what counts, seconds are of this machine.
"""

import math
import sys
import time
from pathlib import Path

from optimizer.placement.plan import select
from optimizer.planning import build_decision, load_project
from optimizer.results.tables import text_table
from optimizer.room.layout import LayoutSection, Level

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("spare_room", "small_bedroom", "garage", "living_room")
GAP = 0.01
HEADER = ("room", "placements free", "gallery", "solve s free", "gallery", "ratio",
          "objective free", "gallery")  # fmt: skip


def solved(path: Path, level: Level) -> tuple[int, float, float]:
    """Placements, processor seconds and objective of a room at a level of order."""
    effects = build_decision(load_project(path).with_layout(LayoutSection(level=level))).effects
    began = time.process_time()
    selection = select(effects, GAP)
    return effects.count, time.process_time() - began, selection.objective


def main() -> None:
    """Print the table."""
    paths = [Path(p) for p in sys.argv[1:]] or [SCENARIOS / f"{name}.toml" for name in ROOMS]
    rows, ratios = [], []
    for path in paths:
        (n, seconds, value), (m, more, other) = (solved(path, "free"), solved(path, "gallery"))
        ratios.append(more / seconds)
        rows.append([path.stem, str(n), str(m), f"{seconds:.1f}", f"{more:.1f}",
                     f"{ratios[-1]:.2f}", f"{value:.4f}", f"{other:.4f}"])  # fmt: skip
        print(text_table(HEADER, rows[-1:], tuple(range(1, 8))), flush=True)
    mean = math.exp(sum(map(math.log, ratios)) / len(ratios))
    print(text_table(HEADER, rows, tuple(range(1, 8))))
    print(f"geometric mean of the ratios: {mean:.2f}")


if __name__ == "__main__":
    main()
