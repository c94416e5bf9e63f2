"""Planning in rounds in small random rooms: it ends, keeps the best judged plan, and says how far
the decay it was chosen for is from the decay judged.

The judges here are the tracer, and made-up ones whose answers are known beforehand.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from tiny_rooms import tiny_project

from optimizer.acoustics.assessment import Assessment, Judge
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.judged import judge_scene
from optimizer.acoustics.mode_criteria import highest_mode
from optimizer.acoustics.scene import Scene
from optimizer.judged_search import EXCHANGES, STEPS
from optimizer.judged_search import MOST as SEARCHED
from optimizer.placement.pieces import treated
from optimizer.placement.plan import feasible
from optimizer.placement.program import TIE
from optimizer.placement.proof import objective
from optimizer.planning import Decision, build_decision
from optimizer.round_record import AGREE, Rounds, rounds_in_words
from optimizer.rounds import MOST, plan_in_rounds

SEEDS = (1, 3)
TOUCHING = 4e-3  # of the decay: pieces that touch lose an edge, unseen by the program; 0.1 to
# 0.4 % of the objective (tests/evidence/edge_effect.md)


def decision_of(folder: Path, seed: int, budget: float = 500.0) -> Decision:
    return build_decision(tiny_project(folder, seed, budget, grid=0.6, products=3))


def planned(decision: Decision, judges: tuple[Judge, ...]) -> Rounds:
    return plan_in_rounds(decision.project, decision.candidates, decision.effects, judges, 0.02)


def rays(decision: Decision) -> tuple[Judge, ...]:
    return (TraceJudge(highest_mode(decision.project.room.volume), 3000),)


@pytest.fixture(scope="module")
def decisions(tmp_path_factory: pytest.TempPathFactory) -> list[Decision]:
    folder = tmp_path_factory.mktemp("rounds")
    return [decision_of(folder / str(seed), seed) for seed in SEEDS]


@pytest.fixture(scope="module")
def traced(decisions: list[Decision]) -> list[Rounds]:
    return [planned(decision, rays(decision)) for decision in decisions]


@dataclass(frozen=True)
class Times:
    """A judge that finds every decay to last `times` as long as the criteria say."""

    criteria: Criteria
    times: float

    def __call__(self, scene: Scene) -> Assessment:
        values = self.criteria.values(self.criteria.quantities(scene))
        return Assessment(
            {
                row.key: self.times * value
                for row, value in zip(self.criteria.rows, values, strict=True)
                if row.group == "decay"
            }
        )


def test_rounds_end_within_two(traced: list[Rounds]) -> None:
    assert MOST == 2
    for rounds in traced:
        assert len(rounds.rounds) == (1 if rounds.rounds[0].agrees else MOST)


def test_the_best_judged_plan_is_kept(decisions: list[Decision], traced: list[Rounds]) -> None:
    """By value (score and money), each judged anew from the room with its pieces."""
    for decision, rounds in zip(decisions, traced, strict=True):
        assert rounds.candidates[: len(decision.candidates)] == decision.candidates
        for each in (*rounds.rounds, *rounds.searched):
            pieces = [p for c in each.selection.chosen for p in rounds.candidates[c].pieces]
            scene = treated(decision.project.room, decision.project.scene, pieces)
            judged = judge_scene(scene, decision.project.criteria, rays(decision))
            cost = rounds.effects.cost_cents(each.selection.chosen)
            value = judged.score + TIE * cost / decision.effects.budget_cents
            assert each.value == pytest.approx(value, rel=1e-9)
        assert rounds.best.value == min(r.value for r in (*rounds.rounds, *rounds.searched))


def test_the_plan_kept_stands_against_the_bound_of_the_last_proof(traced: list[Rounds]) -> None:
    for rounds in traced:
        best, proof = rounds.best, rounds.searched[-1]
        value = objective(best.limited, best.selection.chosen)
        gap = (value - proof.selection.bound) / value
        assert best.selection.gap == pytest.approx(max(gap, 0.0), abs=1e-6)
        assert feasible(rounds.effects, best.selection.chosen)


def test_the_search_judges_and_is_never_worse_than_the_rounds(traced: list[Rounds]) -> None:
    """Of two rooms with several rounds the search makes at least one plan better."""
    gains = []
    for rounds in traced:
        assert 0 < rounds.tried < SEARCHED + len(STEPS) + EXCHANGES
        assert 0 <= rounds.confirmed <= rounds.tried
        gains.append(min(r.value for r in rounds.rounds) - rounds.best.value)
        assert f"tried {rounds.tried} plans" in rounds_in_words(rounds)
    assert min(gains) >= 0.0
    assert max(gains) > 0.0


def test_an_earlier_plan_stays_unless_another_is_clearly_better(decisions: list[Decision]) -> None:
    decision = decisions[0]
    arguments = decision.project, decision.candidates, decision.effects
    plain = plan_in_rounds(*arguments, (), 0.0)
    chosen = plain.best.selection.chosen
    again = plan_in_rounds(*arguments, (), 0.0, earlier=[chosen])
    assert again.best is again.earlier[0]
    assert "stays" in rounds_in_words(again)
    nothing = np.zeros(0, dtype=np.int64)
    other = plan_in_rounds(*arguments, (), 0.0, earlier=[nothing])
    np.testing.assert_array_equal(other.best.selection.chosen, chosen)
    assert "better than the earlier plan" in rounds_in_words(other)


def test_plans_judged_are_counted_once_each(
    decisions: list[Decision], traced: list[Rounds]
) -> None:
    for rounds in traced:
        plans = {tuple(sorted(r.selection.chosen)) for r in rounds.rounds}
        assert rounds.judged == len(plans) + rounds.confirmed
    decision = decisions[0]
    plain = plan_in_rounds(decision.project, decision.candidates, decision.effects, (), 0.0, 60.0)
    assert plain.judged == 0
    assert rounds_in_words(plain) == "judged by the quick models alone"


def test_how_far_off_a_round_was_is_the_largest_difference(traced: list[Rounds]) -> None:
    """In the decay rows that count above the Schroeder frequency."""
    assert pytest.approx(0.05) == AGREE
    for rounds in traced:
        for each in rounds.rounds:
            rows = [
                k for k, row in enumerate(each.judged.criteria.rows)
                if row.group == "decay" and row.model == "Norris-Eyring" and row.weight > 0
            ]  # fmt: skip
            assert rows
            criteria = each.judged.criteria
            expected = criteria.values(each.limited.quantities(each.selection.chosen))
            ratio = (expected * each.factors)[rows] / each.judged.values[rows]
            assert each.off == pytest.approx(np.abs(ratio - 1).max(), rel=1e-12)


def test_no_judge_one_round_by_the_criteria_alone(decisions: list[Decision]) -> None:
    for decision in decisions:
        rounds = planned(decision, ())
        assert len(rounds.rounds) == 1
        found = rounds.best
        np.testing.assert_array_equal(found.factors, 1.0)
        assert found.off < TOUCHING
        # what was chosen by and what is judged are one definition
        chosen = found.selection.chosen
        exact = decision.effects.criteria.score(decision.effects.quantities(chosen))
        assert found.judged.score == pytest.approx(exact, rel=0.02, abs=1e-3)
        assert found.selection.objective == pytest.approx(objective(decision.effects, chosen))


def test_judges_that_say_what_the_criteria_say_change_nothing(decisions: list[Decision]) -> None:
    for decision in decisions:
        same = planned(decision, (Times(decision.project.criteria, 1.0),))
        plain = planned(decision, ())
        assert len(same.rounds) <= 2  # the second proves what a rough first one found
        assert [r.off for r in same.rounds] == pytest.approx([0.0] * len(same.rounds), abs=TOUCHING)
        # a rough first round, then a search that looks between the places of the grid
        assert same.best.judged.score <= 1.02 * plain.best.judged.score + 1e-3


@pytest.mark.parametrize("times", [0.7, 1.4])
def test_a_constant_error_is_corrected_at_once(decisions: list[Decision], times: float) -> None:
    """A judge that finds all decay `times` as long leads at once to the plan for limits divided by
    that: corrections learnt from the first round hold for every plan."""
    for decision in decisions:
        rounds = planned(decision, (Times(decision.project.criteria, times),))
        assert len(rounds.rounds) == 2
        assert [r.corrected for r in rounds.rounds] == [False, True]
        assert rounds.rounds[1].off < TOUCHING
        criteria = decision.effects.criteria
        low, high = criteria.limits
        decay = np.array([row.group == "decay" for row in criteria.rows])
        factors = np.where(decay, times, 1.0)
        other = replace(
            decision, effects=replace(decision.effects,
                                      criteria=criteria.with_limits(low / factors, high / factors))
        )  # fmt: skip
        plain = planned(other, ())
        assert min(r.value for r in rounds.rounds) == pytest.approx(
            plain.best.value, rel=0.03, abs=1e-3
        )
        assert rounds.best.value <= 1.02 * plain.best.value + 1e-3


def test_rounds_with_the_same_judges_come_out_the_same(
    decisions: list[Decision], traced: list[Rounds]
) -> None:
    again = planned(decisions[0], rays(decisions[0]))
    first = traced[0]
    assert len(again.rounds) == len(first.rounds)
    for one, other in zip(again.rounds, first.rounds, strict=True):
        np.testing.assert_array_equal(one.selection.chosen, other.selection.chosen)
        np.testing.assert_array_equal(one.judged.values, other.judged.values)


def test_confidence_tightens_every_limit_it_was_solved_with(decisions: list[Decision]) -> None:
    decision = decisions[0]
    sure = plan_in_rounds(
        decision.project, decision.candidates, decision.effects, (), 0.02, confidence=0.9
    )
    low, high = decision.effects.criteria.limits
    tight_low, tight_high = sure.best.limited.criteria.limits
    assert np.all((tight_high <= high + 1e-12) | np.isnan(high))
    assert np.all((tight_low >= low - 1e-12) | np.isnan(low))
    decay = np.array([row.group == "decay" for row in decision.effects.criteria.rows])
    known = decay & ~np.isnan(high)
    assert np.all(tight_high[known] < high[known])
