"""A proof by the relaxation, a search among few, and the rest, against enumerations of tiny rooms.

Reduced costs as bounds: linear programming duality, any textbook; the enumerations are this
project's own.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse
from test_optimum import MOST, enumerated, every_subset
from tiny_rooms import some_candidates, tiny_project

from optimizer.placement import proof, root
from optimizer.placement.effects import Effects
from optimizer.placement.plan import feasible, select
from optimizer.placement.program import Matrices, build_program, matrices
from optimizer.placement.proof import objective
from optimizer.placement.root import at_the_root, without_rules
from optimizer.placement.solver import Answer, relax, solve
from optimizer.planning import build_decision


@pytest.fixture
def tiny(tmp_path: Path, request: pytest.FixtureRequest) -> Effects:
    seed = int(request.param)
    rng = np.random.default_rng(4000 + seed)
    project = tiny_project(tmp_path, seed, budget=float(rng.uniform(150, 500)), products=3)
    return some_candidates(build_decision(project), rng, MOST)


@pytest.fixture(params=["whole", "by part"])
def always(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tiny programs have a relaxation too, of the whole or by part, and few are very few."""
    monkeypatch.setattr(root, "MANY", 0)
    monkeypatch.setattr(root, "FEW", 3)
    if request.param == "by part":
        monkeypatch.setattr(root, "SIFTED", 0)
        monkeypatch.setattr(root, "JOIN", 1)


@pytest.mark.parametrize("tiny", range(30), indirect=True)
def test_the_best_is_found_and_proven_by_parts(tiny: Effects, always: None) -> None:
    best, _ = enumerated(tiny)
    for gap in (5e-7, 0.03):
        selection = select(tiny, gap=gap)
        assert selection.status == "optimal"
        assert selection.bound <= best * (1 + 1e-6) + 1e-6
        assert best - 1e-6 <= selection.objective <= best + gap * max(best, 0.01) + 1e-6


@pytest.mark.parametrize("tiny", range(8), indirect=True)
def test_what_is_left_out_is_worse_by_its_reduced_cost(tiny: Effects, always: None) -> None:
    found = at_the_root(matrices(build_program(tiny)), {"": tiny})
    assert found is not None
    subsets = [np.flatnonzero(row) for row in every_subset(tiny.count)]
    values = {tuple(o): objective(tiny, o) for o in subsets if feasible(tiny, o)}
    assert min(values.values()) >= found.bound
    for place, reduced in zip(found.places, found.reduced, strict=True):
        candidate = int(found.program.names[place][2:-1])
        with_it = [value for chosen, value in values.items() if candidate in chosen]
        assert min(with_it, default=math.inf) >= found.bound + reduced - 1e-6


@pytest.mark.parametrize("tiny", [1], indirect=True)
def test_candidates_are_kept_below_the_aim_and_where_held(tiny: Effects, always: None) -> None:
    found = at_the_root(matrices(build_program(tiny)), {"": tiny})
    assert found is not None
    aim = found.bound + float(np.median(found.reduced)) + 1e-9
    held = {found.program.names[found.places[int(found.reduced.argmax())]]}
    left, beyond = found.below(found.program, aim, held)
    kept = {name for name in left.names if name.startswith("x[")}
    below = {
        found.program.names[p]
        for p, d in zip(found.places, found.reduced, strict=True)
        if found.bound + d < aim
    }
    assert kept == below | held
    assert beyond >= aim
    assert len(found.least(held).names) == len(found.program.names) - tiny.count + len(
        {found.program.names[p] for p in found.places[np.argsort(found.reduced)[:3]]} | held
    )


@pytest.mark.parametrize("tiny", [1], indirect=True)
def test_a_cutoff_below_the_relaxation_needs_no_further_search(
    tiny: Effects, always: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cutoff below the relaxation: nothing is below it, and only the few are looked into."""
    program = matrices(build_program(tiny))
    found = at_the_root(program, {"": tiny})
    assert found is not None
    problem = proof.Problem(
        program, {"": tiny}, (1.0,), lambda held: held, cutoff=0.5 * found.bound
    )
    asked: list[int] = []

    def counted(given: Matrices, *more: object, **named: object) -> object:
        asked.append(len(given.names))
        return solve(given, *more, **named)  # type: ignore[arg-type]  # passed on as given

    monkeypatch.setattr(proof, "solve", counted)
    (_,), bound = proof.prove(problem, (np.zeros(0, dtype=np.int64),), 0.01, proof.Effort())
    assert bound == pytest.approx(0.5 * found.bound)
    assert max(asked) < len(program.names)  # the few; the rest is out of the question


@pytest.mark.parametrize("tiny", [1, 5], indirect=True)
def test_a_search_cut_short_proves_no_more_than_its_bound(
    tiny: Effects, always: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = at_the_root(matrices(build_program(tiny)), {"": tiny})
    assert found is not None
    best, _ = enumerated(tiny)
    low = found.bound + 1e-4
    assert low < best
    cut = Answer("feasible", None, math.inf, low, 0, False)
    monkeypatch.setattr(proof, "solve", lambda *given, **named: cut)
    assert select(tiny, gap=1e-9).bound == pytest.approx(low, abs=1e-12)


def test_rules_with_columns_of_their_own_are_left_out(tmp_path: Path) -> None:
    effects = build_decision(tiny_project(tmp_path, 3)).effects
    program = matrices(build_program(effects))
    names = ("x[0]", "stage[0].kinds_y[0]", "company_y[1]", "kinds[2]", "q[0]")
    A = np.array([[1.0, -1, 0, 0, 0], [1, 0, -1, 0, 0], [1, 0, 0, 1, 0], [0, 0, 0, 1, 1]])
    toy = replace(
        program, cost=np.arange(5.0), A=sparse.csc_matrix(A), row_low=np.arange(4.0),
        row_high=np.full(4, 9.0), low=np.zeros(5), high=np.ones(5),
        integer=np.array([True, True, False, True, False]), names=names,
    )  # fmt: skip
    left = without_rules(toy, ("kinds", "company"))
    assert left.names == ("x[0]", "kinds[2]", "q[0]")
    assert left.row_low.tolist() == [2.0, 3.0]
    np.testing.assert_array_equal(left.A.toarray(), [[1, 1, 0], [0, 1, 1]])
    assert left.cost.tolist() == [0.0, 3.0, 4.0]


@pytest.mark.parametrize("tiny", [4], indirect=True)
def test_a_relaxation_begun_from_another_is_the_same(tiny: Effects) -> None:
    program = matrices(build_program(tiny))
    first = relax(program)
    assert first is not None
    again = relax(program, basis=first.basis)
    assert again is not None
    assert again.bound == pytest.approx(first.bound, rel=1e-9)
    impossible = replace(program, row_low=np.full(len(program.row_low), 1e6))
    assert relax(impossible) is None
    assert at_the_root(impossible, {"": tiny}) is None


@pytest.mark.parametrize("tiny", range(8), indirect=True)
def test_a_relaxation_by_part_is_that_of_the_whole(
    tiny: Effects, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = matrices(build_program(tiny))
    whole = relax(program)
    monkeypatch.setattr(root, "SIFTED", 0)
    monkeypatch.setattr(root, "JOIN", 1)
    places = np.arange(tiny.count)
    parts = root.Parts(places)
    part = parts.relax(program, math.inf)
    assert whole is not None
    assert part is not None
    assert part.bound == pytest.approx(whole.bound, rel=1e-5, abs=2e-6)
    assert len(part.z) == len(part.reduced) == len(program.cost)
    rows = program.A @ part.z
    assert np.all(rows >= program.row_low - 1e-6)
    assert np.all(rows <= program.row_high + 1e-6)
    assert program.cost @ part.z + program.offset == pytest.approx(whole.bound, rel=1e-5, abs=5e-6)
    wished = replace(tiny, wished=(places[1:2],))  # not among those it begins with
    asked = matrices(build_program(wished))
    one, other = root.Parts(places).relax(asked, math.inf), relax(asked)
    assert one is not None
    assert other is not None
    assert one.bound == pytest.approx(other.bound, rel=1e-5, abs=2e-6)


def test_few_candidates_need_no_relaxation(tmp_path: Path) -> None:
    effects = some_candidates(
        build_decision(tiny_project(tmp_path, 2)), np.random.default_rng(2), 9
    )
    assert at_the_root(matrices(build_program(effects)), {"": effects}) is None
