"""When a calibration is not to be believed: reasons told, one per kind, and nothing written."""

from collections.abc import Iterator

import numpy as np

from optimizer.bands import BANDS, band_label
from optimizer.calibration.fit import Calibration
from optimizer.calibration.model import State
from optimizer.faults import Fault

MOST_SIGMAS = 3.0  # a coefficient may move
HIGHEST = 1.2  # per face; laboratory samples with edges reach this
MOST_OFF = 3.0  # errors of measurement and model together that may be left in a band
VOLUME_OFF = 0.15  # share by which a decay common to all bands may be off before it is told
VOLUME_GAIN = 9.0  # drop of the sum of squares that makes it three sigma
TWO_FACES = "free-standing"


def doubts(found: Calibration) -> list[Fault]:
    """Why a calibration is not to be believed; an empty list when nothing speaks against it."""
    volume = list(_volume(found))
    return [*volume, *_impossible(found), *_far(found), *_misfit(found)]


def _far(found: Calibration) -> Iterator[Fault]:
    """Coefficients pushed beyond MOST_SIGMAS of what is known of them."""
    for m, material in enumerate(found.unknowns.materials):
        far = np.flatnonzero(np.abs(found.z[m]) > MOST_SIGMAS)
        if len(far):
            worst = int(far[np.abs(found.z[m, far]).argmax()])
            prior, new = (v[m, worst] for v in (found.unknowns.prior, _values(found)))
            remedy = (
                f"would have to go from {prior:.2f} to {new:.2f} at {band_label(BANDS[worst])}, "
                f"{abs(found.z[m, worst]):.1f} times its uncertainty; check what the surface is, "
                "and that nothing absorbent is missing from the room file"
            )
            yield Fault(_files(found.states), material.id, None, remedy)


def _impossible(found: Calibration) -> Iterator[Fault]:
    """Coefficients of surfaces outside 0 to HIGHEST that the table did not have there."""
    values = _values(found)
    for m, material in enumerate(found.unknowns.materials):
        if material.unit != "alpha":
            continue
        limit = HIGHEST * (2 if material.mounting == TWO_FACES else 1)
        over = np.flatnonzero((values[m] > limit) & (values[m] > found.unknowns.prior[m]))
        if len(over):
            worst = int(over[values[m, over].argmax()])
            remedy = (
                f"would need a coefficient of {values[m, worst]:.2f} at "
                f"{band_label(BANDS[worst])}; no surface absorbs more than {limit:g}"
            )
            yield Fault(_files(found.states), material.id, None, remedy)


def _misfit(found: Calibration) -> Iterator[Fault]:
    """Bands that no likely coefficients explain, by state."""
    for state, off, after in zip(found.states, found.off, found.after, strict=True):
        bad = np.flatnonzero(np.nan_to_num(np.abs(off)) > MOST_OFF)
        for band in bad:
            measured = state.measured.t20[band]
            remedy = (
                f"measured {measured:.2f} s, at best {after[band]:.2f} s fits: "
                f"{abs(off[band]):.1f} times the error of measurement and model; measure again, "
                "or correct the room file"
            )
            yield Fault(_files([state]), band_label(BANDS[band]), None, remedy)


def _volume(found: Calibration) -> Iterator[Fault]:
    """A volume (or a measurement) that is off: all bands longer or shorter by one factor.

    With that factor free as one more unknown (of any size beforehand) the least sum of squares
    drops by gain; told when the factor is large and the drop too.
    """
    known = np.isfinite(found.measured)
    weighted = (found.slopes / found.error[..., None])[known]
    ones = (1.0 / found.error)[known]
    off = found.off[known]
    count = weighted.shape[1]
    full = np.zeros((len(weighted) + count, count + 1))
    full[: len(weighted), :count], full[: len(weighted), count] = weighted, ones
    full[len(weighted) :, :count] = np.eye(count)
    left = np.concatenate([off, found.z.ravel()])
    step, *_ = np.linalg.lstsq(full, -left, rcond=None)
    gain = float(left @ left - np.sum((full @ step + left) ** 2))
    factor = float(np.exp(-step[-1]))  # measured times this is what the room file says
    if gain > VOLUME_GAIN and abs(np.log(factor)) > np.log1p(VOLUME_OFF):
        direction = "longer" if factor < 1 else "shorter"
        remedy = (
            f"every band is about {100 * abs(1 / factor - 1):.0f} % {direction} than this room of "
            f"{found.states[0].room.volume:.1f} m3 can be with likely surfaces; check its size, "
            "and that this is its measurement"
        )
        yield Fault(_files(found.states), "volume", None, remedy)


def _values(found: Calibration) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return found.unknowns.values(found.z)


def _files(states: tuple[State, ...] | list[State]) -> str:
    return ", ".join(name for state in states for name in state.measured.files)
