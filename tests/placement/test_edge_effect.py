"""Free edges of pieces: what they add, what joints take, and that a plan knows it."""

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from test_overlap import demo, excluded_by
from tiny_rooms import HEADER, room_text

from materials import load_table
from materials.build import Build
from materials.edges import GAIN_LIMIT, piece_factor, table_face
from materials.finite import patch_area
from materials.made import packaged_builds
from optimizer.acoustics.absorption import absorption_area, added_area, own_area
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.trace_room import traced_room
from optimizer.faults import ScenarioError
from optimizer.placement.butting import face_of, find_joints
from optimizer.placement.order import NO_ORDER
from optimizer.placement.pieces import Piece, flat_piece, piece_patches, treated
from optimizer.placement.plan import select
from optimizer.placement.spacing import (
    butt_losses,
    exact_objective,
    exact_quantities,
    spread_out,
)
from optimizer.planning import Decision, build_decision
from optimizer.project import Project, load_project
from optimizer.room.geometry import Rect

LIST = HEADER + (
    "one,panel,panel,0.6,1.2,0.1,no,wall,0,mineral_wool_100_wall,1,40,1,0\n"
    "two,double panel,panel,1.2,1.2,0.1,no,wall,0,mineral_wool_100_wall,1,80,1,0\n"
    "screen,screen,screen,1.0,1.6,0.1,no,stand,0,screen_100,1,80,1,0\n"
    "corner,corner fill,corner,0.3,0.6,0.3,no,corner,0,corner_fill_300,1,54,1,0\n"
)
BANNED = 'banned_products = ["two", "screen", "corner"]\n'


def room_project(edge: bool) -> Project:
    """A tiny room of one material all round, in which only single panels may be bought."""
    text = room_text(np.random.default_rng(12), 240.0, 0.3) + BANNED
    text = re.sub(r'"(plaster|gypsum|concrete|laminate|parquet)\w*"', '"gypsum_board_studs"', text)
    text = re.sub(r"\[\[areas\]\].*?(?=\[\[speakers)", "", text, flags=re.DOTALL)
    models = f'[models]\nedge_effect = {str(edge).lower()}\n[layout]\nlevel = "free"\n'
    with TemporaryDirectory() as folder:
        (Path(folder) / "prices.csv").write_text(LIST)
        (Path(folder) / "room.toml").write_text(text + models)
        return load_project(Path(folder) / "room.toml")


@cache
def decision(edge: bool) -> Decision:
    """Its decision by the decay formula alone, which knows areas and no places."""
    decided = build_decision(room_project(edge))
    families = tuple(
        family.with_rows(
            tuple(replace(r, weight=float(r.model == "Norris-Eyring")) for r in family.rows)
        )
        for family in decided.effects.criteria.families
    )
    return replace(decided, effects=replace(decided.effects, criteria=Criteria(families)))


def panel(project: Project, rect: Rect, product: int = 0, mounting: str = "wall") -> Piece:
    room = project.room
    return flat_piece(room, project.products[product], 0, mounting, "left", rect, False)


def test_two_butted_panels_are_one_of_the_joint_size() -> None:
    project = room_project(True)
    pair = [panel(project, (0.2, 0.5, 0.8, 1.7)), panel(project, (0.8, 0.5, 1.4, 1.7))]
    joint = [panel(project, (0.2, 0.5, 1.4, 1.7), 1)]
    apart = [pair[0], panel(project, (1.6, 0.5, 2.2, 1.7))]
    areas = [absorption_area(treated(project.room, project.scene, p)) for p in (pair, joint)]
    np.testing.assert_allclose(areas[0], areas[1], rtol=1e-4)
    spaced = absorption_area(treated(project.room, project.scene, apart))
    assert (spaced[1:7] > areas[0][1:7] + 0.002).all()


def test_a_panel_alone_gains_at_most_a_tenth_over_its_coefficient() -> None:
    """0.6 x 1.2 m of the 100 mm row; the finite-size model alone gains more (materials.edges)."""
    project = room_project(True)
    patches, _ = piece_patches(project.room, [panel(project, (0.2, 0.5, 0.8, 1.7))])
    gain = patches.edge[0] - 1.0
    alpha = load_table()["mineral_wool_100_wall"].absorption
    face = table_face(alpha)
    modelled = patch_area(face, 0.6, 1.2) / patch_area(face, 3.0, 3.6) * (3.0 * 3.6) / 0.72 - 1.0
    np.testing.assert_allclose(gain, modelled / (1 + modelled / GAIN_LIMIT), rtol=1e-9)
    assert (gain > 0.0).all()
    assert (gain < GAIN_LIMIT).all()
    own = own_area(project.scene, patches)[0]
    np.testing.assert_allclose(own, 0.72 * np.minimum(alpha, 1.0) * (1.0 + gain), rtol=1e-12)


def test_the_room_file_switches_the_effect_off() -> None:
    project = room_project(False)
    assert not project.scene.edge_effect
    patches, _ = piece_patches(project.room, [panel(project, (0.2, 0.5, 0.8, 1.7))])
    alpha = load_table()["mineral_wool_100_wall"].absorption
    left = project.scene.names.index("left")
    passed = 0.72 * project.scene.base_alpha[left] * patches.hides[0]
    expected = 0.72 * np.minimum(alpha, 1.0) - passed
    np.testing.assert_allclose(added_area(project.scene, patches)[0], expected, rtol=1e-12)
    np.testing.assert_array_equal(butt_losses(project.room, project.scene, []), np.zeros(8))


def test_the_switch_is_true_or_false() -> None:
    text = room_text(np.random.default_rng(12), 100.0, 1.0) + '[models]\nedge_efect = "no"\n'
    with TemporaryDirectory() as folder:
        (Path(folder) / "prices.csv").write_text(LIST)
        (Path(folder) / "room.toml").write_text(text)
        with pytest.raises(ScenarioError) as caught:
            load_project(Path(folder) / "room.toml")
    assert [fault.key for fault in caught.value.faults] == ["models.edge_efect"]


def test_pieces_measured_with_their_edges_gain_nothing() -> None:
    """A screen's coefficient counts both faces of one screen; a corner fill ends at two walls."""
    decided = demo("spare_room")
    corners = [
        p for c in decided.candidates for p in c.pieces if p.material.category == "corner fill"
    ]
    assert corners
    screen = panel(room_project(True), (0.2, 0.0, 1.2, 1.6), 2, "stand")
    assert (piece_patches(room_project(True).room, [screen])[0].edge == 1.0).all()
    assert (piece_patches(decided.project.room, corners[:2])[0].edge == 1.0).all()


def test_what_holds_its_edges_already_has_no_face() -> None:
    """Corner fills, screens with both faces, things given by their area, builds that are no layers;
    plain wool has one."""
    table, builds = load_table(), packaged_builds()
    for name in ("corner_fill_300", "screen_100", "bed_single"):
        assert face_of(table[name]) is None, name
    assert face_of(table["mineral_wool_100_wall"]) is not None
    wool = table["mineral_wool_100_wall"]
    for build in builds.values():
        made = replace(wool, build=build)
        assert (face_of(made) is build) == isinstance(build, Build)
        assert (face_of(made) is None) == (not isinstance(build, Build))


def test_edges_reach_neither_reflections_nor_modes() -> None:
    decided = demo("spare_room")
    project = decided.project
    side = next(c for c in decided.candidates if c.pieces[0].surface == "left")
    patches, _ = piece_patches(project.room, [side.pieces[0]])
    assert (patches.edge > 1.0).all()
    bare = replace(patches, edge=np.ones_like(patches.edge))
    for family in project.criteria.families:
        same = np.array_equal(
            family.effects(project.scene, patches), family.effects(project.scene, bare)
        )
        areas = {"decay", "decay formula", "side balance"}
        sums_areas = any(r.group in areas and r.model in ("Norris-Eyring", "areas")
                         for r in family.rows)  # fmt: skip
        assert same != sums_areas, family.rows[0].group


def test_joints_of_a_row_a_stack_and_a_corner() -> None:
    rect = np.array([[0, 0, 1, 1], [1, 0, 2, 1], [0, 1, 1, 2], [1.01, 1.01, 2, 2], [1, 0.5, 2, 2]])
    surface, one = np.array([0, 0, 0, 0, 1]), np.zeros(5, dtype=np.int64)
    joints = find_joints(surface, rect.astype(float), one)
    found = sorted(zip(joints.first.tolist(), joints.second.tolist(), joints.axis.tolist(),
                       joints.shared.tolist(), strict=True))  # fmt: skip
    assert found == [(0, 1, 0, 1.0), (0, 2, 1, 1.0)]
    apart = find_joints(surface, rect.astype(float), np.arange(5))
    assert not len(apart.first)


def test_losses_of_any_selection_are_those_of_the_scene() -> None:
    """Linear figures and what joints take are together the re-evaluated ones, for every row."""
    decided = build_decision(room_project(True))
    project = decided.project
    excluded = [set[int]() for _ in decided.candidates]
    for row in decided.effects.cover:
        for c in row.tolist():
            excluded[c].update(row.tolist())
    rng = np.random.default_rng(5)
    joints = 0
    for _ in range(6):
        chosen: list[int] = []
        barred: set[int] = set()
        for c in rng.permutation(len(decided.candidates)).tolist():
            if c not in barred and len(chosen) < 150:
                chosen.append(c)
                barred |= excluded[c] | {c}
        pieces = [p for c in chosen for p in decided.candidates[c].pieces]
        joints += bool((butt_losses(project.room, project.scene, pieces) > 0).any())
        again = project.criteria.quantities(treated(project.room, project.scene, pieces))
        given = (project.room, project.scene, decided.effects, decided.candidates)
        exact = exact_quantities(*given, np.array(chosen))
        scale = np.abs(decided.effects.base) + np.abs(decided.effects.change[:, chosen]).sum(1)
        assert (np.abs(exact - again) <= 1e-9 * scale + 1e-12).all()
    assert joints > 0


def butted(decided: Decision) -> np.ndarray:
    """Two single-product candidates of the front or back wall that touch, and one more."""
    given = decided.candidates
    for a in range(len(given)):
        for b in range(a + 1, len(given)):
            if any(np.isin([a, b], row).all() for row in decided.effects.cover):
                continue
            pieces = [*given[a].pieces, *given[b].pieces]
            if len(given[a].pieces) == len(given[b].pieces) and (
                butt_losses(decided.project.room, decided.project.scene, pieces)[3] > 0.005
            ):
                return np.array([a, b])
    raise AssertionError("no two candidates touch")


def test_a_plan_with_money_to_spare_spaces_its_panels() -> None:
    """From a butted start the panels end apart; what is bought stays the same."""
    decided = decision(True)
    project = decided.project
    given = (project.room, project.scene, decided.effects, decided.candidates)
    start = butted(decided)
    spaced = spread_out(*given, start)
    pieces = [p for c in spaced for p in decided.candidates[c].pieces]
    np.testing.assert_array_equal(butt_losses(project.room, project.scene, pieces), np.zeros(8))
    assert exact_objective(*given, spaced) < exact_objective(*given, start) - 1e-6
    assert decided.effects.cost_cents(spaced) == decided.effects.cost_cents(start)
    np.testing.assert_array_equal(spaced, spread_out(*given, start))
    np.testing.assert_array_equal(spread_out(*given, start, held=start), np.sort(start))


def test_a_solved_plan_ends_without_joints_where_there_is_room() -> None:
    decided = decision(True)
    project = decided.project
    given = (project.room, project.scene, decided.effects, decided.candidates)
    chosen = select(decided.effects, 0.01).chosen
    assert len(chosen) >= 2
    spaced = spread_out(*given, chosen)
    pieces = [p for c in spaced for p in decided.candidates[c].pieces]
    np.testing.assert_array_equal(butt_losses(project.room, project.scene, pieces), np.zeros(8))
    assert exact_objective(*given, spaced) <= exact_objective(*given, chosen)


def test_without_the_effect_a_plan_does_not_care() -> None:
    """The same butted and spaced panels score the same, and nothing is moved."""
    start = butted(decision(True))
    on, off = decision(True), decision(False)
    assert on.candidates == off.candidates
    given = (on.project.room, on.project.scene, on.effects, on.candidates)
    spaced = spread_out(*given, start)
    assert not np.array_equal(spaced, start)
    project, criteria = off.project, off.effects.criteria
    given = (project.room, project.scene, off.effects, off.candidates)
    np.testing.assert_array_equal(spread_out(*given, start), start)
    scores = []
    for chosen in (start, spaced):
        pieces = [p for c in chosen for p in off.candidates[c].pieces]
        scene = treated(project.room, project.scene, pieces)
        scores.append(criteria.score(criteria.quantities(scene)))
    assert scores[0] == pytest.approx(scores[1], rel=1e-12)
    assert exact_objective(*given, start) == pytest.approx(exact_objective(*given, spaced))


def test_moves_keep_the_packs_and_the_rows_of_exclusion() -> None:
    """Thirty candidates thrown into a room, joints among them."""
    decided = demo("small_bedroom")
    project = decided.project
    rng = np.random.default_rng(3)
    excluded = excluded_by("small_bedroom")
    chosen: list[int] = []
    barred: set[int] = set()
    for c in rng.permutation(len(decided.candidates)).tolist():
        if c not in barred and len(chosen) < 30:
            chosen.append(c)
            barred |= excluded[c] | {c}
    effects = replace(decided.effects, budget_cents=10**8, order=NO_ORDER)
    given = (project.room, project.scene, effects, decided.candidates)
    before = np.array(chosen)
    after = spread_out(*given, before)
    assert exact_objective(*given, after) < exact_objective(*given, before)
    np.testing.assert_array_equal(effects.packs(after), effects.packs(before))
    for row in effects.cover:
        assert np.isin(after, row).sum() <= 1


def test_the_tracer_sees_the_edges_as_a_larger_patch() -> None:
    """Absorption beyond one keeps its area: the rectangle grows, less the wall it then hides."""
    project = room_project(True)
    piece = panel(project, (1.0, 0.5, 1.6, 1.7))
    scene = treated(project.room, replace(project.scene, tiles=project.scene.tiles.take(
        np.zeros(0, dtype=np.int64))), [piece])  # fmt: skip
    patch = traced_room(scene).patches[0]
    area = (patch.u1 - patch.u0) * (patch.v1 - patch.v0)
    assert area > 0.72
    left = scene.base_alpha[scene.names.index("left")]
    band = int(np.argmax(scene.pieces.edge[0]))
    added = added_area(scene, scene.pieces)[0][band]
    assert area * (patch.absorption[band] - left[band]) == pytest.approx(added, rel=1e-9)
    assert own_area(scene, scene.pieces)[0][band] > 0.72
    np.testing.assert_allclose(
        piece_factor(table_face(piece.material.absorption), 0.6, 1.2), scene.pieces.edge[0]
    )
