"""Effects on the decay formula as a fuller model weighs the surfaces."""

from dataclasses import replace

import numpy as np

from optimizer.acoustics.decay_criteria import MODEL
from optimizer.bands import BAND_LABELS
from optimizer.placement.effects import Effects, Ints
from optimizer.room.geometry import Floats

# Exponent on the weights, which hold for a small change. With 0 (none), 0.3, 0.5 and 1 the plans of
# eight random rooms (seeds 20 to 27 of
# tests/evidence/correction_gain.py) score 2.10, 1.99, 2.04, 2.06.
BELIEVED = 0.3


def counted(effects: Effects, shares: Floats, weights: Floats, chosen: Ints) -> Effects:
    """The effects with absorption counted by the surface it lies on, about a selection.

    `shares` (C, S) of each surface in a candidate, `weights` (S, 8) of a surface in each band
    (acoustics.surface_weights). The selection's own areas stay as they are: the weights say what a
    change of it is worth.
    """
    each = shares @ weights**BELIEVED
    change, base = effects.change.copy(), effects.base.copy()
    for k, row in enumerate(effects.criteria.rows):
        if row.model == MODEL:
            change[k] *= each[:, BAND_LABELS.index(row.where)]
            base[k] += (effects.change[k] - change[k])[chosen].sum()
    return replace(effects, change=change, base=np.asarray(base))
