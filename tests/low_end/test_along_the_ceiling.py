"""Fills along the edges of walls and ceiling: the physics of a stack that lies, and its places.

A run along an edge is a stack in a room that lies on its side: stacks are checked against finite
elements (tests/referee), and here the room turned must give the same to rounding.
"""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from materials import load_table
from optimizer.acoustics.low_response import damped_modes, low_response
from optimizer.acoustics.scene import Scene
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.bars import bars_of
from optimizer.placement.candidates import Candidate, find_candidates
from optimizer.placement.catalogue import Product, read_catalogue
from optimizer.placement.corners import corner_edge, leg_rect
from optimizer.placement.edges import MOUNTING, edge_piece, edge_runs
from optimizer.placement.holding import HOLDING
from optimizer.placement.pieces import Piece, corner_piece, mirrored_piece, treated
from optimizer.placement.zones import zones_of
from optimizer.project import Project, load_project
from optimizer.results.cautions import OVERHEAD, cautions
from optimizer.results.comparison_fit import misfit
from optimizer.results.planfile import read_pieces
from optimizer.results.shopping_overhead import overhead_rows
from optimizer.results.words import place_in_words

CATALOGUE = Path(__file__).parents[2] / "materials" / "catalogue.csv"
ROOM = """
title = "Room on its side (invented)"
[room]
length = {0}
width = {1}
height = {2}
[surfaces]
front = "plaster_on_masonry"
back = "plaster_on_masonry"
left = "plaster_on_masonry"
right = "plaster_on_masonry"
floor = "plaster_on_masonry"
ceiling = "plaster_on_masonry"
{more}
[[speakers]]
name = "left speaker"
at = {left}
[[speakers]]
name = "right speaker"
at = {right}
[[seats]]
name = "mix"
at = {seat}
[budget]
amount = 900
catalogue = "prices.csv"
[limits]
{limits}
"""
PRICES = (
    "id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned,"
    "weight_kg,fire_class,note,supplier,sundries,hole,load_kg\n"
    "anchor,anchor,fixing,,,,,,,,,1,1,0,,,invented,,,,\n"
    "line,safety line,safety_line,,,,,,,,,1,1,0,,,invented,,,,\n"
    "fill,corner fill,corner,400 mm,600 mm,400 mm,no,corner edge,0 mm,corner_fill_400,1,40,1,0,"
    "2.8,not stated,invented,,edge: anchor*2 line*1,,\n"
)
SIZE = (5.1, 3.9, 2.7)
POINTS = {"left": (0.9, 1.2, 1.1), "right": (0.9, 2.7, 1.1), "seat": (2.4, 1.95, 1.2)}
TURN = [1, 2, 0]  # y, z and x become x, y and z


def project(folder: Path, turned: bool = False, limits: str = "", more: str = "") -> Project:
    """The room; turned so that its x stands upright, its y and z lie."""
    folder.mkdir(exist_ok=True)
    points = {name: list(at) for name, at in POINTS.items()}
    if turned:  # places of its own; the scene gets those of the other room
        points = {"left": [0.9, 0.8, 1.2], "right": [0.9, 1.9, 1.2], "seat": [2.2, 1.35, 1.2]}
    size = [SIZE[a] for a in TURN] if turned else SIZE
    text = ROOM.format(*size, **points, limits=limits, more=more)
    (folder / "room.toml").write_text(text)
    (folder / "prices.csv").write_text(PRICES)
    return load_project(folder / "room.toml")


def fill(made: Project) -> Product:
    return next(p for p in made.products if p.id == "fill")


def run(made: Project, wall: str, starts: tuple[float, ...]) -> list[Piece]:
    room = made.room
    walls = room.surface(wall), room.surface("ceiling")
    return [edge_piece(room, fill(made), *walls, start) for start in starts]


def stack(made: Project, walls: tuple[str, str], lows: tuple[float, ...]) -> list[Piece]:
    first, second = (made.room.surface(name) for name in walls)
    ends, item = corner_edge(first, second), fill(made)
    assert ends is not None
    return [
        corner_piece(made.room, item, 0, (
            (first.name, leg_rect(first, ends[0], item.width, low, item.height)),
            (second.name, leg_rect(second, ends[1], item.width, low, item.height)),
        ))
        for low in lows
    ]  # fmt: skip


@pytest.fixture(scope="module")
def rooms(tmp_path_factory: pytest.TempPathFactory) -> tuple[Project, Project]:
    folder = tmp_path_factory.mktemp("turned")
    return project(folder / "as_it_is"), project(folder / "turned", turned=True)


@pytest.fixture(scope="module")
def scenes(rooms: tuple[Project, Project]) -> tuple[Scene, Scene]:
    """Runs along the left wall and (as two with a hole between) the right one; and the same as
    stacks: y is then x, z is y and x is z."""
    room, turned = rooms
    lying = [*run(room, "left", (0.0, 0.6)), *run(room, "right", (0.0, 1.8))]
    standing = [
        *stack(turned, ("front", "right"), (0.0, 0.6)),
        *stack(turned, ("back", "right"), (0.0, 1.8)),
    ]  # fmt: skip
    return (
        treated(room.room, room.scene, lying),
        replace(
            treated(turned.room, turned.scene, standing),
            speakers=room.scene.speakers[:, TURN], seats=room.scene.seats[:, TURN],
        ),
    )  # fmt: skip


def dimensions(made: Project) -> tuple[float, float, float]:
    found = made.room.dimensions
    assert found is not None
    return found


def test_a_run_damps_modes_as_a_stack_in_the_room_turned(
    rooms: tuple[Project, Project], scenes: tuple[Scene, Scene]
) -> None:
    lying, standing = (
        damped_modes(scene, dimensions(made), 140.0)
        for made, scene in zip(rooms, scenes, strict=True)
    )
    np.testing.assert_array_equal(lying.n[:, TURN], standing.n)
    np.testing.assert_allclose(lying.f_hz, standing.f_hz, rtol=1e-6)
    np.testing.assert_allclose(lying.delta, standing.delta, rtol=1e-4)
    bare = damped_modes(rooms[0].scene, dimensions(rooms[0]), 140.0)
    assert np.median(lying.delta / bare.delta[: len(lying.delta)]) > 1.1


def test_the_response_is_that_of_the_room_turned(
    rooms: tuple[Project, Project], scenes: tuple[Scene, Scene]
) -> None:
    heard = [
        low_response(scene, dimensions(made), 6).level_db
        for made, scene in zip(rooms, scenes, strict=True)
    ]
    np.testing.assert_allclose(heard[0], heard[1], atol=1e-3)


def test_first_order_effects_are_those_of_the_room_turned(
    rooms: tuple[Project, Project], scenes: tuple[Scene, Scene]
) -> None:
    found = []
    for made, scene, order in zip(rooms, scenes, (TURN, [0, 1, 2]), strict=True):
        family = next(f for f in made.criteria.families if hasattr(f, "modes"))
        added = family.effects(scene, scene.pieces).sum(axis=1)
        found.append(dict(zip(map(tuple, family.modes.n[:, order]), added, strict=True)))
    assert found[0].keys() == found[1].keys()
    for n, value in found[0].items():
        assert value == pytest.approx(found[1][n], rel=1e-6), n


def test_runs_are_unbroken_mirrored_and_within_the_room(rooms: tuple[Project, Project]) -> None:
    made = rooms[0]
    zones, limits = zones_of(made.room), made.scenario.limits
    found = list(edge_runs(zones, fill(made), limits))
    assert {p.surface for pieces, _ in found for p in pieces} == {
        "front-ceiling", "back-ceiling", "left-ceiling", "right-ceiling",
    }  # fmt: skip
    for pieces, grid in found:
        halves = [pieces[i : i + grid.count] for i in range(0, len(pieces), grid.count)]
        for half in halves:
            starts = [p.rect[0] for p in half]
            np.testing.assert_allclose(np.diff(starts), 0.6)
        image = {mirrored_piece(p, made.room, made.room).rects for p in halves[0]}
        assert image == {p.rects for p in halves[-1]}
        boxes = np.stack([p.box for p in pieces])
        assert np.all(boxes >= -1e-9)
        assert np.all(boxes[:, 1] <= np.array(SIZE) + 1e-9)
    assert len({tuple(sorted(p.rects for p in pieces)) for pieces, _ in found}) == len(found)


@pytest.mark.parametrize("limits", ["nothing_overhead = true", 'no_mountings = ["edge"]',
                                    "no_holes = true"])  # fmt: skip
def test_rules_on_mountings_bar_runs(tmp_path: Path, limits: str) -> None:
    made = project(tmp_path, limits=limits)
    candidates = find_candidates(
        made.room, made.usable_products, made.scenario.limits, {}
    )  # fmt: skip
    assert candidates, "stacks stay"
    assert all(p.mounting != MOUNTING for c in candidates for p in c.pieces)


def test_none_hangs_below_the_headroom_where_people_walk(tmp_path: Path) -> None:
    """Legs of 0.4 m under a ceiling of 2.7 m leave 2.3 m."""
    kept, barred = (
        list(edge_runs(zones_of(made.room), fill(made), made.scenario.limits))
        for made in (project(tmp_path / "a", limits="headroom = 2.2"),
                     project(tmp_path / "b", limits="headroom = 2.35"))
    )  # fmt: skip
    assert kept
    assert not barred


def test_none_where_a_window_or_a_shelf_is(tmp_path: Path) -> None:
    shelf = """
[[furniture]]
kind = "bookcase"
name = "shelf"
material = "bookcase_loaded"
at = [4.7, 0.0, 0.0]
size = [0.4, 3.9, 2.6]
"""
    made = project(tmp_path, more=shelf)
    found = list(edge_runs(zones_of(made.room), fill(made), made.scenario.limits))
    assert {p.surface for pieces, _ in found for p in pieces} == {
        "front-ceiling", "left-ceiling", "right-ceiling",
    }  # fmt: skip
    assert max(p.box[1, 0] for pieces, _ in found for p in pieces) <= 4.7 + 1e-9


def test_a_run_of_a_plan_is_read_as_written(rooms: tuple[Project, Project], tmp_path: Path) -> None:
    made = rooms[0]
    pieces = run(made, "back", (0.0, 0.6))
    entries = [
        {"product": "fill", "surface": "back-ceiling", "mounting": "edge", "turned": False,
         "gap_m": 0.0, "u_m": u, "v_m": 2.3, "width_m": 0.6, "height_m": 0.4}
        for u in (0.0, 0.6)
    ]  # fmt: skip
    file = tmp_path / "plan.json"
    file.write_text(json.dumps({"format": 1, "pieces": entries}))
    assert read_pieces(file, made.room, made.products) == pieces
    entries[0]["v_m"], entries[1]["surface"] = 1.0, "back-floor"
    file.write_text(json.dumps({"format": 1, "pieces": entries}))
    with pytest.raises(ScenarioError) as error:
        read_pieces(file, made.room, made.products)
    said = str(error.value)
    assert "begin at 2.3 m" in said
    assert "no such edge" in said


def test_a_run_that_hangs_already_is_read_from_the_room_file(tmp_path: Path) -> None:
    hung = """
[[hung]]
product = "fill"
surface = "left-ceiling"
at = [0.6, 2.3]
"""
    made = project(tmp_path, more=hung)
    assert list(made.hung) == run(made, "left", (0.6,))


def test_it_is_told_as_what_hangs_overhead(rooms: tuple[Project, Project]) -> None:
    """Common practice, no source: two fixings and a safety line each."""
    made = rooms[0]
    (piece,) = run(made, "left", (0.6,))
    words = place_in_words(piece, made.room)
    assert words == "edge of left wall and ceiling, across both, 0.60 m from the front wall"
    assert HOLDING[piece.mounting].hole
    assert set(OVERHEAD) <= set(cautions([piece]))
    assert overhead_rows([piece]) == [["corner fill", "1", "2.8 kg", "2.8 kg", "2", "1"]]


def test_the_shipped_list_has_fills_for_edges() -> None:
    faults: list[Fault] = []
    products = read_catalogue(CATALOGUE, load_table(), faults)
    assert not faults
    edged = [p for p in products if MOUNTING in p.mountings]
    assert len(edged) >= 2
    assert all(p.kind == "corner" for p in edged)


def test_the_rule_that_stops_a_run_is_named(tmp_path: Path) -> None:
    """A run below the headroom is barred by that rule, and no piece of a plan for that room."""
    free = project(tmp_path / "free", limits="headroom = 2.2")
    kept = project(tmp_path / "kept", limits="headroom = 2.35")
    runs = edge_runs(zones_of(free.room), fill(free), free.scenario.limits)
    found = [Candidate(pieces, grid) for pieces, grid in runs]
    bars = bars_of(kept.room, found, kept.scenario.limits)
    assert bars["headroom"].all()
    assert not bars_of(free.room, found, free.scenario.limits)["headroom"].any()
    piece = run(kept, "left", (0.0,))[0]
    assert "headroom" in misfit(kept, piece)
    assert not misfit(free, piece)
