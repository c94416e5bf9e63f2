"""Products made of a build instead of a row of the table: what they are worth, and their faults."""

from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from tiny_rooms import HEADER, room_text

from materials import load_table
from materials.build import Build
from materials.edges import laboratory_alpha
from materials.layers import AirGap, Porous
from materials.made import hung, packaged_builds
from materials.resonators import SealedResonator
from materials.table import DATA
from optimizer.acoustics.absorption import added_area
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.catalogue import Product, read_catalogue
from optimizer.placement.pieces import flat_piece, piece_patches
from optimizer.planning import build_decision
from optimizer.project import Project, load_project

BUILDS = packaged_builds()
PANEL = "made,made panel,panel,0.6,1.2,{depth},no,wall,{gap},{material},1,40,1,0\n"
OWN = (
    '[[layered]]\nkey = "mine"\nname = "my panel"\n'
    'layers = [{ kind = "porous", thickness = 0.06, flow_resistivity = 9000 }]\n'
)


@cache
def shipped() -> dict[str, Product]:
    faults: list[Fault] = []
    products = read_catalogue(DATA / "catalogue.csv", load_table(), faults)
    assert not faults
    return {product.id: product for product in products}


def layered(key: str) -> Build:
    build = BUILDS[key]
    assert isinstance(build, Build)
    return build


def listed(folder: Path, *rows: str) -> tuple[Sequence[Product], list[Fault]]:
    (folder / "prices.csv").write_text(HEADER + "".join(rows))
    faults: list[Fault] = []
    return read_catalogue(folder / "prices.csv", load_table(), faults), faults


def tiny(folder: Path, rows: str, extra: str = "") -> Project:
    """A tiny room with its own price list; `extra` goes to the top of the room file."""
    (folder / "prices.csv").write_text(HEADER + rows)
    text = room_text(np.random.default_rng(5), 200.0, 1.0)
    (folder / "room.toml").write_text(extra + text)
    return load_project(folder / "room.toml")


def test_a_self_made_panel_is_worth_what_its_build_would_show_in_a_laboratory() -> None:
    for fitting in shipped()["made_panel_100"].fittings:
        build = fitting.material.build
        assert isinstance(build, Build)
        assert build.depth == pytest.approx(0.1 + fitting.gap)
        np.testing.assert_allclose(fitting.material.absorption, laboratory_alpha(build))
        assert fitting.material.category == "porous"
        assert fitting.material.status == "modelled"
        assert fitting.material.scattering == (0.05,) * 8  # a flat face


def test_self_made_and_bought_panel_agree_within_what_is_known_of_both() -> None:
    """100 mm on the wall: the row merges the books named in materials/sources.csv.

    The build stands on 12 kPa s/m2 (ICA 2016, paper 490) with 40 % either way. Two standard
    deviations of the difference; in the bass the model takes an ideal diffuse field.
    """
    made = shipped()["made_panel_100"].fittings[0].material
    bought = load_table()["mineral_wool_100_wall"]
    off = np.abs(np.array(made.absorption) - bought.absorption)
    sigma = np.hypot(made.spread, bought.spread)
    assert (off < 2 * sigma).all(), off / sigma


def test_the_air_of_a_gap_counts_once() -> None:
    """Added behind a build as deep as the product, or already the last layer: the same."""
    cloth = layered("two_boards_cloth")
    assert hung(cloth, 0.1, 0.05).layers == hung(layered("two_boards_frame"), 0.1, 0.05).layers
    assert hung(cloth, 0.1, 0.0) is cloth


def test_a_box_keeps_its_own_back() -> None:
    box = layered("panel_ply_6")
    assert box.locally_reacting
    assert hung(box, 0.09, 0.1) is box


@pytest.mark.parametrize(
    ("key", "depth", "gap", "said"),
    [
        ("two_boards_frame", 0.1, 0.1, "the build is 150 mm deep, 50 mm of it air at the wall"),
        ("two_boards_frame", 0.1, 0.0, "hangs 0 mm off"),
        ("board_50", 0.1, 0.05, "the build is 50 mm deep"),
        ("board_100", 0.05, 0.05, "0 mm of it air"),
    ],
)
def test_depth_gap_and_build_must_agree(key: str, depth: float, gap: float, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        hung(layered(key), depth, gap)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (PANEL.format(depth=0.1, gap=0, material="build:bord_100"), "closest: build:board_100"),
        (PANEL.format(depth=0.1, gap=0, material="build:"), "no such build; closest: build:"),
        (PANEL.format(depth=0.1, gap=0.2, material="build:board_50"), "the build is 50 mm deep"),
        (PANEL.format(depth=0.3, gap=0, material="build:corner_triangle_300"), "no corner fill"),
        ("c,c,corner,0.3,0.6,0.3,no,corner,0,build:board_100,1,40,1,0\n", "needs a corner fill"),
        ("c,c,corner,0.4,0.6,0.4,no,corner,0,build:corner_triangle_300,1,40,1,0\n",
         "legs of 300 mm, the product is 400 mm wide"),
        ("c,c,corner,0.3,0.6,0.3,no,corner,0,build:corner_square_300,1,40,1,0\n",
         "name a triangular fill"),
    ],
)  # fmt: skip
def test_each_fault_of_a_build_is_told_with_its_row(tmp_path: Path, row: str, said: str) -> None:
    products, faults = listed(tmp_path, row)
    assert not products
    assert [fault.key for fault in faults] == ["row 2.materials"]
    assert said in faults[0].remedy


def test_all_faults_of_a_list_are_told_at_once(tmp_path: Path) -> None:
    bad = [PANEL.format(depth=0.1, gap=0, material=name) for name in ("build:x", "wool_x")]
    good = PANEL.format(depth=0.1, gap=0, material="build:board_100").replace("made,", "g,", 1)
    products, faults = listed(tmp_path, *bad, good)
    assert [product.id for product in products] == ["g"]
    assert [fault.key for fault in faults] == ["row 2.materials", "row 3.materials"]


def test_own_builds_stand_beside_the_packaged_ones(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(OWN)
    row = PANEL.format(depth=0.06, gap="0;0.1", material="build:mine;build:mine")
    made = tiny(tmp_path, row, 'builds = "mine.toml"\n').products[0]
    second = made.fittings[1].material.build
    assert isinstance(second, Build)
    assert second.layers == (Porous(0.06, 9000), AirGap(0.1))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (OWN.replace("thickness", "thicknes"), "did you mean 'thickness'"),
        ("[[layered\n", "not valid TOML"),
        (None, "cannot be read"),
        ("x = " + "[" * 5000, "nested too deeply"),
        ("x = " + "9" * 5000, "not valid TOML"),
        (OWN.replace("0.06", "9" * 400), "thickness must be"),
        ('[[resonator]]\nkey = "r"\nname = "n"\nvolume = 1' + "0" * 400
         + "\nneck_radius = 0.05\nneck_length = 0.04\n", "too large"),
    ],
)  # fmt: skip
def test_a_bad_file_of_own_builds_is_told(tmp_path: Path, text: str | None, said: str) -> None:
    if text is not None:
        (tmp_path / "mine.toml").write_text(text)
    row = PANEL.format(depth=0.1, gap=0, material="build:board_100")
    with pytest.raises(ScenarioError) as caught:
        tiny(tmp_path, row, 'builds = "mine.toml"\n')
    assert any("mine.toml" in fault.file and said in fault.remedy for fault in caught.value.faults)


def test_sound_passes_through_wool_but_not_through_a_box(tmp_path: Path) -> None:
    """What is hidden of the wall behind decides `Patches.hides`."""
    row = PANEL.format(depth=0.1, gap=0, material="build:two_boards_cloth")
    box = PANEL.format(depth=0.09, gap=0, material="build:panel_ply_6").replace("made,", "box,", 1)
    project = tiny(tmp_path, row + box)
    rect = (0.5, 0.5, 1.1, 1.7)
    open_, closed = (
        piece_patches(
            project.room, [flat_piece(project.room, product, 0, "wall", "front", rect, False)]
        )[0]
        for product in project.products
    )
    np.testing.assert_array_equal(open_.hides[0], np.minimum(open_.alpha[0], 1.0))
    assert (closed.hides == 1.0).all()


def test_candidates_of_builds_carry_their_admittance(tmp_path: Path) -> None:
    """A plan may be made of builds; modes meet the build, not its coefficients."""
    corner = "c,c,corner,0.3,0.6,0.3,no,corner,0,build:corner_triangle_300,1,30,1,0\n"
    row = PANEL.format(depth=0.1, gap="0;0.05", material="build:board_100;build:board_100")
    decision = build_decision(tiny(tmp_path, row + corner))
    kinds = {c.product.id for c in decision.candidates}
    assert kinds == {"made", "c"}
    for c in (0, len(decision.candidates) - 1):
        piece = decision.candidates[c].pieces[0]
        patches, _ = piece_patches(decision.project.room, [piece])
        build = piece.material.build
        assert build is not None
        assert [make.build for make in patches.make] == [build] * len(patches)
        assert not any(make.from_table for make in patches.make)


def test_a_resonator_adds_its_absorption_area_whatever_its_size() -> None:
    """More in the 63 Hz octave than its front of 0.3 m2: no clip, and the wall behind hidden."""
    project = load_project(DATA.parent / "scenarios" / "spare_room.toml")
    product = shipped()["made_resonator_56"]
    assert product.fittings[0].material.unit == "m2"
    piece = flat_piece(project.room, product, 0, "stand", "left", (1.0, 0.0, 1.5, 0.6), False)
    patches, _ = piece_patches(project.room, [piece])
    left = project.scene.names.index("left")
    added = added_area(project.scene, patches)[0] + 0.3 * project.scene.base_alpha[left]
    box = BUILDS["sealed_box_56"]
    assert isinstance(box, SealedResonator)
    octave = np.geomspace(63 / 2**0.5, 63 * 2**0.5, 2000)
    expected = box.absorption_area(octave).mean()
    assert expected > 0.5
    assert added[0] == pytest.approx(expected, rel=0.05)
    np.testing.assert_allclose(added[2:], 0.0, atol=0.01)
