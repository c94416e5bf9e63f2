"""What a map of set-ups shows: quality along the axis and over the floor, level by place."""

from collections.abc import Sequence

import numpy as np

from optimizer.acoustics.coupled import log_frequencies
from optimizer.acoustics.coupled_build import CoupledBox
from optimizer.acoustics.coupled_pairs import Block, respond
from optimizer.acoustics.judge_response import EVEN_RANGE
from optimizer.acoustics.low_response import HIGHEST_HZ
from optimizer.acoustics.modes import Complexes
from optimizer.positions.search import Searched
from optimizer.positions.set_ups import Ints
from optimizer.positions.turning import turn_back
from optimizer.room.geometry import Floats

EDGE, STEP = 0.1, 0.05  # m, from the end walls and between the places along the axis
SHARE_RULE = 0.38  # of the length from the wall faced: common practice, no source
MIDDLE = 0.5  # not there: common practice, no source


def axis_places(length: float) -> Floats:
    """Places (X,) along an axis of that length, both ends and the middle among them."""
    count = 2 * int(np.ceil((length / 2 - EDGE) / STEP)) + 1
    return np.linspace(EDGE, length - EDGE, count)


def axis_levels(
    box: CoupledBox, speakers: Floats, ears: Floats, places: Floats
) -> tuple[Floats, Floats]:
    """Frequencies (F,) and level (X, F) in dB re the free field at 1 m of both loudspeakers (2, 3)
    at places (X,) along the axis through the ears (3,), at their height."""
    f = log_frequencies(EVEN_RANGE[0], HIGHEST_HZ)
    receivers = np.stack([places, np.full(len(places), ears[1]), np.full(len(places), ears[2])], 1)
    energy = np.empty((len(places), len(f)))

    def use(index: int, _: int, p: Complexes) -> None:
        energy[:, index] = np.mean(np.abs(p) ** 2, axis=0)

    respond(box, f, [Block(speakers, receivers)], use)
    return f, 10 * np.log10(np.maximum(energy, 1e-20))


def best_along(searched: Searched, start: float) -> tuple[Floats, Floats]:
    """Distances (X,) of the ears from the wall faced, which is at x = start, and the best score
    (X,) there."""
    found, index = np.unique(np.round(searched.set_ups.seat - start, 3), return_inverse=True)
    return found, _least(searched.quality.scores, index.ravel(), len(found))


def over_floor(
    searched: Sequence[Searched], size: tuple[float, float] | None
) -> tuple[Floats, Floats]:
    """Places of the ears (M, 2) in the axes of the room file, and the best score (M,) there,
    whatever wall is faced. `size`: length and width of a box room."""
    places, scores = [np.zeros((0, 2))], [np.zeros(0)]
    for part in searched:
        heads = part.set_ups.heads
        there = heads if size is None else turn_back(heads, size, part.set_ups.facing)
        places.append(there[:, :2])
        scores.append(part.quality.scores)
    found, index = np.unique(np.round(np.concatenate(places), 3), axis=0, return_inverse=True)
    return np.asarray(found), _least(np.concatenate(scores), index.ravel(), len(found))


def _least(scores: Floats, index: Ints, count: int) -> Floats:
    least = np.full(count, np.inf)
    np.minimum.at(least, index, scores)
    return least
