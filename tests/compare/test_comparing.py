"""Variants side by side: what common practice expects, what no longer fits, what is written.

The directions asserted on the demo rooms are common practice, no source: a couch takes bass and
mids, corner fills act on bass first, a curtain opposite a curtain mends symmetry.
"""

import argparse
import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cases import PIECE
from test_bad_variants import lay_out
from variant_cases import COUCH

from optimizer.acoustics.assessment import Assessment
from optimizer.commands import compare as command
from optimizer.placement.candidates import find_candidates
from optimizer.placement.pieces import flat_piece
from optimizer.placement.zones import Spots, zones_of
from optimizer.project import Project, load_project
from optimizer.results.comparison import Column, ComparedRow, compare, judged_column
from optimizer.results.comparison_fit import misfit
from optimizer.results.model import PlannedPiece

SCENARIOS = Path(__file__).parents[2] / "scenarios"
LOW = ("63 Hz", "125 Hz", "250 Hz")


def run(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    parsed = parser.parse_args(["compare", *arguments])
    return int(parsed.run(parsed))


def bare(room: str, *names: str) -> dict[tuple[str, str], list[float]]:
    """Values of every criterion in each variant, without treatment."""
    columns = [
        judged_column(name, load_project(SCENARIOS / f"{room}.toml", variants=[name]), ())
        for name in names
    ]
    return {
        (row.criterion, row.where): [c.row.after for c in row.cells if c is not None]
        for row in compare(columns).rows
        if all(row.cells)
    }


def from_behind(columns: list[Column]) -> dict[str, list[float]]:
    """Levels in dB of reflections off the back wall; -inf where the path is cut off."""
    return {
        f"{row.criterion} {row.where}": [-np.inf if c is None else c.row.after for c in row.cells]
        for row in compare(columns).rows
        if row.unit == "dB" and row.where.endswith("via back")
    }


def test_a_couch_at_the_back_lowers_low_decay() -> None:
    values = bare("spare_room", "base", "couch")
    for band in LOW:
        base, couch = values["decay", band]
        assert couch < 0.99 * base, band


@pytest.mark.parametrize(("height", "lower"), [(0.85, False), (1.40, True)])
def test_the_reflection_from_behind_falls_where_the_couch_reaches_it(
    height: float, lower: bool, tmp_path: Path
) -> None:
    """Ears and speakers are 1.2 m up, and so is the bounce on the wall: a couch of the usual height
    stays below it, a tall one takes it. (Rays: what a low couch cuts off around them is left out.)
    """
    for name in ("spare_room.toml", "spare_room_prices.csv"):
        text = (SCENARIOS / name).read_text(encoding="utf-8")
        (tmp_path / name).write_text(text.replace("0.88, 1.95, 0.85", f"0.88, 1.95, {height}"))
    path = tmp_path / "spare_room.toml"
    assert f"1.95, {height}" in path.read_text()
    found = from_behind([column(load_project(path, variants=[n])) for n in ("base", "couch")])
    to_mix = [levels for where, levels in found.items() if "to mix" in where]
    assert len(to_mix) == 2
    assert all(couch <= base for base, couch in found.values())
    assert all((couch < base - 1.0) == lower for base, couch in to_mix)


def test_a_high_couch_of_the_demo_room_takes_the_reflection_from_behind() -> None:
    values = bare("spare_room", "base", "high_couch")
    for band in LOW:
        base, couch = values["decay", band]
        assert couch < 0.99 * base, band
    room = SCENARIOS / "spare_room.toml"
    found = from_behind([column(load_project(room, variants=[n])) for n in ("base", "high_couch")])
    to_mix = [levels for where, levels in found.items() if "to mix" in where]
    assert len(to_mix) == 2
    assert all(couch < base - 1.0 for base, couch in to_mix)


def test_a_curtain_opposite_a_curtain_mends_symmetry() -> None:
    values = bare("small_bedroom", "base", "curtain_left", "curtain_left+curtain_right")
    pairs = [v for (group, where), v in values.items()
             if group == "pair balance" and "against" in where]  # fmt: skip
    assert len(pairs) == 2
    for _, left, both in pairs:
        assert abs(both) < 0.1 * abs(left)
    for band in ("500 Hz", "1 kHz", "2 kHz", "4 kHz"):
        base, left, both = values["side balance", band]
        assert abs(both) < 0.5 * abs(left), band
        assert abs(both - base) < 0.5 * abs(left - base), band


def test_corner_traps_only_in_one_command(tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run(str(SCENARIOS / "spare_room.toml"), "corner_traps_only", "--replan",
               "--out", str(out)) == 0  # fmt: skip
    told = json.loads((out / "comparison.json").read_text())
    plan = json.loads((out / "plan_corner_traps_only.json").read_text())
    assert {piece["mounting"] for piece in plan["pieces"]} == {"corner"}
    assert (out / "plan_base.json").exists()
    decay = {r["where"]: {n: v["value"] for n, v in r["values"].items()}
             for r in told["rows"] if r["criterion"] == "decay"}  # fmt: skip
    bass, mid = (decay[b]["corner_traps_only"] / decay[b]["base"] for b in ("63 Hz", "1 kHz"))
    assert bass < 1 < mid  # the mixed plan does less in the bass and more above it
    assert [c["planned_here"] for c in told["columns"]] == [True, True]


def planned(*pieces: dict[str, object]) -> str:
    numbered = [{"id": str(i + 1), "pair": None, **p} for i, p in enumerate(pieces)]
    return json.dumps({"pieces": numbered})


def test_pieces_that_no_longer_fit_are_told_and_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One panel in the narrow slot behind the couch, one clear of it; a budget of one panel is told
    as well."""
    poor = '\n[variants.poor]\nsays = "less money"\nbudget = 60\n'
    room = lay_out(tmp_path, (("room.toml", "+", COUCH + poor),))
    behind = {**PIECE, "surface": "back", "v_m": 0.1}
    clear = {**PIECE, "surface": "right", "v_m": 0.9}
    (tmp_path / "plan.json").write_text(planned(behind, clear))
    assert run(str(room), "couch", "poor", "--with", str(tmp_path / "plan.json"),
               "--out", str(tmp_path / "out")) == 0  # fmt: skip
    told = " ".join(capsys.readouterr().out.split())
    assert "couch: piece 1 (wool panel, back wall" in told
    assert "is left out: looks into a slot" in told
    assert "more than the budget of 60.00 EUR" in told
    content = json.loads((tmp_path / "out" / "comparison.json").read_text())
    base, couch, poor_column = content["columns"]
    assert (base["pieces"], base["left_out"]) == (["1", "2"], [])
    assert couch["pieces"] == ["2"]
    assert couch["left_out"][0]["id"] == "1"
    assert (base["cost"], couch["cost"], poor_column["budget"]) == (100.0, 50.0, 60)


def test_two_plans_side_by_side_as_tables(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    room = lay_out(tmp_path)
    for name, pieces in (("a", [PIECE]), ("b", [PIECE, {**PIECE, "u_m": 2.2}])):
        (tmp_path / name).mkdir()
        (tmp_path / name / "plan.json").write_text(planned(*pieces))
    plans = [part for n in "ab" for part in ("--with", str(tmp_path / n / "plan.json"))]
    assert run(str(room), *plans, "--out", str(tmp_path / "out")) == 0
    content = json.loads((tmp_path / "out" / "comparison.json").read_text())
    assert [c["name"] for c in content["columns"]] == ["a", "b"]
    with (tmp_path / "out" / "comparison.csv").open(newline="") as file:
        lines = list(csv.DictReader(file))
    assert len(lines) == len(content["rows"])
    decay = next(r for r in lines if (r["criterion"], r["where"]) == ("decay", "1 kHz"))
    assert float(decay["b value"]) < float(decay["a value"])
    assert decay["b change"] == "better"
    assert decay["a change"] == ""
    header = next(li for li in capsys.readouterr().out.splitlines() if li.startswith("criterion"))
    assert header.split()[-2:] == ["a", "b"]


def column(project: Project) -> Column:
    return judged_column("x", project, ())


def by_key(rows: tuple[ComparedRow, ...]) -> dict[tuple[str, str], ComparedRow]:
    return {(row.criterion, row.where): row for row in rows}


def test_the_same_room_twice_shows_no_difference() -> None:
    project = load_project(SCENARIOS / "garage.toml")
    assert not any(row.differs for row in compare([column(project), column(project)]).rows)


def test_a_fuller_model_is_asked_in_every_column(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a judge answers stands in the table; here an invented figure."""
    project = load_project(SCENARIOS / "garage.toml")
    answer = Assessment({"decay: 1 kHz": 0.777}, {"decay: 1 kHz": "invented"})
    quick = column(project)
    monkeypatch.setattr(Project, "judges", lambda self, judging: (lambda scene: answer,))
    columns = [column(project), quick]
    cells = by_key(compare(columns).rows)["decay", "1 kHz"].cells
    assert cells[0] is not None
    assert cells[0].row.after == pytest.approx(0.777)
    assert cells[0].row.model == "invented"
    assert cells[1] is not None
    assert cells[1].change == "worse"


def test_rows_that_one_room_lacks_stand_beside_their_like() -> None:
    """Without the desk its reflection is gone; the column has no figure there."""
    project = load_project(SCENARIOS / "spare_room.toml")
    furniture = tuple(f for f in project.room.furniture if f.kind != "desk")
    room = replace(project.room, furniture=furniture)
    without = Project(project.scenario, room, project.products)
    for order in ((project, without), (without, project)):
        rows = compare([column(p) for p in order]).rows
        desk = by_key(rows)["early", "left speaker to mix via top of desk"]
        assert [cell is None for cell in desk.cells] == [p is without for p in order]
        keys = [(row.criterion, row.where) for row in rows]
        after = keys.index(("early", "left speaker to mix via ceiling")) + 1
        assert keys[after] == (desk.criterion, desk.where)


def test_every_place_found_is_a_fit_and_blocked_places_are_told() -> None:
    """The rules asked piece by piece are those by which places are found.

    Places within 2 cm of being free or blocked are not asked about: pieces may stick out 5 mm.
    """
    project = load_project(SCENARIOS / "spare_room.toml")
    room, limits = project.room, project.scenario.limits
    found = find_candidates(room, project.usable_products, limits, {})
    for candidate in found[::5]:
        assert [misfit(project, piece) for piece in candidate.pieces] == [""] * len(
            candidate.pieces
        )
    product = next(p for p in project.usable_products if p.id == "panel_50_1200")
    zones, rng, asked = zones_of(room), np.random.default_rng(3), [0, 0]
    for index, surface in enumerate(room.surfaces):
        if not surface.is_wall:
            continue
        u1, v1 = surface.plane.bounds[2:]
        low = rng.uniform([0.03, 0.03], [u1 - 0.63, v1 - 1.23], (80, 2)).round(3)
        rect = np.concatenate([low, low + [0.6, 1.2]], axis=1)
        grown, shrunk = (rect + s * np.array([-1, -1, 1, 1]) for s in (0.02, -0.02))
        free, blocked = (
            zones.free(Spots(index, grown, 0.07)), ~zones.free(Spots(index, shrunk, 0.03))
        )  # fmt: skip
        for place, is_free, is_blocked in zip(rect.tolist(), free, blocked, strict=True):
            piece = flat_piece(room, product, 0, "wall", surface.name, tuple(place), False)
            if is_free or is_blocked:
                asked[int(is_blocked)] += 1
                assert bool(misfit(project, piece)) == is_blocked, (surface.name, place)
    assert min(asked) > 20


@pytest.mark.parametrize(
    ("variant", "surface", "mounting", "reason"),
    [
        ('only_mountings = ["ceiling"]', "front", "wall", "mounting on wall is not allowed"),
        ('ban_products = ["wool"]', "front", "wall", '"wool" is banned'),
        ('limits = { max_depth = "4 cm" }', "front", "wall", "stands out 0.05 m"),
        ('limits = { headroom = "2.48 m" }', "ceiling", "ceiling", "headroom"),
        ('limits = { fire_class = "A2-s1,d0" }', "front", "wall", ""),
        ('[[variants.x.add_areas]]\nsurface = "front"\nkind = "door"\nmaterial = "door_hollow"\n'
         "at = [0.9, 0.0]\nsize = [0.8, 2.0]", "front", "wall", "the way through the door"),
        ('[[variants.x.add_areas]]\nsurface = "front"\nkind = "switch"\nmaterial = "hard_wall"\n'
         "at = [1.2, 1.0]\nsize = [0.1, 0.1]", "front", "wall", "covers the switch"),
        ("move = { mix = [1.7, 1.6, 1.1] }", "front", "wall", ""),
        ("move = { L = [0.1, 1.2, 1.2] }", "front", "wall", 'in the way of "L"'),
    ],
)  # fmt: skip
def test_why_a_piece_does_not_fit(
    variant: str, surface: str, mounting: str, reason: str, tmp_path: Path
) -> None:
    text = f'\n[variants.x]\nsays = "x"\n{variant}\n'
    path = lay_out(tmp_path, (("room.toml", "+", text),))
    project = load_project(path, variants=["x"])
    product = next(p for p in project.products if p.id == "wool")
    piece = flat_piece(project.room, product, 0, mounting, surface, (1.0, 0.5, 1.6, 1.7), False)
    assert misfit(load_project(path), piece) == ""
    found = misfit(project, piece)
    assert reason in found
    assert bool(reason) == bool(found)
    judged = judged_column("x", project, [PlannedPiece("1", piece, None, "")])
    assert (len(judged.pieces), len(judged.left_out)) == ((0, 1) if reason else (1, 0))


def test_a_variant_changes_only_what_it_says(tmp_path: Path) -> None:
    text = (
        '\n[variants.x]\nsays = "x"\nbudget = 300\n'
        'surfaces = { floor = "carpet_6_foam_underlay" }\n'
        'move = { mix = ["1.9 m", 1.6, 1.2] }\nban_products = ["fill"]\n'
        "weights = { modes = 2.0 }\nlimits = { nothing_overhead = true }\n"
    )
    path = lay_out(tmp_path, (("room.toml", "+", text),))
    base, varied = load_project(path), load_project(path, variants=["x"])
    assert load_project(path, budget=77.0, variants=["x"]).budget_cents == 30000
    assert (base.budget_cents, varied.budget_cents) == (40000, 30000)
    assert varied.room.surface("floor").material.id == "carpet_6_foam_underlay"
    assert varied.room.surface("back").material == base.room.surface("back").material
    np.testing.assert_allclose(varied.room.seats[0].at, [1.9, 1.6, 1.2])
    np.testing.assert_allclose(varied.room.speakers[0].aim, [1.9, 1.6, 1.2])
    assert {p.id for p in base.usable_products} - {p.id for p in varied.usable_products} == {"fill"}
    assert "ceiling" not in varied.usable_products[0].mountings
    assert varied.scenario.weights.modes == 2.0
    assert varied.scenario.weights.decay == base.scenario.weights.decay
