"""A purchase by rule of thumb against the plan, for the same money and by the same objective.

Run: OPENBLAS_NUM_THREADS=1 python tests/evidence/rule_of_thumb_regret.py [SECONDS]
Writes the .md beside it; takes a minute or two for each of three rooms; SECONDS guards each.

The rule is common practice, no source: a third of the money each on panels where first
reflections bounce off the walls, on fills in the upright corners from the floor up (front corners
first), and on pieces below the ceiling where reflections bounce off it. What one share leaves goes
to the next, what all leave goes to panels again. It does not say which product; every choice of
one panel, one corner fill and one ceiling piece of the price list is tried. It hangs them at places
that the plan could have, but need not keep to the order that the plan keeps to.
"""

import sys
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import product as every
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.early_criteria import EarlyFamily
from optimizer.placement.budget_curve import by_group
from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects
from optimizer.placement.order import Order
from optimizer.placement.pieces import Piece
from optimizer.placement.plan import feasible, select
from optimizer.placement.proof import objective
from optimizer.planning import Decision, build_decision
from optimizer.project import Project, load_project

ROOT = Path(__file__).parents[2]
ROOMS = ("small_bedroom", "spare_room", "garage")
SECONDS = 3600.0  # a guard that does not bind
HEADER = [
    "room", "budget", "choices", "untreated", "rule, median", "rule, best choice", "which", "plan",
    "bound", "median regret", "best regret", "median reached", "best reached", "rule spent",
    "plan spent",
]  # fmt: skip
SOFT = ("porous", "foam")
Ints = NDArray[np.int64]
Queue = list[int]  # candidates of one role and product, the first to hang first
NOTHING = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True)
class Kind:
    """A product hung in one way."""

    product: str
    fitting: int


def bounces(project: Project) -> NDArray[np.float64]:
    """Where first reflections judged by the criteria bounce off the room's surfaces, (N, 3)."""
    points = [
        family.paths.bounce[s, r, p]
        for family in project.criteria.families
        if isinstance(family, EarlyFamily)
        for s, r, p in family.index
        if p < len(project.room.surfaces)
    ]
    return np.array(points).reshape(-1, 3)


def role(piece: Piece) -> str:
    """What the rule would use a piece as: "panel", "corner", "ceiling", or nothing."""
    soft = piece.product.fittings[piece.fitting].material.category in SOFT
    if piece.product.kind == "corner":
        return "corner"
    if piece.product.kind == "panel" and piece.mounting == "wall" and soft:
        return "panel"
    if piece.product.kind in ("cloud", "panel") and piece.mounting == "ceiling" and soft:
        return "ceiling"
    return ""


def orders(decision: Decision) -> dict[str, dict[Kind, Queue]]:
    """For each role and kind the candidates in the order in which the rule hangs them."""
    points = bounces(decision.project)
    found: dict[str, dict[Kind, list[tuple[float, int]]]] = {}
    for index, candidate in enumerate(decision.candidates):
        piece = candidate.pieces[0]
        name = role(piece)
        if name:
            kind = Kind(piece.product.id, piece.fitting)
            key = height_first(piece) if name == "corner" else off_bounces(candidate, points)
            found.setdefault(name, {}).setdefault(kind, []).append((key, index))
    return {
        name: {kind: [i for _, i in sorted(keyed)] for kind, keyed in kinds.items()}
        for name, kinds in found.items()
    }


def height_first(piece: Piece) -> float:
    """From the floor up, front corners before back ones at the same height."""
    return float(piece.box[0, 2] + 1e-3 * piece.box[0, 0])


def off_bounces(candidate: Candidate, points: NDArray[np.float64]) -> float:
    """Mean distance in m of the pieces' middles from the nearest bounce point of their surface.

    Points count by their distance in space; on another surface they are far.
    """
    middles = np.array([piece.face.mean(axis=0) for piece in candidate.pieces])
    return float(np.linalg.norm(middles[:, None] - points, axis=-1).min(axis=1).mean())


class Rule:
    """Fills shares of the money with candidates that neither overlap nor exceed it."""

    def __init__(self, effects: Effects) -> None:
        self.effects = effects
        self.blocked: list[set[int]] = [set() for _ in range(effects.count)]
        for row in effects.cover:
            members = set(row.tolist())
            for c in members:
                self.blocked[c] |= members

    def buy(self, choice: Iterable[Queue]) -> Ints:
        """Panels, corners, ceiling pieces: a third each, then what is left on panels again."""
        panels, corners, ceiling = choice
        chosen: list[int] = []
        third = self.effects.budget_cents / 3
        for order, most in ((panels, 1), (corners, 2), (ceiling, 3), (panels, 3)):
            chosen = self.fill(chosen, order, most * third)
        return np.array(sorted(chosen), dtype=np.int64)

    def fill(self, chosen: list[int], order: Queue, most: float) -> list[int]:
        """The selection with more of an order, up to a cost in cents."""
        barred = set().union(*(self.blocked[c] | {c} for c in chosen)) if chosen else set()
        held = list(chosen)
        for c in order:
            if c in barred:
                continue
            if self.effects.cost_cents(np.array([*held, c], dtype=np.int64)) <= most:
                held.append(c)
                barred |= self.blocked[c] | {c}
        return held


def compared(name: str, seconds: float) -> tuple[list[str], dict[str, str]]:
    """The row of a room in the first table, and its cells by group of criteria in the second."""
    decision = build_decision(load_project(ROOT / "scenarios" / f"{name}.toml"))
    effects, kinds = decision.effects, orders(decision)
    rule = Rule(effects)
    choices = list(every(*(kinds[part].items() for part in ("panel", "corner", "ceiling"))))
    bought = [rule.buy(order for _, order in choice) for choice in choices]
    free = replace(effects, order=Order())
    assert all(feasible(free, chosen) for chosen in bought)
    values = np.array([objective(effects, chosen) for chosen in bought])
    first = int(values.argmin())
    best, middle = bought[first], float(np.median(values))
    plan = select(effects, 0.01, seconds)
    print(name, f"{len(choices)} choices, plan {plan.objective:.3f}, bound {plan.bound:.3f}")
    untreated = objective(effects, NOTHING)
    share = 100 * (untreated - values[first]) / (untreated - plan.objective)
    half = 100 * (untreated - middle) / (untreated - plan.objective)
    costs = [f"{effects.cost_cents(o) / 100:.2f}" for o in (best, plan.chosen)]
    used = " + ".join(kind.product for kind, _ in choices[first])
    summary = [
        name,
        f"{effects.budget_cents / 100:.0f}",
        str(len(choices)),
        f"{untreated:.3f}",
        f"{middle:.3f}",
        f"{values[first]:.3f}",
        used,
        f"{plan.objective:.3f}",
        f"{plan.bound:.3f}",
        f"{middle - plan.objective:+.3f}",
        f"{values[first] - plan.objective:+.3f}",
        f"{half:.0f} %",
        f"{share:.0f} %",
        *costs,
    ]
    parts = [by_group(effects, o) for o in (NOTHING, best, plan.chosen)]
    detail = {g: " / ".join(f"{part[g]:.3f}" for part in parts) for g in parts[0]}
    return summary, detail


def table(header: list[str], rows: list[list[str]]) -> str:
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS
    results = [compared(name, seconds) for name in ROOMS]
    groups = list(dict.fromkeys(group for _, cells in results for group in cells))
    details = [[row[0], *(cells.get(g, "-") for g in groups)] for row, cells in results]
    rule = " ".join((__doc__ or "").split("\n\n")[2].split())
    text = [
        "# A purchase by rule of thumb against the plan",
        "",
        "Written by rule_of_thumb_regret.py. Demo rooms, prices and budgets are invented.",
        "",
        rule,
        "",
        "Objective: weighted excess over the limits (0 = all met) and 0.001 for the whole budget, "
        "exact, by the quick models the plan is made with. The plan was searched for "
        f"{seconds:.0f} s at most, without help from the rule; no plan can lie below the bound. "
        '"Regret": what the rule leaves over the plan. "Reached": the improvement over the '
        "untreated room as a share of the plan's. The best choice is picked afterwards by the "
        "objective itself; who buys by the rule does not know it.",
        "",
        table(HEADER, [summary for summary, _ in results]),
        "",
        "Weighted excess by group: untreated / best rule choice / plan.",
        "",
        table(["room", *groups], details),
        "",
    ]
    Path(__file__).with_suffix(".md").write_text("\n".join(text), encoding="utf-8")


if __name__ == "__main__":
    main()
