"""What a better place saves: plans for the demo rooms as they are and at the best set-ups.

    python tests/evidence/positions_money.py > tests/evidence/positions_money.md

Plans by `judging="fast"`, to a gap of 5 %, at most 15 s each. About 8 minutes on two idle cores.
"""

from pathlib import Path

from optimizer.planning import make_plan
from optimizer.positions.joint import Joint, Pair, plan_positions, with_budget
from optimizer.positions.joint_words import labels
from optimizer.project import load_project
from optimizer.results.model import Plan
from optimizer.results.tables import markdown_table

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage", "living_room")
LESS = (0.9, 0.8, 0.7)  # of the budget, at the set-up with the least excess
GAP, SECONDS = 0.05, 3600.0  # a guard that does not bind
HEADER = ("room", "set-up", "faces", "budget", "spent", "untreated", "treated", "proven within",
          "place, treated")  # fmt: skip
ABOUT = """\
Excess over the limits (0 = all met), judged by coupled modes and ray tracing; the score of the
place with the treatment, which also knows how even the low end is (0 is best). Below, what the best
of the moved set-ups is worth in money: with less of the budget, down to where staying put with all
of it is as good. A difference within what the plans are proven says nothing.
"""


def main() -> None:
    print(__doc__.split("\n\n")[0] + "\n")
    print(ABOUT)
    rows, told = [], []
    for name in ROOMS:
        project = load_project(SCENARIOS / f"{name}.toml")
        joint = plan_positions(project, 2, GAP, SECONDS, "fast")
        for label, pair in labels(joint).items():
            rows.append(_row(name, label, pair.judged.set_up.facing, pair.plan, pair.place))
        label, best = min(list(labels(joint).items())[1:], key=lambda item: item[1].excess)
        cheaper = _cheaper(joint, best)
        facing = best.judged.set_up.facing
        rows += [_row(name, label, facing, plan, None) for plan in cheaper]
        told.append(f"- {name}: {_in_words(joint, label, best, cheaper)}")
    print(markdown_table(HEADER, rows, (3, 4, 5, 6, 7, 8)))
    print("\n" + "\n".join(told))


def _cheaper(joint: Joint, best: Pair) -> list[Plan]:
    """Plans of the moved set-up with less money, until one is worse than staying with all of it."""
    plans: list[Plan] = []
    budget = joint.now.plan.project.scenario.budget.amount
    left = best.excess
    for share in LESS:
        if left > joint.now.excess:
            break
        plans.append(
            make_plan(with_budget(best.judged, share * budget), GAP, SECONDS, None, "fast")
        )
        left = plans[-1].card.score_after
    return plans


def _in_words(joint: Joint, label: str, best: Pair, cheaper: list[Plan]) -> str:
    """What the move is worth: less excess for the same money, and the money that buys as little."""
    now, moved = joint.now.excess, best.excess
    change = 100 * (now - moved) / now
    if moved >= now:
        return f"set-up {label} leaves {-change:.0f} % more excess with the same money; stay."
    budget, currency = (
        getattr(joint.now.plan.project.scenario.budget, key) for key in ("amount", "currency")
    )
    points = [(budget, moved)]
    points += [(p.project.scenario.budget.amount, p.card.score_after) for p in cheaper]
    text = f"set-up {label} leaves {change:.0f} % less excess with the same money"
    for (dear, low), (cheap, high) in zip(points, points[1:], strict=False):
        if high > now:
            saved = budget - (dear - (dear - cheap) * (now - low) / (high - low))
            return f"{text}, or the same for about {saved:.0f} {currency} less (between plans)."
    return f"{text}, or as little for {budget - points[-1][0]:.0f} {currency} less at least."


def _row(name: str, label: str, facing: str, plan: Plan, place: float | None) -> tuple[str, ...]:
    gap = plan.selection.gap
    return (
        name, label, facing, f"{plan.project.scenario.budget.amount:.0f}",
        f"{plan.cost_cents / 100:.0f}", f"{plan.card.score_before:.3f}",
        f"{plan.card.score_after:.3f}", f"{100 * gap:.0f} %" if gap < 1 else "not proven",
        "" if place is None else f"{place:.3f}",
    )  # fmt: skip


if __name__ == "__main__":
    main()
