"""Simulated annealing on an effects table: a yardstick for the solver, not part of the product."""

import math
import time

import numpy as np
from numpy.typing import NDArray

from optimizer.placement.effects import Effects
from optimizer.placement.proof import objective

Ints = NDArray[np.int64]


def anneal(effects: Effects, start: Ints, seconds: float, seed: int = 1) -> tuple[float, Ints]:
    """Best objective and selection after `seconds` of add, drop and swap moves from `start`."""
    rng = np.random.default_rng(seed)
    partners = _conflicts(effects)
    current = set(start.tolist())
    value = best = objective(effects, start)
    best_set = set(current)
    began = time.monotonic()
    while (spent := time.monotonic() - began) < seconds:
        heat = 0.02 * best * (1 - spent / seconds) + 1e-6
        trial = _neighbour(effects, current, partners, rng)
        chosen = np.array(sorted(trial), dtype=np.int64)
        if effects.cost_cents(chosen) > effects.budget_cents:
            continue
        new = objective(effects, chosen)
        if new <= value or rng.random() < math.exp((value - new) / heat):
            current, value = trial, new
            if value < best:
                best, best_set = value, set(current)
    return best, np.array(sorted(best_set), dtype=np.int64)


def _conflicts(effects: Effects) -> list[set[int]]:
    partners: list[set[int]] = [set() for _ in range(effects.count)]
    for row in effects.cover:
        members = set(row.tolist())
        for c in members:
            partners[c] |= members
    return partners


def _neighbour(
    effects: Effects, current: set[int], partners: list[set[int]], rng: np.random.Generator
) -> set[int]:
    trial = set(current)
    move = rng.random()
    if trial and move < 0.6:  # drop, or the first half of a swap
        trial.discard(list(trial)[int(rng.integers(len(trial)))])
    if not trial or move > 0.2:
        new = int(rng.integers(effects.count))
        trial = {c for c in trial if c not in partners[new]} | {new}
    return trial
