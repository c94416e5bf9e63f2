"""How much less a loudspeaker radiates to its sides and rear, octave by octave.

Model: the driver is a cap moving in the surface of a rigid sphere the size of the cabinet,
P. M. Morse, Vibration and Sound (2nd ed. 1948), section 28; P. M. Morse and K. U. Ingard,
Theoretical Acoustics (1968), section 7.2; Beranek and Mellow, Acoustics (2012), chapter 12.
A box-shaped cabinet has edges that a sphere has not; expect agreement of a few decibels.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from optimizer.acoustics.images import Paths
from optimizer.bands import EXACT_HZ, N_BANDS

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

SPEED_OF_SOUND = 343.0
_STEPS = 180  # one table row per degree from 0 to 180
_PHASE = np.array([1, -1j, -1, 1j])  # (-i)^m
_PER_OCTAVE = 16  # frequencies averaged in each band, even spacing on a log axis


@dataclass(frozen=True, eq=False)
class Directivity:
    """Energy by angle from the aiming axis and octave band, relative to the axis.

    table (181, 8): one row per degree, 0 to 180.
    Make one with loudspeaker() or omnidirectional().
    """

    table: FloatArray

    def energy(self, angles_rad: ArrayLike) -> FloatArray:
        """Energy re on-axis, (..., 8), at angles (...) of 0 to pi rad, interpolated."""
        angles = np.asarray(angles_rad, dtype=np.float64)
        if not np.all((angles >= 0) & (angles <= np.pi + 1e-9)):
            raise ValueError("angles from the axis run from 0 to pi rad")
        position = np.minimum(angles * (_STEPS / np.pi), _STEPS)
        row = np.minimum(position.astype(np.int64), _STEPS - 1)
        part = (position - row)[..., None]
        return np.asarray((1 - part) * self.table[row] + part * self.table[row + 1])


@lru_cache(maxsize=32)
def loudspeaker(
    cabinet_radius: float = 0.14,
    woofer_radius: float = 0.07,
    tweeter_radius: float = 0.0125,
    crossover_hz: float = 2500.0,
    c: float = SPEED_OF_SOUND,
) -> Directivity:
    """Two-way loudspeaker: woofer alone below the crossover, tweeter alone above it.

    Radii in metres; the cabinet's is that of a sphere of about its size. Each band is the
    energy mean over the band, evenly spaced in log frequency (pink noise), relative to the
    axis at every frequency. Both drivers sit on the axis. ValueError unless
    0 < driver radii < cabinet radius and the crossover is above 0 Hz.
    """
    if not 0 < max(woofer_radius, tweeter_radius) < cabinet_radius or crossover_hz <= 0:
        raise ValueError("drivers must be smaller than the cabinet, sizes and crossover above 0")
    if min(woofer_radius, tweeter_radius) <= 0:
        raise ValueError("driver radii must be above zero")
    octave = 2.0 ** ((np.arange(_PER_OCTAVE) + 0.5) / _PER_OCTAVE - 0.5)
    freq = EXACT_HZ[:, None] * octave  # (8, per octave)
    ka = 2 * np.pi * freq.ravel() / c * cabinet_radius
    cos_angle = np.cos(np.linspace(0, np.pi, _STEPS + 1))
    driver = np.where(freq.ravel() < crossover_hz, woofer_radius, tweeter_radius)
    energy = np.empty((ka.size, cos_angle.size))
    for radius in {woofer_radius, tweeter_radius}:
        mine = driver == radius
        cos_cap = float(np.sqrt(1 - (radius / cabinet_radius) ** 2))
        pressure = cap_pressure(ka[mine], cos_cap, cos_angle)
        energy[mine] = np.abs(pressure / pressure[:, :1]) ** 2
    return Directivity(energy.reshape(N_BANDS, _PER_OCTAVE, -1).mean(axis=1).T)


@lru_cache(maxsize=1)
def omnidirectional() -> Directivity:
    """A source that radiates alike in all directions."""
    return Directivity(np.ones((_STEPS + 1, N_BANDS)))


def cap_pressure(ka: ArrayLike, cos_cap: float, cos_angle: ArrayLike) -> ComplexArray:
    """Far pressure (F, A) of a cap of half angle arccos(cos_cap) in a rigid sphere, any scale.

    ka (F,) wavenumber times sphere radius, above 0; cos_angle (A,) cosines from the axis.
    p ~ (1/ka) sum_m U_m (-i)^m P_m(cos theta) / h_m'(ka), with
    U_m = [P_(m-1)(cos_cap) - P_(m+1)(cos_cap)] / 2 the Legendre series of a radial velocity
    of one on the cap and nought elsewhere (P_-1 = 1); time factor exp(-i w t).
    Source: Morse, Vibration and Sound, section 28 (form of the series from memory).
    """
    size = np.asarray(ka, dtype=np.float64)
    cosine = np.asarray(cos_angle, dtype=np.float64)
    if not np.all(size > 0) or not -1 < cos_cap < 1:
        raise ValueError("ka must be above zero and the cap smaller than the sphere")
    order = np.arange(_orders(float(size.max(initial=0.0))))
    legendre = eval_legendre(order[:, None], cosine)  # (M, A)
    weight = cap_velocity(order, cos_cap) * _PHASE[order % 4] / _hankel_slope(order, size[:, None])
    return np.asarray(weight @ legendre / size[:, None], dtype=np.complex128)


def cap_velocity(order: ArrayLike, cos_cap: float) -> FloatArray:
    """Legendre coefficients U_m of a radial velocity of one on a cap, nought elsewhere."""
    m = np.asarray(order, dtype=np.int64)
    below = np.where(m == 0, 1.0, eval_legendre(np.maximum(m - 1, 0), cos_cap))
    return np.asarray((below - eval_legendre(m + 1, cos_cap)) / 2)


def off_axis(directions: ArrayLike, aim: ArrayLike) -> FloatArray:
    """Angles in rad between unit directions (S, ..., 3) and each source's aim (S, 3)."""
    to, axis = np.asarray(directions, dtype=np.float64), np.asarray(aim, dtype=np.float64)
    length = np.linalg.norm(axis, axis=-1, keepdims=True)
    if axis.shape != (len(to), 3) or not np.all(length > 0):
        raise ValueError("each source needs an aim of three numbers, not all zero")
    unit = (axis / length).reshape((len(to),) + (1,) * (to.ndim - 2) + (3,))
    return np.asarray(np.arccos(np.clip((to * unit).sum(axis=-1), -1.0, 1.0)))


def arriving_energy(paths: Paths, aim: ArrayLike, directivity: Directivity) -> FloatArray:
    """Energy (S, R, P, 8) of each reflection re the direct sound, before any absorption.

    (direct / reflected length)^2 times the loudspeaker's energy towards the bounce point over
    that towards the receiver; aim (S, 3) is the way each loudspeaker faces. Nought where the
    path is not valid. Multiply by 1 - absorption; 10 lg gives the level.
    """
    towards = directivity.energy(off_axis(paths.leave, aim))
    straight = directivity.energy(off_axis(paths.direct_leave, aim))[:, :, None]
    spreading = np.where(paths.valid, 10.0 ** (paths.spreading_db / 10), 0.0)
    return np.asarray(spreading[..., None] * towards / straight)


def _orders(ka: float) -> int:
    """Terms after which the series has converged: they die out fast once m passes ka."""
    return int(np.ceil(ka + 12.0 * np.cbrt(ka))) + 12


def _hankel_slope(order: NDArray[np.int64], ka: FloatArray) -> ComplexArray:
    """Derivative of the spherical Hankel function of the first kind."""
    slope = np.empty(np.broadcast_shapes(order.shape, ka.shape), dtype=np.complex128)
    slope.real = spherical_jn(order, ka, derivative=True)
    slope.imag = spherical_yn(order, ka, derivative=True)
    return slope
