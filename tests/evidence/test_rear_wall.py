"""The back wall of a soft room wants a diffuser, that of a hard room an absorber; with numbers.

The whole rooms, fully judged, are in rear_wall.md. Here only the tracer judges, and
in the hard rooms only the back wall may be treated, so that it is quick.
"""

import numpy as np
import pytest
from rear_wall import GAP, ROOT, SECONDS, WALL, Swap, on_wall, parts, restricted, sort_of, swap

from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.mode_criteria import highest_mode
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
    effects = restricted(decision.effects, kept)
    return Decision(decision.project, decision.flipped, found, effects)


def swapped(room: str, decision: Decision, gap: float) -> Swap:
    judges = (TraceJudge(highest_mode(decision.project.room.volume)),)
    rounds = plan_in_rounds(
        decision.project, decision.candidates, decision.effects, judges, gap, SECONDS
    )
    return swap(room, decision, rounds.best, judges)


@pytest.fixture(scope="module")
def soft() -> Swap:
    """The whole room, as what else is bought takes its share of the decay."""
    return swapped("living_room", decision_of("living_room"), 2 * GAP)


@pytest.fixture(scope="module", params=["spare_room", "garage"])
def hard(request: pytest.FixtureRequest) -> Swap:
    return swapped(str(request.param), only_back_wall(str(request.param)), GAP)


def test_a_soft_long_room_gets_diffusers(soft: Swap) -> None:
    assert soft.own
    assert {sort_of(piece) for piece in soft.own} == {"diffuser"}
    assert {piece.surface for piece in soft.own} == {WALL}


def test_its_back_wall_is_late_and_loud_and_then_is_not(soft: Swap) -> None:
    """Reflections beyond 15 ms, above -15 dB bare; the limit is ours, no standard gives one."""
    rows = [k for k, row in enumerate(soft.planned.criteria.rows) if row.group == "late"]
    bare = soft.without.values[rows]
    assert np.all(bare > -15.0)
    gained = bare - soft.planned.values[rows]
    assert np.all(gained > 2.0)
    assert parts(soft.planned).get("late", 0.0) < 0.2 * parts(soft.without)["late"]


def test_absorbers_for_the_same_money_make_it_too_dead(soft: Swap) -> None:
    assert {sort_of(piece) for piece in soft.other} == {"absorber"}
    assert soft.swapped.score > 1.02 * soft.planned.score
    dead = "decay, too short"
    assert parts(soft.swapped)[dead] > parts(soft.planned)[dead] + 0.005


def test_hard_rooms_get_absorbers(hard: Swap) -> None:
    assert hard.own
    assert {sort_of(piece) for piece in hard.own} == {"absorber"}


def test_diffusers_for_the_same_money_or_more_leave_them_too_live(hard: Swap) -> None:
    assert {sort_of(piece) for piece in hard.other} == {"diffuser"}
    assert hard.more >= hard.money
    assert hard.swapped.score > 1.02 * hard.planned.score
    assert parts(hard.swapped)["decay"] > parts(hard.planned)["decay"] + 0.005
