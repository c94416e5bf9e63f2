"""The back wall of a soft room and of hard ones: absorbers or diffusers, with numbers.

The whole rooms, fully judged, are in rear_wall.md. Here only the tracer judges, and
in the hard rooms only the back wall may be treated, so that it is quick.
"""

from dataclasses import replace

import numpy as np
import pytest
from rear_wall import GAP, ROOT, SECONDS, Swap, on_wall, parts, sort_of, swap

from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.judged import Judged
from optimizer.acoustics.mode_criteria import highest_mode
from optimizer.placement.stages import remaining
from optimizer.planning import Decision, build_decision
from optimizer.project import load_project
from optimizer.rounds import plan_in_rounds

MONEY = 40000  # cents


def decision_of(room: str) -> Decision:
    return build_decision(load_project(ROOT / "scenarios" / f"{room}.toml"))


def only_back_wall(room: str) -> Decision:
    """The decision with other money and only the back wall to hang things on."""
    project = load_project(ROOT / "scenarios" / f"{room}.toml").with_budget(MONEY)
    decision = build_decision(project)
    kept = on_wall(decision)
    found = tuple(c for c, k in zip(decision.candidates, kept, strict=True) if k)
    effects, _ = remaining(decision.effects, np.zeros(0, dtype=np.int64), kept)
    return Decision(decision.project, decision.flipped, found, effects)


def swapped(room: str, decision: Decision, gap: float) -> Swap:
    judges = (TraceJudge(highest_mode(decision.project.room.volume)),)
    rounds = plan_in_rounds(
        decision.project, decision.candidates, decision.effects, judges, gap, SECONDS
    )
    decision = replace(decision, candidates=rounds.candidates, effects=rounds.effects)
    return swap(room, decision, rounds.best, judges)


@pytest.fixture(scope="module")
def soft() -> Swap:
    """The whole room, as what else is bought takes its share of the decay."""
    return swapped("living_room", decision_of("living_room"), 2 * GAP)


@pytest.fixture(scope="module", params=["spare_room", "garage"])
def hard(request: pytest.FixtureRequest) -> Swap:
    return swapped(str(request.param), only_back_wall(str(request.param)), GAP)


def late(found: Judged) -> float:
    return parts(found).get("late", 0.0)


def dead(found: Judged) -> float:
    return parts(found).get("decay, too short", 0.0)


def test_the_soft_rooms_back_wall_is_late_and_loud_and_then_is_not(soft: Swap) -> None:
    """Reflections beyond 15 ms, above -15 dB bare; the limit is ours, no standard gives one."""
    rows = [k for k, row in enumerate(soft.planned.criteria.rows) if row.group == "late"]
    assert np.all(soft.without.values[rows] > -15.0)
    assert np.all(soft.without.values[rows] - soft.planned.values[rows] > 1.0)
    assert late(soft.planned) < 0.2 * late(soft.without)


def test_diffusers_there_keep_it_less_dead_but_louder(soft: Swap) -> None:
    """What they scatter goes on in the room and to the seats; what absorbers take does neither."""
    absorbers, diffusers = (soft.only[sort] for sort in ("absorber", "diffuser"))
    assert {sort_of(piece) for piece in soft.hung["absorber"]} == {"absorber"}
    assert {sort_of(piece) for piece in soft.hung["diffuser"]} == {"diffuser"}
    assert late(diffusers) < 0.6 * late(soft.without)
    assert dead(absorbers) > dead(diffusers)
    assert late(absorbers) < late(diffusers)


def test_neither_alone_is_better_than_the_plan(soft: Swap) -> None:
    for other in soft.only.values():
        assert other.score > 0.98 * soft.planned.score


def test_hard_rooms_get_absorbers(hard: Swap) -> None:
    assert hard.own
    assert {sort_of(piece) for piece in hard.own} == {"absorber"}


def test_diffusers_for_the_same_money_leave_them_too_live(hard: Swap) -> None:
    absorbers, diffusers = (hard.only[sort] for sort in ("absorber", "diffuser"))
    assert diffusers.score > 1.02 * absorbers.score
    assert parts(diffusers)["decay"] > parts(absorbers)["decay"] + 0.005
