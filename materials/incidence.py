"""Angles of incidence: absorption at one angle, over all angles, and back to an admittance.

A surface is described by its normalised admittance beta = rho c / Zs (e^{+jwt}); beta works
where Zs does not, as on a rigid wall.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline
from scipy.special import roots_legendre

from materials.medium import Complexes, Floats

N_ANGLES = 32
_LARGEST_ALPHA_STEPS = 60
_MINIMUM = 1e-12
_KNOTS = 2001
_FLAT = 0.05  # of sqrt(1 - alpha / largest), below which a Newton step would divide by little


@lru_cache(maxsize=16)
def _nodes(n: int) -> tuple[Floats, Floats]:
    x, w = roots_legendre(n)
    t = 0.5 * (x + 1.0)
    # cos(theta) = t^2 crowds the angles towards grazing, where hard surfaces absorb most.
    theta = np.arccos(t**2)
    solid_angle = w * t
    theta.setflags(write=False)
    solid_angle.setflags(write=False)
    return theta, solid_angle


def incidence_angles(n: int = N_ANGLES) -> tuple[Floats, Floats]:
    """Angles theta in rad from the normal and weights so that sum(w g) = int g sin(theta) d theta.

    Gauss-Legendre in t with cos(theta) = t**2, from 0 to 90 degrees; weights add up to 1.
    """
    if n < 4:
        raise ValueError("at least 4 angles of incidence are needed")
    return _nodes(n)


def alpha_oblique(beta: Complexes, theta: npt.ArrayLike) -> Floats:
    """Absorption coefficient of an endless surface for a plane wave at theta (rad).

    alpha = 1 - |(Zs cos - rho c)/(Zs cos + rho c)|^2 = 4 Re(beta) cos / |cos + beta|^2.
    `beta` has shape (freqs, angles) or any shape that broadcasts with `theta`.
    """
    cos = np.cos(np.asarray(theta, dtype=np.float64))
    return np.asarray(4.0 * beta.real * cos / np.abs(cos + beta) ** 2, dtype=np.float64)


def paris(beta: Complexes, n: int = N_ANGLES) -> Floats:
    """Random-incidence absorption of an endless surface, shape (freqs,): the Paris integral.

    alpha = int_0^{pi/2} alpha(theta) sin(2 theta) d theta, without a cut at grazing angles.
    `beta` has shape (freqs, n) at `incidence_angles(n)`, or (freqs, 1) when locally reacting.
    """
    theta, weights = incidence_angles(n)
    return np.asarray(
        (alpha_oblique(beta, theta) * 2.0 * np.cos(theta)) @ weights, dtype=np.float64
    )


def alpha_from_admittance(beta: npt.ArrayLike) -> Floats:
    """Random-incidence absorption of a locally reacting wall of real admittance beta >= 0.

    alpha = 8 beta (1 - 2 beta ln(1 + 1/beta) + beta/(1 + beta)), the Paris integral in closed
    form (Kuttruff, Room Acoustics, ch. 2; from memory, checked against the integral in the tests).
    """
    b = np.asarray(beta, dtype=np.float64)
    if np.any(~np.isfinite(b)) or np.any(b < 0.0):
        raise ValueError("a real admittance must be zero or above")
    safe = np.maximum(b, _MINIMUM)
    alpha = 8.0 * b * (1.0 - 2.0 * safe * np.log1p(1.0 / safe) + safe / (1.0 + safe))
    return np.asarray(alpha, dtype=np.float64)


@lru_cache(maxsize=1)
def largest_local_alpha() -> tuple[float, float]:
    """(beta, alpha) at the largest random-incidence absorption a locally reacting wall can have.

    alpha = 0.951 at 1/beta = 1.567 (Mechel, Formulas of Acoustics, D.5).
    """
    low, high = 0.3, 1.2
    for _ in range(_LARGEST_ALPHA_STEPS):
        third = (high - low) / 3.0
        left, right = alpha_from_admittance(np.array([low + third, high - third]))
        low, high = (low + third, high) if left < right else (low, high - third)
    beta = 0.5 * (low + high)
    return beta, float(alpha_from_admittance(beta))


def admittance_from_alpha(alpha: npt.ArrayLike) -> Floats:
    """Real normalised admittance of a locally reacting wall with random-incidence `alpha`.

    Inverts `alpha_from_admittance` on its hard side, 0 <= beta <= 0.638; same shape as `alpha`.
    Clip rule: no such wall passes 0.951, so larger table values (edge effect of the laboratory
    sample, other kinds of reaction) give the admittance of that maximum. Phase is unknown to a
    table row, so the result is real; for small alpha it is alpha/8. Raises ValueError below zero.
    """
    target = np.asarray(alpha, dtype=np.float64)
    if np.any(~np.isfinite(target)) or np.any(target < 0.0):
        raise ValueError("an absorption coefficient must be zero or above")
    _, alpha_max = largest_local_alpha()
    goal = np.minimum(target, alpha_max)
    far = np.sqrt(1.0 - goal / alpha_max)
    beta = np.maximum(_local_spline()(far), 0.0)
    # A Newton step where alpha still rises; next to its maximum the spline is exact enough.
    log, share = np.log1p(1.0 / np.maximum(beta, _MINIMUM)), 1.0 / (1.0 + beta)
    slope = 8.0 * (1.0 - 4.0 * beta * log + 2.0 * beta * share + beta * share * (1.0 + share))
    off = alpha_from_admittance(beta) - goal
    step = np.divide(off, slope, out=np.zeros_like(off), where=far > _FLAT)
    return np.asarray(np.where(goal > 0.0, np.maximum(beta - step, 0.0), 0.0), dtype=np.float64)


@lru_cache(maxsize=1)
def _local_spline() -> CubicSpline:
    """Admittance over sqrt(1 - alpha / largest), in which it is smooth up to the maximum."""
    beta_max, alpha_max = largest_local_alpha()
    known = beta_max * (1.0 - np.linspace(0.0, 1.0, _KNOTS))
    far = np.sqrt(np.maximum(1.0 - alpha_from_admittance(known) / alpha_max, 0.0))
    return CubicSpline(far, known)
