"""Mode criteria: damping by place, and the tangents every family of criteria gives."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.acoustics.absorption import absorption_area
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.decay import sabine
from optimizer.acoustics.mode_criteria import ModeFamily, mode_family
from optimizer.acoustics.scene import Patches, Scene
from optimizer.project import Project, load_project

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SIZE = (4.6, 3.4, 2.5)


@pytest.fixture(scope="module")
def project() -> Project:
    return load_project(SCENARIOS / "spare_room.toml")


def bare(scene: Scene, alpha: float) -> Scene:
    """The room with one coefficient everywhere, no tiles, no objects, no air."""
    return replace(
        scene,
        base_alpha=np.full_like(scene.base_alpha, alpha),
        tiles=Patches.none(),
        object_area=scene.object_area * 0,
        air=scene.air * 0,
    )


def panel(scene: Scene, surface: str, rect: tuple[float, ...], alpha: float = 0.8) -> Patches:
    size = (rect[2] - rect[0]) * (rect[3] - rect[1])
    bands = np.full((1, 8), alpha)
    return Patches(
        surface=np.array([scene.names.index(surface)]),
        rect=np.array([rect]),
        alpha=bands,
        scatter=0 * bands,
        face=np.array([size]),
        offset=np.zeros(1),
        hides=bands,
    )


def test_oblique_modes_of_a_uniform_room_decay_as_sabine_says(project: Project) -> None:
    """All-oblique limit: delta = c beta S / V equals Sabine with alpha = 8 beta, small alpha.

    Kuttruff, Room Acoustics, ch. 3 (from memory; derivation in the reference notes). At alpha
    0.008 the locally reacting relation alpha = 8 b (1 - ...) differs from 8 b by about 1 %.
    """
    scene = bare(project.scene, 0.008)
    family = mode_family(scene, SIZE)
    oblique = family.modes.n.min(axis=1) > 0
    decay = family.values(family.quantities(scene))[oblique]
    area = absorption_area(scene)[0]
    expected = sabine(scene.volume, [area], [[1.0]])[0]
    np.testing.assert_allclose(decay, expected, rtol=0.02)


def test_axial_modes_decay_more_slowly_than_oblique_ones(project: Project) -> None:
    """Walls that a mode grazes count half (Kuttruff, ch. 3)."""
    scene = bare(project.scene, 0.05)
    family = mode_family(scene, SIZE)
    decay = family.values(family.quantities(scene))
    kinds = (family.modes.n > 0).sum(axis=1)
    assert decay[kinds == 1].mean() > decay[kinds == 2].mean() > decay[kinds == 3].mean()


def test_a_panel_in_a_corner_damps_what_one_at_mid_wall_does_not(project: Project) -> None:
    """Pressure is largest in corners; the (1,0,0) mode has none at mid-length."""
    scene = project.scene
    family = mode_family(scene, SIZE)
    corner = family.effects(scene, panel(scene, "left", (0.0, 0.0, 0.6, 1.2)))[:, 0]
    middle = family.effects(scene, panel(scene, "left", (2.0, 0.65, 2.6, 1.85)))[:, 0]
    lengthwise = np.flatnonzero((family.modes.n == [1, 0, 0]).all(axis=1))[0]
    assert middle[lengthwise] < 0.05 * corner[lengthwise]
    assert corner.sum() > 1.5 * middle.sum()


def test_effects_are_what_the_quantities_change_by(project: Project) -> None:
    scene = project.scene
    family = mode_family(scene, SIZE)
    patches = panel(scene, "back", (0.5, 0.2, 1.7, 0.8))
    change = family.quantities(scene.with_pieces(patches)) - family.quantities(scene)
    np.testing.assert_allclose(change, family.effects(scene, patches)[:, 0], rtol=1e-9, atol=1e-12)


def test_furniture_damps_modes(project: Project) -> None:
    scene = project.scene
    family = mode_family(scene, SIZE)
    without = replace(scene, object_area=scene.object_area * 0)
    assert (family.quantities(scene) >= family.quantities(without)).all()
    assert (family.quantities(scene) > family.quantities(without)).any()


def test_rooms_that_are_no_box_have_no_mode_rows(project: Project) -> None:
    loose = replace(project, room=replace(project.room, dimensions=None))
    groups = {row.group for row in loose.criteria.rows}
    assert "mode" not in groups
    assert all(row.weight > 0 for row in loose.criteria.rows if row.group == "decay")


def test_the_decay_formula_only_informs_where_modes_judge(project: Project) -> None:
    rows = project.criteria.rows
    formula = {r.where: r.weight for r in rows if r.group == "decay formula"}
    assert formula == {"63 Hz": 0.0, "125 Hz": 0.0}
    model = {r.where: r.model for r in rows if r.group == "decay" and r.weight > 0}
    assert len(model) == 8
    assert model["63 Hz"] == model["125 Hz"] == "modes, mean damping"
    assert model["250 Hz"] == "Norris-Eyring"


def all_families(project: Project) -> Criteria:
    assert any(isinstance(f, ModeFamily) for f in project.criteria.families)
    return project.criteria


def test_tangents_touch_the_excess_and_never_lie_above_it(project: Project) -> None:
    """Convexity, row by row: what makes the program's bound a bound."""
    criteria = all_families(project)
    base = criteria.quantities(project.scene)
    for k in np.flatnonzero(criteria.weights > 0):
        reach = abs(base[k]) + criteria_scale(criteria, int(k))
        spread = np.linspace(base[k], base[k] + reach, 60)
        trial = np.repeat(base[:, None], len(spread), axis=1)
        trial[k] = spread
        exact = criteria.excess(trial)[k]
        lines = criteria.tangents(int(k), float(spread[0]), float(spread[-1]))
        best = np.maximum(0.0, np.max([a * spread + b for a, b in lines], axis=0))
        assert (best <= exact + 1e-6 * (1 + exact)).all(), criteria.rows[k].key
        assert np.abs(best - exact).max() <= 0.01 * (1 + exact.max()), criteria.rows[k].key
        q = float(base[k])
        touching = max(a * q + b for a, b in criteria.tangents(int(k), q, q))
        assert max(touching, 0.0) == pytest.approx(criteria.excess(base)[k], abs=1e-6)


def criteria_scale(criteria: Criteria, k: int) -> float:
    """A reach beyond the present quantity that stays where the excess is convex."""
    group = criteria.rows[k].group
    return {"decay": 20.0, "mode": 20.0, "early": 0.3}.get(group, 5.0)
