"""How sure a plan's figures are, and limits tightened so that they hold with a probability."""

from collections.abc import Sequence

import numpy as np

from optimizer.acoustics.judged import Judged
from optimizer.acoustics.uncertainty import DRAWS, Moved, Sampled, room_kinds, sample
from optimizer.placement.pieces import Piece, in_order, piece_patches
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

LEFT = 0.25  # share of an additive limit that tightening leaves at least


def plan_sample(
    room: Room,
    judged: Judged,
    hung: Sequence[Piece],
    pieces: Sequence[Piece],
    moved: Moved,
    draws: int = DRAWS,
) -> Sampled:
    """The judged scene of a room `treated` with pieces beside those that hang and stay, drawn at
    random; always the same draws.

    `moved` gives the criteria of a scene whose loudspeakers and seats stand elsewhere.
    """
    everything = [*hung, *in_order(pieces)]
    _, owner = piece_patches(room, everything)
    kinds = room_kinds(room, [everything[index].material for index in owner])
    return sample(judged, kinds, moved, draws=draws)


def tightened(
    low: Floats, high: Floats, judged: Judged, sampled: Sampled, probability: float
) -> tuple[Floats, Floats]:
    """Limits (K,) moved inward by how far the figures may stray at this probability.

    Times by a ratio, all else by a difference (of which a quarter of the limit is left at least).
    """
    under, over = np.quantile(sampled.values, [1 - probability, probability], axis=0)
    values = judged.values
    ratio = np.array([row.unit == "s" for row in judged.criteria.rows])
    with np.errstate(divide="ignore", invalid="ignore"):
        times = (low * np.maximum(values / under, 1.0), high / np.maximum(over / values, 1.0))
    shift = (np.maximum(values - under, 0.0), np.maximum(over - values, 0.0))
    both = np.isfinite(low) & np.isfinite(high)
    floor, roof = (np.where(both, LEFT * x, s * np.inf) for x, s in ((low, 1), (high, -1)))
    less = np.where(both, np.minimum(low + shift[0], floor), low + shift[0])
    more = np.where(both, np.maximum(high - shift[1], roof), high - shift[1])
    return np.where(ratio, times[0], less), np.where(ratio, times[1], more)
