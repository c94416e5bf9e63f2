"""What must hold of any plan: money, mirror images, scale, linearity, and nothing superfluous."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_overlap import ROOMS, SCENARIOS, demo, excluded_by
from tiny_rooms import some_candidates, tiny_project, with_budget

from optimizer.placement.effects import Effects
from optimizer.placement.pieces import Piece, mirrored_piece, treated
from optimizer.placement.plan import select
from optimizer.placement.proof import objective
from optimizer.placement.spacing import exact_quantities
from optimizer.planning import Plan, build_decision, make_plan
from optimizer.project import Project, load_project
from optimizer.results.scorecard import score_card

GAP = 1e-3
SEEDS = st.integers(0, 7)
FEW = settings(max_examples=5)


@cache
def project(seed: int) -> Project:
    with TemporaryDirectory() as folder:
        return tiny_project(Path(folder), 100 + seed, budget=260.0)


@cache
def few(seed: int) -> Effects:
    """Two dozen candidates of a tiny room."""
    decision = build_decision(project(seed))
    return some_candidates(decision, np.random.default_rng(seed), 24)


@cache
def plan(seed: int) -> Plan:
    return make_plan(project(seed), GAP, judging="none")


@FEW
@given(seed=SEEDS, budget=st.integers(10_000, 60_000), more=st.integers(1, 40_000))
def test_more_budget_is_never_worse_beyond_the_gap(seed: int, budget: int, more: int) -> None:
    tight = replace(few(seed), budget_cents=budget)
    loose = replace(few(seed), budget_cents=budget + more)
    first, second = select(tight, GAP), select(loose, GAP)
    assert second.status == "optimal"
    # The money term shrinks as the budget grows, so the tight plan costs no more when loose.
    assert objective(loose, first.chosen) <= first.objective + 1e-12
    assert second.objective <= first.objective + GAP * max(second.objective, 0.01) + 1e-9


@FEW
@given(seed=SEEDS)
def test_one_more_allowed_product_is_never_worse_beyond_the_gap(seed: int) -> None:
    everything = few(seed)
    kept = np.flatnonzero(everything.product == 0)
    place = {int(c): i for i, c in enumerate(kept)}
    rows = [np.array([place[int(c)] for c in row if int(c) in place]) for row in everything.cover]
    fewer = replace(
        everything,
        change=everything.change[:, kept],
        product=everything.product[kept],
        pieces=everything.pieces[kept],
        cover=tuple(row for row in rows if len(row) > 1),
    )
    less, more = select(fewer, GAP), select(everything, GAP)
    assert more.objective <= less.objective + GAP * max(more.objective, 0.01) + 1e-9


@pytest.mark.parametrize("name", [None, "spare_room"])
def test_zero_budget_leaves_the_room_as_it_is(name: str | None) -> None:
    base = demo(name).project if name else without_owned(project(0))
    made = make_plan(with_budget(base, 0.0), GAP, judging="none")
    assert made.pieces == ()
    assert made.card.score_after == made.card.score_before
    assert all(row.after == row.before for row in made.card.rows)


def without_owned(base: Project) -> Project:
    """The project with nothing at hand already."""
    return replace(base, products=tuple(replace(p, owned=0) for p in base.products))


@FEW
@given(seed=SEEDS)
def test_mirrored_room_gets_the_mirrored_plan(seed: int) -> None:
    room = project(seed).room
    image = project(seed).mirrored()
    other = make_plan(image, GAP, judging="none")
    expected = [mirrored_piece(p.piece, room, image.room) for p in plan(seed).pieces]
    assert len(expected) > 0
    assert _as_set(expected) == _as_set([p.piece for p in other.pieces])
    assert other.selection.objective == plan(seed).selection.objective


@pytest.mark.parametrize("name", ROOMS)
def test_mirrored_demo_room_is_the_same_decision(name: str) -> None:
    first, second = demo(name), build_decision(load_project(SCENARIOS / f"{name}.toml").mirrored())
    assert first.flipped != second.flipped
    assert first.candidates == second.candidates
    for figures in ("base", "change", "product", "pieces"):
        np.testing.assert_array_equal(
            getattr(first.effects, figures), getattr(second.effects, figures)
        )
    assert [r.tolist() for r in first.effects.cover] == [r.tolist() for r in second.effects.cover]


def _as_set(pieces: list[Piece]) -> list[tuple[object, ...]]:
    return sorted(
        (p.product.id, p.fitting, p.turned, tuple(sorted(p.rects)), p.box.tolist()) for p in pieces
    )


@FEW
@given(seed=SEEDS, factor=st.integers(2, 1000))
def test_prices_and_budget_in_other_money_give_the_same_plan(seed: int, factor: int) -> None:
    base = few(seed)
    scaled = replace(
        base, price_cents=base.price_cents * factor, budget_cents=base.budget_cents * factor
    )
    first, second = select(base, GAP), select(scaled, GAP)
    np.testing.assert_array_equal(first.chosen, second.chosen)
    assert first.objective == second.objective


@pytest.mark.parametrize("name", ROOMS)
def test_linear_figures_equal_re_evaluated_ones(name: str) -> None:
    decision = demo(name)
    project, excluded = decision.project, excluded_by(name)
    rng = np.random.default_rng(11)
    for size in (1, 3, 8, 8, 20):
        chosen: list[int] = []
        barred: set[int] = set()
        for c in rng.permutation(len(decision.candidates)).tolist():
            if c not in barred and len(chosen) < size:
                chosen.append(c)
                barred |= excluded[c]
        pieces = [p for c in chosen for p in decision.candidates[c].pieces]
        scene = treated(project.room, project.scene, pieces)
        again = project.criteria.quantities(scene)
        # Pieces that touch lose a shared edge, which no candidate by itself can know.
        given = (project.room, project.scene, decision.effects, decision.candidates)
        linear = exact_quantities(*given, np.array(chosen))
        scale = np.abs(decision.effects.base) + np.abs(decision.effects.change[:, chosen]).sum(1)
        # Balances are differences of sums of tens (m2, %): those sums' rounding stays in them.
        assert (np.abs(linear - again) <= 1e-9 * scale + 1e-12).all()


@pytest.mark.parametrize("name", ROOMS)
def test_no_treatment_changes_nothing(name: str) -> None:
    project = demo(name).project
    card = score_card(project.room, project.scene, project.criteria, [])
    assert card.score_after == card.score_before
    assert all(row.after == row.before and row.ok_after == row.ok_before for row in card.rows)
    nothing = np.zeros(0, dtype=np.int64)
    np.testing.assert_array_equal(demo(name).effects.quantities(nothing), demo(name).effects.base)


@FEW
@given(seed=SEEDS)
def test_removing_a_piece_of_a_proven_plan_never_helps(seed: int) -> None:
    made = plan(seed)
    effects = build_decision(project(seed)).effects
    chosen = made.selection.chosen
    assert made.selection.status == "optimal"
    assert len(chosen) > 0
    for i in range(len(chosen)):
        assert objective(effects, np.delete(chosen, i)) > made.selection.objective - 1e-12


@FEW
@given(seed=SEEDS)
def test_score_card_agrees_with_the_optimiser(seed: int) -> None:
    made = plan(seed)
    effects = build_decision(project(seed)).effects
    assert made.card.score_after == pytest.approx(effects.score(made.selection.chosen), rel=1e-9)
