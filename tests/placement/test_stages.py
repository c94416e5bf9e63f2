"""Purchases in stages: nested exactly, the best of all nested chains, and what nesting costs.

To store the LP of the family anew: python tests/placement/test_stages.py
"""

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pyomo.environ as pyo
import pytest
from test_optimum import enumerated, every_subset
from test_program import STORED, toy
from tiny_rooms import some_candidates, tiny_project

from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.plan import feasible, select
from optimizer.placement.program import TIE, build_staged, define_kept, define_variables
from optimizer.placement.proof import objective
from optimizer.placement.stages import StagedSelection, later, plan_stages, remaining
from optimizer.planning import build_decision

MOST = 11
WEIGHTS = (1.0, 2.0, 1.5)
BUDGETS = ((120_00, 260_00, 420_00), (90_00, 240_00), (150_00, 210_00, 500_00), (60_00, 330_00))


def few(folder: Path, seed: int) -> Effects:
    """A few candidates of a tiny room."""
    project = tiny_project(folder, 300 + seed, products=3)
    return some_candidates(build_decision(project), np.random.default_rng(seed), MOST)


def values_of_all(effects: Effects) -> np.ndarray:
    """Objective of every subset (2^C,), infinite where it does not fit; from the definitions."""
    subsets = every_subset(effects.count)
    cost = np.zeros(len(subsets))
    for p in range(len(effects.pack)):
        used = subsets @ (effects.pieces * (effects.product == p))
        cost += -(-np.maximum(used - effects.owned[p], 0) // effects.pack[p]) * float(
            effects.price_cents[p]
        )
    fits = cost <= effects.budget_cents
    for row in effects.cover:
        fits &= subsets[:, row].sum(axis=1) <= 1
    quantities = effects.base[:, None] + effects.change @ subsets.T
    values = effects.criteria.weights @ effects.criteria.excess(quantities)
    return np.where(fits, values + TIE * cost / effects.budget_cents, np.inf)


def best_chain(effects: Effects, budgets: tuple[int, ...], shares: np.ndarray) -> float:
    """The least weighted mean over every chain of subsets that contain each other.

    The best chain that ends within a subset is the least over the subsets of it, found by
    letting one candidate after another be absent (minimum over subsets, bit by bit).
    """
    best = np.zeros(2**effects.count)
    number = np.arange(len(best))
    for budget, share in zip(budgets, shares, strict=True):
        best = best + share * values_of_all(replace(effects, budget_cents=budget))
        within = best.copy()
        for bit in range(effects.count):
            has = number & (1 << bit) > 0
            within[has] = np.minimum(within[has], within[number[has] ^ (1 << bit)])
        last, best = best, within
    return float(last.min())


@pytest.mark.parametrize("seed", range(6))
def test_stages_are_the_best_of_all_nested_chains(seed: int, tmp_path: Path) -> None:
    effects = few(tmp_path, seed)
    budgets = BUDGETS[seed % len(BUDGETS)]
    weights = WEIGHTS[: len(budgets)]
    staged = plan_stages(effects, budgets, 5e-7, weights=weights)
    best = best_chain(effects, budgets, np.array(weights) / sum(weights))
    assert staged.status == "optimal"
    assert staged.objective == pytest.approx(best, rel=1e-6, abs=1e-6)
    assert staged.bound <= best * (1 + 1e-6) + 1e-6
    check_nested(effects, budgets, staged)
    for budget, own in zip(budgets, staged.own_best, strict=True):
        alone, _ = enumerated(replace(effects, budget_cents=budget))
        assert own.objective == pytest.approx(alone, rel=1e-6, abs=1e-6)


def check_nested(effects: Effects, budgets: tuple[int, ...], staged: StagedSelection) -> None:
    """What hangs stays, what is bought stays bought, each stage fits, regret is never a gain."""
    each = [replace(effects, budget_cents=b) for b in budgets]
    for stage, selection in zip(each, staged.stages, strict=True):
        assert feasible(stage, selection.chosen)
        assert selection.objective == objective(stage, selection.chosen)
        assert selection.bound <= selection.objective
    for early, late in zip(staged.stages[:-1], staged.stages[1:], strict=True):
        assert set(early.chosen) <= set(late.chosen)
        assert (effects.packs(early.chosen) <= effects.packs(late.chosen)).all()
    for stage, own, regret in zip(staged.stages, staged.own_best, staged.regret, strict=True):
        assert regret == stage.objective - own.objective
        assert regret >= 0
    mean = sum(w * s.objective for w, s in zip(staged.weights, staged.stages, strict=True))
    assert staged.objective == pytest.approx(mean, rel=1e-12)
    assert sum(staged.weights) == pytest.approx(1.0, rel=1e-12)


def test_nesting_costs_something_somewhere() -> None:
    """Else the tests above would not tell nested plans from each budget's own best.

    By hand: row 0 starts at 3; the one piece at 25 money takes 1.25, the two at 40 take 1.0 and
    1.5 but stand in its way. For 25 alone the first is best; for 80 the other two are; with the
    second stage counting most the first stage is left empty.
    """
    effects = replace(
        toy(),
        change=np.array([[-1.0, -1.5, 0.0, -1.25], [0.0] * 4, [0.0] * 4]),
        pieces=np.array([2, 2, 1, 1]),
        cover=(np.array([0, 3]), np.array([1, 3])),
        owned=np.array([0, 0]),
    )
    staged = plan_stages(effects, [2500, 8000], 1e-9, weights=[1, 9])
    assert staged.stages[0].chosen.tolist() == []
    assert staged.stages[1].chosen.tolist() == [0, 1]
    np.testing.assert_array_equal(staged.own_best[0].chosen, [3])
    np.testing.assert_allclose(staged.regret, [2.5 - TIE, 0.0], rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_one_stage_is_the_plain_plan(seed: int, tmp_path: Path) -> None:
    effects = few(tmp_path, seed)
    staged = plan_stages(effects, [260_00], 1e-6)
    plain = select(replace(effects, budget_cents=260_00), 1e-6)
    np.testing.assert_array_equal(staged.stages[0].chosen, plain.chosen)
    assert staged.objective == plain.objective
    assert staged.bound == plain.bound
    assert staged.regret == (0.0,)


def test_left_over_pieces_of_an_early_pack_are_hung_later() -> None:
    """By hand. Packs of two at 10 money; one pack in stage one, two in stage two.

    Row 0 starts at 3 against a limit of 0.5: two pieces that take 1.0 each, then one that takes
    0.5 and meets the limit. It hangs from the second pack, whose other piece is left over.
    """
    base = toy()
    effects = replace(
        base,
        change=np.array([[-1.0, -1.0, -0.5, 0.0], [0.0] * 4, [0.0] * 4]),
        product=np.zeros(4, dtype=np.int64),
        pieces=np.ones(4, dtype=np.int64),
        cover=(),
        price_cents=np.array([1000, 9999]),
        pack=np.array([2, 1]),
        owned=np.array([0, 0]),
    )
    staged = plan_stages(effects, [1000, 2000], 1e-9)
    # One pack: the two that gain 1 each. Two packs: also the third, the fourth gains nothing.
    np.testing.assert_array_equal(staged.stages[0].chosen, [0, 1])
    np.testing.assert_array_equal(staged.stages[1].chosen, [0, 1, 2])
    left, index = remaining(
        replace(effects, budget_cents=2000), staged.stages[1].chosen, np.ones(4, dtype=bool)
    )
    np.testing.assert_array_equal(index, [3])
    assert left.owned[0] == 1  # two packs hold four, three hang
    assert left.budget_cents == 0
    assert left.cost_cents(np.array([0])) == 0


def test_nothing_hung_could_wait(tmp_path: Path) -> None:
    """Hanging any candidate later, or never, makes the weighted mean no better."""
    effects = few(tmp_path, 2)
    budgets = (150_00, 400_00)
    staged = plan_stages(effects, budgets, 1e-4)
    each = [replace(effects, budget_cents=b) for b in budgets]
    held = tuple(s.chosen for s in staged.stages)
    again = later(each, staged.weights, held)
    assert all(np.array_equal(a, b) for a, b in zip(held, again, strict=True))
    for c in held[1]:
        never = [o[o != c] for o in held]
        mean = sum(w * objective(e, o) for w, e, o in zip(staged.weights, each, never, strict=True))
        assert mean >= staged.objective - 1e-12


def test_little_time_keeps_every_promise(tmp_path: Path) -> None:
    """Nested within the budgets and an honest bound, whatever the time."""
    project = tiny_project(tmp_path, 17, products=3, grid=0.6)
    effects = build_decision(project).effects
    budgets = (150_00, 300_00)
    staged = plan_stages(effects, budgets, 1e-6, 0.0)
    check_nested(effects, budgets, staged)
    assert len(staged.stages[0].chosen) > 0
    assert staged.bound <= staged.objective
    longer = plan_stages(effects, budgets, 1e-6, Effort(nodes=5))
    assert staged.bound <= longer.objective  # no plan found later lies below the bound


@pytest.mark.parametrize(
    ("budgets", "weights"),
    [([], None), ([-1], None), ([200, 200], None), ([300, 200], None), ([1, 2], [1.0]),
     ([1, 2], [1.0, 0.0]), ([1], [np.inf])],
)  # fmt: skip
def test_impossible_stages_are_refused(budgets: list[int], weights: list[float] | None) -> None:
    with pytest.raises(ValueError, match="stage|budget"):
        plan_stages(toy(), budgets, weights=weights)


def kept_text() -> str:
    """The program of two stages of the toy table with this family of constraints only."""
    stages = [replace(toy(), budget_cents=b) for b in (4000, 10000)]
    model = pyo.ConcreteModel(name="kept")
    model.stage = pyo.Block(range(2))
    for s, effects in enumerate(stages):
        define_variables(model.stage[s], effects)
    define_kept(model, stages)
    model.score = pyo.Objective(expr=sum(model.stage[s].e[k] for s in range(2) for k in range(2)))
    with TemporaryDirectory() as folder:
        path = Path(folder) / "program.lp"
        model.write(str(path), io_options={"symbolic_solver_labels": True})
        return path.read_text()


def test_family_of_stages_is_as_stored() -> None:
    assert kept_text() == (STORED / "kept.lp").read_text()


def test_objective_of_two_stages_is_the_weighted_mean() -> None:
    """The staged program's cost row against the toy's own, weights 0.25 and 0.75."""
    stages = [replace(toy(), budget_cents=b) for b in (4000, 10000)]
    model = build_staged(stages, (0.25, 0.75))
    for s in range(2):
        for v in [*model.stage[s].n.values(), *model.stage[s].e.values()]:
            v.set_value(0.0)
    for s, share in enumerate((0.25, 0.75)):
        block = model.stage[s]
        block.e[0].set_value(2.0)
        block.n[1].set_value(1.0)
        expected = share * (2.0 + TIE * 2500 / stages[s].budget_cents)
        assert pyo.value(model.score) == pytest.approx(expected, rel=1e-12)
        block.e[0].set_value(0.0)
        block.n[1].set_value(0.0)


if __name__ == "__main__":
    (STORED / "kept.lp").write_text(kept_text())
