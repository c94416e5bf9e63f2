"""What money buys: never worse for more of it, bounds that hold, and nothing superfluous."""

import argparse
import csv
import io
import json
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from test_optimum import enumerated
from test_overlap import demo
from test_program import toy
from tiny_rooms import some_candidates, tiny_project

from optimizer.commands import budget as command
from optimizer.faults import ScenarioError
from optimizer.placement.budget_curve import (
    LITTLE,
    NOTHING,
    Curve,
    budget_curve,
    by_group,
    trimmed,
)
from optimizer.placement.effects import Effects
from optimizer.placement.plan import feasible, select
from optimizer.placement.program import TIE
from optimizer.placement.proof import objective
from optimizer.placement.stages import grown
from optimizer.planning import build_decision

BUDGETS = tuple(range(60_00, 600_01, 90_00))
GAP = 0.02


@cache
def few(seed: int) -> Effects:
    """A few candidates of a tiny room."""
    with TemporaryDirectory() as folder:
        project = tiny_project(Path(folder), 700 + seed, products=3)
        return some_candidates(build_decision(project), np.random.default_rng(seed), 12)


@cache
def curve(seed: int) -> Curve:
    return budget_curve(few(seed), BUDGETS, GAP)


def step(effects: Effects, cents: int) -> Effects:
    return replace(effects, budget_cents=cents)


@pytest.mark.parametrize("seed", range(4))
def test_curve_never_rises_and_its_bounds_hold(seed: int) -> None:
    points = curve(seed).points
    assert len(points) == len(BUDGETS)
    for first, second in pairwise(points):
        assert second.score <= first.score
        assert second.floor <= first.floor + 1e-12
    assert points[-1].score < points[0].score
    for point in points:
        effects = step(few(seed), point.budget_cents)
        best, subset = enumerated(effects)
        assert feasible(effects, point.selection.chosen)
        assert point.selection.bound <= best * (1 + 1e-6) + 1e-6
        # A cheaper plan of less excess may take the place of one better by the money term alone.
        assert point.selection.objective <= best + GAP * max(best, 0.01) / (1 - GAP) + TIE
        assert point.floor <= effects.score(subset) + 1e-6


@pytest.mark.parametrize("seed", range(4))
def test_points_say_what_their_selections_do(seed: int) -> None:
    before, money, score = NOTHING, 0, curve(seed).untreated
    assert score == few(seed).score(NOTHING)
    for point in curve(seed).points:
        chosen = point.selection.chosen
        effects = step(few(seed), point.budget_cents)
        assert point.score == effects.score(chosen)
        assert point.cost_cents == effects.cost_cents(chosen) <= point.budget_cents
        assert point.selection.objective == objective(effects, chosen)
        assert sum(point.groups.values()) == pytest.approx(point.score, rel=1e-12, abs=1e-12)
        assert set(chosen) == (set(before) | set(point.enter)) - set(point.leave)
        assert not set(point.enter) & set(before)
        assert set(point.leave) <= set(before)
        assert point.gain * (point.budget_cents - money) == pytest.approx(
            score - point.score, rel=1e-9, abs=1e-12
        )
        before, money, score = chosen, point.budget_cents, point.score


@pytest.mark.parametrize("seed", range(4))
def test_removing_a_candidate_of_a_point_never_helps(seed: int) -> None:
    for point in curve(seed).points:
        effects, chosen = step(few(seed), point.budget_cents), point.selection.chosen
        for i in range(len(chosen)):
            assert objective(effects, np.delete(chosen, i)) > point.selection.objective - 1e-12


@pytest.mark.parametrize("name", ["garage", "spare_room"])
def test_removing_a_candidate_of_a_demo_plan_never_helps(name: str) -> None:
    """Of a tenth of a demo room's candidates, so that the gap is proven soon."""
    full = demo(name)
    effects = some_candidates(full, np.random.default_rng(5), len(full.candidates) // 10)
    selection = select(effects, 0.05)
    assert selection.status == "optimal"
    assert len(selection.chosen) > 3
    for i in range(len(selection.chosen)):
        without = np.delete(selection.chosen, i)
        assert objective(effects, without) > selection.objective - 1e-12


def test_gap_of_nothing_gives_the_enumerated_curve() -> None:
    exact = budget_curve(few(1), BUDGETS[:3], 5e-7)
    for point in exact.points:
        best, _ = enumerated(step(few(1), point.budget_cents))
        assert point.selection.objective == pytest.approx(best, rel=1e-6, abs=TIE)


def test_little_time_keeps_every_promise() -> None:
    effects = build_decision_of_many()
    quick = budget_curve(effects, [100_00, 250_00, 400_00], 1e-6, 0.0)
    for first, second in pairwise(quick.points):
        assert second.score <= first.score
    for point in quick.points:
        assert feasible(step(effects, point.budget_cents), point.selection.chosen)
        assert point.selection.bound <= point.selection.objective


@cache
def build_decision_of_many() -> Effects:
    with TemporaryDirectory() as folder:
        project = tiny_project(Path(folder), 23, products=3, grid=0.9)
        return build_decision(project).effects


def test_grown_and_trimmed_fit_and_do_no_harm() -> None:
    effects = build_decision_of_many()
    rich, poor = step(effects, 500_00), step(effects, 200_00)
    chosen = select(rich, 0.1).chosen
    less = trimmed(poor, chosen)
    assert set(less) <= set(chosen)
    assert 0 < poor.cost_cents(less) <= poor.budget_cents
    more = grown(rich, less)
    assert set(less) <= set(more)
    assert feasible(rich, more)
    assert rich.score(more) <= rich.score(less)
    np.testing.assert_array_equal(trimmed(rich, chosen), chosen)  # fits, nothing superfluous


def test_parts_leave_out_what_only_informs() -> None:
    """The toy's third row has weight 0; at its base the two that count: 5 and 0.5 * 0.75."""
    assert by_group(toy(), NOTHING) == {"toy": pytest.approx(5.0 + 0.375, rel=1e-12)}


def test_rule_of_little_gain_worked_by_hand() -> None:
    """By hand. Pieces that take 1.0, 1.0 and 0.5 off row 0 (3 against 0.5), 10 money each.

    Excess 5 at nothing, 3, 1, 0 at 10, 20, 30 money, then 0: after 20 the gain is 0.1 for one
    unit, half of the 0.2 before; after 30 it is nothing, and the rule points there.
    """
    effects = replace(
        toy(),
        change=np.array([[-1.0, -1.0, -0.5, 0.0], [4.0, 0.0, 0.0, 0.0], [0.0] * 4]),
        product=np.zeros(4, dtype=np.int64),
        pieces=np.ones(4, dtype=np.int64),
        cover=(),
        price_cents=np.array([1000, 9999]),
        pack=np.array([1, 1]),
        owned=np.array([0, 0]),
    )
    found = budget_curve(effects, [1000, 2000, 3000, 4000, 5000], 1e-9)
    np.testing.assert_allclose(
        [p.score for p in found.points], [3.0, 1.0, 0.0, 0.0, 0.0], atol=1e-12
    )
    assert found.enough == 2
    assert LITTLE < 0.5
    assert budget_curve(effects, [1000, 2000, 3000], 1e-9).enough is None


@pytest.mark.parametrize("budgets", [[], [-1], [100, 100], [200, 100]])
def test_impossible_budgets_are_refused(budgets: list[int]) -> None:
    with pytest.raises(ValueError, match="budgets"):
        budget_curve(toy(), budgets)


def run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["budget", *words])
    return int(arguments.run(arguments))


def test_command_prints_and_writes_the_same_figures(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tiny_project(tmp_path, 31, products=2)
    out = tmp_path / "out"
    code = run(
        str(tmp_path / "room.toml"), "--from", "100", "--to", "400", "--steps", "3",
        "--out", str(out),
    )  # fmt: skip
    printed = capsys.readouterr().out
    assert code == 0
    rows = list(csv.DictReader(io.StringIO((out / "budget.csv").read_text())))
    told = json.loads((out / "budget.json").read_text())
    assert [row["budget"] for row in rows] == ["100.00", "250.00", "400.00"]
    for row, point in zip(rows, told["points"], strict=True):
        assert float(row["excess"]) == pytest.approx(point["excess"], abs=1e-6)
        assert f"{point['excess']:.3f}" in printed
        assert point["spent"] <= point["budget"]
        assert sum(point["parts"].values()) == pytest.approx(point["excess"], abs=1e-9)
    assert told["points"][0]["comes_in"][0]["where"]
    assert "Rule: money buys little" in printed


def test_command_tells_every_fault_at_once(tmp_path: Path) -> None:
    tiny_project(tmp_path, 31)
    with pytest.raises(ScenarioError) as caught:
        run(
            str(tmp_path / "room.toml"), "--from", "-1", "--to", "nan", "--steps", "1",
            "--gap", "2", "--time-limit", "0", "--out", str(tmp_path / "room.toml"),
        )  # fmt: skip
    keys = [fault.key for fault in caught.value.faults]
    assert keys == ["--from", "--to", "--steps", "--gap", "--time-limit", ""]
    with pytest.raises(ScenarioError, match="close together"):
        run(str(tmp_path / "room.toml"), "--from", "100", "--to", "100.01", "--steps", "5")
