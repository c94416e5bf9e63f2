"""Selections near a given one, against trying every exchange one by one."""

from pathlib import Path

import numpy as np
import pytest
from tiny_rooms import tiny_project

from optimizer.placement.effects import Effects
from optimizer.placement.nearby import Neighbours
from optimizer.placement.plan import Ints, feasible, greedy, objective
from optimizer.planning import build_decision


@pytest.fixture(scope="module")
def effects(tmp_path_factory: pytest.TempPathFactory) -> Effects:
    folder: Path = tmp_path_factory.mktemp("near")
    return build_decision(tiny_project(folder, 2, 300.0, grid=0.8, products=3)).effects


def exchanges(effects: Effects, chosen: Ints) -> dict[int, list[float]]:
    """For each candidate given up, the objectives of all that may take its place."""
    found: dict[int, list[float]] = {}
    for out in chosen.tolist():
        rest = np.setdiff1d(chosen, [out])
        for c in np.setdiff1d(np.arange(effects.count), chosen).tolist():
            trial = np.sort(np.append(rest, c))
            if feasible(effects, trial):
                found.setdefault(out, []).append(objective(effects, trial))
    return found


def test_additions_are_what_each_would_bring(effects: Effects) -> None:
    chosen = greedy(effects)
    rest = chosen[:-1]
    found = Neighbours.of(effects).additions(rest)
    for c in range(effects.count):
        trial = np.sort(np.append(rest, c))
        expected = objective(effects, trial) if feasible(effects, trial) else np.inf
        assert found[c] == pytest.approx(expected, rel=1e-12)


def test_bettered_leaves_no_better_exchange(effects: Effects) -> None:
    chosen = greedy(effects)
    better = Neighbours.of(effects).bettered(chosen)
    assert feasible(effects, better)
    value = objective(effects, better)
    assert value <= objective(effects, chosen)
    assert min(min(v) for v in exchanges(effects, better).values()) >= value - 1e-9


def test_alike_are_the_best_of_each_exchange(effects: Effects) -> None:
    chosen = Neighbours.of(effects).bettered(greedy(effects))
    found = Neighbours.of(effects).alike(chosen, 0.5, 100)
    limit = 1.5 * objective(effects, chosen)
    expected = sorted(v for v in map(min, exchanges(effects, chosen).values()) if v <= limit)
    assert expected
    assert [objective(effects, one) for one in found] == pytest.approx(expected, rel=1e-12)
    assert all(feasible(effects, one) for one in found)
    assert Neighbours.of(effects).alike(chosen, 0.5, 1)[0].tolist() == found[0].tolist()
