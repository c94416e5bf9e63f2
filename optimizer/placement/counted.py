"""Effects on the decay formula as a fuller model weighs the surfaces and what they scatter."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from optimizer.acoustics.decay_criteria import MODEL
from optimizer.bands import BAND_LABELS, N_BANDS
from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects, Ints
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

# Exponent on the weights, which hold for a small change. With 0 (none), 0.3, 0.5 and 1 the plans of
# eight random rooms (seeds 20 to 27 of
# tests/evidence/correction_gain.py) score 2.10, 1.99, 2.04, 2.06.
BELIEVED = 0.3


def scattering_areas(candidates: Sequence[Candidate], room: Room) -> Floats:
    """Area in m2 (C, 8) that each candidate's pieces scatter from more than the bare surface does:
    (s - s_surface)(1 - alpha) of what they cover, s above that of the surface."""
    bare = {surface.name: np.array(surface.material.scattering) for surface in room.surfaces}
    areas = np.zeros((len(candidates), N_BANDS))
    for row, candidate in zip(areas, candidates, strict=True):
        for piece in candidate.pieces:
            reflected = 1.0 - np.clip(piece.material.absorption, 0.0, 1.0)
            for name, (u0, v0, u1, v1) in piece.rects:
                more = np.maximum(np.array(piece.material.scattering) - bare[name], 0.0)
                row += (u1 - u0) * (v1 - v0) * more * reflected
    return areas


def counted(
    effects: Effects, shares: Floats, weights: Floats, chosen: Ints,
    scattered: Floats | None = None, believed: float = BELIEVED,
) -> Effects:  # fmt: skip
    """The effects with absorption counted by the surface it lies on, about a selection.

    `shares` (C, S) of each surface in a candidate, `weights` (S, 8) of a surface in each band
    (acoustics.surface_weights); `scattered` (C, 8) in m2 what the scattering of a candidate is
    worth. The selection's own areas stay as they are: the weights say what a change of it is worth.
    """
    each = shares @ weights**believed
    change, base = effects.change.copy(), effects.base.copy()
    for k, row in enumerate(effects.criteria.rows):
        if row.model == MODEL:
            band = BAND_LABELS.index(row.where)
            change[k] *= each[:, band]
            if scattered is not None:
                change[k] += scattered[:, band]
            base[k] += (effects.change[k] - change[k])[chosen].sum()
    return replace(effects, change=change, base=np.asarray(base))
