"""Each family of constraints as a stored LP file, and what the solver says of itself.

The stored files were read line by line against the formulas in the docstrings of program.py; to
store a family anew: python tests/placement/test_program.py FAMILY
"""

import sys
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pyomo.environ as pyo
import pytest
from orders import toy_order
from scipy import sparse
from test_overlap import demo

from optimizer.acoustics.criteria import Criteria, Criterion, TwoSided
from optimizer.placement.cuts import with_tangents
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.plan import select
from optimizer.placement.program import (
    APART_FAMILIES,
    FAMILIES,
    ORDER,
    STAGE_FAMILIES,
    Matrices,
    build_program,
    define_objective,
    define_variables,
    matrices,
)
from optimizer.placement.proof import objective
from optimizer.placement.solver import NEGLIGIBLE, solve

STORED = Path(__file__).parent / "lp"


def toy() -> Effects:
    """Four candidates of two products (packs of two, one at hand; singles), three criteria."""
    rows = tuple(
        Criterion("toy", str(k), "m2", low, high, weight, "none")
        for k, (low, high, weight) in enumerate([(-0.5, 0.5, 1.0), (-2.0, 4.0, 0.5), (-1, 1, 0.0)])
    )
    return Effects(
        criteria=Criteria((TwoSided(rows),)),
        base=np.array([3.0, -5.0, 9.0]),
        change=np.array([[-1.0, -0.5, 0.0, -1.25], [0.0, 2.0, 1.5, 1e-15], [1.0, 1.0, 1.0, 1.0]]),
        product=np.array([0, 0, 1, 1]),
        pieces=np.array([2, 1, 1, 2]),
        cover=(np.array([0, 1]), np.array([1, 2, 3])),
        price_cents=np.array([4000, 2500]),
        pack=np.array([2, 1]),
        owned=np.array([1, 0]),
        budget_cents=10000,
    )


def lp_text(family: str) -> str:
    """The program of the toy table with one family of constraints only."""
    model = pyo.ConcreteModel(name=family)
    effects = replace(toy(), wished=(np.array([1, 2]), np.array([3])))
    if family in ORDER:
        effects = replace(effects, order=toy_order())
    define_variables(model, effects)
    define_objective(model, effects)
    FAMILIES[family](model, effects)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "program.lp"
        model.write(str(path), io_options={"symbolic_solver_labels": True})
        return path.read_text()


@pytest.mark.parametrize("family", FAMILIES)
def test_family_is_as_stored(family: str) -> None:
    assert lp_text(family) == (STORED / f"{family}.lp").read_text()


def test_every_family_is_stored_and_nothing_else() -> None:
    # Those of stages and of plans kept apart are compared in the tests of those modules.
    families = {*FAMILIES, *STAGE_FAMILIES, *APART_FAMILIES}
    assert {path.stem for path in STORED.glob("*.lp")} == families


def test_toy_optimum_worked_by_hand() -> None:
    """By hand. The rows of exclusion leave {}, {0}, {1}, {2}, {3}, {0, 2} and {0, 3}.

    Excess of row 0 is (|q| - 0.5)/0.5, of row 1 (-2 - q)/4 below -2. {0, 3}: q = (0.75, -5),
    0.5 + 0.5 * 0.75 = 0.875, cost one pack 4000 + two singles 5000 = 9000 of 10000 cents: 0.9e-3.
    {0, 2}: q = (2, -3.5), 3 + 0.5 * 0.375, worse; {3}: q = (1.75, -5), 2.5 + 0.375, worse;
    {1}: q = (2.5, -3), 4 + 0.125, worse; {0}, {2} and {} leave more of both.
    """
    selection = select(toy(), gap=1e-9)
    np.testing.assert_array_equal(selection.chosen, [0, 3])
    assert selection.objective == pytest.approx(0.875 + 0.9e-3, rel=1e-12)
    assert selection.status == "optimal"


def test_added_tangents_touch_the_excess_and_change_no_optimum() -> None:
    effects = toy()
    program = matrices(build_program(effects))
    tighter = with_tangents(program, effects, effects.quantities(np.array([0, 3])))
    assert tighter.A.shape[0] == program.A.shape[0] + 2  # the two rows that count are over
    first, second = (solve(p, 1e-9) for p in (program, tighter))
    assert first.objective == pytest.approx(second.objective, rel=1e-9)


def test_columns_start_with_the_candidates() -> None:
    program = matrices(build_program(toy()))
    assert program.names[:4] == tuple(f"x[{c}]" for c in range(4))
    assert program.integer[:4].all()


@pytest.fixture(scope="module")
def knapsack() -> Matrices:
    """Maximise 3 a + 4 b + 5 c with 2 a + 3 b + 4 c <= 5: a and b, worth 7."""
    return Matrices(
        cost=np.array([-3.0, -4.0, -5.0]),
        offset=10.0,
        A=sparse.csc_matrix(np.array([[2.0, 3.0, 4.0]])),
        row_low=np.array([-np.inf]),
        row_high=np.array([5.0]),
        low=np.zeros(3),
        high=np.ones(3),
        integer=np.ones(3, dtype=bool),
        names=("a", "b", "c"),
    )


def test_optimal_answer(knapsack: Matrices) -> None:
    answer = solve(knapsack, 1e-9)
    assert answer.status == "optimal"
    assert answer.z is not None
    np.testing.assert_allclose(answer.z, [1, 1, 0], atol=1e-9)
    assert answer.objective == pytest.approx(3.0)
    assert answer.bound == pytest.approx(3.0)


def test_infeasible_answer(knapsack: Matrices) -> None:
    impossible = replace(knapsack, row_low=np.array([9.5]), row_high=np.array([np.inf]))
    answer = solve(impossible, 1e-9)
    assert answer.status == "infeasible"
    assert answer.z is None
    assert answer.objective == np.inf


def test_time_limit_gives_a_plan_and_an_honest_bound() -> None:
    """With almost no time a gap of one in a million is not proven: say so, with a true bound."""
    effects = demo("small_bedroom").effects
    short = select(effects, gap=1e-6, limit=0.0)
    assert short.status == "feasible"
    assert len(short.chosen) > 0
    assert effects.cost_cents(short.chosen) <= effects.budget_cents
    assert short.objective == objective(effects, short.chosen)
    assert short.gap == (short.objective - short.bound) / max(short.objective, NEGLIGIBLE)
    longer = select(effects, gap=1e-6, limit=Effort(nodes=1))
    assert longer.objective <= short.objective + 1e-9
    assert short.bound <= longer.objective  # no plan found later lies below the bound


def test_no_time_at_all_is_no_proof() -> None:
    answer = solve(matrices(build_program(demo("small_bedroom").effects)), 1e-6, 0.0)
    assert answer.status == "feasible"
    assert answer.bound <= answer.objective


if __name__ == "__main__":
    for wanted in sys.argv[1:]:
        (STORED / f"{wanted}.lp").write_text(lp_text(wanted))
