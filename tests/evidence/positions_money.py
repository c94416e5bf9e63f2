"""What a better place saves: plans for the demo rooms as they are and at the best set-ups.

    python tests/evidence/positions_money.py > tests/evidence/positions_money.md

Plans by `judging="fast"`, to a gap of 5 %, at most 15 s each.
"""

from pathlib import Path

from optimizer.planning import make_plan
from optimizer.positions.joint import plan_positions, with_budget
from optimizer.project import load_project
from optimizer.results.tables import markdown_table

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage")
LESS = 0.8  # of the budget, at the best set-up
GAP, SECONDS = 0.05, 15.0
HEADER = ("room", "set-up", "faces", "budget", "spent", "untreated", "treated")


def main() -> None:
    rows = []
    for name in ROOMS:
        project = load_project(SCENARIOS / f"{name}.toml")
        joint = plan_positions(project, 2, GAP, SECONDS, "fast")
        pairs = [("as it is", joint.now), *((f"no. {i}", p) for i, p in enumerate(joint.others, 1))]
        budget = project.scenario.budget.amount
        for label, pair in pairs:
            rows.append(_row(name, label, pair.judged.set_up.facing, budget, pair.plan))
        moved = min(joint.others, key=lambda p: p.excess)
        if moved.excess < joint.now.excess:
            cheap = make_plan(with_budget(moved.judged, LESS * budget), GAP, SECONDS, None, "fast")
            label = f"no. {joint.others.index(moved) + 1}"
            rows.append(_row(name, label, moved.judged.set_up.facing, LESS * budget, cheap))
    print(__doc__.split("\n\n")[0] + "\n")
    print("Excess over the limits (0 = all met), judged by coupled modes and ray tracing.\n")
    print(markdown_table(HEADER, rows, (3, 4, 5, 6)))


def _row(name, label, facing, budget, plan):
    spent = f"{plan.cost_cents / 100:.0f}"
    scores = (f"{plan.card.score_before:.3f}", f"{plan.card.score_after:.3f}")
    return (name, label, facing, f"{budget:.0f}", spent, *scores)


if __name__ == "__main__":
    main()
