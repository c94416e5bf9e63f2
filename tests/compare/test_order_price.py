"""What order costs: found again by planning without it, and told in plan and comparison."""

from dataclasses import replace
from pathlib import Path

import pytest
from test_bad_variants import lay_out

from optimizer.cli import main
from optimizer.order_price import ROUGH, on_usual_grid, order_prices
from optimizer.planning import Planned, load_project, make_plan, plan_decision
from optimizer.results.comparison import compare, judged_column
from optimizer.results.comparison_text import comparison_json, comparison_table
from optimizer.results.model import OtherOrder, Plan
from optimizer.results.order_words import order_in_words, price_in_words
from optimizer.room.layout import LayoutSection


def quiet(_: str) -> None:
    """Nothing is told."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    """The good room planned by the criteria alone in a strict order of few places."""
    changes = (("room.toml", "max_depth = 0.2", 'max_depth = 0.2\ngrid = "50 cm"'),)
    project = load_project(lay_out(tmp_path_factory.mktemp("order"), changes))
    strict = project.with_layout(LayoutSection(level="gallery", kinds=1, pieces=2))
    return plan_decision(strict, gap=0.01, judging="none")


@pytest.fixture(scope="module")
def plan(made: Planned) -> Plan:
    found = made.plan(made.rounds.best.selection, "none")
    return replace(found, orders=order_prices(made, quiet, all_orders=True))


def test_without_order_is_what_a_plan_without_it_leaves(made: Planned, plan: Plan) -> None:
    """A full plan without order, judged alike: the rough search is within its gap."""
    free = make_plan(
        made.project.with_layout(LayoutSection(level="free")), gap=0.001, judging="none"
    )
    first, second = plan.orders
    assert (first.name, first.stricter) == ("without order", False)
    assert second.stricter
    least, now = free.card.score_after, plan.card.score_after
    assert first.score < now
    assert least - 1e-3 <= first.score <= least * (1 + 2 * ROUGH) + 1e-3
    assert second.score > first.score


def test_only_the_looser_one_unless_all_are_asked_for(made: Planned) -> None:
    assert [other.stricter for other in order_prices(made, quiet)] == [False]


@pytest.mark.parametrize(("grid", "used"), [(0.02, None), (0.31, 0.31), (None, None)])
def test_without_order_a_fine_grid_is_not_gone_through(
    made: Planned, grid: float | None, used: float | None
) -> None:
    """Order leaves a few thousand places of a grid of 2 cm; without it there are hundreds of
    thousands, which a rough figure is not worth."""
    scenario = made.project.scenario
    limits = scenario.limits.model_copy(update={"grid": grid})
    fine = replace(made.project, scenario=replace(scenario, limits=limits))
    assert on_usual_grid(fine).scenario.limits.grid == used


def test_it_is_told_in_a_line_of_the_plan(plan: Plan) -> None:
    words = order_in_words(plan)
    now, (free, strict) = plan.card.score_after, plan.orders
    assert f"Instead of a weighted excess of {now:.3f} it would be about {free.score:.3f}" in words
    assert f"about {strict.score:.3f} {strict.name}" in words
    assert price_in_words(OtherOrder("without order", now), now) == "no less"
    assert price_in_words(OtherOrder("stricter", now, stricter=True), now) == f"about {now:.3f}"
    assert "Instead of" not in order_in_words(replace(plan, orders=()))


def test_it_is_told_in_a_row_of_a_comparison(plan: Plan) -> None:
    project = plan.project
    with_plan, without = (
        judged_column(name, project, plan.pieces, "none", own)
        for name, own in (("own", plan), ("other", None))
    )
    table = comparison_table(compare([with_plan, without]))
    (row,) = [line for line in table.splitlines() if line.startswith("- without order")]
    assert row.split()[-3:] == ["about", f"{plan.orders[0].score:.3f}", "-"]
    assert "- in stricter order" in table
    assert '"without order": ' in comparison_json(compare([with_plan, without]))
    assert "order" not in comparison_table(compare([without, without]))


def test_compare_prints_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    couch = '\n[variants.late]\nsays = "another budget"\nbudget = 300.0\n'
    changes = (("room.toml", "max_depth = 0.2", 'max_depth = 0.2\ngrid = "90 cm"'),)
    path = lay_out(tmp_path, changes)
    path.write_text(path.read_text() + couch)
    assert main(["compare", str(path), "late", "--replan"]) == 0
    lines = capsys.readouterr().out.splitlines()
    (row,) = [line for line in lines if line.startswith("- without order")]
    assert len(row.split()) >= 5
