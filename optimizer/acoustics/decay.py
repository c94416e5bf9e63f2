"""Decay time by six diffuse-field formulas, side by side.

All share one signature (DecayFormula) and one convention:

- volume m3; areas (n,) m2; alpha (n, bands) random-incidence absorption; air (bands,) power
  attenuation m in 1/m; object_area (bands,) m2 of absorption of people and furniture.
- axis is needed by Fitzroy and Arau-Puchades only: (n,) integers 0, 1, 2 (x, y, z: the axis
  a surface faces along) or (n, 3) shares per axis that add to one (see axis_weights).
- Air and objects are absorption spread through the volume. Every formula adds 4 m V +
  object_area to its denominator after any logarithm; Fitzroy and Arau-Puchades add the whole
  of it to each of the three axial denominators. Item figures are equivalent areas
  in Sabine's sense (ISO 354), so no formula puts them inside a logarithm.
- Coefficients above 1 (edge effect, ISO 354) enter every sum as they are. Only the number
  that goes into ln(1 - a) is capped at LOG_CAP: the mean for Norris-Eyring and Kuttruff,
  each pair's mean for Fitzroy and Arau-Puchades, each coefficient for Millington-Sette.
- No absorption at all gives an infinite time.

k = 24 ln 10 / c = 55.26 / c. Below the Schroeder frequency none of them holds.
"""

import math
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

SPEED_OF_SOUND = 343.0
LOG_CAP = 0.99


class DecayFormula(Protocol):
    """What every entry of FORMULAS can be called with; returns seconds, shape (bands,)."""

    def __call__(
        self,
        volume: float,
        areas: ArrayLike,
        alpha: ArrayLike,
        *,
        axis: ArrayLike | None = None,
        air: ArrayLike | None = None,
        object_area: ArrayLike | None = None,
        c: float = SPEED_OF_SOUND,
    ) -> FloatArray: ...


class _Room(NamedTuple):
    kv: float  # 24 ln 10 V / c
    areas: FloatArray  # (n,)
    alpha: FloatArray  # (n, bands)
    spread: FloatArray  # (bands,) 4 m V + object area

    @property
    def surface(self) -> float:
        return float(self.areas.sum())

    @property
    def mean(self) -> FloatArray:
        return np.asarray(self.areas @ self.alpha / self.surface)

    def time(self, absorption: FloatArray) -> FloatArray:
        """Seconds for an equivalent absorption area of the surfaces, air and objects added."""
        with np.errstate(divide="ignore"):
            return self.kv / (absorption + self.spread)


def sabine(
    volume: float,
    areas: ArrayLike,
    alpha: ArrayLike,
    *,
    axis: ArrayLike | None = None,
    air: ArrayLike | None = None,
    object_area: ArrayLike | None = None,
    c: float = SPEED_OF_SOUND,
) -> FloatArray:
    """T = kV / (A + 4mV), A = sum S_i a_i. Fair for a mean coefficient up to about 0.2.

    Source: Sabine, Collected Papers (1922); ISO 354:2003, 8.1.2. axis is not used.
    """
    room = _room(volume, areas, alpha, air, object_area, c)
    return room.time(room.areas @ room.alpha)


def eyring(
    volume: float,
    areas: ArrayLike,
    alpha: ArrayLike,
    *,
    axis: ArrayLike | None = None,
    air: ArrayLike | None = None,
    object_area: ArrayLike | None = None,
    c: float = SPEED_OF_SOUND,
) -> FloatArray:
    """T = kV / (-S ln(1 - am) + 4mV), am = A/S the mean coefficient.

    Source: Eyring, JASA 1 (1930) 217. axis is not used.
    """
    room = _room(volume, areas, alpha, air, object_area, c)
    return room.time(room.surface * _log_absorption(room.mean))


def millington(
    volume: float,
    areas: ArrayLike,
    alpha: ArrayLike,
    *,
    axis: ArrayLike | None = None,
    air: ArrayLike | None = None,
    object_area: ArrayLike | None = None,
    c: float = SPEED_OF_SOUND,
) -> FloatArray:
    """T = kV / (-sum S_i ln(1 - a_i) + 4mV). One small, very absorbent surface rules it.

    Source: Millington, JASA 4 (1932) 69; Sette, JASA 4 (1933) 193. axis is not used.
    """
    room = _room(volume, areas, alpha, air, object_area, c)
    return room.time(room.areas @ _log_absorption(room.alpha))


def kuttruff(
    volume: float,
    areas: ArrayLike,
    alpha: ArrayLike,
    *,
    axis: ArrayLike | None = None,
    air: ArrayLike | None = None,
    object_area: ArrayLike | None = None,
    c: float = SPEED_OF_SOUND,
    path_variance: float = 0.4,
) -> FloatArray:
    """T = kV / (S a' + 4mV), a' = L (1 - g2 L / 2) with L = -ln(1 - am).

    path_variance g2 >= 0 is the variance of the free paths over the square of their mean,
    about 0.4 in ordinary rooms. a' has its maximum at L = 1/g2 (am = 0.918 for 0.4) and is
    negative from 2/g2 on: past the maximum more absorption would lengthen the decay, so the
    result there is nan. Source: Kuttruff, Room Acoustics, chapter 5. axis is not used.
    """
    if not path_variance >= 0:
        raise ValueError("the relative variance of free paths must not be negative")
    room = _room(volume, areas, alpha, air, object_area, c)
    log = _log_absorption(room.mean)
    corrected = np.where(path_variance * log > 1.0, np.nan, log * (1.0 - path_variance * log / 2))
    return room.time(room.surface * corrected)


def fitzroy(
    volume: float,
    areas: ArrayLike,
    alpha: ArrayLike,
    *,
    axis: ArrayLike | None = None,
    air: ArrayLike | None = None,
    object_area: ArrayLike | None = None,
    c: float = SPEED_OF_SOUND,
) -> FloatArray:
    """T = sum over x, y, z of (S_i/S) T_i, T_i = kV / (-S ln(1 - a_i) + 4mV).

    S_i and a_i are area and mean coefficient of the pair of walls facing along axis i.
    Source: Fitzroy, JASA 31 (1959) 893. ValueError without axis.
    """
    room = _room(volume, areas, alpha, air, object_area, c)
    share, times = _axial(room, axis)
    return np.asarray(share @ times)


def arau(
    volume: float,
    areas: ArrayLike,
    alpha: ArrayLike,
    *,
    axis: ArrayLike | None = None,
    air: ArrayLike | None = None,
    object_area: ArrayLike | None = None,
    c: float = SPEED_OF_SOUND,
) -> FloatArray:
    """T = product over x, y, z of T_i^(S_i/S), T_i as for Fitzroy; never above Fitzroy.

    Source: Arau-Puchades, Acustica 65 (1988) 163, Formula 18. ValueError without axis.
    """
    room = _room(volume, areas, alpha, air, object_area, c)
    share, times = _axial(room, axis)
    return np.asarray(np.exp(share @ np.log(times)))


FORMULAS: dict[str, DecayFormula] = {
    "Sabine": sabine,
    "Norris-Eyring": eyring,
    "Millington-Sette": millington,
    "Kuttruff": kuttruff,
    "Fitzroy": fitzroy,
    "Arau-Puchades": arau,
}


def axis_weights(normals: ArrayLike) -> FloatArray:
    """Shares (n, 3) of the axes in surfaces with these normals (n, 3): squared direction cosines.

    They add to one, so an inclined surface keeps its area. Fitzroy and Arau-Puchades define
    their pairs for upright boxes; the sharing rule for inclined surfaces is a choice.
    """
    vectors = np.asarray(normals, dtype=np.float64)
    length = np.sum(vectors**2, axis=-1, keepdims=True)
    if vectors.shape[-1:] != (3,) or not np.all(length > 0):
        raise ValueError("normals must be vectors of three numbers, not all zero")
    return np.asarray(vectors**2 / length)


def schroeder_frequency(decay: ArrayLike, volume: float) -> FloatArray:
    """f_s = 2000 sqrt(T/V) in Hz for decay times in seconds and a volume in m3.

    Below it single modes, not a diffuse field, rule the room.
    Source: Schroeder and Kuttruff, JASA 34 (1962) 76.
    """
    times = np.asarray(decay, dtype=np.float64)
    if not volume > 0 or np.any(times < 0):
        raise ValueError("volume must be above 0 m3 and decay times not negative")
    return np.asarray(2000.0 * np.sqrt(times / volume))


def hard_object_area(object_volumes: ArrayLike) -> FloatArray:
    """Absorption area in m2 of hard objects of unknown absorption from their volumes in m3.

    A_obj = V_obj^(2/3): EN 12354-6:2003, formula (4).
    """
    volumes = np.asarray(object_volumes, dtype=np.float64)
    if np.any(volumes < 0):
        raise ValueError("object volumes must not be negative")
    return np.asarray(np.cbrt(volumes) ** 2)


def en12354_absorption(
    volume: float,
    areas: ArrayLike,
    alpha: ArrayLike,
    *,
    air: ArrayLike | None = None,
    object_area: ArrayLike | None = None,
    psi: float = 0.0,
) -> FloatArray:
    """Equivalent absorption area (bands,) in m2: surfaces + objects + 4 m V (1 - psi).

    psi is the share of the volume taken by objects, below 0.2 (clause 4.6).
    Source: EN 12354-6:2003, formulas (1) to (3); coefficients above 1 enter unclamped.
    """
    if not 0 <= psi < 0.2:
        raise ValueError(f"object fraction {psi} is outside 0 to 0.2 (EN 12354-6, 4.6)")
    attenuation = None if air is None else np.asarray(air, dtype=np.float64) * (1 - psi)
    room = _room(volume, areas, alpha, attenuation, object_area, SPEED_OF_SOUND)
    return room.areas @ room.alpha + room.spread


def en12354_decay(
    volume: float,
    areas: ArrayLike,
    alpha: ArrayLike,
    *,
    air: ArrayLike | None = None,
    object_area: ArrayLike | None = None,
    psi: float = 0.0,
    c0: float = 345.6,
) -> FloatArray:
    """T = (55.3/c0) V (1 - psi) / A in seconds: EN 12354-6:2003, formula (5)."""
    absorption = en12354_absorption(volume, areas, alpha, air=air, object_area=object_area, psi=psi)
    with np.errstate(divide="ignore"):
        return 55.3 / c0 * volume * (1 - psi) / absorption


def _log_absorption(alpha: FloatArray) -> FloatArray:
    return -np.log1p(-np.minimum(alpha, LOG_CAP))


def _axial(room: _Room, axis: ArrayLike | None) -> tuple[FloatArray, FloatArray]:
    """Shares of the surface (axes,) and decay times (axes, bands) of the axes that have any."""
    if axis is None:
        raise ValueError("this formula needs the axis each surface faces along")
    weights = _weights(np.asarray(axis), room.areas.size)
    pair_area = room.areas @ weights  # (3,)
    used = pair_area > 0
    pair_absorption = (room.areas[:, None] * weights).T @ room.alpha  # (3, bands)
    pair_mean = pair_absorption[used] / pair_area[used, None]
    return pair_area[used] / room.surface, room.time(room.surface * _log_absorption(pair_mean))


def _weights(axis: NDArray[np.generic], count: int) -> FloatArray:
    if axis.shape == (count,):
        if not np.all(np.isin(axis, (0, 1, 2))):
            raise ValueError("axis must be 0, 1 or 2 for each surface")
        return np.asarray(np.eye(3)[axis.astype(int)])
    weights = axis.astype(np.float64)
    if weights.shape != (count, 3) or np.any(weights < 0):
        raise ValueError("axis must have shape (n,) or be non-negative shares of shape (n, 3)")
    if not np.allclose(weights.sum(axis=1), 1.0, rtol=1e-9):
        raise ValueError("the axis shares of a surface must add to one")
    return weights


def _room(
    volume: float,
    areas: ArrayLike,
    alpha: ArrayLike,
    air: ArrayLike | None,
    object_area: ArrayLike | None,
    c: float,
) -> _Room:
    """Arrays of agreeing shapes and allowed values, or ValueError."""
    surface = np.asarray(areas, dtype=np.float64)
    coefficients = np.asarray(alpha, dtype=np.float64)
    if surface.ndim != 1 or coefficients.ndim != 2 or len(surface) != len(coefficients):
        raise ValueError("areas must have shape (n,) and alpha shape (n, bands)")
    if not (0 < volume < math.inf and c > 0):
        raise ValueError("volume and speed of sound must be above zero")
    if not (np.all(surface >= 0) and surface.sum() > 0):
        raise ValueError("areas must not be negative, nor all zero")
    if not np.all(coefficients >= 0):
        raise ValueError("absorption coefficients must not be negative")
    bands = coefficients.shape[1]
    spread = 4.0 * volume * _per_band(air, bands, "air") + _per_band(object_area, bands, "objects")
    return _Room(24.0 * math.log(10.0) * volume / c, surface, coefficients, spread)


def _per_band(values: ArrayLike | None, bands: int, name: str) -> FloatArray:
    array = np.zeros(bands) if values is None else np.asarray(values, dtype=np.float64)
    if array.shape not in ((), (bands,)) or not np.all(array >= 0):
        raise ValueError(f"{name}: expected {bands} values, none negative")
    return np.broadcast_to(array, (bands,)).astype(np.float64)
