"""A calibration in tables: decay measured and predicted, and the coefficients that changed."""

import numpy as np

from optimizer.bands import BANDS, band_label
from optimizer.calibration.fit import Calibration

DECAY_HEADER = ("state", "band", "measured s", "predicted before", "predicted after", "still off")
DECAY_RIGHT = (2, 3, 4, 5)
CHANGE_HEADER = ("material", "band", "before", "after", "change", "± before", "± after")
CHANGE_RIGHT = (2, 3, 4, 5, 6)
NOTABLE = 0.25  # of a coefficient's uncertainty; smaller changes are not listed


def decay_rows(found: Calibration) -> list[list[str]]:
    """Rows of DECAY_HEADER: every state and band that was measured."""
    rows = []
    for s, state in enumerate(found.states):
        for b in np.flatnonzero(state.measured.known):
            error = state.measured.error[b]
            rows.append([
                state.name, band_label(BANDS[b]), f"{state.measured.t20[b]:.2f} ± {error:.2f}",
                f"{found.before[s, b]:.2f}", f"{found.after[s, b]:.2f}",
                f"{100 * found.left[s, b]:+z.1f} %",
            ])  # fmt: skip
    return rows


def change_rows(found: Calibration, most: int | None = None) -> list[list[str]]:
    """Rows of CHANGE_HEADER, the largest shift against its uncertainty first; at most `most`."""
    unknowns = found.unknowns
    shift = np.abs(found.z)
    order = np.argsort(-shift, axis=None, kind="stable")
    order = order[shift.ravel()[order] >= NOTABLE][:most]
    prior, value = unknowns.prior, unknowns.values(found.z)
    sigma = unknowns.sigma(found.z, found.z_sigma)
    rows = []
    for m, b in zip(*np.unravel_index(order, shift.shape), strict=True):
        material = unknowns.materials[m]
        unit = "" if material.unit == "alpha" else " m²"
        rows.append([
            material.id, band_label(BANDS[b]), f"{prior[m, b]:.3f}{unit}",
            f"{value[m, b]:.3f}{unit}", f"{100 * (value[m, b] / prior[m, b] - 1):+z.0f} %",
            f"{material.spread[b]:.3f}", f"{sigma[m, b]:.3f}",
        ])  # fmt: skip
    return rows


def summary(found: Calibration) -> str:
    """How far the prediction was off and is now, in a sentence."""
    known = np.isfinite(found.measured)
    before, after = (
        100 * np.abs(times / found.measured - 1)[known] for times in (found.before, found.after)
    )
    return (
        f"Predicted decay was off by {before.mean():.0f} % on average (worst {before.max():.0f} %) "
        f"and is now off by {after.mean():.1f} % (worst {after.max():.1f} %)."
    )
