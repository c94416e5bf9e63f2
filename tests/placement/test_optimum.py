"""The selection against an enumeration of every subset of candidates.

The gap asked for lies just above the solver's own feasibility tolerance (1e-7 per row).
"""

from pathlib import Path

import numpy as np
import pytest
from tiny_rooms import some_candidates, tiny_project

from optimizer.placement.effects import Effects
from optimizer.placement.plan import select
from optimizer.placement.program import TIE
from optimizer.placement.proof import objective
from optimizer.planning import build_decision

MOST = 14
ROOMS = 30


def every_subset(count: int) -> np.ndarray:
    """All subsets (2^count, count) as rows of zeros and ones."""
    return (np.arange(2**count)[:, None] >> np.arange(count)) & 1


def enumerated(effects: Effects) -> tuple[float, np.ndarray]:
    """The least objective over all subsets that fit, and one subset that has it.

    Costs and exclusions are worked out here from their definitions: packs cover what is not
    owned, at most one of a row of exclusion, and the packs cost no more than the budget.
    """
    subsets = every_subset(effects.count)
    cost = np.zeros(len(subsets))
    for p in range(len(effects.pack)):
        used = subsets @ (effects.pieces * (effects.product == p))
        bought = -(-np.maximum(used - effects.owned[p], 0) // effects.pack[p])
        cost += bought * effects.price_cents[p]
    fits = cost <= effects.budget_cents
    for row in effects.cover:
        fits &= subsets[:, row].sum(axis=1) <= 1
    subsets, cost = subsets[fits], cost[fits]
    quantities = effects.base[:, None] + effects.change @ subsets.T
    values = effects.criteria.weights @ effects.criteria.excess(quantities)
    values = values + TIE * cost / max(effects.budget_cents, 1)
    best = int(values.argmin())
    return float(values[best]), np.flatnonzero(subsets[best])


@pytest.mark.parametrize("seed", range(ROOMS))
def test_selection_is_the_best_of_all_subsets(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(1000 + seed)
    budget = round(float(rng.uniform(120, 600)), 2)
    project = tiny_project(tmp_path, seed, budget=budget, products=int(rng.integers(1, 4)))
    effects = some_candidates(build_decision(project), rng, MOST)
    assert 0 < effects.count <= MOST
    best, subset = enumerated(effects)
    assert objective(effects, subset) == pytest.approx(best, rel=1e-12)
    selection = select(effects, gap=5e-7)
    assert selection.status == "optimal"
    assert selection.objective == pytest.approx(best, rel=1e-6, abs=1e-6)
    assert selection.bound <= best * (1 + 1e-6) + 1e-6
    assert selection.objective == objective(effects, selection.chosen)
