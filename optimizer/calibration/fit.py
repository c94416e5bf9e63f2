"""The most likely coefficients, given the table and what was measured.

Regularised least squares over z (optimizer.calibration.unknowns), all bands and states at once:

    minimise  sum z^2 + sum over states and bands of (ln T(z) - ln T_measured)^2 / s^2
                      + the same for the bend ln(T30/T20), where it was measured and is modelled,

the maximum a posteriori for a normal z and log-normal decay times (Tarantola, Inverse Problem
Theory, SIAM 2005, section 3.2: Gauss-Newton steps, posterior covariance from the last one; from
memory). s joins the error of the measurement and what the decay model itself is worth. What the
slower judges correct is held meanwhile and taken anew at what was found, until it stays.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.model import State, all_of
from optimizer.calibration.unknowns import Unknowns, unknowns_of
from optimizer.room.geometry import Floats

# Relative error of the decay model between the states of one room, once its coefficients are those
# of that room. Diffuse formulas stay within 10 % then, whatever the distribution (Prawda, Schlecht,
# Valimaki, JASA 152 (2022) 1158, abstract): taken as three sigma, for the tracer too. Bands with a
# handful of modes: first-order damping is good to about 10 %
# (tests/evidence/first_order_damping.md).
FORMULA_ERROR = 0.033
MODES_ERROR = 0.10
# Of a traced ln(T30/T20): twice the scattering halves the bend (tests/evidence/
# trace_measured_rooms.md), and scattering is hardly known better; never less than the rays' noise.
BEND_SHARE, BEND_ERROR = 0.5, 0.02
ROUNDS = 3  # in which the slower judges are asked
SETTLED = 0.02  # change of ln T by them at which the rounds end
STEPS = 8
HALVINGS = 4
SMALL_STEP = 0.3  # of any z, after which the slopes stay as they are
LONGEST_STEP = 2.0  # of any z at once
STEADY = 0.003  # change of ln T at which the steps end


@dataclass(frozen=True)
class Calibration:
    """What a calibration found. Arrays (M, 8) over materials, (S, 8) over states.

    `z` and `z_sigma`: shift of each coefficient and its standard deviation, in units of the
    table's uncertainty. `before`, `after`: predicted decay in s with the table's coefficients and
    with those found. `error`: one sigma of ln T, of measurement and model together. `cost`: the
    sum of squares that was left; `slopes` (S, 8, M 8): derivatives of ln T at z.
    """

    states: tuple[State, ...]
    unknowns: Unknowns
    z: Floats
    z_sigma: Floats
    before: Floats
    after: Floats
    error: Floats
    cost: float
    slopes: Floats

    @property
    def measured(self) -> Floats:
        """Measured decay (S, 8) in s, nan where not measured."""
        return np.array([state.measured.t20 for state in self.states])

    @property
    def left(self) -> Floats:
        """Predicted over measured, less one (S, 8)."""
        return np.asarray(self.after / self.measured - 1.0)

    @property
    def off(self) -> Floats:
        """What is left in units of its error (S, 8)."""
        return np.asarray(np.log(self.after / self.measured) / self.error)


@dataclass(frozen=True)
class _Data:
    """What was measured, (S, 2, 8): ln T20 and the bend, their errors, and which count."""

    logs: Floats
    error: Floats
    known: NDArray[np.bool_]

    def residuals(self, logs: Floats) -> Floats:
        """Weighted differences (N,) of what counts."""
        return np.asarray(((logs - self.logs) / self.error)[self.known])

    def less(self, held: Floats) -> "_Data":
        """The data with corrections of ln T20 (S, 8) taken off."""
        return _Data(self.logs - np.stack([held, np.zeros_like(held)], 1), self.error, self.known)

    def weighted(self, slopes: Floats) -> Floats:
        """Derivatives (N, M 8) of the residuals from those of ln T (S, 2, 8, M, 8)."""
        rows = (slopes / self.error[..., None, None])[self.known]
        return np.asarray(rows.reshape(len(rows), -1))

    def cost(self, z: Floats, logs: Floats) -> float:
        """The sum of squares that is minimised."""
        return float(np.sum(z**2) + np.sum(self.residuals(logs) ** 2))


def calibrate(states: Sequence[State]) -> Calibration:
    """Fit the coefficients of the materials in all states together. ValueError without a state."""
    if not states:
        raise ValueError("a calibration needs at least one state")
    unknowns = unknowns_of((state.room, state.pieces) for state in states)
    data = _data(states)
    z: Floats = np.zeros(unknowns.prior.shape)
    held = _held(states, unknowns, z)
    before = all_of(states, unknowns.table(z))[:, 0] + held
    slopes = _slopes(states, unknowns, z)
    for _ in range(ROUNDS):
        z, logs, slopes = _sought(states, unknowns, data.less(held), z, slopes)
        new = _held(states, unknowns, z)
        change, held = np.abs(new - held)[data.known[:, 0]].max(), new
        if change < SETTLED:
            break
    weighted = data.weighted(slopes)
    covariance = np.linalg.inv(weighted.T @ weighted + np.eye(z.size))
    return Calibration(
        states=tuple(states),
        unknowns=unknowns,
        z=z,
        z_sigma=np.sqrt(np.diag(covariance)).reshape(z.shape),
        before=np.exp(before),
        after=np.exp(logs[:, 0] + held),
        error=data.error[:, 0],
        cost=data.less(held).cost(z, logs),
        slopes=slopes[:, 0].reshape(*slopes.shape[:1], slopes.shape[2], -1),
    )


def _held(states: Sequence[State], unknowns: Unknowns, z: Floats) -> Floats:
    """ln of the slower judges' corrections (S, 8) at z."""
    table = unknowns.table(z)
    return np.log([state.corrections(table) for state in states])


def _slopes(states: Sequence[State], unknowns: Unknowns, z: Floats) -> Floats:
    return np.array([state.slopes(unknowns, z) for state in states])


def _sought(
    states: Sequence[State], unknowns: Unknowns, data: _Data, z: Floats, slopes: Floats
) -> tuple[Floats, Floats, Floats]:
    """From z on: the best z (M, 8), its predictions (S, 2, 8) and slopes (S, 2, 8, M, 8).

    Slopes are taken anew after a step that is not small; ln T is nearly linear in z.
    """
    logs = all_of(states, unknowns.table(z))
    for _ in range(STEPS):
        step = _step(data.weighted(slopes), data.residuals(logs), z)
        last = logs
        z, logs = _shortened(states, unknowns, data, (z, logs), step)
        if np.abs(step).max() > SMALL_STEP:
            slopes = _slopes(states, unknowns, z)
        if np.abs(logs - last)[data.known].max() < STEADY:
            break
    return z, logs, slopes


def _shortened(
    states: Sequence[State],
    unknowns: Unknowns,
    data: _Data,
    start: tuple[Floats, Floats],
    step: Floats,
) -> tuple[Floats, Floats]:
    """z and its predictions after the step, halved while it leads up."""
    least = data.cost(*start)
    for half in range(HALVINGS):
        z = start[0] + 0.5**half * step
        logs = all_of(states, unknowns.table(z))
        if data.cost(z, logs) <= least:
            return z, logs
    return start


def _step(weighted: Floats, off: Floats, z: Floats) -> Floats:
    """The Gauss-Newton step of z (M, 8), no longer than LONGEST_STEP anywhere."""
    normal = weighted.T @ weighted + np.eye(z.size)
    step = -np.linalg.solve(normal, weighted.T @ off + z.ravel())
    longest = float(np.abs(step).max())
    return np.asarray(step * min(1.0, LONGEST_STEP / max(longest, 1e-12))).reshape(z.shape)


def _data(states: Sequence[State]) -> _Data:
    rows, errors = [], []
    for state in states:
        t20, t30 = state.measured.t20, state.measured.t30
        noise = state.measured.error / t20
        model = np.where(state.by_modes, MODES_ERROR, FORMULA_ERROR)
        bend = np.where(state.traced, np.log(t30 / t20), np.nan)
        rows.append([np.log(t20), bend])
        unsure = np.maximum(BEND_SHARE * np.abs(bend), BEND_ERROR)
        errors.append([np.hypot(noise, model), np.hypot(noise, unsure)])
    logs: Floats = np.array(rows)
    return _Data(logs, np.array(errors), np.isfinite(logs))
