"""Effects counted by surface: what a selection has stays, what others would add is weighed."""

from pathlib import Path

import numpy as np
import pytest
from tiny_rooms import tiny_project

from optimizer.bands import BANDS, band_label
from optimizer.placement.candidates import shares_of
from optimizer.placement.counted import BELIEVED, counted, scattering_areas
from optimizer.placement.plan import greedy
from optimizer.planning import Decision, build_decision
from optimizer.project import load_project


@pytest.fixture(scope="module")
def decision(tmp_path_factory: pytest.TempPathFactory) -> Decision:
    folder: Path = tmp_path_factory.mktemp("counted")
    return build_decision(tiny_project(folder, 2, 300.0, grid=0.8, products=3))


def shares(decision: Decision) -> np.ndarray:
    return shares_of(decision.candidates, [s.name for s in decision.project.room.surfaces])


def test_shares_are_those_of_the_area_covered(decision: Decision) -> None:
    found = shares(decision)
    assert found.sum(axis=1) == pytest.approx(np.ones(len(found)))
    names = [s.name for s in decision.project.room.surfaces]
    for candidate, row in zip(decision.candidates, found, strict=True):
        on = {name for piece in candidate.pieces for name, _ in piece.rects}
        assert {n for n, share in zip(names, row, strict=True) if share > 0} == on


def test_weights_of_one_change_nothing(decision: Decision) -> None:
    effects, each = decision.effects, shares(decision)
    same = counted(effects, each, np.ones((each.shape[1], 8)), greedy(effects))
    assert np.array_equal(same.change, effects.change)
    assert np.array_equal(same.base, effects.base)


def test_the_selection_stays_and_a_change_is_weighed(decision: Decision) -> None:
    effects, each = decision.effects, shares(decision)
    chosen = greedy(effects)
    weights = np.linspace(0.5, 2.0, each.shape[1] * 8).reshape(-1, 8)
    found = counted(effects, each, weights, chosen)
    assert found.quantities(chosen) == pytest.approx(effects.quantities(chosen), rel=1e-12)
    other = int(np.setdiff1d(np.arange(effects.count), chosen)[0])
    bands = [band_label(band) for band in BANDS]
    for k, row in enumerate(effects.criteria.rows):
        added = found.quantities(np.append(chosen, other))[k] - found.quantities(chosen)[k]
        times = 1.0
        if row.model == "Norris-Eyring":
            times = float(each[other] @ weights[:, bands.index(row.where)] ** BELIEVED)
        assert added == pytest.approx(times * effects.change[k, other], rel=1e-9, abs=1e-12)


def test_what_a_diffuser_scatters_counts_in_the_decay(decision: Decision) -> None:
    """By so many m2 each, and nothing for what the selection has already."""
    effects, each = decision.effects, shares(decision)
    chosen = greedy(effects)
    worth = np.linspace(0.0, 1.0, effects.count)[:, None] * np.linspace(0.1, 0.8, 8)
    found = counted(effects, each, np.ones((each.shape[1], 8)), chosen, worth)
    assert found.quantities(chosen) == pytest.approx(effects.quantities(chosen), rel=1e-12)
    bands = [band_label(band) for band in BANDS]
    for k, row in enumerate(effects.criteria.rows):
        more = worth[:, bands.index(row.where)] if row.model == "Norris-Eyring" else 0.0
        assert found.change[k] == pytest.approx(effects.change[k] + more, rel=1e-12)


def test_areas_that_scatter_are_those_of_the_diffusers() -> None:
    """The skyline of the living room's list: 0.36 m2 that send 0.82 - 0.05 of what they do not
    absorb (0.20) off the mirror direction at 1 kHz more than a plain wall; flat wool nothing."""
    room = load_project(Path(__file__).parents[2] / "scenarios" / "living_room.toml")
    found = build_decision(room)
    areas = scattering_areas(found.candidates, found.project.room)
    seen = set()
    for candidate, row in zip(found.candidates, areas, strict=True):
        material = candidate.product.fittings[0].material
        if material.id == "diffuser_skyline":
            one = 0.36 * (0.82 - 0.05) * 0.8
            assert row[4] == pytest.approx(len(candidate.pieces) * one, rel=1e-6)
        elif material.id.startswith("mineral_wool"):
            assert np.all(row == 0.0)
        seen.add(material.id)
    assert {"diffuser_skyline", "mineral_wool_100_wall"} <= seen
