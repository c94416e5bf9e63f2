"""True reasons: the rule that stops a useful piece is named, with what lifting it gains.

Rooms and prices are invented; what is right follows from planning again without the rule.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_walking import attic

from optimizer.placement.bars import FREE, bars_of, without_rules
from optimizer.placement.candidates import find_candidates
from optimizer.placement.layouts import FINEST
from optimizer.placement.lifting import COARSE, WORTH
from optimizer.placement.plan import select
from optimizer.planning import bounce_points, build_decision, make_plan
from optimizer.project import Project, load_project
from optimizer.results.rule_words import rules_in_words
from optimizer.results.why import judged_plan
from optimizer.results.why_bench import build_bench
from optimizer.results.why_obstacles import obstacle, unmet_rows

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def limited(project: Project, **changes: object) -> Project:
    """The project with other limits."""
    limits = project.scenario.limits.model_copy(update=changes)
    return replace(project, scenario=replace(project.scenario, limits=limits))


def overhead_only(folder: Path) -> Project:
    """An attic whose only product hangs overhead, where the headroom bars every place."""
    project = attic(folder)
    thin = replace(project.products[0], mountings=("ceiling",), width=1.0, height=1.0)
    return limited(replace(project, products=(thin,)), headroom=2.49, grid=0.6)


@pytest.mark.parametrize("name", ["garage", "rented_flat", "small_bedroom"])
def test_rules_bar_just_what_is_no_candidate(name: str) -> None:
    """No rule bars a place that was found; without rules more are found, and each of those that no
    rule bars is a place."""
    project = load_project(SCENARIOS / f"{name}.toml")
    room, limits = project.room, project.scenario.limits.model_copy(update={"grid": 0.6})
    usable = project.usable_products
    found = find_candidates(room, usable, limits, {})
    for key, mask in bars_of(room, found, limits).items():
        assert not mask.any(), key
    free_room, free = without_rules(room, limits)
    everything = find_candidates(free_room, usable, free, {})
    barred = np.any(list(bars_of(room, everything, limits).values()), axis=0)
    places = {(p.product.id, p.fitting, p.turned, p.rects) for c in found for p in c.pieces}
    assert barred.any()
    for candidate, mask in zip(everything, barred, strict=True):
        for p in () if mask else candidate.pieces:
            assert (p.product.id, p.fitting, p.turned, p.rects) in places


def test_a_barred_slope_is_told_as_headroom_with_what_it_costs(tmp_path: Path) -> None:
    project = overhead_only(tmp_path)
    plan = make_plan(project, judging="none")
    assert not plan.pieces
    (rule,) = plan.in_the_way
    assert rule.key == "headroom"
    assert {p.surface for p in rule.pieces} <= {"ceiling", "slope"}
    lifted = make_plan(limited(project, headroom=1.0), judging="none")
    assert rule.score == pytest.approx(plan.card.score_after, rel=1e-9)
    assert lifted.card.score_after <= rule.without * (1 + 1e-9) < plan.card.score_after
    (told,) = rules_in_words(plan)
    assert "Headroom of 2.49 m" in told
    assert "limits.headroom" in told
    assert f"{rule.without:.3f}" in told


def test_why_names_the_headroom_and_not_the_products(tmp_path: Path) -> None:
    project = overhead_only(tmp_path)
    judged = judged_plan(project, ())
    bench = build_bench(project, (), judged.corrected, bounce_points(project))
    found = [obstacle(bench, int(row)) for row in unmet_rows(bench)]
    decay = [o for o in found if judged.criteria.rows[o.row].group == "decay"]
    assert decay
    assert all((o.kind, o.rules) == ("bans", ("headroom",)) for o in decay)


def test_no_rule_is_named_that_costs_little(tmp_path: Path) -> None:
    """Where lifting a rule is worth less than WORTH of the excess by a proven search, it is not."""
    project = limited(attic(tmp_path), grid=COARSE * FINEST)
    plan = make_plan(project, judging="none")
    named = {rule.key for rule in plan.in_the_way}
    for key in ("headroom", "head_depth", "max_depth"):
        lifted = select(build_decision(limited(project, **{key: FREE[key]})).effects, 0.001)
        if plan.card.score_after - lifted.bound < 0.5 * WORTH * plan.card.score_after:
            assert key not in named
