"""Selections near a given one, against trying every exchange one by one."""

from pathlib import Path

import numpy as np
import pytest
from tiny_rooms import tiny_project

from optimizer.placement.candidates import kinds_of
from optimizer.placement.effects import Effects
from optimizer.placement.nearby import Neighbours
from optimizer.placement.order import Ints
from optimizer.placement.plan import feasible, greedy
from optimizer.placement.proof import objective
from optimizer.planning import Decision, build_decision


@pytest.fixture(scope="module")
def decision(tmp_path_factory: pytest.TempPathFactory) -> Decision:
    folder: Path = tmp_path_factory.mktemp("near")
    return build_decision(tiny_project(folder, 2, 300.0, grid=0.8, products=3))


@pytest.fixture(scope="module")
def effects(decision: Decision) -> Effects:
    return decision.effects


def exchanges(effects: Effects, chosen: Ints) -> dict[tuple[int, int], float]:
    """The objective of every exchange that fits, by what is given up and what takes its place."""
    found: dict[tuple[int, int], float] = {}
    for out in chosen.tolist():
        rest = np.setdiff1d(chosen, [out])
        for c in np.setdiff1d(np.arange(effects.count), chosen).tolist():
            trial = np.sort(np.append(rest, c))
            if feasible(effects, trial):
                found[out, c] = objective(effects, trial)
    return found


def test_additions_are_what_each_would_bring(effects: Effects) -> None:
    chosen = greedy(effects)
    rest = chosen[:-1]
    found = Neighbours(effects).additions(rest)
    for c in range(effects.count):
        trial = np.sort(np.append(rest, c))
        expected = objective(effects, trial) if feasible(effects, trial) else np.inf
        assert found[c] == pytest.approx(expected, rel=1e-12)


def test_bettered_leaves_no_better_exchange(effects: Effects) -> None:
    chosen = greedy(effects)
    better = Neighbours(effects).bettered(chosen)
    assert feasible(effects, better)
    value = objective(effects, better)
    assert value <= objective(effects, chosen)
    assert min(exchanges(effects, better).values()) >= value - 1e-9


def test_alike_are_the_best_exchange_for_each_kind(decision: Decision) -> None:
    effects, kinds = decision.effects, kinds_of(decision.candidates)
    neighbours = Neighbours(effects)
    chosen = neighbours.bettered(greedy(effects))
    moves = neighbours.alike(chosen, kinds, 0.5, 100)
    found = [selection for _, selection in moves]
    best: dict[int, float] = {}
    for (_, c), value in exchanges(effects, chosen).items():
        best[int(kinds[c])] = min(value, best.get(int(kinds[c]), np.inf))
    expected = sorted(v for v in best.values() if v <= 1.5 * objective(effects, chosen))
    assert len(expected) > 3
    assert [objective(effects, one) for one in found] == pytest.approx(expected, rel=1e-12)
    assert all(feasible(effects, one) for one in found)
    assert neighbours.alike(chosen, kinds, 0.5, 1)[0][1].tolist() == found[0].tolist()
    first, second = moves[0][0], found[1].tolist()
    others = neighbours.alike(chosen, kinds, 0.5, 1, passed={first})
    assert others[0][1].tolist() == second
    same = neighbours.alike(chosen, kinds, 0.5, 1, lambda one: one.tolist() == found[0].tolist())
    assert objective(effects, same[0][1]) >= objective(effects, found[0])
    assert same[0][1].tolist() != found[0].tolist()


def test_kinds_are_product_and_place(decision: Decision) -> None:
    kinds = kinds_of(decision.candidates)
    said = [(c.product.id, sorted(p.surface for p in c.pieces)) for c in decision.candidates]
    assert len(set(kinds.tolist())) > 3
    for a, b in zip(*np.triu_indices(len(said), 1), strict=True):
        assert (kinds[a] == kinds[b]) == (said[a] == said[b])
