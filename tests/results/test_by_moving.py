"""Reflections that no product can mend: they inform, and the plan says what would."""

from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.project import Project, load_project
from optimizer.results.by_moving import by_moving
from optimizer.results.scorecard import ScoreCard, score_card

ROOM = Path(__file__).parents[2] / "scenarios" / "spare_room.toml"
MOVE = "Move the desk, the loudspeakers or the seat"


@pytest.fixture(scope="module")
def project() -> Project:
    return load_project(ROOM)


def card_of(project: Project) -> ScoreCard:
    return score_card(project.room, project.scene, project.criteria, [])


def test_reflections_by_a_desk_only_inform(project: Project) -> None:
    """Neither early ones nor their balance weigh in the score; the others share all the weight."""
    rows = project.criteria.rows
    for group in ("early", "pair balance"):
        mine = [row for row in rows if row.group == group]
        desk = [row for row in mine if "top of desk" in row.where]
        assert desk
        assert all(row.weight == 0 for row in desk)
        assert all(row.weight > 0 for row in mine if row not in desk)
    weights = project.scenario.weights
    for group, total in (("early", weights.early), ("pair balance", weights.pair_balance)):
        assert sum(r.weight for r in rows if r.group == group) == pytest.approx(total, rel=1e-12)


def test_the_plan_says_that_only_moving_helps(project: Project) -> None:
    card = card_of(project)
    told = by_moving(card)
    assert len(told) == 1
    assert MOVE in told[0]
    assert "left speaker to mix via top of desk, -8.4 dB" in told[0]
    assert "right speaker to mix via top of desk, -8.4 dB" in told[0]
    assert "at most -10.0 dB" in told[0]


def test_nothing_is_said_of_what_is_met_or_can_be_treated(project: Project) -> None:
    """With a desk out of the way: louder reflections by walls are left to the products."""
    room = project.room
    away = replace(room, furniture=tuple(f for f in room.furniture if f.kind != "desk"))
    card = card_of(replace(project, room=away))
    assert any(row.criterion == "early" and not row.ok_after for row in card.rows)
    assert by_moving(card) == []
