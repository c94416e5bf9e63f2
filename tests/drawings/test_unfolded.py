"""The unfolded room: every face once, at its true size, beside an edge it shares, nothing mirrored.

A fold keeps distances, and no face is turned over: what is drawn is held against the corners in
the room file, whose areas are taken by Newell's formula (Newell, Newell and Sancha, 1972).
"""

import re
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely
from reading import Read, overlaps, read
from rooms import (
    REST,
    box_text,
    corner_at,
    ell_with_slope,
    people,
    piece_at,
    plan_with,
    project_of,
    scattered,
)
from test_drawings import CASES, shown

from optimizer.drawings.schedule import numbers
from optimizer.drawings.style import Picture
from optimizer.drawings.unfolded import GAP, unfolded
from optimizer.results.model import Plan

NAMES = ("left speaker", "right speaker", "mix")
REPOSITORY = Path(__file__).parents[2]
Corners = list[tuple[float, float, float]]


def planes_text(faces: dict[str, Corners]) -> str:
    """A room file of planes."""
    rows = ""
    for name, corners in faces.items():
        written = ", ".join(f"[{x}, {y}, {z}]" for x, y, z in corners)
        rows += f'[[room.planes]]\nname = "{name}"\ncorners = [{written}]\n'
    surfaces = "".join(f'"{name}" = "gypsum_board_studs"\n' for name in faces)
    return (
        f'title = "a room of planes"\n[room]\ntemperature_c = 20\n{rows}[surfaces]\n{surfaces}'
        + people(0.6, 2.0, 1.6, 1.2, NAMES) + REST
    )  # fmt: skip


def attic_text() -> str:
    """4.4 x 3.2 m under a roof: knee walls of 0.9 m left and right, slopes, a level strip."""
    long, wide, knee, high, left, right = 4.4, 3.2, 0.9, 2.4, 1.1, 2.1
    gable = [(0.0, 0.0), (wide, 0.0), (wide, knee), (right, high), (left, high), (0.0, knee)]

    def strip(first: tuple[float, float], last: tuple[float, float]) -> Corners:
        return [(0, *first), (long, *first), (long, *last), (0, *last)]

    return planes_text({
        "floor": strip(gable[0], gable[1]), "right": strip(gable[1], gable[2]),
        "right slope": strip(gable[2], gable[3]), "ceiling": strip(gable[3], gable[4]),
        "left slope": strip(gable[4], gable[5]), "left": strip(gable[5], gable[0]),
        "front": [(0, y, z) for y, z in gable], "back": [(long, y, z) for y, z in gable],
    })  # fmt: skip


def bay_text() -> str:
    """A room with two oblique walls in its back, 2.4 m high."""
    plan = [(0.0, 0.0), (3.6, 0.0), (4.8, 0.9), (4.8, 2.6), (3.9, 3.4), (0.0, 3.4)]
    names = ("left", "left bay", "back", "right bay", "right", "front")
    faces = {"floor": [(x, y, 0.0) for x, y in plan], "ceiling": [(x, y, 2.4) for x, y in plan]}
    for name, (x0, y0), (x1, y1) in zip(names, plan, plan[1:] + plan[:1], strict=True):
        faces[name] = [(x0, y0, 0.0), (x1, y1, 0.0), (x1, y1, 2.4), (x0, y0, 2.4)]
    return planes_text(faces)


ROOMS = {"box": box_text(4.6, 3.4, 2.5), "attic": attic_text(), "L": ell_with_slope(),
         "bay": bay_text()}  # fmt: skip


@cache
def plan_of(room: str) -> Plan:
    """A piece on every face, and one in a corner."""
    text = ROOMS[room]
    pieces = [
        piece_at(text, "rug" if s.is_floor else "wool", s.name, 0.35, 0.3)
        for s in project_of(text).room.surfaces
    ]
    return plan_with(text, [*pieces, corner_at(text, "left", "front", 0.0)])


@cache
def picture_of(room: str) -> Picture:
    return unfolded(plan_of(room), "m" if room in ("box", "L") else "ft")


@pytest.fixture(params=ROOMS)
def room(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def drawn(room: str) -> Read:
    return read(picture_of(room))


def corners_of(room: str) -> dict[str, np.ndarray]:
    """Corners (K, 3) of each face, the order in which they are drawn."""
    surfaces = project_of(ROOMS[room]).room.surfaces
    return {s.name: s.plane.to_xyz(s.plane.polygon) for s in surfaces}


def face(drawn: Read, name: str, count: int) -> np.ndarray:
    """Corners (K, 2) of a face in metres of the room, by the scale that the drawing states."""
    found = drawn.points["face-" + name.replace(" ", "-")][:count]
    return found * drawn.denominator / 1000


def distances(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    return np.linalg.norm(first[:, None] - second[None], axis=-1)


def test_each_face_is_there_once_with_its_true_shape(room: str, drawn: Read) -> None:
    solid = corners_of(room)
    there = {name for name in drawn.points if name.startswith("face-")}
    assert there == {"face-" + name.replace(" ", "-") for name in solid}
    for name, corners in solid.items():
        flat = face(drawn, name, len(corners))
        assert distances(flat, flat) == pytest.approx(distances(corners, corners), abs=1e-3)
        newell = np.cross(corners, np.roll(corners, -1, axis=0)).sum(axis=0) / 2
        assert shapely.Polygon(flat).area == pytest.approx(np.linalg.norm(newell), rel=1e-3)


def test_no_face_is_turned_over(room: str, drawn: Read) -> None:
    """Seen from inside, corners run the way round that the inward normal tells."""
    for surface in project_of(ROOMS[room]).room.surfaces:
        corners = corners_of(room)[surface.name]
        newell = np.cross(corners, np.roll(corners, -1, axis=0)).sum(axis=0)
        x, y = face(drawn, surface.name, len(corners)).T
        signed = np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))
        assert np.sign(signed) == np.sign(newell @ surface.plane.normal), surface.name


def test_no_face_covers_another(room: str, drawn: Read) -> None:
    shapes = [shapely.Polygon(face(drawn, n, len(c))) for n, c in corners_of(room).items()]
    least = 0.5 * GAP * drawn.denominator / 1000
    assert all(a.distance(b) > least for a, b in combinations(shapes, 2))


def edges(count: int) -> list[tuple[int, int]]:
    """Corners at the ends of each edge, both ways round."""
    ways = [(i, (i + 1) % count) for i in range(count)]
    return ways + [(j, i) for i, j in ways]


def folds(room: str, drawn: Read, name: str) -> list[tuple[float, float]]:
    """Where a face lies opposite an edge it shares: mm away from it, and mm along it."""
    solid, found = corners_of(room), []
    here = face(drawn, name, len(solid[name]))
    for other in solid.keys() - {name}:
        there = face(drawn, other, len(solid[other]))
        for i, j in edges(len(here)):
            for k, m in edges(len(there)):
                same = np.abs(solid[name][[i, j]] - solid[other][[k, m]]).max() < 1e-4
                first, last = here[i] - there[k], here[j] - there[m]
                if same and np.abs(first - last).max() < 2e-3:
                    along = (here[j] - here[i]) / np.linalg.norm(here[j] - here[i])
                    slid = float(first @ along)
                    out = float(np.linalg.norm(first - slid * along))
                    found.append((1000 * out / drawn.denominator,
                                  1000 * abs(slid) / drawn.denominator))  # fmt: skip
    return found


def test_each_face_lies_beside_an_edge_it_shares(room: str, drawn: Read) -> None:
    """At the gap from it; only the two walls of the notch may have to give way to each other."""
    far = 0
    for name in corners_of(room).keys() - {"floor"}:
        found = folds(room, drawn, name)
        assert found, name
        out, slid = min(found)
        if abs(out - GAP) > 0.05 or slid > 0.05:
            assert name.startswith("notch"), name
            far += 1
    assert far <= (2 if room == "L" else 0)


def test_walls_stand_on_the_floor_and_the_floor_lies_as_in_the_plan(drawn: Read) -> None:
    floor, front, left = (drawn.box(f"face-{n}") for n in ("floor", "front", "left"))
    assert front[1] > floor[3] - 1e-6
    assert left[2] < floor[0] + 1e-6
    first, second = (drawn.box(f"speaker-{i}") for i in (1, 2))
    assert floor[0] < first[0] < second[0] < floor[2]


def test_pieces_lie_on_their_faces_where_the_plan_has_them(room: str, drawn: Read) -> None:
    """By the distances of their corners from those of the face."""
    solid, plan = corners_of(room), plan_of(room)
    surfaces = {s.name: s for s in plan.project.room.surfaces}
    for planned in plan.pieces:
        assert len(planned.piece.rects) == (2 if planned.piece.mounting == "corner" else 1)
        for part, (name, (u0, v0, u1, v1)) in enumerate(planned.piece.rects):
            uv = np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])
            corners = surfaces[name].plane.to_xyz(uv)
            told = f"piece-{planned.id}-{part + 1}" if part else f"piece-{planned.id}"
            flat = drawn.points[told][:4] * drawn.denominator / 1000
            outline = face(drawn, name, len(solid[name]))
            wanted = distances(corners, solid[name])
            assert distances(flat, outline) == pytest.approx(wanted, abs=1e-3)
            inner = shapely.Polygon(outline).buffer(2e-3)
            assert inner.contains(shapely.Polygon(flat)), told
            assert drawn.texts[told.replace("piece", "number")] == planned.id


def test_a_bounce_lies_where_the_mirror_law_says(drawn: Read) -> None:
    """Angle of incidence = angle of reflection (Allen and Berkley 1979), by the left wall."""
    drawn, solid = read(picture_of("box")), corners_of("box")["left"]
    place = project_of(ROOMS["box"]).room
    speaker, seat = place.speakers[0].at, place.seats[0].at
    share = speaker[1] / (speaker[1] + seat[1])
    bounce = speaker + share * (seat - speaker)
    bounce[1] = 0.0
    mark = drawn.points["bounce-1-1-left"] * drawn.denominator / 1000
    middle = ((mark.min(axis=0) + mark.max(axis=0)) / 2)[None]
    away = distances(middle, face(drawn, "left", 4))
    assert away == pytest.approx(distances(bounce[None], solid), abs=2e-2)


BUSY = box_text(7, 5.2, 3)
FULL = {
    **{case: lambda case=case: shown(case) for case in CASES},
    "40 pieces on the ceiling": lambda: plan_with(BUSY, scattered(BUSY, "ceiling", 40, 3)),
    **{room: lambda room=room: plan_of(room) for room in ROOMS},
}  # fmt: skip


@pytest.mark.parametrize(
    ("case", "units"), [(c, "m" if i % 2 else "ft") for i, c in enumerate(FULL)]
)
def test_labels_keep_apart_and_on_the_page(case: str, units: str) -> None:
    """184 mm is the text on A4 and Letter within the margins of the report."""
    picture = unfolded(FULL[case](), units)
    drawn = read(picture)
    assert overlaps(picture, -0.3) == []
    assert drawn.size[0] == pytest.approx(184.0, abs=0.01)
    assert drawn.size[1] <= 222.01
    for name, points in drawn.points.items():
        if name.startswith(("face-", "piece-")):
            assert points.min() > -0.1, name
            assert np.all(points.max(axis=0) < np.array(drawn.size) + 0.1), name


def test_numbers_are_told_in_runs() -> None:
    assert numbers(["2", "3", "4", "7", "8", "10", "a", "b"]) == "2 to 4, 7, 8, 10, a, b"
    assert numbers([]) == ""


def test_the_picture_of_the_repository_is_that_of_its_transcript() -> None:
    """As many pieces as README's run of the spare room says; DEVELOPERS.md has the command."""
    text = (REPOSITORY / "README.md").read_text(encoding="utf-8")
    said = re.search(r"^Spare room \(invented\): (\d+) pieces", text, re.MULTILINE)
    svg = (REPOSITORY / "scenarios" / "spare_room.svg").read_text(encoding="utf-8")
    assert said
    assert len(set(re.findall(r'id="number-(\d+)', svg))) == int(said[1])
    assert "(scenarios/spare_room.svg)" in text
