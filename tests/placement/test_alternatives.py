"""Alternatives: near the best, truly different, and the best of those that are.

To store the LP of the family anew: python tests/placement/test_alternatives.py
"""

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pyomo.environ as pyo
import pytest
from test_optimum import every_subset
from test_program import STORED, toy
from test_stages import values_of_all
from tiny_rooms import tiny_project

from optimizer.placement.alternatives import Groups, alternatives, groups_of
from optimizer.placement.effects import Effects, effects_table
from optimizer.placement.plan import feasible, select
from optimizer.placement.program import Other, define_apart, define_variables
from optimizer.placement.proof import objective
from optimizer.planning import build_decision
from optimizer.room.layout import LayoutSection

MOST = 11
WITHIN, APART = 0.3, 0.25


def few(folder: Path, seed: int) -> tuple[Effects, Groups]:
    """A few candidates of a tiny room, and their groups."""
    decision = build_decision(tiny_project(folder, 500 + seed, budget=420.0, products=3))
    rng = np.random.default_rng(seed)
    count = len(decision.candidates)
    picked = np.sort(rng.choice(count, size=min(MOST, count), replace=False))
    candidates = tuple(decision.candidates[i] for i in picked)
    project = decision.project
    effects = effects_table(
        project.room,
        project.scene,
        project.criteria,
        candidates,
        project.usable_products,
        project.budget_cents,
    )
    return effects, groups_of(project.room, candidates)


def differences(groups: Groups, chosen: np.ndarray) -> np.ndarray:
    """Difference (2^C,) of every subset from one selection, from the definition."""
    subsets = every_subset(len(groups.area))
    mine = (np.arange(len(groups.names))[:, None] == groups.label) * groups.area
    areas = subsets @ mine.T
    total = areas.sum(axis=1, keepdims=True)
    shares = np.divide(areas, total, out=np.zeros_like(areas), where=total > 0)
    own = mine[:, chosen].sum(axis=1) / mine[:, chosen].sum()
    apart = np.abs(shares - own).sum(axis=1) / 2
    return np.where(total[:, 0] > 0, apart, 1.0)


@pytest.mark.parametrize("seed", range(4))
def test_alternatives_are_the_best_that_differ(seed: int, tmp_path: Path) -> None:
    effects, groups = few(tmp_path, seed)
    best = select(effects, 5e-7).chosen
    value = objective(effects, best)
    assert groups.areas(best).sum() > 0
    found = alternatives(effects, groups, best, 2, WITHIN, APART, 5e-7)
    assert len(found.plans) > 0
    values = values_of_all(effects)
    held = [best]
    for plan in found.plans:
        allowed = np.all([differences(groups, o) >= APART - 1e-9 for o in held], axis=0)
        assert plan.objective == pytest.approx(values[allowed].min(), rel=1e-6, abs=1e-6)
        held.append(plan.chosen)
    if len(found.plans) < 2:
        allowed = np.all([differences(groups, o) >= APART - 1e-9 for o in held], axis=0)
        assert found.proven
        assert values[allowed].min() > (1 + WITHIN) * value
    for plan in found.plans:
        assert feasible(effects, plan.chosen)
        assert plan.objective == objective(effects, plan.chosen)
        assert plan.objective <= (1 + WITHIN) * max(value, 0.01) + 1e-9
    for i, one in enumerate(held):
        for j, two in enumerate(held):
            assert found.difference[i, j] == pytest.approx(groups.difference(one, two), abs=1e-12)
            assert i == j or groups.difference(one, two) >= APART - 1e-6


def toy_groups() -> Groups:
    """The toy's candidates: two of 1 and 2 m2 in one group, one of 1 m2 in each of two others."""
    return Groups(np.array([0, 0, 1, 2]), np.array([1.0, 2.0, 1.0, 1.0]), ("a", "b", "c"))


def test_difference_worked_by_hand() -> None:
    """{0, 2}: shares 1/2, 1/2, 0. {1, 3}: 2/3, 0, 1/3. Half of 1/6 + 1/2 + 1/3 is 1/2."""
    groups = toy_groups()
    one, two = np.array([0, 2]), np.array([1, 3])
    nothing = np.zeros(0, dtype=np.int64)
    assert groups.difference(one, two) == pytest.approx(0.5, rel=1e-12)
    assert groups.difference(two, one) == pytest.approx(0.5, rel=1e-12)
    assert groups.difference(one, one) == 0.0
    assert groups.difference(np.array([0]), np.array([1])) == 0.0  # a larger piece in its place
    assert groups.difference(np.array([2]), np.array([3])) == 1.0
    assert groups.difference(one, nothing) == 1.0
    assert groups.difference(nothing, nothing) == 0.0


def test_toy_alternative_worked_by_hand() -> None:
    """Best is {0, 3} at 0.875 + 0.9e-3 (test_program); shares 1/2, 0, 1/2.

    Of {0}, {1}, {2}, {3}, {0, 2}, {} the best that shares at most three quarters is {3}, whose
    one share is 1 in its group: difference 1/2. q = (1.75, -5): 2.5 + 0.375, cost 5000: 0.5e-3.
    {0, 2}: q = (2, -3.5): 3 + 0.1875, difference 1/2.
    """
    best = np.array([0, 3])
    found = alternatives(toy(), toy_groups(), best, 2, within=3.0, gap=1e-9)
    assert [plan.chosen.tolist() for plan in found.plans] == [[3], [0, 2]]
    assert found.plans[0].objective == pytest.approx(2.875 + 0.5e-3, rel=1e-12)
    none = alternatives(toy(), toy_groups(), best, 2, within=0.5, gap=1e-9)
    assert none.plans == ()
    assert none.proven


def test_an_untreated_best_has_no_alternative() -> None:
    poor = replace(toy(), budget_cents=0, owned=np.array([0, 0]))
    found = alternatives(poor, toy_groups(), np.zeros(0, dtype=np.int64), 2)
    assert found.plans == ()
    assert found.proven


def test_groups_tell_kinds_and_halves_apart(tmp_path: Path) -> None:
    free = LayoutSection(level="free")  # a block may lie across the middle
    decision = build_decision(tiny_project(tmp_path, 5, products=5, grid=0.6).with_layout(free))
    room = decision.project.room
    groups = groups_of(room, decision.candidates)
    assert room.dimensions is not None
    middle = room.dimensions[0] / 2
    assert len(groups.names) > 5
    for label, area, candidate in zip(groups.label, groups.area, decision.candidates, strict=True):
        name = groups.names[label]
        assert name.startswith(f"{candidate.product.kind} on ")
        assert area == pytest.approx(sum(p.face_area for p in candidate.pieces), rel=1e-12)
        for piece in candidate.pieces:
            assert all(wall in name for wall, _ in piece.rects)
            if name.endswith("half"):
                assert name.endswith(
                    "front half" if piece.box[:, 0].mean() < middle else "back half"
                )
            elif len(piece.rects) == 1:
                assert piece.surface in ("front", "back")


@pytest.mark.parametrize(("count", "within", "apart"), [(0, 0.1, 0.2), (1, -0.1, 0.2), (1, 0.1, 0)])
def test_impossible_wishes_are_refused(count: int, within: float, apart: float) -> None:
    with pytest.raises(ValueError, match="count"):
        alternatives(toy(), toy_groups(), np.array([0]), count, within, apart)


def apart_text() -> str:
    """The toy's program with this family only: apart from {0, 2} and from {3}."""
    groups = toy_groups()
    most = np.array([3.0, 1.0, 1.0])
    others = [
        Other(groups.area, groups.label, groups.shares(np.array(chosen)), most, 0.25)
        for chosen in ([0, 2], [3])
    ]
    model = pyo.ConcreteModel(name="apart")
    define_variables(model, toy())
    define_apart(model, others)
    model.score = pyo.Objective(expr=model.e[0] + model.e[1])
    with TemporaryDirectory() as folder:
        path = Path(folder) / "program.lp"
        model.write(str(path), io_options={"symbolic_solver_labels": True})
        return path.read_text()


def test_family_of_plans_apart_is_as_stored() -> None:
    assert apart_text() == (STORED / "apart.lp").read_text()


if __name__ == "__main__":
    (STORED / "apart.lp").write_text(apart_text())
