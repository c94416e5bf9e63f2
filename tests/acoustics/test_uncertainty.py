"""How sure the figures are: what is drawn, how far it strays, and whether intervals hold.

The spread of each coefficient and ISO 12999-2 are checked where the table is (test_table.py); here
the draws. That intervals hold four outcomes in five over all judged rows is shown by
tests/evidence/interval_honesty.py; a quick part of it is repeated here.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.acoustics import uncertainty
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.mode_criteria import ModeFamily
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.uncertainty import (
    BETWEEN_BANDS,
    POSITION_M,
    SCATTER_SIGMA,
    Kinds,
    Sampled,
    drawn,
    redrawn,
    room_kinds,
    sample,
)
from optimizer.bands import N_BANDS
from optimizer.placement.pieces import flat_piece, piece_patches
from optimizer.placement.sureness import LEFT, tightened
from optimizer.project import Project, load_project

ROOM = Path(__file__).parents[2] / "scenarios" / "spare_room.toml"


@pytest.fixture(scope="module")
def project() -> Project:
    return load_project(ROOM)


@pytest.fixture(scope="module")
def scene(project: Project) -> Scene:
    products = {product.id: product for product in project.products}
    places = (
        ("panel_100_1200", "wall", "left", 1.0, 0.8), ("panel_100_1200", "wall", "right", 1.0, 0.8),
        ("diffuser_skyline_wood", "wall", "back", 0.6, 1.0), ("rug_small", "floor", "floor", 1, 1),
    )  # fmt: skip
    pieces = [
        flat_piece(project.room, products[id], 0, mounting, surface,
                   (u, v, u + products[id].width, v + products[id].height), False)
        for id, mounting, surface, u, v in places
    ]  # fmt: skip
    return project.scene.with_pieces(piece_patches(project.room, pieces)[0])


@pytest.fixture(scope="module")
def kinds(project: Project, scene: Scene) -> Kinds:
    products = {product.id: product for product in project.products}
    names = ("panel_100_1200", "panel_100_1200", "diffuser_skyline_wood", "rug_small")
    found = room_kinds(project.room, [products[name].fittings[0].material for name in names])
    assert len(found.pieces) == len(scene.pieces)
    return found


@pytest.fixture(scope="module")
def quick(project: Project, scene: Scene) -> Judged:
    """The scene judged by the criteria alone, modes left out: quick to draw."""
    return judge_scene(scene, without_modes(project.criteria), ())


def without_modes(criteria: Criteria) -> Criteria:
    kept = (
        f for f in criteria.families if type(f).__name__ not in ("ModeFamily", "LowDecayFamily")
    )
    return Criteria(tuple(kept))


def moved_by(project: Project) -> Callable[[Scene], Criteria]:
    return lambda scene: without_modes(project.criteria_of(scene))


FEW = 12  # draws, where it does not matter how many


# --- draws -------------------------------------------------------------------------------------


def test_numbers_of_zero_leave_the_scene_as_it_is(scene: Scene, kinds: Kinds) -> None:
    same = redrawn(scene, kinds, np.zeros((uncertainty._names(kinds), N_BANDS + 2)))
    for name in ("base_alpha", "base_scatter", "object_area"):
        np.testing.assert_allclose(getattr(same, name), getattr(scene, name), rtol=1e-12)
    for name in ("alpha", "scatter", "hides", "edge"):
        np.testing.assert_allclose(
            getattr(same.pieces, name), getattr(scene.pieces, name), rtol=1e-12
        )
    np.testing.assert_allclose(same.pieces.strength, scene.pieces.strength, rtol=1e-12)


def test_one_material_moves_as_a_whole(scene: Scene, kinds: Kinds) -> None:
    """Surfaces, and pieces, of the same material have the same coefficients in every draw."""
    for seed in range(5):
        one = drawn(scene, kinds, np.random.default_rng(seed))
        boards = [i for i, m in enumerate(kinds.base) if m.id == "gypsum_board_studs"]
        assert len(boards) == 4
        assert np.ptp(one.base_alpha[boards], axis=0).max() < 1e-12
        np.testing.assert_allclose(one.pieces.alpha[0], one.pieces.alpha[1], rtol=1e-12)
        assert np.all((one.base_alpha >= 0) & (one.base_alpha <= 1))
        assert np.all((one.base_scatter >= 0) & (one.base_scatter < 1))


def test_draws_stray_as_the_spread_says(scene: Scene, kinds: Kinds) -> None:
    """ln(alpha) strays by ln(1 + sigma / alpha), bands correlate by one half, scattering by 0.15.

    1000 draws: standard errors of 2.2 % on a deviation, 0.024 on a correlation of 0.5.
    """
    rng = np.random.default_rng(3)
    draws = [drawn(scene, kinds, rng) for _ in range(1000)]
    board = next(i for i, m in enumerate(kinds.base) if m.id == "gypsum_board_studs")
    logs = np.log(np.array([d.base_alpha[board] for d in draws]) / scene.base_alpha[board])
    material = kinds.base[board]
    stated = np.log1p(np.array(material.spread) / np.array(material.absorption))
    np.testing.assert_allclose(logs.std(axis=0), stated, rtol=0.07)
    np.testing.assert_allclose(np.median(logs, axis=0) / stated, 0.0, atol=0.12)
    between = np.corrcoef(logs.T)[np.triu_indices(N_BANDS, 1)]
    np.testing.assert_allclose(between, BETWEEN_BANDS, atol=0.08)
    rough = int(np.argmin(np.abs(scene.pieces.scatter.mean(axis=1) - 0.5)))
    middle = np.argmin(np.abs(scene.pieces.scatter[rough] - 0.5))
    assert 0.35 < scene.pieces.scatter[rough, middle] < 0.65  # far from the ends, hardly ever cut
    shift = np.array([d.pieces.scatter[rough, middle] for d in draws])
    assert shift.std() == pytest.approx(SCATTER_SIGMA, rel=0.1)


def test_a_plain_surface_is_drawn_rougher_and_smoother_alike(scene: Scene, kinds: Kinds) -> None:
    """Nothing is cut at zero: half the draws lie below 0.05 and none is a mirror. Two sigma reach
    from 0.016 to 0.15; 0.05 to 0.10 is what is used for flat walls (common practice, no source)."""
    rng = np.random.default_rng(4)
    board = next(i for i, m in enumerate(kinds.base) if m.id == "gypsum_board_studs")
    assert scene.base_scatter[board, 4] == 0.05
    found = np.array([drawn(scene, kinds, rng).base_scatter[board, 4] for _ in range(400)])
    assert np.median(found) == pytest.approx(0.05, rel=0.1)
    assert found.min() > 0.005
    assert np.quantile(found, [0.023, 0.977]) == pytest.approx([0.0156, 0.149], rel=0.25)


def test_strata_hold_each_share_once() -> None:
    u = uncertainty._strata(np.random.default_rng(1), FEW, 3, 4)
    assert u.shape == (FEW, 3, 4)
    shares = np.sort(np.floor(u * FEW), axis=0)
    np.testing.assert_array_equal(shares, np.arange(FEW)[:, None, None] + 0 * u)


# --- intervals ---------------------------------------------------------------------------------


def test_same_seed_same_draws(project: Project, quick: Judged, kinds: Kinds) -> None:
    found = [sample(quick, kinds, moved_by(project), seed, FEW).values for seed in (1, 1, 2)]
    np.testing.assert_array_equal(found[0], found[1])
    assert not np.array_equal(found[0], found[2])


def test_values_carry_the_corrections_of_the_plan(
    project: Project, quick: Judged, kinds: Kinds
) -> None:
    """A row corrected by 1.2 is drawn 1.2 times as large."""
    corrected = replace(quick, factors=np.where(np.arange(len(quick.factors)) < 8, 1.2, 1.0))
    plain, more = (
        sample(j, kinds, moved_by(project), draws=FEW).values
        / np.where(j.factors == 0, 1, j.factors)
        for j in (quick, corrected)
    )
    np.testing.assert_allclose(plain, more, rtol=1e-12)


def test_only_positions_move_the_delay_of_a_pair(
    project: Project, quick: Judged, kinds: Kinds
) -> None:
    """5 cm each way at both ends move a path by 2 * sqrt(3) * 5 cm at most, direct and reflected
    each, and a difference of two of them by twice that."""
    rows = [k for k, row in enumerate(quick.criteria.rows) if row.group == "pair delay"]
    off = sample(quick, kinds, moved_by(project), draws=FEW).values[:, rows] - quick.values[rows]
    most = 1000 * 4 * (2 * np.sqrt(3) * POSITION_M) / 343.0
    assert 0.05 < np.abs(off).max() < most


def test_a_tenth_of_further_draws_lies_on_either_side() -> None:
    """Rank k of n draws stands for k / (n + 1): of a uniform variable on average the 80 % exactly.

    2000 intervals from 64 draws each: standard error 0.1 points.
    """
    rng = np.random.default_rng(7)
    values = rng.random((64, 2000))
    rows = Criteria(())
    low, high = Sampled(values, rows).interval()
    assert np.mean(high - low) == pytest.approx(0.8, abs=0.005)


def test_intervals_of_the_quick_models_hold_four_outcomes_in_five(
    project: Project, quick: Judged, kinds: Kinds
) -> None:
    """Rooms drawn without strata, each judged by the criteria of its own positions: 75 to 85 %."""
    low, high = sample(quick, kinds, moved_by(project)).interval()
    rng = np.random.default_rng(99)
    keys = [row.key for row in quick.criteria.rows]
    inside = []
    for _ in range(150):
        truth = drawn(quick.scene, kinds, rng)
        speakers, seats = (
            at + rng.uniform(-POSITION_M, POSITION_M, at.shape)
            for at in (truth.speakers, truth.seats)
        )
        truth = replace(truth, speakers=speakers, seats=seats)
        criteria = without_modes(project.criteria_of(truth))
        values = criteria.values(criteria.quantities(truth))
        found = dict(zip((row.key for row in criteria.rows), values, strict=True))
        inside.append(
            [low[k] <= found[key] <= high[k] if key in found else np.nan
             for k, key in enumerate(keys)]
        )  # fmt: skip
    moves = high - low > 1e-9
    assert moves.sum() > 30
    assert 0.75 <= np.nanmean(np.array(inside, dtype=float)[:, moves]) <= 0.85


def test_the_rays_own_error_is_not_in_the_ranges() -> None:
    """Normal draws with normal errors: the scatter is that of the draws alone, within what 4000 of
    them tell (1 / sqrt(2 n)); without errors nothing changes, and errors alone leave nothing."""
    rng = np.random.default_rng(3)
    truth = 0.4 + 0.05 * rng.standard_normal((4000, 2))
    seen = truth + 0.03 * rng.standard_normal((4000, 2))
    freed = uncertainty.without_chance(seen, np.full((4000, 2), 0.03))
    assert freed.std(axis=0) == pytest.approx([0.05, 0.05], rel=0.05)
    assert freed.mean(axis=0) == pytest.approx(seen.mean(axis=0))
    assert uncertainty.without_chance(truth, np.zeros((4000, 2))) == pytest.approx(truth)
    alone = uncertainty.without_chance(truth, np.full((4000, 2), 0.06))
    assert np.ptp(alone) == pytest.approx(np.ptp(truth.mean(axis=0)), abs=1e-12)


def test_chance_counts_the_draws_within_the_limits(quick: Judged) -> None:
    rows = quick.criteria.rows
    low, high = quick.criteria.limits
    middle = np.where(np.isnan(high), low, high)
    middle = np.where(np.isnan(middle), 1.0, middle)
    values = np.tile(middle, (4, 1))
    values[0] += np.where(np.isnan(high), -1.0, 1.0)  # one of four beyond the limit
    chance = Sampled(values, quick.criteria).probability()
    for k, row in enumerate(rows):
        if np.isnan(row.low) and np.isnan(row.high):
            assert np.isnan(chance[k])
        else:
            assert chance[k] == pytest.approx(0.75), row.key


# --- limits tightened for a confidence ---------------------------------------------------------


def test_tightened_limits_hold_with_the_probability(quick: Judged) -> None:
    """A value that meets the tightened limit meets the limit itself in that share of the draws."""
    rng = np.random.default_rng(5)
    rows = quick.criteria.rows
    seconds = np.array([row.unit == "s" for row in rows])
    z = rng.standard_normal((4000, len(rows)))
    values = np.where(seconds, quick.values * np.exp(0.1 * z), quick.values + 0.1 * z)
    low, high = quick.criteria.limits
    tight = tightened(low, high, quick, Sampled(values, quick.criteria), 0.9)
    upper = seconds & ~np.isnan(high)
    # a decay time at the tightened limit, straying alike
    at_limit = values[:, upper] * (tight[1][upper] / quick.values[upper])
    met = np.mean(at_limit <= high[upper], axis=0)
    np.testing.assert_allclose(met, 0.9, atol=0.01)
    one_sided = ~seconds & ~np.isnan(high) & np.isnan(low)
    shifted = values + (tight[1] - quick.values)
    np.testing.assert_allclose(
        np.mean(shifted[:, one_sided] <= high[one_sided], axis=0), 0.9, atol=0.01
    )


def test_at_even_chance_limits_hardly_move_and_never_cross(quick: Judged) -> None:
    low, high = quick.criteria.limits
    values = np.tile(quick.values, (9, 1))
    still = tightened(low, high, quick, Sampled(values, quick.criteria), 0.5)
    np.testing.assert_allclose(still[0], low, rtol=1e-12)
    np.testing.assert_allclose(still[1], high, rtol=1e-12)
    both = ~np.isnan(low) & ~np.isnan(high) & np.array([r.unit != "s" for r in quick.criteria.rows])
    wild = values + 100.0 * np.arange(-4, 5)[:, None]
    tight = tightened(low, high, quick, Sampled(wild, quick.criteria), 0.95)
    assert both.any()
    np.testing.assert_allclose(tight[0][both], LEFT * low[both], rtol=1e-12)
    np.testing.assert_allclose(tight[1][both], LEFT * high[both], rtol=1e-12)


def test_modes_are_among_what_is_drawn(project: Project) -> None:
    """The whole project's criteria, modes included, draw without a row left over."""
    families = project.criteria.families
    assert any(isinstance(f, ModeFamily) for f in families)
    bare = judge_scene(project.scene, project.criteria, ())
    kinds = room_kinds(project.room, [])
    rng = np.random.default_rng(1)
    values, _ = uncertainty._by_families(project.criteria, drawn(project.scene, kinds, rng))
    assert set(values) == {row.key for row in project.criteria.rows}
    one = np.array([values[row.key] for row in project.criteria.rows])
    mode = np.array([row.group == "mode" for row in project.criteria.rows])
    assert np.all(np.abs(one[mode] / bare.values[mode] - 1) > 1e-4)
