"""Rules of order for the toy table and for small decisions; shared by these tests."""

from dataclasses import replace

import numpy as np
from scipy import sparse

from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects, effects_table
from optimizer.placement.order import AtMost, Company, Kinds, Lines, Order, Stacks
from optimizer.placement.orderly import order_of
from optimizer.planning import Decision
from optimizer.room.layout import OrderRules


def toy_order() -> Order:
    """Rules over the four candidates of `test_program.toy`.

    On one wall 0 and 1 hang at heights 0 and 1 (line 0 holds both), 2 at height 2 (line 1), 3 at
    heights 1 and 3 (lines 0 and 2); the curtain rail is at height 0 for 0, at 1 for 3. 3 stands on
    0 or 1, nothing carries 2. Blocks overhead: one of 1, two of 3. 2 is alone without 1. Of 0 and
    2 one at most is given up.
    """
    on = np.array([[1, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=bool)
    taken = sparse.csr_array(np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 1, 0, 1.0]]))
    cliques = ((0, np.array([0])), (1, np.array([1, 3])), (2, np.array([2])), (3, np.array([3])))
    rail = sparse.csr_array(np.array([[1, 0], [0, 0], [0, 0], [0, 1.0]]))
    rails = ((0, np.array([0])), (1, np.array([3])))
    by_itself = sparse.csr_array(np.array([[0, 0, 1.0, 0]]))
    beside = sparse.csr_array(np.array([[0, 1.0, 0, 0]]))
    counted = np.array([2.0, 1.0, 1.0, 2.0])
    return Order(
        (
            Lines("lines", 2, (on,), (taken,), (cliques,)),
            Lines("rail", 1, (np.eye(2, dtype=bool),), (rail,), (rails,)),
            Stacks("stacks", 4, ((3, np.array([0, 1])), (2, np.zeros(0, dtype=np.int64)))),
            AtMost("clouds", np.array([[0.0, 1.0, 0.0, 2.0]]), 2.0),
            Kinds("kinds", np.array([0, 0, 1, 1]), np.array([2, 2]), 1),
            AtMost("pieces", np.array([[2.0, 1.0, 1.0, 2.0]]), 3.0),
            Company("company", counted, by_itself, beside, 0.2, 2, 6),
            AtMost("changes", np.array([[-1.0, 0.0, -1.0, 0.0]]), -1.0),
        )
    )


def some_ordered(
    decision: Decision, rng: np.random.Generator, count: int, rules: OrderRules
) -> tuple[Effects, tuple[Candidate, ...]]:
    """The effects of a random few of a decision's candidates under rules worked out for these."""
    among = len(decision.candidates)
    picked = np.sort(rng.choice(among, size=min(count, among), replace=False))
    project, few = decision.project, tuple(decision.candidates[i] for i in picked)
    effects = effects_table(
        project.room, project.scene, project.criteria, few, project.usable_products,
        project.budget_cents,
    )  # fmt: skip
    return replace(effects, order=order_of(project.room, few, rules)), few
