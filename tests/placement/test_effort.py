"""The search counts nodes, not seconds; the time limit guards the whole and is told when it binds.

The clocks here are made up, so nothing depends on how fast the tests run.
"""

import json
import math
import time
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from test_rounds import decision_of, rays
from tiny_rooms import tiny_project

from optimizer.placement.effort import Effort, Guard
from optimizer.placement.plan import greedy, prune, select
from optimizer.placement.proof import objective
from optimizer.planning import Decision, make_plan
from optimizer.report.rebuild import rebuild
from optimizer.results.planfile import plan_as_dict, plan_as_json
from optimizer.results.proof import proof_in_words
from optimizer.results.tellings import CUT_OFF
from optimizer.rounds import plan_in_rounds

STEP = 1000.0  # s that the made-up clock jumps whenever it is read


@pytest.fixture(scope="module")
def decision(tmp_path_factory: pytest.TempPathFactory) -> Decision:
    return decision_of(tmp_path_factory.mktemp("effort"), 3)


@pytest.fixture
def jumping(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every clock jumps by STEP each time it is read."""
    for name in ("monotonic", "perf_counter", "time"):
        ticks = count()
        monkeypatch.setattr(time, name, lambda ticks=ticks: STEP * next(ticks))


def test_a_guard_counts_down_and_remembers(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [50.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    guard = Guard(10.0)
    now[0] = 57.0
    assert guard.left() == 3.0
    assert not guard.over()
    assert not guard.cut
    now[0] = 61.0
    assert guard.left() == 0.0
    assert guard.over()
    assert guard.cut


def test_an_endless_guard_reads_no_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_clock() -> float:
        raise AssertionError("the clock was read")

    monkeypatch.setattr(time, "monotonic", no_clock)
    guard = Guard()
    assert guard.left() == math.inf
    assert not guard.over()


def test_shares_keep_the_guard() -> None:
    effort = Effort(50, Guard(9.0))
    part = effort.share(0.1)
    assert part.nodes == 5
    assert part.guard is effort.guard
    assert effort.share(1e-9).nodes == 1
    assert Effort.of(effort) is effort
    assert Effort.of(9.0).guard.left() <= 9.0


def test_the_nodes_end_a_search_and_more_of_them_find_no_worse(decision: Decision) -> None:
    effects = decision.effects
    few, again, many = (select(effects, 0.0, Effort(n)) for n in (1, 1, 200))
    np.testing.assert_array_equal(few.chosen, again.chosen)
    assert (few.objective, few.bound) == (again.objective, again.bound)
    assert few.status == "feasible"
    assert many.objective <= few.objective + 1e-12
    assert few.bound <= many.bound + 1e-12
    assert few.bound <= many.objective + 1e-12


def test_a_plan_does_not_depend_on_the_clock(
    decision: Decision, request: pytest.FixtureRequest
) -> None:
    """With a clock that jumps by a quarter of an hour at each look the rounds are the same."""
    arguments = decision.project, decision.candidates, decision.effects, rays(decision), 0.02
    usual = plan_in_rounds(*arguments)
    request.getfixturevalue("jumping")
    hurried = plan_in_rounds(*arguments)
    assert len(usual.rounds) == len(hurried.rounds)
    for one, other in zip(
        (*usual.rounds, *usual.searched),
        (*hurried.rounds, *hurried.searched),
        strict=True,
    ):
        np.testing.assert_array_equal(one.selection.chosen, other.selection.chosen)
        np.testing.assert_array_equal(one.judged.values, other.judged.values)
        assert one.selection.bound == other.selection.bound


@pytest.mark.usefixtures("jumping")
def test_no_time_leaves_the_plan_to_begin_from(decision: Decision) -> None:
    effort = Effort.of(1.0)
    found = select(decision.effects, 1e-6, effort)
    np.testing.assert_array_equal(found.chosen, prune(decision.effects, greedy(decision.effects)))
    assert found.objective == objective(decision.effects, found.chosen)
    assert found.status == "feasible"
    assert found.bound <= 0.0
    assert effort.guard.cut


@pytest.mark.usefixtures("jumping")
def test_rounds_that_are_cut_off_end_at_once(decision: Decision) -> None:
    effort = Effort.of(1.0)
    made = plan_in_rounds(
        decision.project, decision.candidates, decision.effects, rays(decision), 0.02, effort
    )
    assert effort.guard.cut
    assert len(made.rounds) == 1
    assert made.tried == 0
    assert made.best.selection.status == "feasible"


def test_a_plan_says_that_it_was_cut_off(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """In the terminal's words, the page's, the file, and in the file read back."""
    project = tiny_project(tmp_path, 3, 500.0, grid=0.6, products=3)
    whole = make_plan(project, 0.05, judging="none")
    request.getfixturevalue("jumping")
    cut = make_plan(project, 0.05, 1.0, judging="none")
    for plan, late in ((whole, False), (cut, True)):
        assert plan.cut_off is late
        assert (CUT_OFF in proof_in_words(plan)) is late
        assert plan_as_dict(plan)["cut_off"] is late
        path = tmp_path / "plan.json"
        path.write_text(plan_as_json(plan))
        assert rebuild(path, project, "none").plan.cut_off is late
        assert json.loads(path.read_text())["pieces"]
