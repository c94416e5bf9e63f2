"""The decision around a plan, and what judged plans teach about others near it.

Against an enumeration, and against judges whose answers are known beforehand; the rules are own
choices, no source. The correction of least square is that of kriging (Matheron 1963; from memory),
which for one lesson has a closed form.
"""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from test_program import toy
from tiny_rooms import tiny_project

from optimizer.placement.around import SLIDES, about, around, few_changes, with_places
from optimizer.placement.candidates import Candidate, slid_candidates
from optimizer.placement.lessons import DOUBT, Lesson, alike, corrected_change
from optimizer.placement.pieces import pieces_overlap
from optimizer.placement.plan import feasible, greedy, select
from optimizer.placement.proof import objective
from optimizer.planning import Decision, build_decision


@pytest.fixture(scope="module")
def decision(tmp_path_factory: pytest.TempPathFactory) -> Decision:
    folder = tmp_path_factory.mktemp("around")
    return build_decision(tiny_project(folder, 3, 500.0, grid=0.6, products=3))


def plan_of(decision: Decision) -> list[Candidate]:
    return [decision.candidates[c] for c in greedy(decision.effects).tolist()]


def slid(decision: Decision, plan: list[Candidate]) -> tuple[Candidate, ...]:
    offer = decision.project.offer
    return slid_candidates(offer.room, offer.limits, plan, SLIDES, offer.rules)


def test_pieces_slide_by_the_steps_and_stay_what_they_are(decision: Decision) -> None:
    plan = plan_of(decision)
    moved = slid(decision, plan)
    assert len(moved) > len(plan)
    for candidate in moved:
        first = candidate.pieces[0]
        origins = [
            c.pieces[0] for c in plan
            if c.product == candidate.product and c.grid == candidate.grid
            and c.pieces[0].surface == first.surface and c.pieces[0].fitting == first.fitting
        ]  # fmt: skip
        by = [np.subtract(first.rect, own.rect) for own in origins]
        assert any(
            np.allclose(step[:2], step[2:]) and np.allclose(step * 10, np.round(step * 10))
            and np.abs(step).max() < 0.31
            for step in by
        )  # fmt: skip
        u0, v0, u1, v1 = decision.project.room.surface(first.surface).plane.bounds
        assert u0 <= first.rect[0] + 1e-9
        assert first.rect[2] <= u1 + 1e-9
        assert v0 <= first.rect[1] + 1e-9
        assert first.rect[3] <= v1 + 1e-9


def test_the_decision_around_a_plan_holds_it_and_excludes_what_overlaps(
    decision: Decision,
) -> None:
    plan = plan_of(decision)
    moved = slid(decision, plan)
    criteria = decision.project.criteria
    other = [moved[-1], *plan[1:]]
    here = around(decision.project.offer, decision.candidates, decision.effects, other, criteria)
    assert {here.candidates[c] for c in here.chosen} == {moved[-1], *plan[1:]}
    assert len(set(here.candidates)) == len(here.candidates) == here.effects.count
    barred = {tuple(pair) for row in here.effects.cover for pair in combinations(row.tolist(), 2)}
    rng = np.random.default_rng(2)
    for a, b in np.sort(rng.choice(len(here.candidates), (300, 2)), axis=1).tolist():
        one, two = here.candidates[a].pieces, here.candidates[b].pieces
        if a != b and any(pieces_overlap(p, q) for p in one for q in two):
            assert (a, b) in barred
    own = {candidate: k for k, candidate in enumerate(decision.candidates)}
    for index, candidate in enumerate(here.candidates):
        if candidate in own:
            np.testing.assert_array_equal(
                here.effects.change[:, index], decision.effects.change[:, own[candidate]]
            )


def test_what_is_refused_is_not_offered_slid(decision: Decision) -> None:
    plan = plan_of(decision)
    product = plan[0].product
    offer = replace(decision.project.offer, refused=lambda c: c.product == product)
    criteria = decision.project.criteria
    here = around(offer, decision.candidates, decision.effects, plan[1:], criteria)
    known = set(decision.candidates)
    assert any(c not in known for c in here.candidates)
    assert not any(c.product == product for c in here.candidates if c not in known)


def test_a_rule_that_the_grid_did_not_need_holds_between_its_places(decision: Decision) -> None:
    """Where pieces on the grid hang on few lines anyway there is no rule of lines among them; slid
    ones could hang on more. Rules lifted for what a person wants stay lifted."""
    offer, effects = decision.project.offer, decision.effects
    everything = (*decision.candidates, *slid(decision, plan_of(decision)))
    names = [rule.name for rule in offer.order(everything).rules]
    assert "lines" in names
    without = tuple(rule for rule in effects.order.rules if rule.name != "lines")
    unneeded = replace(effects, order=replace(effects.order, rules=without))
    known = set(decision.candidates)
    everything = (*decision.candidates, *(c for c in everything if c not in known))
    found = with_places(offer, unneeded, everything, effects.count)
    assert [rule.name for rule in found.order.rules] == names
    lifted = replace(offer, lifted=frozenset(["lines"]))
    found = with_places(lifted, effects, everything, effects.count)
    assert [rule.name for rule in found.order.rules] == [n for n in names if n != "lines"]


@pytest.mark.parametrize("most", [0, 1, 2])
def test_few_changes_find_the_best_of_all_subsets_that_change_few(most: int) -> None:
    effects = toy()
    chosen = select(effects, 1e-6).chosen
    near = few_changes(effects, chosen, most)
    found = select(near, 1e-6, start=chosen)
    subsets = (
        np.array(some, dtype=np.int64)
        for size in range(effects.count + 1)
        for some in combinations(range(effects.count), size)
    )
    best = min(
        objective(effects, some) for some in subsets
        if feasible(effects, some) and len(np.setdiff1d(chosen, some)) <= most
    )  # fmt: skip
    assert found.objective == pytest.approx(best, rel=1e-6)
    assert len(np.setdiff1d(chosen, found.chosen)) <= most


def test_another_table_leaves_the_plan_alone(decision: Decision) -> None:
    effects, chosen = decision.effects, greedy(decision.effects)
    rng = np.random.default_rng(1)
    other = about(effects, effects.change * rng.uniform(0.5, 2.0, effects.change.shape), chosen)
    np.testing.assert_allclose(other.quantities(chosen), effects.quantities(chosen), rtol=1e-12)


def test_one_lesson_is_explained_where_the_plan_differs(decision: Decision) -> None:
    """For one lesson the correction of candidate c is off * G(c, d) / ((1 + doubt) d' G d), with G
    the area that two candidates share, half of it for unlike ones, and d the difference of the
    plans."""
    effects, candidates = decision.effects, decision.candidates
    chosen = greedy(effects)
    out, added = int(chosen[0]), next(
        c for c in range(effects.count)
        if c not in chosen and candidates[c].product == candidates[int(chosen[0])].product
    )  # fmt: skip
    other = np.sort(np.append(np.setdiff1d(chosen, [out]), added))
    off = 0.1 * effects.quantities(chosen)
    told = Lesson(frozenset(candidates[c] for c in other), effects.quantities(other) + off)
    change = corrected_change(
        effects.change, candidates, chosen, effects.quantities(chosen), [told]
    )
    shared = alike([candidates[added], candidates[out]], candidates)
    step = shared[0] - shared[1]
    weight = step / ((1.0 + DOUBT) * (step[added] - step[out]))
    np.testing.assert_allclose(change - effects.change, off[:, None] * weight, atol=1e-12)
    assert np.any(step == 0.0)  # what shares no wall with either learns nothing
    again = about(effects, change, chosen)
    explained = (again.quantities(other) - effects.quantities(other))[off != 0] / off[off != 0]
    np.testing.assert_allclose(explained, 1.0 / (1.0 + DOUBT))


def test_unlike_pieces_in_one_place_learn_from_each_other_by_half(decision: Decision) -> None:
    """So a lesson about one in the place of another can be explained at all."""
    table = alike(decision.candidates, decision.candidates)
    np.testing.assert_allclose(table, table.T)
    assert np.linalg.eigvalsh(table[::3, ::3]).min() > -1e-9  # a covariance
    areas = [sum((r[2] - r[0]) * (r[3] - r[1]) for p in c.pieces for _, r in p.rects)
             for c in decision.candidates]  # fmt: skip
    np.testing.assert_allclose(np.diag(table), areas)
    places: dict[object, list[int]] = {}
    for index, candidate in enumerate(decision.candidates):
        places.setdefault(tuple(p.rects for p in candidate.pieces), []).append(index)
    pairs = [found[:2] for found in places.values() if len(found) > 1]
    assert pairs
    for one, two in pairs:
        kinds = [(decision.candidates[c].product, decision.candidates[c].pieces[0].fitting)
                 for c in (one, two)]  # fmt: skip
        part = 1.0 if kinds[0] == kinds[1] else 0.5
        assert table[one, two] == pytest.approx(part * table[one, one])


def test_a_lesson_of_the_plan_itself_or_of_places_not_there_teaches_nothing(
    decision: Decision,
) -> None:
    effects, candidates = decision.effects, decision.candidates
    chosen = greedy(effects)
    now = effects.quantities(chosen)
    own = Lesson(frozenset(candidates[c] for c in chosen), now + 1.0)
    far = Lesson(frozenset([candidates[-1]]), now + 1.0)
    change = corrected_change(effects.change, candidates[:-1], chosen, now, [own, far])
    np.testing.assert_array_equal(change, effects.change)
