"""How long the report of each demo room takes, in seconds of processor time, and how large it is.

    python tests/benchmarks/report_time.py [ROUNDS]

The plans are laid by hand, so nothing is solved; a first report is made and thrown away, as the
fonts are read then. The time that reading fonts and modules costs once is told by itself.
"""

import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
from plans import ROOMS, demo_project, plan_of  # noqa: E402 - the tests' own plans

from optimizer.report.page import hanging_html, report_html  # noqa: E402 - after the path

LIMIT = 5.0  # s, what a report of a demo room may take


def seconds(make: Callable[[], str], rounds: int) -> tuple[float, str]:
    """Least processor time of some calls, and what the last one gave."""
    least, made = float("inf"), ""
    for _ in range(rounds):
        began = time.process_time()
        made = make()
        least = min(least, time.process_time() - began)
    return least, made


def main() -> int:
    """Print a line per room; 1 when one takes too long."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    print(f"modules: {time.process_time():.1f} s once")
    plans = {name: plan_of(demo_project(name)) for name in ROOMS}
    first, _ = seconds(lambda: report_html(plans[ROOMS[0]]), 1)
    print(f"first report of all: {first:.1f} s")
    worst = first
    for name, plan in plans.items():
        for units in ("m", "ft"):
            whole, html = seconds(partial(report_html, plan, units), rounds)
            sheets, _ = seconds(partial(hanging_html, plan, units), rounds)
            worst = max(worst, whole)
            print(f"{name:14} {units:2}  report {whole:.2f} s, {len(html.encode()) / 1e3:.0f} kB; "
                  f"hanging sheets alone {sheets:.2f} s")  # fmt: skip
    print(f"longest {worst:.2f} s of {LIMIT:g} s allowed")
    return int(worst > LIMIT)


if __name__ == "__main__":
    sys.exit(main())
