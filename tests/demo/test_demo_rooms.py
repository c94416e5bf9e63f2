"""The main job on each demo room, end to end, as a person runs it."""

import csv
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.cli import main
from optimizer.commands.plan_text import plan_in_words
from optimizer.order_price import order_prices
from optimizer.placement.neat import neatness
from optimizer.placement.pieces import Piece, treated
from optimizer.planning import Plan, build_decision, load_project, plan_decision
from optimizer.results.planfile import plan_as_dict, read_pieces
from optimizer.results.scorecard import room_card
from optimizer.room.geometry import boxes_overlap

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage")
KEYS = {
    "status", "objective", "bound", "gap", "seconds", "cut_off", "budget", "cost", "currency",
    "candidates", "pieces", "shopping", "score",
}  # fmt: skip
PIECE_KEYS = {
    "id", "product", "kind", "surface", "u_m", "v_m", "width_m", "height_m", "depth_m",
    "corners_m", "mounting", "price", "pair", "why",
}  # fmt: skip
SHOPPING_KEYS = {"product", "needed", "owned", "packs", "pack_size", "unit_price", "total"}
SCORE_KEYS = {
    "criterion", "where", "unit", "low", "high", "before", "after", "ok_before", "ok_after",
}  # fmt: skip


@pytest.fixture(scope="module", params=ROOMS)
def plan(request: pytest.FixtureRequest) -> Plan:
    """As `treatment plan` makes it."""
    made = plan_decision(load_project(SCENARIOS / f"{request.param}.toml"))
    plan = made.plan(made.rounds.best.selection, "full")
    return replace(plan, orders=order_prices(made, lambda text: None))


def laid(plan: Plan) -> list[Piece]:
    return [planned.piece for planned in plan.pieces]


def test_proven_within_one_percent_over_two_thousand_placements(plan: Plan) -> None:
    assert plan.candidates >= 2000
    assert plan.selection.status == "optimal"
    assert plan.selection.gap <= 0.01
    assert plan.selection.bound <= plan.selection.objective


@pytest.mark.parametrize("plan", ["spare_room"], indirect=True)
def test_readme_shows_what_this_program_prints(plan: Plan) -> None:
    """Every line of README's transcript, in order, but for how long the search took: pieces, costs,
    figures before and after, excess, objective, bound, gap and the plans judged."""
    readme = (SCENARIOS.parent / "README.md").read_text(encoding="utf-8")
    (shown,) = re.findall(r"```text\n\$ treatment plan [^\n]*\n(.*?)```", readme, flags=re.DOTALL)
    files = "plan/report.html, plan.json, report.md, shopping.csv"
    printed = iter(timeless(plan_in_words(plan, "m", "", files)).splitlines())
    for line in timeless(shown).splitlines():
        assert line == "..." or line in printed, f"README: {line}"
    for figure in ("objective", "bound", "Proven within", "plans;", "before,", "packs"):
        assert figure in shown, figure


def timeless(text: str) -> str:
    """A text without the time that a search took, which no two runs have alike."""
    return re.sub(r"Search: [0-9.]+ s", "Search: so many s", text)


def test_within_budget_and_counted_in_packs(plan: Plan) -> None:
    assert 0 < plan.cost_cents <= plan.project.budget_cents
    for line in plan.shopping:
        assert line.owned + line.packs * line.product.pack >= line.needed
        assert line.left_over < line.product.pack or line.packs == 0


def test_failing_criteria_that_money_can_mend_get_better(plan: Plan) -> None:
    """Money can mend what some allowed piece at some free place makes better by itself. Their sum
    decides, so one of them may give way to others, by next to nothing of what the plan gains."""
    decision = build_decision(plan.project)
    assert not decision.flipped  # so rows stand in the same order
    effects, criteria = decision.effects, plan.project.criteria
    now = criteria.excess(effects.base)
    best = criteria.excess(effects.base[:, None] + effects.change).min(axis=1)
    mendable = (now > 1e-9) & (best < now - 1e-9) & (criteria.weights > 0)
    assert mendable.any()
    scene = treated(plan.project.room, plan.project.scene, laid(plan))
    then = criteria.excess(criteria.quantities(scene))
    gain, better = criteria.weights * (now - then), []
    for k, row in enumerate(criteria.told_rows):
        mine = criteria.told_of == k
        if not mendable[mine].any():
            continue
        assert plan.card.rows[k].where == row.where
        assert gain[mine].sum() > -0.01 * gain.sum(), row.key
        better.append(gain[mine].sum() > 0)
        if better[-1] and mine.sum() == 1:  # else its worst part may stay as it is
            assert plan.card.rows[k].verdict in ("better", "now met"), row.key
    assert np.mean(better) >= 0.9
    assert plan.card.score_after < 0.75 * plan.card.score_before


def test_the_plan_is_orderly(plan: Plan) -> None:
    """The figures of the strictest level (room/layout.py), ours."""
    look = neatness(plan.project.room, laid(plan))
    assert plan.project.scenario.layout.level == "gallery"
    assert look.most_lines <= 2
    assert max(look.clouds.values(), default=0) <= 2
    assert look.floating == 0
    assert look.lowest_edge is None or look.lowest_edge >= 0.3 - 1e-9
    assert look.company_percent >= 80.0
    assert look.kinds <= 4


def test_pieces_do_not_meet_each_other_or_furniture(plan: Plan) -> None:
    boxes = np.array([piece.box for piece in laid(plan)])
    for index, box in enumerate(boxes):
        others = np.delete(boxes, index, axis=0)
        assert not boxes_overlap(others, box).any()
    for furniture in plan.project.room.furniture:
        assert not boxes_overlap(boxes, furniture.box).any(), furniture.name


def test_nothing_over_an_opening_but_a_curtain_over_a_window(plan: Plan) -> None:
    room = plan.project.room
    for piece in laid(plan):
        for name, rect in piece.rects:
            for area in room.surface(name).areas:
                if not area.blocks or (piece.product.kind, area.kind) == ("curtain", "window"):
                    continue
                wide = min(rect[2], area.rect[2]) - max(rect[0], area.rect[0])
                high = min(rect[3], area.rect[3]) - max(rect[1], area.rect[1])
                assert min(wide, high) <= 1e-6, (piece, area)


def test_pairs_are_mirrored_about_the_speakers_axis(plan: Plan) -> None:
    by_id = {planned.id: planned for planned in plan.pieces}
    for planned in plan.pieces:
        if planned.pair is None:
            continue
        twin = by_id[planned.pair]
        assert twin.pair == planned.id
        mirrored = 2 * plan.project.room.axis_y - planned.piece.box[:, 1]
        if "left" in planned.piece.surface or "right" in planned.piece.surface:
            continue  # the side walls need not lie evenly about the axis
        np.testing.assert_allclose(np.sort(mirrored), twin.piece.box[:, 1], atol=1e-5)


@pytest.mark.parametrize("plan", ["small_bedroom", "spare_room"], indirect=True)
def test_plan_file_keeps_its_contract_and_reads_back(plan: Plan, tmp_path: Path) -> None:
    data = json.loads(json.dumps(plan_as_dict(plan), allow_nan=False))
    assert data.keys() >= KEYS
    assert all(piece.keys() >= PIECE_KEYS for piece in data["pieces"])
    assert all(np.array(piece["corners_m"]).shape == (4, 3) for piece in data["pieces"])
    assert all(line.keys() >= SHOPPING_KEYS for line in data["shopping"])
    assert all(row.keys() >= SCORE_KEYS for row in data["score"])
    assert sum(line["total"] for line in data["shopping"]) == pytest.approx(data["cost"])
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(data))
    project = plan.project
    pieces = read_pieces(path, project.room, project.products)[::-1]  # any order is the same
    again = room_card(project, pieces)
    for row, kept in zip(again.rows, plan.card.rows, strict=True):
        assert row.as_dict() == {
            name: pytest.approx(value, rel=1e-9, abs=1e-9) if isinstance(value, float) else value
            for name, value in kept.as_dict().items()
        }
    assert again.score_after == pytest.approx(plan.card.score_after, rel=1e-9)


def test_the_commands_on_a_demo_room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    room, out = str(SCENARIOS / "small_bedroom.toml"), tmp_path / "plan"
    assert main(["plan", room, "--out", str(out), "--gap", "0.1", "--fast"]) == 0
    told = capsys.readouterr().out
    assert "Small bedroom" in told
    assert "Local codes" in told
    with (out / "shopping.csv").open(newline="") as file:
        lines = list(csv.DictReader(file))
    data = json.loads((out / "plan.json").read_text())
    assert float(lines[-1]["total"]) == pytest.approx(data["cost"])
    assert "## Where each piece goes" in (out / "report.md").read_text()
    assert main(["predict", room, "--with", str(out / "plan.json"), "--fast"]) == 0
    assert f"{data['score_after']:.3f}" in capsys.readouterr().out
    assert main(["materials", "curtain", "--sources"]) == 0
    assert "curtain_heavy_half" in capsys.readouterr().out
    assert main(["materials", "no-such-thing"]) == 1


def test_a_window_on_one_side_gets_the_same_curtain_on_both(plan: Plan) -> None:
    """Common practice, no source: a curtain over a side window wants its like opposite."""
    for planned in plan.pieces:
        if planned.piece.mounting == "window" and planned.piece.surface in ("left", "right"):
            assert planned.pair is not None
