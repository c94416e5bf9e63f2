"""Flutter between facing surfaces: quantities, effects, mirror images, an example by hand.

The criterion is the project's own (no standard gives one), so the checks are identities and sums
that can be done on paper.
"""

from dataclasses import replace

import numpy as np
import pytest

from optimizer.acoustics.flutter_criteria import FAINTEST, FlutterFamily, flutter_family
from optimizer.acoustics.scene import Patches, Scene, scene_of
from optimizer.bands import N_BANDS
from optimizer.placement.pieces import Piece, flat_piece, mirrored_piece, piece_patches
from optimizer.project import Project, load_project

ONES = np.ones(N_BANDS)
ROOM = """
title = "Flutter room (invented)"
[room]
length = 5.0
width = 4.0
height = 3.0
[surfaces]
front = "hard_wall"
back = "plywood_thin_cavity"
left = "gypsum_board_studs"
right = "plaster_on_masonry"
floor = "parquet_on_battens"
ceiling = "gypsum_board_studs"
[[areas]]
surface = "left"
kind = "window"
material = "glass_3_4"
at = [1.2, 0.9]
size = [1.1, 1.2]
[[areas]]
surface = "right"
kind = "door"
material = "door_hollow"
at = [2.0, 0.0]
size = [0.9, 2.0]
[[speakers]]
name = "left speaker"
at = [1.0, 1.3, 1.2]
[[speakers]]
name = "right speaker"
at = [1.0, 2.7, 1.2]
[[seats]]
name = "mix"
at = [2.4, 2.0, 1.2]
[budget]
amount = 100
catalogue = "prices.csv"
"""
PRICES = (
    "id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned\n"
    "wool,wool panel,panel,0.6,1.2,0.1,yes,wall ceiling,0,mineral_wool_100_wall,1,84.90,1,0\n"
    "block,stepped-block diffuser,diffuser,0.6,0.6,0.15,no,wall,0,diffuser_skyline,1,99,1,0\n"
    "rug,rug,rug,1.6,2.3,0.01,no,floor,0,rug_on_hard_floor,1,80,1,0\n"
)


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Project:
    folder = tmp_path_factory.mktemp("flutter")
    (folder / "prices.csv").write_text(PRICES)
    (folder / "room.toml").write_text(ROOM)
    return load_project(folder / "room.toml")


def family_of(scene: Scene, decay_s: float = 0.3) -> FlutterFamily:
    return flutter_family(scene, decay_s)


def laid(project: Project) -> list[Piece]:
    """Pieces on glass, on a door, half off a zone, on the ceiling, on the floor."""
    wool, block, rug = project.products
    places = (
        (wool, "wall", "left", 1.0, 0.8), (wool, "wall", "right", 1.6, 0.9),
        (block, "wall", "back", 1.7, 0.9), (block, "wall", "left", 2.6, 0.3),
        (wool, "ceiling", "ceiling", 0.4, 1.5), (rug, "floor", "floor", 1.0, 0.8),
    )  # fmt: skip
    return [
        flat_piece(
            project.room, product, 0, mounting, surface,
            (u, v, u + product.width, v + product.height), False,
        )
        for product, mounting, surface, u, v in places
    ]  # fmt: skip


def patches_of(project: Project, pieces: list[Piece]) -> Patches:
    return piece_patches(project.room, pieces)[0]


def test_a_box_has_three_pairs_of_facing_surfaces(project: Project) -> None:
    rows = family_of(project.scene).rows
    assert [row.where for row in rows] == [
        "between front and back", "between left and right", "between floor and ceiling",
    ]  # fmt: skip


def test_limit_keeps_pace_with_the_decay(project: Project) -> None:
    """Walls d apart are passed c / 2d times a second: 60 dB in T is 60 * 2 d / (c T) a round."""
    rows = family_of(project.scene, decay_s=0.3).rows
    for row, apart in zip(rows, (5.0, 4.0, 3.0), strict=True):
        assert row.low == pytest.approx(60 * 2 * apart / (343.0 * 0.3), rel=1e-12)


def test_effects_are_linear_and_equal_to_re_evaluation(project: Project) -> None:
    scene = project.scene
    family, patches = family_of(scene), patches_of(project, laid(project))
    base, effects = family.quantities(scene), family.effects(scene, patches)
    assert np.abs(effects).max(axis=0).min() > 1e-3  # every piece does something
    for index in range(len(patches)):
        alone = scene.with_pieces(patches.take(np.array([index])))
        np.testing.assert_allclose(family.quantities(alone) - base, effects[:, index], rtol=1e-9,
                                   atol=1e-12)  # fmt: skip
    together = family.quantities(scene.with_pieces(patches))
    np.testing.assert_allclose(together, base + effects.sum(axis=1), rtol=1e-12)


def test_a_patch_like_what_it_covers_changes_nothing(project: Project) -> None:
    """Glass over the glass of the window, wall over wall: the quantity stays."""
    scene = project.scene
    family = family_of(scene)
    tiles = scene.tiles.take(np.flatnonzero(scene.tiles.surface == scene.names.index("left")))
    np.testing.assert_allclose(family.effects(scene, tiles), 0.0, atol=1e-12)


def test_mirrored_room_gives_mirrored_rows(project: Project) -> None:
    image = project.mirrored()
    pieces = laid(project)
    turned = [mirrored_piece(piece, project.room, image.room) for piece in pieces]
    scenes = (
        project.scene.with_pieces(patches_of(project, pieces)),
        image.scene.with_pieces(piece_patches(image.room, turned)[0]),
    )
    families = [family_of(scene) for scene in scenes]
    assert [row.low for row in families[0].rows] == pytest.approx(
        [row.low for row in families[1].rows], rel=1e-12
    )
    found = [f.quantities(s) for f, s in zip(families, scenes, strict=True)]
    np.testing.assert_allclose(found[0], found[1], rtol=1e-9)
    bare = [f.quantities(s.with_pieces(Patches.none()))
            for f, s in zip(families, scenes, strict=True)]  # fmt: skip
    np.testing.assert_allclose(bare[0], bare[1], rtol=1e-9)
    assert np.all(found[0] < bare[0])


def two_bare_walls(project: Project) -> tuple[Scene, FlutterFamily]:
    """All surfaces with a coefficient of 0.1 and a scattering of 0.1, nothing on them."""
    scene = scene_of(project.room)
    bare = replace(
        scene,
        base_alpha=np.full_like(scene.base_alpha, 0.1),
        base_scatter=np.full_like(scene.base_scatter, 0.1),
        tiles=Patches.none(),
    )
    return bare, family_of(bare)


def test_two_bare_walls_and_a_panel_over_half_a_zone_by_hand(project: Project) -> None:
    """Each wall sends on 0.9 * 0.9 = 0.81: -20 lg 0.81 = 1.83 dB a round trip.

    A panel of coefficient 0.8 and scattering 0.1 over half the zone of one wall: that zone sends
    on (0.81 + 0.2 * 0.9) / 2 = 0.495, the mean of both is 0.6525, 3.71 dB.
    """
    scene, family = two_bare_walls(project)
    np.testing.assert_allclose(family.quantities(scene), 0.81, rtol=1e-12)
    np.testing.assert_allclose(family.values(np.full(3, 0.81)), 1.8303, rtol=1e-4)
    row = [r.where for r in family.rows].index("between left and right")
    u0, v0, u1, v1 = family.zone[row, 0]
    half = np.array([[u0, v0, 0.5 * (u0 + u1), v1]])
    panel = Patches(
        surface=family.surface[row, :1],
        rect=half,
        alpha=0.8 * ONES[None],
        scatter=0.1 * ONES[None],
        face=np.prod(half[:, 2:] - half[:, :2], axis=1),
        offset=np.zeros(1),
        hides=ONES[None],
    )
    after = family.quantities(scene.with_pieces(panel))
    assert after[row] == pytest.approx(0.6525, rel=1e-12)
    assert family.values(after)[row] == pytest.approx(3.7083, rel=1e-4)
    np.testing.assert_allclose(np.delete(after, row), 0.81, rtol=1e-12)


def test_a_diffuser_that_scatters_all_counts_like_an_absorber_that_absorbs_all(
    project: Project,
) -> None:
    scene, family = two_bare_walls(project)
    patches = patches_of(project, laid(project)[:1])
    soft = replace(patches, alpha=ONES[None], scatter=0.1 * ONES[None])
    rough = replace(patches, alpha=0.1 * ONES[None], scatter=ONES[None])
    found = [family.effects(scene, p) for p in (soft, rough)]
    np.testing.assert_allclose(found[0], found[1], rtol=1e-12)


def test_loss_is_never_more_than_the_product_of_both_shares(project: Project) -> None:
    """A round trip sends on the product of both shares; the arithmetic mean is never below their
    geometric mean, so the loss told is never above that of the product."""
    scene, family = two_bare_walls(project)
    one, other = np.meshgrid(np.linspace(FAINTEST, 1, 40), np.linspace(FAINTEST, 1, 40))
    told = family.values(0.5 * (one + other).ravel())
    assert np.all(told <= -10 * np.log10(one * other).ravel() + 1e-9)


def test_tangents_touch_the_excess_and_never_exceed_it(project: Project) -> None:
    family = family_of(project.scene)
    shares = np.linspace(0.0, 1.0, 101)
    for row in range(3):
        excess = family.excess(np.tile(shares, (3, 1)))[row]
        for slope, intercept in family.tangents(row, 0.0, 1.0):
            line = slope * shares + intercept
            assert np.all(line <= excess + 1e-12)
            assert np.any(np.isclose(line, excess) & (excess > 0))


def test_splayed_walls_do_not_flutter(project: Project) -> None:
    """Common practice, no source: walls more than about five degrees out of parallel."""
    scene = project.scene
    assert len(family_of(scene).rows) == 3
    planes = list(scene.planes)
    index = scene.names.index("right")
    angle = np.radians(8.0)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0.0], [np.sin(angle), np.cos(angle), 0.0],
                     [0.0, 0.0, 1.0]])  # fmt: skip
    plane = planes[index]
    planes[index] = replace(plane, u=turn @ plane.u, v=turn @ plane.v, normal=turn @ plane.normal)
    wheres = [row.where for row in family_of(replace(scene, planes=tuple(planes))).rows]
    assert "between left and right" not in wheres
    assert len(wheres) == 2
