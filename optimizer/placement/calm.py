"""Of plans about as good the calmest: without placements that are hardly worth hanging."""

from collections.abc import Callable

import numpy as np

from optimizer.placement.effects import Effects, Ints

SHARE = 0.5  # of the gap asked for that may be given up for calm


def calmed(effects: Effects, chosen: Ints, worst: float, value: Callable[[Ints], float]) -> Ints:
    """The selection with placements taken out, the least missed first, while its value stays at or
    below `worst`; what is left keeps to the order and to what is wished for."""
    kept = np.sort(chosen)
    while len(kept):
        trials = [np.delete(kept, i) for i in range(len(kept))]
        trials = [t for t in trials if effects.order.holds(t) and effects.granted(t)]
        if not trials:
            break
        best = min(trials, key=value)
        if value(best) > worst:
            break
        kept = best
    return kept
