"""A bound above what it bounds, or a line above the excess, is told and never passed over.

Every test breaks the program on purpose, as a slip of the pen would.
"""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse
from test_program import toy
from tiny_rooms import some_candidates, tiny_project

from optimizer.acoustics.criteria import Criteria, Tangent
from optimizer.cli import main
from optimizer.faults import UntrustedSolutionError
from optimizer.placement import proof, stages
from optimizer.placement.cuts import check_lines, convex_range, with_tangents
from optimizer.placement.effects import Effects
from optimizer.placement.plan import judged, select
from optimizer.placement.program import Matrices, build_program, matrices, reachable
from optimizer.placement.proof import held_by, objective, slack
from optimizer.placement.solver import FEASIBLE, Answer, solve
from optimizer.placement.stages import plan_stages
from optimizer.planning import build_decision

NOTHING = np.zeros(0, dtype=np.int64)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Effects:
    """Some candidates of a tiny room: decay, modes, reflections, flutter, sides."""
    project = tiny_project(tmp_path_factory.mktemp("room"), 3, budget=400.0, products=3)
    return some_candidates(build_decision(project), np.random.default_rng(3), 40)


def test_lines_of_a_sound_program_pass(small: Effects) -> None:
    program = matrices(build_program(small))
    check_lines(program, small)
    with_tangents(program, small, small.base)
    assert select(small, gap=1e-3).status == "optimal"


def test_the_reach_looked_at_is_where_the_excess_is_convex(small: Effects) -> None:
    """By differences of second order on a fine grid, row by row."""
    low, high = reachable(small)
    first, last = convex_range(small.criteria)
    low, high = np.clip(low, first, last), np.clip(high, first, last)
    at = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, 301)
    exact = small.criteria.excess(at)
    bend = exact[:, 2:] - 2 * exact[:, 1:-1] + exact[:, :-2]
    assert (bend >= -1e-9 * (1.0 + exact[:, 1:-1])).all()


Change = Callable[[Tangent], Tangent]
CHANGES: dict[str, Change] = {
    "sign of the slope": lambda line: (-line[0], line[1]),
    "sign of the intercept": lambda line: (line[0], -line[1]),
    "a thousandth too high": lambda line: (line[0], line[1] + 1e-3 * (1.0 + abs(line[1]))),
    "not a number": lambda line: (math.nan, line[1]),
}


def crooked(monkeypatch: pytest.MonkeyPatch, change: Change, touching: bool) -> None:
    """Tangents changed: those added where the solver settles, or those from the beginning."""
    sound = Criteria.tangents

    def bent(self: Criteria, row: int, low: float, high: float) -> list[Tangent]:
        lines = sound(self, row, low, high)
        return [change(line) for line in lines] if (low == high) == touching else lines

    monkeypatch.setattr(Criteria, "tangents", bent)


@pytest.mark.parametrize("change", CHANGES)
def test_tangents_to_begin_with_are_checked(
    change: str, small: Effects, monkeypatch: pytest.MonkeyPatch
) -> None:
    crooked(monkeypatch, CHANGES[change], touching=False)
    with pytest.raises(UntrustedSolutionError, match="above the excess"):
        select(small, gap=1e-3)


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize("effects", ["toy", "small"])
def test_tangents_added_are_checked(
    effects: str, change: str, small: Effects, monkeypatch: pytest.MonkeyPatch
) -> None:
    decision = toy() if effects == "toy" else small
    program = matrices(build_program(decision))
    with_tangents(program, decision, decision.base)
    crooked(monkeypatch, CHANGES[change], touching=True)
    with pytest.raises(UntrustedSolutionError, match="excess of"):
        with_tangents(program, decision, decision.base)


def rows_of_excess(program: Matrices, k: int) -> np.ndarray:
    column = program.names.index(f"e[{k}]")
    return np.flatnonzero(program.A[:, [column]].toarray().ravel())


@pytest.mark.parametrize("what", ["slope", "excess", "upper"])
def test_rows_are_looked_at_as_they_stand(what: str, small: Effects) -> None:
    """A sign lost between the formula and the matrix, or a row turned round."""
    program = matrices(build_program(small))
    k = int(
        np.flatnonzero((small.criteria.weights > 0) & (small.criteria.excess(small.base) > 0))[0]
    )
    row, dense = rows_of_excess(program, k)[0], program.A.toarray()
    if what == "upper":
        high = program.row_high.copy()
        high[row] = 1.0
        broken = replace(program, row_high=high)
    else:
        dense[row, program.names.index(f"{'q' if what == 'slope' else 'e'}[{k}]")] *= -1.0
        broken = replace(program, A=sparse.csc_matrix(dense))
    with pytest.raises(UntrustedSolutionError, match=re.escape(small.criteria.rows[k].key)):
        check_lines(broken, small)


def test_a_bound_above_what_was_found_is_no_proof(
    small: Effects, monkeypatch: pytest.MonkeyPatch
) -> None:
    def overstated(*given: object, **named: object) -> Answer:
        answer = solve(*given, **named)  # type: ignore[arg-type]  # passed on as given
        return replace(answer, bound=answer.objective + 0.01)

    monkeypatch.setattr(proof, "solve", overstated)
    with pytest.raises(UntrustedSolutionError, match="below its bound"):
        select(small, gap=1e-3)


def test_a_selection_besides_is_held_to_the_bound_too(small: Effects) -> None:
    proven = select(small, gap=1e-6)
    assert judged(small, NOTHING, proven.bound, 0.01, 0.0).gap > 0.0
    better = replace(small, base=small.base + small.change[:, proven.chosen].sum(axis=1))
    assert objective(better, NOTHING) < proven.bound  # of other effects the bound says nothing
    with pytest.raises(UntrustedSolutionError, match="below its bound"):
        judged(better, NOTHING, proven.bound, 0.01, 0.0)


def test_what_rounding_may_do(small: Effects) -> None:
    """The solver's tolerance in each counted excess, no more."""
    value = objective(small, NOTHING)
    most = slack([small], (1.0,), value)
    total = float(small.criteria.weights.sum())
    assert most == pytest.approx(FEASIBLE * (total + max(1.0, value)), rel=1e-12)
    assert held_by(value + 0.9 * most, value, most) == value
    assert held_by(0.5 * value, value, most) == 0.5 * value
    assert held_by(-math.inf, value, most) == -math.inf
    with pytest.raises(UntrustedSolutionError):
        held_by(value + 1.1 * most, value, most)


def test_stages_are_held_to_their_bounds(small: Effects, monkeypatch: pytest.MonkeyPatch) -> None:
    budgets = [20_000, 40_000]
    assert plan_stages(small, budgets, gap=0.01).status == "optimal"
    sound = stages.prove

    def overstated(*given: object, **named: object) -> tuple[Sequence[object], float]:
        found, bound = sound(*given, **named)  # type: ignore[arg-type]  # passed on as given
        return found, bound + 1.0

    monkeypatch.setattr(stages, "prove", overstated)
    monkeypatch.setattr(stages, "relative", lambda value, bound: 1.0)  # always to the last step
    with pytest.raises(UntrustedSolutionError, match="below its bound"):
        plan_stages(small, budgets, gap=0.01)


def test_the_command_line_says_whose_fault_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    tiny_project(tmp_path / "room", 3, budget=400.0)
    crooked(monkeypatch, CHANGES["sign of the slope"], touching=False)
    room, out = str(tmp_path / "room" / "room.toml"), tmp_path / "plan"
    assert main(["plan", room, "--out", str(out), "--fast"]) == 1
    said = capsys.readouterr()
    last = said.err.strip().splitlines()[-1]
    assert "the solution cannot be trusted" in last
    assert "a fault of the program" in last
    assert "nothing was written" in last
    assert "Traceback" not in said.err
    assert said.out == ""
    assert not out.exists()
