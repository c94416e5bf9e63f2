"""Wishes: planning keeps to them, proven against every subset, and each has its price.

Rooms, prices and wishes are invented; what is right follows from the definitions.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_optimum import MOST, every_subset
from tiny_rooms import some_candidates, tiny_project

from optimizer.acoustics.judged import judge_scene
from optimizer.commands.plan_wishes import wishes_in_words, wishes_part
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.greedy import opening
from optimizer.placement.nearby import Neighbours
from optimizer.placement.plan import feasible, select
from optimizer.placement.program import TIE
from optimizer.placement.proof import objective
from optimizer.planning import Plan, build_decision, make_plan, planned
from optimizer.project import Project
from optimizer.results.planfile import plan_as_json
from optimizer.wishes.costs import WishCost, wish_costs
from optimizer.wishes.decision import Wished, wished_decision
from optimizer.wishes.file import Wish, read_wishes

NOTHING = np.zeros(0, dtype=np.int64)


def enumerated(effects: Effects) -> float:
    """The least objective over all subsets that fit and hold what is wished for; inf for none."""
    subsets = every_subset(effects.count)
    cost = np.zeros(len(subsets))
    for p in range(len(effects.pack)):
        used = subsets @ (effects.pieces * (effects.product == p))
        bought = -(-np.maximum(used - effects.owned[p], 0) // effects.pack[p])
        cost += bought * effects.price_cents[p]
    fits = cost <= effects.budget_cents
    for row in effects.cover:
        fits &= subsets[:, row].sum(axis=1) <= 1
    for row in effects.wished:
        fits &= subsets[:, row].sum(axis=1) >= 1
    if not fits.any():
        return float("inf")
    quantities = effects.base[:, None] + effects.change @ subsets[fits].T
    values = effects.criteria.weights @ effects.criteria.excess(quantities)
    return float((values + TIE * cost[fits] / max(effects.budget_cents, 1)).min())


@pytest.mark.parametrize("seed", range(12))
def test_wishes_are_held_at_the_least_objective_of_all_subsets(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(3000 + seed)
    project = tiny_project(
        tmp_path, seed, budget=round(float(rng.uniform(200, 600)), 2), products=2
    )
    effects = some_candidates(build_decision(project), rng, MOST)
    pinned = rng.choice(effects.count, size=1)
    some = rng.choice(effects.count, size=3, replace=False)
    effects = replace(effects, wished=(pinned, np.sort(some)))
    best = enumerated(effects)
    if not np.isfinite(best):
        with pytest.raises(ValueError, match="does not fit"):
            select(effects, gap=5e-7)
        return
    selection = select(effects, gap=5e-7)
    assert selection.objective == pytest.approx(best, rel=1e-6, abs=1e-6)
    assert feasible(effects, selection.chosen)
    assert pinned[0] in selection.chosen
    assert set(selection.chosen) & set(some)
    assert feasible(effects, np.array(opening(effects)))
    better = Neighbours(effects).bettered(np.array(opening(effects)))
    assert feasible(effects, better)
    for _, other in Neighbours(effects).alike(selection.chosen, np.arange(effects.count), 9.0, 5):
        assert feasible(effects, other)


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Project:
    return tiny_project(tmp_path_factory.mktemp("room"), 4, budget=500.0, grid=0.6, products=4)


@pytest.fixture(scope="module")
def first(project: Project) -> Plan:
    plan = make_plan(project, judging="none")
    path = project.scenario.path.parent / "plan.json"
    path.write_text(plan_as_json(plan), encoding="utf-8")
    return plan


def again(project: Project, wishes: str) -> tuple[Wished, Plan]:
    """The plan that keeps to wishes."""
    path = project.scenario.path.parent / "wishes.toml"
    path.write_text(f'plan = "plan.json"\n{wishes}', encoding="utf-8")
    wished = wished_decision(project, read_wishes(path, project))
    made = planned(project, wished.decision, 0.01, Effort(), None, "none", print, None, ())
    return wished, made.plan(made.rounds.best.selection, "none")


def places(plan: Plan) -> set[object]:
    return {(p.piece.product.id, p.piece.rects) for p in plan.pieces}


def test_pieces_kept_by_number_stay_and_those_refused_go(project: Project, first: Plan) -> None:
    keep, refuse = first.pieces[0], first.pieces[-1]
    assert keep.piece.product.id != refuse.piece.product.id or keep.pair != refuse.id
    _, plan = again(project, f"keep = [{keep.id}]\nrefuse = [{refuse.id}]\n")
    assert (keep.piece.product.id, keep.piece.rects) in places(plan)
    (name, (u0, v0, u1, v1)) = refuse.piece.rects[0]
    for planned_piece in plan.pieces:
        piece = planned_piece.piece
        for other, rect in piece.rects:
            if other == name and piece.product.id == refuse.piece.product.id:
                wide = min(u1, rect[2]) - max(u0, rect[0])
                assert wide <= 1e-6 or min(v1, rect[3]) - max(v0, rect[1]) <= 1e-6
    assert plan.cost_cents <= project.budget_cents


def test_a_refused_wall_stays_bare_and_a_refused_product_is_not_bought(
    project: Project, first: Plan
) -> None:
    wall = first.pieces[0].piece.rects[0][0]
    _, plan = again(project, f'refuse_surfaces = ["{wall}"]\n')
    assert all(name != wall for p in plan.pieces for name, _ in p.piece.rects)
    product = first.pieces[0].piece.product.id
    _, plan = again(project, f'refuse_products = ["{product}"]\n')
    assert all(p.piece.product.id != product for p in plan.pieces)


@pytest.mark.parametrize("surface", ["front", "back"])
def test_a_rectangle_gets_a_piece(project: Project, first: Plan, surface: str) -> None:
    width, height = project.room.surface(surface).plane.bounds[2:]
    at = (round(0.4 * width, 2), round(0.4 * height, 2))
    like = f'[[like]]\nsurface = "{surface}"\nat = {list(at)}\nsize = [0.3, 0.3]\n'
    _, plan = again(project, like)
    middles = [((r[0] + r[2]) / 2, (r[1] + r[3]) / 2)
               for p in plan.pieces for name, r in p.piece.rects if name == surface]  # fmt: skip
    assert any(at[0] <= u <= at[0] + 0.3 and at[1] <= v <= at[1] + 0.3 for u, v in middles)


def test_each_wish_is_told_with_what_it_costs(project: Project, first: Plan) -> None:
    """A wish that only asks for what the best plan has costs nothing; one that forbids all of it
    costs what the plan gains."""
    assert len(first.pieces) > 1
    every = ", ".join(f'"{p.id}"' for p in first.pieces)
    walls = ", ".join(f'"{surface.name}"' for surface in project.room.surfaces)
    for wishes, free in ((f"keep = [{every}]\n", True), (f"refuse_surfaces = [{walls}]\n", False)):
        wished, plan = again(project, wishes)
        solved = wished.decision.project
        judged = judge_scene(solved.scene, solved.criteria, ())
        costs = wish_costs(wished, NOTHING, judged, Effort())
        assert len(costs) == len(wished.wishes.each)
        assert all(cost.cost >= 0.0 for cost in costs)
        if free:
            assert max(cost.cost for cost in costs) <= 0.02 * first.card.score_before
        else:
            assert plan.pieces == ()
            assert costs[0].score == pytest.approx(first.card.score_before, rel=1e-9)
            assert any(cost.cost > 0.0 for cost in costs)


def test_the_mirrored_room_with_mirrored_wishes_has_the_mirrored_plan(
    project: Project, first: Plan
) -> None:
    wish = '[[like]]\nsurface = "left"\nat = [0.5, 0.5]\nsize = [0.6, 0.6]\n'
    wished, _ = again(project, wish)
    image = project.mirrored()
    mirrored = replace(
        wished.wishes, each=tuple(w.mirrored(project.room, image.room) for w in wished.wishes.each)
    )
    other = wished_decision(image, mirrored)
    assert other.decision.effects.count == wished.decision.effects.count
    one, two = (select(w.decision.effects, 0.01) for w in (wished, other))
    assert objective(wished.decision.effects, one.chosen) == pytest.approx(two.objective, rel=1e-9)


def test_costs_are_told_one_wish_a_line() -> None:
    """By hand: 0.9 of 1.0 without the first wish is a tenth of it."""
    first, second, third = (Wish("keep", f"keep {i}") for i in (1, 2, 3))
    costs = (WishCost(first, 1.0, 0.9), WishCost(second, 1.0, 1.0), WishCost(third, 1.0, None))
    lines = wishes_in_words(costs).splitlines()
    assert "1.000 with all of them" in lines[0]
    assert lines[1:] == [
        "- keep 1: 0.100, 10.0 % of it (0.900 without this wish)",
        "- keep 2: nothing",
        "- keep 3: not tried, out of time",
    ]
    assert [row[0] for row in wishes_part(costs).table.rows] == ["keep 1", "keep 2", "keep 3"]
