"""An earlier plan is found again whole in the room it is asked for, and kept unless a plan is
found that is better by more than a stated share.

Rooms, prices and plans are invented; what is asked of the command is the project's own requirement.
"""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tiny_rooms import tiny_project, with_budget

from optimizer.acoustics.low_response import low_response
from optimizer.cli import main
from optimizer.earlier_plan import Begun, begin_from, make_plan_from, read_earlier
from optimizer.faults import ScenarioError
from optimizer.placement.pieces import Piece
from optimizer.placement.plan import feasible
from optimizer.planning import Plan, build_decision, make_plan
from optimizer.project import Project
from optimizer.results.planfile import plan_as_dict, plan_as_json
from optimizer.room.layout import LayoutSection
from optimizer.room.model import Box
from optimizer.round_record import WORTH
from optimizer.rounds import plan_in_rounds

SEED = 3


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Project:
    return tiny_project(tmp_path_factory.mktemp("tiny"), SEED, 500.0, grid=0.6, products=3)


@pytest.fixture(scope="module")
def plan(project: Project) -> Plan:
    made = make_plan(project, 0.01, judging="none")
    assert len(made.pieces) > 4
    return made


def written(plan: Plan, folder: Path, keep: Sequence[int] | None = None) -> Path:
    """Its plan.json, with all pieces or only those of these indices, each for itself."""
    content = plan_as_dict(plan)
    if keep is not None:
        kept = [content["pieces"][i] for i in keep]
        content["pieces"] = [{**p, "id": str(n), "pair": None} for n, p in enumerate(kept)]
    path = folder / "plan.json"
    path.write_text(json.dumps(content))
    return path


def places(pieces: Sequence[Piece]) -> list[tuple[object, ...]]:
    return sorted((p.product.id, p.mounting, np.round(p.box, 3).tolist()) for p in pieces)


def begun(plan: Plan, project: Project, folder: Path, keep: Sequence[int] | None = None) -> Begun:
    return begin_from(read_earlier(written(plan, folder, keep), project), project)


def pieces_of(plan: Plan) -> list[Piece]:
    return [p.piece for p in plan.pieces]


def test_a_plan_is_found_again_whole(project: Project, plan: Plan, tmp_path: Path) -> None:
    found = begun(plan, project, tmp_path)
    assert found.missing == ()
    np.testing.assert_array_equal(np.sort(found.chosen), np.sort(plan.selection.chosen))


def test_in_either_handedness(project: Project, tmp_path: Path) -> None:
    flipped = []
    for hand in (project, project.mirrored()):
        made = make_plan(hand, 0.05, judging="none")
        found = begun(made, hand, tmp_path)
        flipped.append(found.decision.flipped)
        assert found.missing == ()
        again = make_plan_from(found, 0.05, judging="none")
        assert again.stays
        assert places(pieces_of(again.plan)) == places(pieces_of(made))
    assert sorted(flipped) == [False, True]


def test_places_off_the_usual_ones_are_offered_beside_them(
    project: Project, tmp_path: Path
) -> None:
    """On another grid most of the places are none of the usual ones, yet all of the plan hangs.

    Without order: places in lines do not depend on the grid.
    """
    project = project.with_layout(LayoutSection(level="free"))
    plan = make_plan(project, 0.05, judging="none")
    limits = project.scenario.limits.model_copy(update={"grid": 0.7})
    other = replace(project, scenario=replace(project.scenario, limits=limits))
    usual = len(build_decision(other).candidates)
    found = begun(plan, other, tmp_path)
    assert found.missing == ()
    chosen = [p for c in found.chosen for p in found.decision.candidates[c].pieces]
    assert len(chosen) == len(plan.pieces)
    assert feasible(found.decision.effects, found.chosen)
    assert found.chosen.max() >= usual
    # the program's table is that of the same places among the usual ones
    both = [
        begun(plan, p, tmp_path).decision.effects.quantities(b)
        for p, b in ((project, plan.selection.chosen), (other, found.chosen))
    ]
    np.testing.assert_allclose(both[0], both[1], rtol=1e-9)


def test_a_plan_no_worse_than_any_found_stays(project: Project, plan: Plan, tmp_path: Path) -> None:
    again = make_plan_from(begun(plan, project, tmp_path), 0.01, judging="none")
    assert again.stays
    assert places(pieces_of(again.plan)) == places(pieces_of(plan))
    assert "The earlier plan stays" in again.plan.rounds


def test_the_room_before_has_its_low_response_as_without_an_earlier_plan(
    project: Project, plan: Plan, tmp_path: Path
) -> None:
    """Both curves of the report's low-end picture; before treatment, that of the room alone."""
    again = make_plan_from(begun(plan, project, tmp_path), 0.05, 20.0, judging="fast").plan
    before, after = again.low
    assert before is not None
    assert after is not None
    alone = low_response(project.scene, project.room.dimensions)
    np.testing.assert_allclose(before.level_db, alone.level_db, rtol=1e-6, atol=1e-6)


def test_a_poor_plan_gives_way(project: Project, plan: Plan, tmp_path: Path) -> None:
    pair = [i for i, p in enumerate(plan.pieces) if p.pair in (None, plan.pieces[0].id)][:1]
    few = begun(plan, project, tmp_path, [0, *pair] if plan.pieces[0].pair else [0])
    again = make_plan_from(few, 0.02, 20.0, judging="none")
    assert not again.stays
    assert len(again.plan.pieces) > 2
    assert "better than the earlier plan by more than 1 %" in again.plan.rounds


@pytest.mark.parametrize(("share", "stays"), [(0.5, True), (2.0, False)])
def test_the_margin_is_a_share_of_the_earlier_score(
    project: Project, plan: Plan, tmp_path: Path, share: float, stays: bool
) -> None:
    """A plan better by half the margin does not replace the earlier one, one by twice it does."""
    assert pytest.approx(0.01) == WORTH
    found = begun(plan, project, tmp_path)
    decision = found.decision
    made = plan_in_rounds(
        decision.project, decision.candidates, decision.effects, (), 0.02, earlier=(found.chosen,)
    )
    old = replace(made.earlier[0], value=1.0)
    new = replace(made.rounds[0], value=1.0 - share * WORTH)
    best = replace(made, rounds=(new,), earlier=(old,)).best
    assert (best is old) == stays


def test_what_hangs_already_is_left_out(project: Project, plan: Plan, tmp_path: Path) -> None:
    first = plan.pieces[0]
    hang = [p.piece for p in plan.pieces if p.id == first.id or p.pair == first.id]
    path = written(plan, tmp_path)
    earlier = read_earlier(path, replace(project, hung=tuple(hang)))
    assert len(earlier.hung) == len(hang)
    assert len(earlier.pieces) == len(plan.pieces) - len(hang)
    with pytest.raises(ScenarioError, match="still to hang"):
        read_earlier(path, replace(project, hung=tuple(pieces_of(plan))))


def test_the_rest_is_begun_from_where_a_place_is_taken(
    project: Project, plan: Plan, tmp_path: Path
) -> None:
    lost = next(p for p in plan.pieces if p.pair is not None)
    gone = [p.piece for p in plan.pieces if lost.id in (p.id, p.pair)]
    clear = tuple(Box("cupboard", piece.box) for piece in gone)
    room = replace(project.room, keep_clear=(*project.room.keep_clear, *clear))
    found = begun(plan, replace(project, room=room), tmp_path)
    assert places(found.missing) == places(gone)
    kept = [p for c in found.chosen for p in found.decision.candidates[c].pieces]
    assert len(kept) == len(plan.pieces) - len(gone)


def test_two_pieces_at_one_place_are_not_both_begun_from(
    project: Project, plan: Plan, tmp_path: Path
) -> None:
    found = begun(plan, project, tmp_path, [*range(len(plan.pieces)), 0])
    assert len(found.missing) == 1
    assert feasible(found.decision.effects, found.chosen)


def test_a_plan_that_costs_more_than_there_is_is_refused(
    project: Project, plan: Plan, tmp_path: Path
) -> None:
    with pytest.raises(ScenarioError, match="higher --budget"):
        begun(plan, with_budget(project, plan.cost_cents / 200), tmp_path)


def test_the_command_says_what_became_of_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the quick models only, to save time."""
    monkeypatch.setattr(Project, "judges", lambda self, judging="full": ())
    small = tiny_project(tmp_path, 1)
    earlier = tmp_path / "plan.json"
    earlier.write_text(plan_as_json(make_plan(small, 0.02, judging="none")))
    words = ["plan", str(small.scenario.path), "--out", str(tmp_path / "out"), "--fast"]
    assert main([*words, "--earlier", str(earlier)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert f"The earlier plan ({earlier}) " in told
    assert ("stays: no plan better by" in told) != ("gives way: the one above is" in told)
    assert "earlier plan" in (tmp_path / "out" / "report.html").read_text()
