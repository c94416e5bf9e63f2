"""What does nothing is not bought, in one plan and in stages. The project's own requirement."""

from dataclasses import replace

import numpy as np
import pytest
from tiny_rooms import tiny_project

from optimizer.placement.effects import Effects
from optimizer.placement.order import Ints
from optimizer.placement.plan import greedy, prune
from optimizer.placement.proof import objective
from optimizer.placement.stages import later
from optimizer.planning import build_decision

RICH = 10_000_000  # cents


@pytest.fixture(scope="module")
def effects(tmp_path_factory: pytest.TempPathFactory) -> Effects:
    project = tiny_project(tmp_path_factory.mktemp("room"), 3, budget=400.0)
    return build_decision(project).effects


@pytest.fixture(scope="module")
def idle(effects: Effects) -> tuple[Effects, Ints, int]:
    """Money for everything; a good selection; and a candidate beside it that changes nothing."""
    chosen = prune(effects, greedy(effects))
    assert len(chosen) > 1
    beside = int(np.setdiff1d(np.arange(effects.count), chosen)[0])
    change = effects.change.copy()
    change[:, beside] = 0.0
    return replace(effects, change=change, budget_cents=RICH), chosen, beside


def test_what_changes_nothing_is_left_out(idle: tuple[Effects, Ints, int]) -> None:
    effects, chosen, beside = idle
    kept = prune(effects, np.append(chosen, beside))
    assert beside not in kept
    assert objective(effects, kept) <= objective(effects, chosen)
    for out in kept:
        assert objective(effects, kept[kept != out]) > objective(effects, kept)


def test_what_has_to_stay_stays(idle: tuple[Effects, Ints, int]) -> None:
    """Only selections that may be are passed through."""
    effects, chosen, beside = idle
    kept = prune(effects, np.append(chosen, beside), lambda trial: beside in trial)
    assert beside in kept


def test_what_changes_nothing_is_in_no_stage(idle: tuple[Effects, Ints, int]) -> None:
    effects, chosen, beside = idle
    stages, shares = (effects, effects), (0.5, 0.5)
    both = np.append(chosen, beside)
    first, second = later(stages, shares, (both, both))
    assert beside not in second
    assert set(first) <= set(second)
    assert objective(effects, second) <= objective(effects, both)


def test_what_helps_the_last_stage_only_waits_for_it(idle: tuple[Effects, Ints, int]) -> None:
    """In a stage in which it changes nothing a candidate hangs for no use yet."""
    effects, chosen, beside = idle
    helps = int(chosen[0])
    change = effects.change.copy()
    change[:, helps] = 0.0
    early = replace(effects, change=change)
    first, second = later((early, effects), (0.5, 0.5), (chosen, chosen))
    assert helps not in first
    assert helps in second


def test_no_piece_at_all_stays_none(effects: Effects) -> None:
    nothing = np.zeros(0, dtype=np.int64)
    held = later((effects, effects), (0.5, 0.5), (nothing, nothing))
    assert [len(chosen) for chosen in held] == [0, 0]
    assert len(prune(effects, nothing)) == 0
