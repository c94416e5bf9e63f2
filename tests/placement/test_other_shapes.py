"""Rooms of planes: their shape, and that pieces hang in them wherever there is a wall, and only
there. Checked against Shapely (GEOS), a general-purpose library for plane figures.
"""

from pathlib import Path

import numpy as np
import pytest
import shapely

from optimizer.faults import ScenarioError
from optimizer.placement.candidates import Candidate, candidates_at, find_candidates
from optimizer.project import Project, load_project
from optimizer.results.comparison_fit import misfit
from optimizer.results.words import place_in_words
from optimizer.room.geometry import box_shell, plane_from_corners
from optimizer.room.shell import RAY, facing_inwards, inside_many

HEIGHT = 2.5
# An L whose inner corner is at (3.4, 2.5), with a slanted wall at the end of its right arm, and a
# back wall that leans in, so that its corner with the left wall is sharper than a right angle.
OUTLINE = [(0.0, 0.0), (5.0, 0.0), (4.6, 2.5), (3.4, 2.5), (3.4, 3.2), (2.6, 4.0), (0.0, 4.0)]
WALLS = ("left", "back", "inner_right", "inner_back", "slant", "right", "front")
PRICES = """\
id,name,kind,width,height,depth,turn,mountings,gaps,materials,price,pack
wool,wool,panel,0.6,1.2,0.1,yes,wall ceiling,0,mineral_wool_100_wall,50,1
curtain,curtain,curtain,1.0,1.2,0.1,no,window,0.1,curtain_medium_half,40,1
corner,corner fill,corner,0.3,0.6,0.3,no,corner,0,corner_fill_300,50,1
"""
REST = """
[[areas]]
surface = "left"
kind = "window"
material = "double_glazing_10"
at = [2.6, 0.9]
size = [1.0, 1.2]
[[areas]]
surface = "inner_back"
kind = "door"
material = "door_hollow"
at = [0.0, 0.0]
size = [0.6, 2.0]
[[speakers]]
name = "a"
at = [0.6, 1.4, 1.2]
[[speakers]]
name = "b"
at = [0.6, 2.6, 1.2]
[[seats]]
name = "mix"
at = [1.7, 2.0, 1.2]
[budget]
amount = 300
catalogue = "prices.csv"
[limits]
grid = 0.4
"""


def planes(outline: list[tuple[float, float]], upset: bool) -> dict[str, list[tuple[float, ...]]]:
    """Corners of each surface; `upset` gives every other one in the opposite sense."""
    ring = [*outline, outline[0]]
    found: dict[str, list[tuple[float, ...]]] = {
        name: [(*a, 0.0), (*b, 0.0), (*b, HEIGHT), (*a, HEIGHT)]
        for name, a, b in zip(WALLS, ring, ring[1:], strict=False)
    }
    found["floor"] = [(*a, 0.0) for a in outline]
    found["ceiling"] = [(*a, HEIGHT) for a in outline]
    turned = list(found)[::2] if upset else []
    return {name: c[::-1] if name in turned else c for name, c in found.items()}


def project_of(folder: Path, upset: bool = False, rest: str = REST) -> Project:
    shell = planes(OUTLINE, upset)
    rows = [
        f'[[room.planes]]\nname = "{name}"\ncorners = {[list(c) for c in corners]}\n'
        for name, corners in shell.items()
    ]
    made = "".join(f'{name} = "plaster_on_masonry"\n' for name in shell)
    text = f'title = "L"\n[room]\n{"".join(rows)}[surfaces]\n{made}{rest}'
    (folder / "prices.csv").write_text(PRICES)
    (folder / "room.toml").write_text(text)
    return load_project(folder / "room.toml")


@pytest.fixture(scope="module", params=[False, True], ids=["in_order", "upset"])
def project(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Project:
    return project_of(tmp_path_factory.mktemp("shape"), request.param)


@pytest.fixture(scope="module")
def found(project: Project) -> tuple[Candidate, ...]:
    return find_candidates(project.room, project.products, project.scenario.limits, {})


def test_the_shape_is_the_outline_s(project: Project) -> None:
    room, outline = project.room, shapely.Polygon(OUTLINE)
    assert room.volume == pytest.approx(outline.area * HEIGHT, rel=1e-6)  # kept to a micrometre
    for name in WALLS:
        plane = room.surface(name).plane
        inside = plane.to_xyz(plane.polygon).mean(axis=0) + 1e-3 * plane.normal
        assert outline.contains(shapely.Point(inside[:2])), name
    assert room.dimensions is None
    with pytest.raises(KeyError):
        room.surface("roof")


@pytest.mark.parametrize(
    ("x", "y"), [(2.3, 2.4), (2.9, 2.6), (3.0, 2.2), (3.2, 1.5), (2.3, 3.1), (1.9, 3.0), (4.1, 1.4)]
)
def test_furniture_stands_within_the_outline(x: float, y: float, tmp_path: Path) -> None:
    """A cabinet of 0.9 x 0.9 m through a wall of the L is refused, as GEOS tells it."""
    stands = shapely.Polygon(OUTLINE).covers(shapely.box(x, y, x + 0.9, y + 0.9))
    cabinet = f'[[furniture]]\nkind = "cabinet"\nat = [{x}, {y}, 0]\nsize = [0.9, 0.9, 0.8]\n'
    if stands:
        assert len(project_of(tmp_path, rest=REST + cabinet).room.furniture) == 1
        return
    with pytest.raises(ScenarioError) as refused:
        project_of(tmp_path, rest=REST + cabinet)
    assert "through a wall or a slope" in str(refused.value)


def test_points_inside(project: Project) -> None:
    rng = np.random.default_rng(3)
    points = rng.uniform([-1, -1, -0.5], [6, 5, 3], (2000, 3))
    wanted = shapely.contains_xy(shapely.Polygon(OUTLINE), points[:, 0], points[:, 1])
    wanted &= (points[:, 2] > 0) & (points[:, 2] < HEIGHT)
    planes = [surface.plane for surface in project.room.surfaces]
    np.testing.assert_array_equal(inside_many(points, planes), wanted)


def test_points_inside_a_box_with_walls_along_the_ray() -> None:
    """The ray that is counted runs in four of its planes."""
    axes = np.linalg.qr(np.column_stack([RAY, np.eye(3)[:, :2]]))[0]
    points = np.random.default_rng(4).uniform(-0.5, 1.5, (500, 3))
    centre = axes @ np.array([0.5, 0.5, 0.5])
    sides = []
    for corners in box_shell(1.0, 1.0, 1.0).values():
        turned = corners @ axes.T
        sides.append(plane_from_corners(turned, centre - turned.mean(axis=0)))
    wanted = np.all((points > 0) & (points < 1), axis=1)
    np.testing.assert_array_equal(inside_many(points @ axes.T, sides), wanted)


def test_a_shell_in_any_sense_faces_inwards() -> None:
    shells = [
        {name: np.array(corners) for name, corners in planes(OUTLINE, upset).items()}
        for upset in (False, True)
    ]
    first, second = map(facing_inwards, shells)
    for name, plane in first.items():
        np.testing.assert_allclose(plane.normal, second[name].normal, atol=1e-12)


def test_pieces_hang_inside_and_on_every_wall(
    project: Project, found: tuple[Candidate, ...]
) -> None:
    outline = shapely.Polygon(OUTLINE).buffer(1e-6)
    pieces = [piece for candidate in found for piece in candidate.pieces]
    for piece in pieces:
        low, high = piece.box
        if piece.surface not in ("slant", "back"):  # whose pieces stand askew in their boxes
            assert outline.covers(shapely.box(*low[:2], *high[:2])), piece
        assert low[2] >= -1e-6
        assert high[2] <= HEIGHT + 1e-6
        assert misfit(project, piece) == ""
    hung = {piece.surface for piece in pieces if piece.product.id == "wool"}
    # Before the door in the inner back wall nothing may stand, and the rest of it is too narrow.
    assert hung == {*WALLS, "ceiling"} - {"inner_back"}
    assert {p.surface for p in pieces if p.product.id == "curtain"} == {"left"}
    assert {p.mounting for p in pieces if p.product.id == "curtain"} == {"window"}
    corners = {name for p in pieces if len(p.rects) > 1 for name, _ in p.rects}
    assert corners == {"left", "right", "front"}  # the walls that meet at right angles


def test_a_curtain_for_windows_hangs_before_one(
    project: Project, found: tuple[Candidate, ...]
) -> None:
    """And none of its places is without a window behind it."""
    window = shapely.box(2.6, 0.9, 3.6, 2.1)
    places = [p.rect for c in found for p in c.pieces if p.product.id == "curtain"]
    assert places
    assert all(shapely.box(*rect).intersection(window).area > 0 for rect in places)


def test_a_place_that_was_found_is_found_again(
    project: Project, found: tuple[Candidate, ...]
) -> None:
    """From the piece alone; corner fills are not looked for that way."""
    room, products, limits = project.room, project.products, project.scenario.limits
    for candidate in found[:: max(len(found) // 60, 1)]:
        again = candidates_at(room, products, limits, candidate.pieces[:1])
        corner = len(candidate.pieces[0].rects) > 1
        assert [c.pieces for c in again] == ([] if corner else [candidate.pieces])
    assert candidates_at(room, (), limits, found[0].pieces) == ()


def test_a_slanted_wall_has_no_mirror_image(found: tuple[Candidate, ...]) -> None:
    slanted = [c for c in found if any(p.surface == "slant" for p in c.pieces)]
    assert slanted
    assert not any(c.is_pair for c in slanted)
    assert any(c.is_pair for c in found)


def test_places_are_told_from_the_ends_of_a_wall(
    project: Project, found: tuple[Candidate, ...]
) -> None:
    """Walls with names of the person's own have no left wall to be measured from."""
    said = {
        piece.surface: place_in_words(piece, project.room)
        for candidate in found
        for piece in candidate.pieces
    }
    assert "left wall" in said["back"]
    assert "its front end" in said["inner_right"]
    assert "above the floor" in said["inner_right"]
