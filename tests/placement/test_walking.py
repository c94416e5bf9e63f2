"""Headroom where people walk: what hangs low, or sticks out at the head, is barred there only.

ADA Standards 2010, 307.2 and 307.4: headroom of 2.03 m; objects whose lower edge is between 0.685
and 2.03 m above the floor stick out at most 0.10 m into a way. IRC R305.1: below 1.524 m a ceiling
leaves no floor area.
"""

from pathlib import Path

import numpy as np
import pytest
import shapely

from optimizer.placement.candidates import find_candidates
from optimizer.placement.pieces import Piece
from optimizer.placement.walking import walking_space
from optimizer.project import Project, load_project
from optimizer.results.comparison_fit import misfit

HEADROOM = 2.03
BED = """
[[furniture]]
kind = "bed"
material = "bed_single"
at = [2.2, 2.2, 0.0]
size = [2.0, 1.0, 0.4]
"""
# An attic 4.2 m long and 3.2 m wide: one slope from 1.0 m at the right wall to 2.5 m at 1.6 m.
ATTIC = """
title = "attic (invented)"
[room]
planes = [
 {{ name = "floor", corners = [[0,0,0],[4.2,0,0],[4.2,3.2,0],[0,3.2,0]] }},
 {{ name = "left", corners = [[0,0,0],[4.2,0,0],[4.2,0,2.5],[0,0,2.5]] }},
 {{ name = "right", corners = [[0,3.2,0],[4.2,3.2,0],[4.2,3.2,1.0],[0,3.2,1.0]] }},
 {{ name = "front", corners = [[0,0,0],[0,3.2,0],[0,3.2,1.0],[0,1.6,2.5],[0,0,2.5]] }},
 {{ name = "back", corners = [[4.2,0,0],[4.2,3.2,0],[4.2,3.2,1.0],[4.2,1.6,2.5],[4.2,0,2.5]] }},
 {{ name = "ceiling", corners = [[0,0,2.5],[4.2,0,2.5],[4.2,1.6,2.5],[0,1.6,2.5]] }},
 {{ name = "slope", corners = [[0,1.6,2.5],[4.2,1.6,2.5],[4.2,3.2,1.0],[0,3.2,1.0]] }},
]
[surfaces]
floor = "parquet_on_battens"
left = "gypsum_board_studs"
right = "gypsum_board_studs"
front = "gypsum_board_studs"
back = "gypsum_board_studs"
ceiling = "gypsum_board_studs"
slope = "gypsum_board_studs"
[[speakers]]
name = "L"
at = [0.5, 0.4, 1.1]
[[speakers]]
name = "R"
at = [0.5, 1.6, 1.1]
[[seats]]
name = "mix"
at = [1.5, 1.0, 1.1]
[budget]
amount = 400
catalogue = "prices.csv"
[limits]
headroom = 2.03
max_depth = 0.3
{}
"""
PRICES = """\
id,name,kind,width,height,depth,turn,mountings,gaps,materials,price,pack
thin,thin panel,panel,0.6,0.6,0.05,no,wall ceiling,0;0.05,\
mineral_wool_50_wall;mineral_wool_50_gap_50,40,1
deep,deep panel,panel,0.6,1.2,0.15,yes,wall,0,mineral_wool_150_wall,90,1
"""


def attic(folder: Path, more: str = "") -> Project:
    (folder / "attic.toml").write_text(ATTIC.format(more), encoding="utf-8")
    (folder / "prices.csv").write_text(PRICES, encoding="utf-8")
    return load_project(folder / "attic.toml")


def places(project: Project) -> list[Piece]:
    limits = project.scenario.limits
    found = find_candidates(project.room, project.usable_products, limits, {})
    return [piece for candidate in found for piece in candidate.pieces]


def test_a_slope_over_a_bed_takes_pieces_and_one_over_the_way_does_not(tmp_path: Path) -> None:
    bare = [p for p in places(attic(tmp_path)) if p.surface == "slope"]
    over_bed = [p for p in places(attic(tmp_path, BED)) if p.surface == "slope"]

    def low(pieces: list[Piece]) -> list[Piece]:
        return [p for p in pieces if p.box[0, 2] < 1.9 and p.box[0, 0] > 2.2]

    def upright(pieces: list[Piece]) -> list[Piece]:
        """Those over floor on which one stands: the slope is 1.524 m high at y = 2.64 m."""
        return [p for p in low(pieces) if p.box[0, 1] < 2.6]

    assert not upright(bare)
    assert upright(over_bed)
    assert all(p.box[0, 2] >= 0.4 + 0.95 - 1e-6 for p in low(over_bed) if p.box[0, 1] > 2.2)


def test_walking_space_leaves_out_furniture_narrow_strips_and_low_slopes(tmp_path: Path) -> None:
    floor = 4.2 * 3.2
    knee = 3.2 - (1.6 + (2.5 - 1.524) * 1.6 / 1.5)  # width of what lies under 1.524 m
    assert walking_space(attic(tmp_path).room).area == pytest.approx(floor - 4.2 * knee, rel=1e-6)
    bed_on_the_way = 2.0 * (3.2 - knee - 2.2)
    with_bed = walking_space(attic(tmp_path, BED).room).area
    assert with_bed == pytest.approx(floor - 4.2 * knee - bed_on_the_way, rel=1e-6)
    slot = '[[furniture]]\nkind = "cabinet"\nat = [1.0, 0.4, 0]\nsize = [2.0, 0.5, 1.8]\n'
    behind = walking_space(attic(tmp_path, slot).room).area
    assert behind == pytest.approx(floor - 4.2 * knee - 2.0 * 0.9, rel=1e-6)


def test_chairs_and_people_do_not_stop_the_way(tmp_path: Path) -> None:
    chair = '[[furniture]]\nkind = "chair"\nmaterial = "chair_upholstered"\n'
    chair += "at = [2.5, 0.5, 0]\nsize = [0.5, 0.5, 0.9]\n"
    bare = walking_space(attic(tmp_path).room).area
    assert walking_space(attic(tmp_path, chair).room).area == pytest.approx(bare, rel=1e-9)


def test_deep_pieces_stick_out_below_the_knee_or_over_furniture_only(tmp_path: Path) -> None:
    shelf = '[[furniture]]\nkind = "cabinet"\nat = [1.7, 0.0, 0]\nsize = [1.4, 0.5, 0.8]\n'
    deep = [p for p in places(attic(tmp_path, shelf)) if p.reach > 0.10 and p.surface == "left"]
    below = [p for p in deep if p.box[0, 2] <= 0.685]
    above = [p for p in deep if p.box[0, 2] > 0.685]
    assert below
    assert above
    for piece in above:
        assert piece.box[0, 0] >= 1.7 - 1e-3
        assert piece.box[1, 0] <= 3.1 + 1e-3
    thin = [p for p in places(attic(tmp_path, shelf)) if p.reach <= 0.10 and p.surface == "left"]
    assert any(p.box[0, 2] > 0.685 and p.box[0, 0] > 3.1 for p in thin)


def test_what_bars_a_place_is_said_of_a_piece_too(tmp_path: Path) -> None:
    project = attic(tmp_path)
    usable = places(project)
    assert all(misfit(project, piece) == "" for piece in usable)
    free = project.scenario.limits.model_copy(update={"headroom": 0.5, "head_depth": 1.0})
    found = find_candidates(project.room, project.usable_products, free, {})
    barred = {p for c in found for p in c.pieces} - set(usable)
    said = {misfit(project, piece) for piece in barred}
    assert any("headroom" in text for text in said)
    assert any("head height" in text for text in said)
    assert all(said)


def test_headroom_holds_over_all_that_is_walked_on(tmp_path: Path) -> None:
    """Corners of every piece overhead over walking space, against the standard's figure."""
    project = attic(tmp_path, BED)
    space = walking_space(project.room).buffer(-0.01)
    for piece in places(project):
        surface = project.room.surface(piece.surface)
        if not surface.is_ceiling:
            continue
        corners = np.concatenate([piece.face, [piece.face.mean(axis=0)]])
        for x, y, z in corners:
            over = space.covers(shapely.Point(x, y))
            assert z >= HEADROOM - 1e-6 or not over
