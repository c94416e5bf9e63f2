"""Judges of a scene: what the tracer sees of it, how answers become corrections, who answers.

Identities throughout: the area the tracer absorbs with is the area the formulas use, no judge is
no change, an answer equal to the criterion's own value is a factor of one.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.acoustics import trace_scene
from optimizer.acoustics.absorption import absorption_area
from optimizer.acoustics.assessment import LARGEST, Assessment, Finding, assess
from optimizer.acoustics.judge_trace import MODEL, TraceJudge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.low_decay_criteria import LowDecayFamily
from optimizer.acoustics.mode_criteria import highest_mode
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.trace_room import traced_room
from optimizer.bands import BANDS, EXACT_HZ, N_BANDS, band_label
from optimizer.placement.pieces import Piece, corner_piece, flat_piece, piece_patches
from optimizer.project import Project, load_project

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage")


def demo(name: str) -> Project:
    return load_project(SCENARIOS / f"{name}.toml")


@pytest.fixture(scope="module")
def spare_room() -> Project:
    return demo("spare_room")


def some_pieces(project: Project) -> list[Piece]:
    """A panel off the wall, a diffuser, one piece half over a window, a corner fill, a rug."""
    products = {product.id: product for product in project.products}
    flat = (
        ("panel_50_1200", 1, "wall", "left", 2.0, 0.5),
        ("panel_100_1200", 0, "wall", "front", 0.8, 0.8),
        ("diffuser_skyline_wood", 0, "wall", "back", 1.4, 1.0),
        ("rug_small", 0, "floor", "floor", 1.0, 0.6),
    )
    pieces = [
        flat_piece(
            project.room, products[id], fitting, mounting, surface,
            (u, v, u + products[id].width, v + products[id].height), False,
        )
        for id, fitting, mounting, surface, u, v in flat
    ]  # fmt: skip
    fill = products["corner_300"]
    length = project.room.surface("left").plane.bounds[2]
    legs = (("back", (0.0, 0.0, 0.3, 0.6)), ("left", (length - 0.3, 0.0, length, 0.6)))
    return [*pieces, corner_piece(project.room, fill, 0, legs)]


def with_pieces(project: Project) -> Scene:
    return project.scene.with_pieces(piece_patches(project.room, some_pieces(project))[0])


def traced_area(scene: trace_scene.Scene) -> np.ndarray:
    """Absorption area (8,) of surfaces and patches of a tracer scene; the last patch is on top."""
    total = np.array([s.area for s in scene.surfaces]) @ np.array(
        [s.absorption for s in scene.surfaces]
    )
    for index, surface in enumerate(scene.surfaces):
        on = [p for p in scene.patches if p.surface == index]
        u, v = (
            np.unique([c for p in on for c in pair(p)])
            for pair in (lambda p: (p.u0, p.u1), lambda p: (p.v0, p.v1))
        )
        for u0, u1 in zip(u[:-1], u[1:], strict=True):
            for v0, v1 in zip(v[:-1], v[1:], strict=True):
                a, b = 0.5 * (u0 + u1), 0.5 * (v0 + v1)
                top = [p for p in on if p.u0 < a < p.u1 and p.v0 < b < p.v1]
                if top:
                    change = top[-1].absorption - surface.absorption
                    total = total + (u1 - u0) * (v1 - v0) * change
    return total


# --- what the tracer sees ----------------------------------------------------------------------


@pytest.mark.parametrize("name", ROOMS)
def test_bare_room_keeps_its_absorption_area_in_the_tracer(name: str) -> None:
    scene = demo(name).scene
    assert len(scene.tiles)
    np.testing.assert_allclose(traced_area(traced_room(scene)), absorption_area(scene), rtol=1e-6)


def test_treated_room_keeps_its_absorption_area_in_the_tracer(spare_room: Project) -> None:
    """Where no coefficient over the covered rectangle exceeds one; edges left out, and the shade of
    furniture, which the tracer has by itself."""
    scene = replace(with_pieces(spare_room), edge_effect=False)
    scene = replace(scene, pieces=replace(scene.pieces, shade=np.ones_like(scene.pieces.shade)))
    mild = replace(scene, pieces=replace(scene.pieces, alpha=np.minimum(scene.pieces.alpha, 0.7)))
    scene = replace(mild, pieces=replace(mild.pieces, hides=np.minimum(mild.pieces.hides, 0.7)))
    traced = traced_room(scene)
    for patch, rect in zip(traced.patches[len(scene.tiles) :], scene.pieces.rect, strict=True):
        assert (patch.u0, patch.v0, patch.u1, patch.v1) == pytest.approx(tuple(rect))  # not grown
    np.testing.assert_allclose(traced_area(traced), absorption_area(scene), rtol=1e-6)


def test_edge_effect_grows_the_patch_and_keeps_the_area(spare_room: Project) -> None:
    """A single panel on a bare wall; `own_area` cuts coefficients to one before edges come on."""
    patches, _ = piece_patches(spare_room.room, some_pieces(spare_room)[:1])
    scene = spare_room.scene.with_pieces(patches)
    assert np.any(scene.pieces.edge[0] * np.minimum(scene.pieces.alpha[0], 1) > 1.0)
    traced = traced_room(scene)
    grown = traced.patches[len(scene.tiles)]
    assert (grown.u1 - grown.u0) * (grown.v1 - grown.v0) > 0.6 * 1.2
    np.testing.assert_allclose(traced_area(traced), absorption_area(scene), rtol=1e-6)


@pytest.mark.parametrize("name", ROOMS)
def test_objects_keep_their_absorption_area_where_their_box_can_hold_it(name: str) -> None:
    scene = demo(name).scene
    boxes = traced_room(scene).obstacles
    assert len(boxes) == len(scene.object_box)
    for box, area, corners in zip(boxes, scene.object_area, scene.object_box, strict=True):
        a, b, c = box.upper - box.lower
        floor = a * b if corners[0, 2] < 0.02 else 0.0
        exposed = 2 * (a * b + b * c + c * a) - floor
        told = np.minimum(area, 0.99 * exposed)
        np.testing.assert_allclose(box.absorption * exposed, told, rtol=1e-9)


# --- corrections -------------------------------------------------------------------------------


def test_factor_is_the_answer_over_the_own_value(spare_room: Project) -> None:
    criteria = spare_room.criteria
    quantities = criteria.quantities(spare_room.scene)
    own = criteria.values(quantities)
    seconds = [k for k, row in enumerate(criteria.rows) if row.unit == "s"]
    said = Assessment({criteria.rows[k].key: (1 + 0.01 * k) * own[k] for k in seconds})
    factors = said.factors(criteria, quantities)
    np.testing.assert_allclose(factors[seconds], [1 + 0.01 * k for k in seconds], rtol=1e-12)
    others = np.delete(factors, seconds)
    np.testing.assert_array_equal(others, 1.0)
    np.testing.assert_array_equal(Assessment().factors(criteria, quantities), 1.0)


@pytest.mark.parametrize("answer", [np.nan, np.inf, 0.0, -1.0])
def test_answers_that_make_no_sense_are_not_believed(spare_room: Project, answer: float) -> None:
    criteria = spare_room.criteria
    quantities = criteria.quantities(spare_room.scene)
    key = criteria.rows[0].key
    own = float(criteria.values(quantities)[0])
    for value in (answer, 1.01 * LARGEST * own, own / (1.01 * LARGEST)):
        np.testing.assert_array_equal(Assessment({key: value}).factors(criteria, quantities), 1.0)


def test_scaled_limits_judge_as_scaled_values_would(spare_room: Project) -> None:
    """Excess of T against limit / f is that of f T against the limit: T f / limit - 1."""
    criteria = spare_room.criteria
    quantities = criteria.quantities(spare_room.scene)
    seconds = np.array([row.unit == "s" for row in criteria.rows])
    factors = np.where(seconds, 1.15, 1.0)
    low, high = criteria.limits
    values = factors * criteria.values(quantities)
    told = criteria.scaled(factors).excess(quantities)
    with np.errstate(invalid="ignore", divide="ignore"):
        by_hand = np.fmax(np.fmax(values / high - 1, low / values - 1), 0.0)
    np.testing.assert_allclose(told[seconds], by_hand[seconds], rtol=1e-9, atol=1e-12)


def test_later_answers_count_and_earlier_ones_are_noted(spare_room: Project) -> None:
    finding = Finding("low end", "mix", "dB", 1.0, np.nan, np.nan, "first")
    first = Assessment(
        {"a": 1.0, "b": 2.0}, {"a": "rays", "b": "rays"}, {"a": "said", "b": "kept"}, (finding,)
    )
    second = Assessment({"a": 3.0}, {"a": "waves"}, {}, (replace(finding, value=2.0),))
    both = second.over(first)
    assert dict(both.values) == {"a": 3.0, "b": 2.0}
    assert dict(both.models) == {"a": "waves", "b": "rays"}
    assert both.notes == {"a": "rays says 1.00", "b": "kept"}
    assert [f.value for f in both.findings] == [2.0]
    assert assess(spare_room.scene, [lambda _: first, lambda _: second]) == both
    assert second.over(Assessment()) == second


def test_no_judge_is_the_criteria_by_themselves(spare_room: Project) -> None:
    criteria, scene = spare_room.criteria, spare_room.scene
    judged = judge_scene(scene, criteria, spare_room.judges("none"))
    quantities = criteria.quantities(scene)
    np.testing.assert_array_equal(judged.factors, 1.0)
    np.testing.assert_array_equal(judged.values, criteria.values(quantities))
    np.testing.assert_array_equal(judged.met, criteria.met(quantities))
    assert judged.score == criteria.score(quantities)
    assert judged.models == tuple(row.model for row in criteria.rows)


# --- who answers -------------------------------------------------------------------------------


def test_the_tracer_says_the_same_twice_and_another_seed_agrees_within_its_error(
    spare_room: Project,
) -> None:
    scene = with_pieces(spare_room)
    first, again, other = (TraceJudge(0.0, 6000, seed)(scene) for seed in (1, 1, 2))
    assert first == again
    values = [np.array([said.values[k] for k in sorted(said.values)]) for said in (first, other)]
    assert not np.array_equal(*values)
    # stated errors are of the order of 1 %; five of both together
    np.testing.assert_allclose(values[0], values[1], rtol=0.07)


@pytest.fixture(scope="module")
def judged(spare_room: Project) -> Judged:
    """A treated room, judged by the fast judges."""
    return judge_scene(with_pieces(spare_room), spare_room.criteria, spare_room.judges("fast"))


def test_fast_answers_every_decay_row_above_the_schroeder_frequency(
    spare_room: Project, judged: Judged
) -> None:
    above = highest_mode(spare_room.room.volume)
    answered = {
        row.where: model
        for row, model in zip(judged.criteria.rows, judged.models, strict=True)
        if row.group == "decay"
    }
    expected = {
        band_label(band) for band, exact in zip(BANDS, EXACT_HZ, strict=True) if exact > above
    }
    assert {where for where, model in answered.items() if model == MODEL} == expected
    assert len(answered) == N_BANDS


def test_fast_answers_modes_and_low_bands_by_coupled_modes(judged: Judged) -> None:
    low = next(f for f in judged.criteria.families if isinstance(f, LowDecayFamily))
    lows = {row.key for row in low.rows}
    for row, model in zip(judged.criteria.rows, judged.models, strict=True):
        if row.group == "mode" or row.key in lows:
            assert model == "coupled modes", row.key


def test_values_are_what_the_judges_said(judged: Judged) -> None:
    """Where a judge is believed, the card shows its figure, whatever the criterion's own is."""
    for row, value, factor in zip(judged.criteria.rows, judged.values, judged.factors, strict=True):
        if row.key in judged.said.values and factor != 1.0:
            assert value == pytest.approx(judged.said.values[row.key], rel=1e-12)
        elif row.key not in judged.said.values:
            assert factor == 1.0
    own = judged.criteria.values(judged.quantities)
    assert np.any(np.abs(judged.values / np.where(own == 0, 1, own) - 1) > 0.03)


def test_score_is_that_of_the_corrected_limits(judged: Judged) -> None:
    corrected = judged.criteria.scaled(judged.factors)
    assert judged.score == pytest.approx(corrected.score(judged.quantities), rel=1e-12)
    assert judged.score != pytest.approx(judged.criteria.score(judged.quantities), rel=1e-3)
