"""Dimensions read back from the drawings: every piece of a plan is at its place within 1 mm."""

import json
from dataclasses import replace

import numpy as np
import pytest
from reading import figures, length, read
from rooms import box_text, corner_at, ell_with_slope, piece_at, plan_with

from optimizer.drawings.ceiling import ceiling_plan
from optimizer.drawings.elevations import elevations
from optimizer.drawings.plan_view import plan_view
from optimizer.placement.pieces import mirrored_piece
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.planfile import plan_as_dict

MM = 1e-3
LENGTH, WIDTH, HEIGHT = 4.117, 3.233, 2.471
ROOM = box_text(LENGTH, WIDTH, HEIGHT)
# Which end of the wall, as seen from inside, its u is measured from in plan.json.
BEGINS = {"front": "left", "right": "left", "back": "right", "left": "right"}
SPANS = {"front": WIDTH, "back": WIDTH, "left": LENGTH, "right": LENGTH}
SIDES = {  # what you have on your left and right, facing each wall: worked out by hand
    "front": ("left wall", "right wall"), "back": ("right wall", "left wall"),
    "left": ("back wall", "front wall"), "right": ("front wall", "back wall"),
}  # fmt: skip
FACING = {"front": (0, 1), "back": (0, -1), "left": (-1, 0), "right": (1, 0)}  # on a plan, front up


def a_plan() -> Plan:
    """Pieces on every surface, mirrored pairs among them, and two in corners."""
    pieces = [
        piece_at(ROOM, "wool", "left", 0.731, 0.857), piece_at(ROOM, "wool", "right", 0.731, 0.857),
        piece_at(ROOM, "wool", "left", 1.313, 0.857), piece_at(ROOM, "wool", "right", 1.313, 0.857),
        piece_at(ROOM, "long", "left", 3.2, 1.7), piece_at(ROOM, "long", "left", 0.0, 0.0),
        piece_at(ROOM, "wool", "front", 0.2, 1.0),
        piece_at(ROOM, "wool", "front", round(WIDTH - 0.5, 6), 1.0),
        piece_at(ROOM, "long", "back", 0.333, 1.999), piece_at(ROOM, "wool", "back", 2.5, 0.123),
        piece_at(ROOM, "wool", "ceiling", 1.2, 0.5),
        piece_at(ROOM, "wool", "ceiling", 1.2, round(WIDTH - 0.9, 6)),
        piece_at(ROOM, "long", "ceiling", 3.777, 2.2),
        piece_at(ROOM, "rug", "floor", 2.9, 1.1),
        corner_at(ROOM, "front", "right", 0.0), corner_at(ROOM, "back", "left", 0.6),
    ]  # fmt: skip
    pairs = {"1": "2", "2": "1", "3": "4", "4": "3", "7": "8", "8": "7", "11": "12", "12": "11"}
    return plan_with(ROOM, pieces, pairs)


PLAN = a_plan()
ENTRIES = json.loads(json.dumps(plan_as_dict(PLAN)))["pieces"]


def on_wall(wall: str) -> dict[str, tuple[float, float, float, float]]:
    """u, v, width, height of the pieces of plan.json on a wall; of corner pieces their legs.

    The second leg of a corner piece is not in plan.json: it is as wide and stands as high.
    """
    found = {}
    for e in ENTRIES:
        if e["surface"] == wall or e["surface"].split("-")[0] == wall:
            found[e["id"]] = (e["u_m"], e["v_m"], e["width_m"], e["height_m"])
        elif e["surface"].endswith(f"-{wall}"):
            at_start = e["surface"].split("-")[0] in ("front", "left")
            u = 0.0 if at_start else SPANS[wall] - e["width_m"]
            found[e["id"]] = (u, e["v_m"], e["width_m"], e["height_m"])
    return found


def shown_pieces(names: list[str]) -> set[str]:
    return {n.removeprefix("piece-") for n in names if n.startswith("piece-")}


@pytest.fixture(scope="module", params=["m", "ft"])
def walls(request: pytest.FixtureRequest) -> dict[str, object]:
    pictures = elevations(PLAN, request.param)
    return {p.name.removeprefix("elevation_"): read(p) for p in pictures}


@pytest.mark.parametrize("wall", BEGINS)
def test_every_piece_is_drawn_at_its_place_on_its_wall(walls: dict, wall: str) -> None:
    drawn, wanted = walls[wall], on_wall(wall)
    assert shown_pieces(list(drawn.points)) == set(wanted)
    assert drawn.extent() == pytest.approx([SPANS[wall], HEIGHT], abs=MM)
    for name, (u, v, wide, high) in wanted.items():
        left = u if BEGINS[wall] == "left" else SPANS[wall] - u - wide
        expected = [left, v, left + wide, v + high]
        assert drawn.metres(f"piece-{name}") == pytest.approx(expected, abs=MM), name


@pytest.mark.parametrize("wall", BEGINS)
def test_dimensions_and_list_say_where_each_piece_is(walls: dict, wall: str) -> None:
    """Text gives the distance to the nearest corner and to the floor; none where it touches."""
    drawn = walls[wall]
    across, up = figures(drawn, "across"), figures(drawn, "up")
    for name, (u, v, wide, _) in on_wall(wall).items():
        nearest = min(u, SPANS[wall] - u - wide)
        assert across.get(name, 0.0) == pytest.approx(nearest, abs=MM)
        assert up.get(name, 0.0) == pytest.approx(v, abs=MM)
        corner, figure = drawn.texts[f"row-{name}-across"].split(" ", 1)
        at_begin = u <= SPANS[wall] - u - wide
        side = BEGINS[wall] if at_begin else {"left": "right", "right": "left"}[BEGINS[wall]]
        assert f"{corner} wall" == SIDES[wall][side == "right"]
        assert length(figure) == pytest.approx(nearest, abs=MM)
        assert length(drawn.texts[f"row-{name}-up"]) == pytest.approx(v, abs=MM)


@pytest.mark.parametrize("wall", BEGINS)
def test_nobody_hangs_the_mirror_image(walls: dict, wall: str) -> None:
    drawn = walls[wall]
    assert (drawn.texts["meets-left"], drawn.texts["meets-right"]) == SIDES[wall]
    assert drawn.texts["title"] == f"{wall.capitalize()} wall, seen from inside the room"
    note = f"{SIDES[wall][0]} on your left and {SIDES[wall][1]} on your right"
    assert note in drawn.texts["note-1"]
    begin, end = drawn.points["mark-viewer"][[0, -1]]
    assert (end - begin) / np.linalg.norm(end - begin) == pytest.approx(FACING[wall], abs=1e-6)


def test_mirrored_pairs_are_drawn_mirrored(walls: dict) -> None:
    left, right, front = (walls[w] for w in ("left", "right", "front"))
    for first, second in (("1", "2"), ("3", "4")):
        a, b = left.metres(f"piece-{first}"), right.metres(f"piece-{second}")
        assert [LENGTH - a[2], a[1], LENGTH - a[0], a[3]] == pytest.approx(b, abs=MM)
        assert figures(left, "across")[first] == figures(right, "across")[second]
    a, b = front.metres("piece-7"), front.metres("piece-8")
    assert [WIDTH - a[2], a[1], WIDTH - a[0], a[3]] == pytest.approx(b, abs=MM)
    assert left.texts["row-1-pair"] == "2"


def test_the_mirrored_room_gives_the_mirrored_drawings() -> None:
    image = PLAN.project.mirrored()
    pieces = tuple(
        PlannedPiece(p.id, mirrored_piece(p.piece, PLAN.project.room, image.room), p.pair, p.why)
        for p in PLAN.pieces
    )
    before = {p.name: read(p) for p in elevations(PLAN)}
    after = {p.name: read(p) for p in elevations(replace(PLAN, project=image, pieces=pieces))}
    pairs = (("left", "right"), ("right", "left"), ("front", "front"), ("back", "back"))
    for wall, twin in pairs:
        first, second = before[f"elevation_{wall}"], after[f"elevation_{twin}"]
        for name in shown_pieces(list(first.points)):
            x0, y0, x1, y1 = first.metres(f"piece-{name}")
            mirror = [SPANS[wall] - x1, y0, SPANS[wall] - x0, y1]
            assert second.metres(f"piece-{name}") == pytest.approx(mirror, abs=MM)


@pytest.mark.parametrize(("draw", "surface"), [(ceiling_plan, "ceiling"), (plan_view, "floor")])
@pytest.mark.parametrize("units", ["m", "ft"])
def test_level_pieces_are_where_they_belong_seen_from_above(draw, surface, units) -> None:
    """The front wall is at the top and left is left: x runs down the sheet, y to the right."""
    drawn = read(draw(PLAN, units))
    outline = "outline-ceiling" if surface == "ceiling" else "outline"
    drawn.points["outline"] = drawn.points[outline]
    assert drawn.extent() == pytest.approx([WIDTH, LENGTH], abs=MM)
    across, along = figures(drawn, "across"), figures(drawn, "up")
    entries = [e for e in ENTRIES if e["surface"] == surface]
    assert entries
    for e in entries:
        x, y, dx, dy = e["u_m"], e["v_m"], e["width_m"], e["height_m"]
        place = [y, LENGTH - x - dx, y + dy, LENGTH - x]
        assert drawn.metres(f"piece-{e['id']}") == pytest.approx(place, abs=MM)
        assert across[e["id"]] == pytest.approx(min(y, WIDTH - y - dy), abs=MM)
        assert along[e["id"]] == pytest.approx(min(x, LENGTH - x - dx), abs=MM)
        side, figure = drawn.texts[f"row-{e['id']}-across"].split(" ", 1)
        assert side == ("left" if y <= WIDTH - y - dy else "right")
        assert length(figure) == pytest.approx(min(y, WIDTH - y - dy), abs=MM)
        end, figure = drawn.texts[f"row-{e['id']}-up"].split(" ", 1)
        assert end == ("front" if x <= LENGTH - x - dx else "back")
        assert length(figure) == pytest.approx(min(x, LENGTH - x - dx), abs=MM)


def test_a_room_of_planes_is_measured_from_the_walls_beside_each_piece() -> None:
    """In the narrow part of the L-shape the side wall at y = 2.5 m is the nearest, not that at 4.

    Along a slope that rises 0.6 m in 2 m, a piece 0.5 m up stays 0.5 m from its lower edge.
    """
    text = ell_with_slope()
    rug = piece_at(text, "rug", "floor", 3.4, 1.5)  # y from 1.5 to 2.4 m
    beside = piece_at(text, "wool", "ceiling", 1.4, 1.9)  # of the ceiling that begins at x = 2 m
    sloped = piece_at(text, "wool", "slope", 1.0, 0.5)
    notch = piece_at(text, "wool", "notch side", 0.4, 0.3)
    plan = plan_with(text, [rug, beside, sloped, notch])
    assert figures(read(plan_view(plan)), "across")["1"] == pytest.approx(0.1, abs=MM)
    above = read(ceiling_plan(plan))
    assert figures(above, "across")["2"] == pytest.approx(0.2, abs=MM)
    assert "foreshortened-3" in above.points
    pictures = {p.name: read(p) for p in elevations(plan)}
    slope = pictures["elevation_slope"]
    assert slope.extent() == pytest.approx([4.0, np.hypot(2.0, 0.6)], abs=MM)
    assert figures(slope, "up")["3"] == pytest.approx(0.5, abs=MM)
    assert slope.metres("piece-3")[1] == pytest.approx(0.5, abs=MM)
    side = pictures["elevation_notch_side"]
    assert side.metres("piece-4")[1] == pytest.approx(0.3, abs=MM)
    assert figures(side, "up")["4"] == pytest.approx(0.3, abs=MM)
