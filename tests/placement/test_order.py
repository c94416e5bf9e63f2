"""Rules of order: the best selection under them against an enumeration, and what each rule says.

The rules are own choices, no source; the enumeration below works them out from the pieces of every
subset by their definitions (optimizer.placement.neat) and knows nothing of the program's rows.
"""

from collections import Counter
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from orders import some_ordered, toy_order
from test_program import toy
from tiny_rooms import tiny_project

from optimizer.placement.alternatives import alternatives, groups_of
from optimizer.placement.blocks import GAP, Grid, agreed, leaves_gap
from optimizer.placement.budget_curve import budget_curve
from optimizer.placement.calm import calmed
from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects
from optimizer.placement.nearby import Neighbours
from optimizer.placement.neat import (
    FEW,
    NEAR,
    apart,
    counts,
    fewest_lines,
    in_corner,
    neatness,
    own_place,
)
from optimizer.placement.order import Ints, Order
from optimizer.placement.plan import feasible, greedy, prune, select
from optimizer.placement.program import TIE
from optimizer.placement.proof import objective
from optimizer.placement.stages import plan_stages, remaining
from optimizer.planning import Decision, build_decision, make_plan
from optimizer.project import Project
from optimizer.room.layout import FREE, RULES, LayoutSection, OrderRules
from optimizer.room.model import Room

MOST = 11
ROOMS = 30
GALLERY = RULES["gallery"]


def ordered(project: Project, rules: OrderRules) -> Project:
    """The project under these rules."""
    section = LayoutSection(level="free", **vars(rules))
    assert section.rules == rules
    return replace(project, scenario=replace(project.scenario, layout=section))


def keeps(room: Room, some: list[Candidate], rules: OrderRules) -> bool:
    """Whether candidates keep to the rules, by the definitions."""
    pieces = [p for c in some for p in c.pieces]
    look = neatness(room, pieces)
    blocks = Counter(
        b[0].surface
        for c in some
        for b in c.blocks
        if not in_corner(b[0]) and room.surface(b[0].surface).is_ceiling
    )
    counted = [p for p in pieces if counts(p)]
    lone = sum(
        not any(q is not p and q.surface == p.surface and apart(p.box, q.box) <= NEAR
                for q in pieces)
        for p in counted
    )  # fmt: skip
    return (
        (not rules.lines or look.most_lines <= rules.lines)
        and (not rules.stacks or look.floating == 0)
        and (not rules.clouds or max(blocks.values(), default=0) <= rules.clouds)
        and (not rules.kinds or look.kinds <= rules.kinds)
        and (not rules.pieces or look.pieces <= rules.pieces)
        and (len(counted) <= FEW or lone <= rules.alone_percent / 100 * len(counted) + 1e-9)
    )


def enumerated(
    room: Room, effects: Effects, few: tuple[Candidate, ...], rules: OrderRules
) -> float:
    """The least objective over all subsets that fit and keep to the rules."""
    best = np.inf
    for size in range(len(few) + 1):
        for subset in combinations(range(len(few)), size):
            chosen = np.array(subset, dtype=np.int64)
            if any(np.isin(row, chosen).sum() > 1 for row in effects.cover):
                continue
            cost = 0
            for p in range(len(effects.pack)):
                used = int(effects.pieces[chosen[effects.product[chosen] == p]].sum())
                packs = -(-max(used - int(effects.owned[p]), 0) // int(effects.pack[p]))
                cost += packs * int(effects.price_cents[p])
            if cost > effects.budget_cents or not keeps(room, [few[c] for c in subset], rules):
                continue
            excess = effects.criteria.excess(effects.base + effects.change[:, chosen].sum(axis=1))
            value = effects.criteria.weights @ excess + TIE * cost / max(effects.budget_cents, 1)
            best = min(best, float(value))
    return best


@pytest.mark.parametrize("seed", range(ROOMS))
def test_selection_is_the_best_of_all_orderly_subsets(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(7000 + seed)
    rules = OrderRules(
        lines=int(rng.integers(1, 3)), blocks=bool(seed % 2), clouds=1, stacks=True,
        kinds=int(rng.integers(1, 4)), pieces=int(rng.integers(4, 9)),
        alone_percent=float(rng.choice([0.0, 20.0, 50.0])), lowest_edge=0.3,
    )  # fmt: skip
    project = tiny_project(tmp_path, seed, budget=900.0, grid=0.7, products=4)
    decision = build_decision(ordered(project, rules))
    effects, few = some_ordered(decision, rng, MOST, rules)
    best = enumerated(decision.project.room, effects, few, rules)
    selection = select(effects, gap=5e-7)
    assert selection.status == "optimal"
    assert selection.objective == pytest.approx(best, rel=1e-6, abs=1e-6)
    assert keeps(decision.project.room, [few[c] for c in selection.chosen], rules)


def test_some_rule_binds_in_these_rooms(tmp_path: Path) -> None:
    """Else the enumeration above would show nothing of the rules."""
    bound = 0
    for seed in range(8):
        rng = np.random.default_rng(7000 + seed)
        rules = OrderRules(lines=1, clouds=1, stacks=True, kinds=1, pieces=4, alone_percent=0.0)
        project = tiny_project(tmp_path / str(seed), seed, budget=900.0, grid=0.7, products=4)
        effects, _ = some_ordered(build_decision(ordered(project, FREE)), rng, MOST, rules)
        free = select(replace(effects, order=Order()), gap=5e-7)
        bound += select(effects, gap=5e-7).objective > free.objective * (1 + 1e-6)
    assert bound >= 4


@pytest.fixture(scope="module")
def decision(tmp_path_factory: pytest.TempPathFactory) -> Decision:
    project = tiny_project(tmp_path_factory.mktemp("order"), 2, 600.0, grid=0.8, products=5)
    return build_decision(ordered(project, GALLERY))


def selections(decision: Decision, rng: np.random.Generator, count: int) -> list[Ints]:
    """Random selections that exclude none of each other, orderly or not."""
    effects, found = decision.effects, []
    for _ in range(count):
        chosen: list[int] = []
        for c in rng.permutation(effects.count)[:60].tolist():
            trial = np.array([*chosen, c])
            if len(chosen) < 8 and all(np.isin(row, trial).sum() <= 1 for row in effects.cover):
                chosen.append(c)
        found.append(np.array(chosen[: rng.integers(0, 9)], dtype=np.int64))
    return found


def test_open_candidates_are_those_with_which_the_order_holds(decision: Decision) -> None:
    effects, rng = decision.effects, np.random.default_rng(5)
    some = [*selections(decision, rng, 6), greedy(effects), np.zeros(0, dtype=np.int64)]
    for rule in effects.order.rules:
        for chosen in some:
            free = rule.open(chosen)
            for c in rng.choice(effects.count, 40).tolist():
                if c not in chosen:
                    expected = rule.holds(np.append(chosen, c))
                    assert free[c] == expected, (rule.name, chosen, c)


def test_rows_hold_just_when_the_rule_does(decision: Decision) -> None:
    rng = np.random.default_rng(6)
    for rule in decision.effects.order.rules:
        rows = rule.rows
        for chosen in selections(decision, rng, 12):
            x = np.zeros(decision.effects.count)
            x[chosen] = 1.0
            left = rows.A @ x + rows.B @ rule.columns(chosen)
            assert bool(np.all(left <= rows.high + 1e-9)) == rule.holds(chosen), rule.name


def test_what_is_left_to_decide_keeps_the_order_of_all(decision: Decision) -> None:
    effects, rng = decision.effects, np.random.default_rng(8)
    kept = greedy(effects)[:2]
    assert effects.order.holds(kept)
    sub, index = remaining(effects, kept, rng.random(effects.count) < 0.5)
    for c in range(0, sub.count, 7):
        whole = np.append(kept, index[c])
        one = np.array([c])
        assert sub.order.holds(one) == effects.order.holds(whole)
    chosen = select(sub, 0.05).chosen
    assert effects.order.holds(np.concatenate([kept, index[chosen]]))


def test_every_search_keeps_the_order(decision: Decision) -> None:
    effects, candidates = decision.effects, decision.candidates
    room = decision.project.room
    best = select(effects, 0.02).chosen
    bettered = Neighbours(effects).bettered(greedy(effects))
    stages = plan_stages(effects, [25_000, 60_000], 0.05).stages
    curve = budget_curve(effects, [20_000, 40_000, 60_000], 0.05).points
    others = alternatives(effects, groups_of(room, candidates), best, 2, within=0.5, gap=0.05).plans
    found = [best, greedy(effects), bettered, prune(effects, best)]
    found += [s.chosen for s in (*stages, *others)] + [p.selection.chosen for p in curve]
    assert len(others) > 0
    for chosen in found:
        assert len(chosen) > 0
        assert keeps(room, [candidates[c] for c in chosen], GALLERY)


def test_plan_of_a_room_is_orderly(tmp_path: Path) -> None:
    project = ordered(tiny_project(tmp_path, 3, 600.0, grid=0.6, products=5), GALLERY)
    plan = make_plan(project, 0.02, judging="none")
    look = neatness(project.room, [p.piece for p in plan.pieces])
    twins = {p.id: p.pair for p in plan.pieces}
    assert all(pair is None or twins[pair] == own for own, pair in twins.items())
    assert any(pair is not None for pair in twins.values())
    assert look.counted > FEW
    assert look.most_lines <= 2
    assert look.company_percent >= 80.0
    assert look.floating == 0
    assert look.lowest_edge is None or look.lowest_edge >= 0.3 - 1e-9


def test_nothing_hangs_below_the_lowest_edge(decision: Decision) -> None:
    low = [
        float(p.box[0, 2])
        for c in decision.candidates
        for p in c.pieces
        if not own_place(p) and not in_corner(p)
    ]
    assert min(low) == pytest.approx(0.3, abs=1e-6)


def test_blocks_have_equal_gaps_and_touch_overhead(decision: Decision) -> None:
    seen = Counter[bool]()
    for candidate in decision.candidates:
        for block in candidate.blocks:
            if candidate.grid.columns > 1 and not in_corner(block[0]):
                overhead = not decision.project.room.surface(block[0].surface).is_wall
                first, second = block[0].rect, block[1].rect
                between = max(second[0] - first[2], second[1] - first[3])
                assert between == pytest.approx(0.0 if overhead else GAP, abs=2e-6)
                seen[overhead] += 1
    assert min(seen[True], seen[False]) > 3


def test_block_worked_by_hand() -> None:
    """Two rows of two tiles of 0.5 x 0.4 m, 0.1 m apart: 1.1 x 0.9 m."""
    grid = Grid(2, 2, 0.1)
    assert grid.outline(0.5, 0.4) == (1.1, 0.9)
    (cells,) = grid.cells_of(np.array([[1.0, 0.3, 2.1, 1.2]])).tolist()
    assert cells == [
        [1.0, 0.3, 1.5, 0.7], [1.6, 0.3, 2.1, 0.7], [1.0, 0.8, 1.5, 1.2], [1.6, 0.8, 2.1, 1.2]
    ]  # fmt: skip


def test_heights_close_to_each_other_become_one() -> None:
    assert agreed(np.array([1.2, 1.15, 1.9, 1.26])) == [pytest.approx(1.175), 1.26, 1.9]


def test_bounce_between_the_halves_of_a_pair_is_seen() -> None:
    halves = [(1.0, 0.5, 2.0, 1.0), (1.0, 1.4, 2.0, 1.9)]
    assert leaves_gap(halves, np.array([[1.5, 1.2]]))
    assert not leaves_gap(halves, np.array([[1.5, 0.8]]))
    assert not leaves_gap(halves, np.array([[2.5, 1.2]]))


def test_fewest_lines_worked_by_hand() -> None:
    """Lower edges 0.3, 0.3, 0.9; tops 0.9, 1.5, 1.5: the first two share the lower line, the last
    two the upper one."""

    def lines(low: float, high: float) -> tuple[tuple[str, float], ...]:
        return ("lower", low), ("middle", round((low + high) / 2, 3)), ("upper", high)

    assert fewest_lines([]) == 0
    assert fewest_lines([lines(0.3, 0.9), lines(0.3, 1.5)]) == 1
    assert fewest_lines([lines(0.3, 0.9), lines(0.3, 1.5), lines(0.9, 1.5)]) == 2
    assert fewest_lines([lines(0.6, 1.2), lines(0.3, 1.5)]) == 1  # one middle
    assert fewest_lines([lines(0.1, 0.2), lines(0.3, 0.5), lines(0.6, 0.9)]) == 3


def test_toy_rules_worked_by_hand() -> None:
    """{0} is what is left of the toy's best {0, 3}: two kinds are one too many, nothing carries 2,
    and 1 gives 4 + 0.125 where 0 gives (2 - 0.5) / 0.5 + 0.375."""
    ordered_toy = replace(toy(), order=toy_order())
    rules = {rule.name: rule for rule in ordered_toy.order.rules}
    both = np.array([0, 3])
    assert rules["lines"].holds(both)
    assert not rules["lines"].holds(np.array([0, 2, 3]))
    assert not rules["rail"].holds(both)
    assert rules["stacks"].holds(both)
    assert not rules["stacks"].holds(np.array([3]))
    assert not rules["stacks"].holds(np.array([2]))
    assert not rules["clouds"].holds(np.array([1, 3]))
    assert not rules["kinds"].holds(both)
    assert not rules["pieces"].holds(both)
    assert rules["company"].holds(np.array([2]))  # few pieces
    assert not rules["company"].holds(np.array([0, 2]))
    assert rules["company"].holds(np.array([0, 1, 2]))
    np.testing.assert_array_equal(select(ordered_toy, 1e-9).chosen, [0])


def test_calm_leaves_out_what_is_least_missed() -> None:
    """{0, 3} has 0.8759, {3} 2.8755, {0} 3.3757 (test_program)."""
    effects = toy()

    def value(chosen: Ints) -> float:
        return objective(effects, chosen)

    both = np.array([0, 3])
    assert calmed(effects, both, 2.8, value).tolist() == [0, 3]
    assert calmed(effects, both, 3.0, value).tolist() == [3]


def test_rules_of_a_level_can_be_set_one_by_one() -> None:
    section = LayoutSection(level="tidy", lines=1, lowest_edge="50 cm")
    assert section.rules == replace(RULES["tidy"], lines=1, lowest_edge=0.5)
    assert LayoutSection().rules == GALLERY
    assert LayoutSection(level="free").rules == FREE


def test_a_selection_that_breaks_the_order_does_not_fit() -> None:
    effects = replace(toy(), order=toy_order())
    assert feasible(toy(), np.array([0, 3]))
    assert not feasible(effects, np.array([0, 3]))
    with pytest.raises(ValueError, match="does not fit"):
        select(effects, start=np.array([0, 3]))
