"""Effects counted by surface: what a selection has stays, what others would add is weighed."""

from pathlib import Path

import numpy as np
import pytest
from tiny_rooms import tiny_project

from optimizer.bands import BANDS, band_label
from optimizer.placement.candidates import shares_of
from optimizer.placement.counted import BELIEVED, counted
from optimizer.placement.plan import greedy
from optimizer.planning import Decision, build_decision


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
