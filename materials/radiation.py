"""Radiation impedance of rectangular patches in a hard wall, averaged over azimuth.

A patch of area S whose motion follows an incident wave at theta meets

    Zr(theta)/(rho c) = (j k / 2 pi S) int_S int_S J0(k R sin theta) e^{-jkR} / R dS dS'

with R the distance between the two points (Thomasson, Acustica 44 (1980) 265, azimuth averaged;
from memory, limits checked in the tests: 1/cos theta for a large patch, k^2 S / 2 pi for the
real part of a small one). Two steps make it quick:

* the four-fold integral depends on R only, so it is a single integral over R weighted with
  W(R; x, y) = int (x - R cos psi)(y - R sin psi) d psi over the part of the arc inside the
  rectangle, which has a closed form: Zr = (2 j k / pi S) int W(R; w, h) J0 e^{-jkR} dR;
* the kernel J0 e^{-jkR} does not know the patch, so one table serves every size.

The same function Phi(x, y) = int W J0 e^{-jkR} dR at the differences of corner coordinates gives
the impedance between two rectangles anywhere in the plane: I_12 = sum of +/- Phi over the
4 x 4 corner differences (second difference of a double integral in each axis).
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import j0, roots_legendre

from materials.medium import AIR, Complexes, Floats, Medium, positive_frequencies

_PANEL_NODES = 8
# Phase of e^{-jkR} J0(kR sin theta) per panel of 8 nodes: at most 2 k R, kept below about 2 pi.
_PHASE_PER_PANEL = 6.0
_COARSEST_PANEL = 0.16  # m, so that the kinks of W at R = x, y stay resolved

Rect = tuple[float, float, float, float]


def overlap_weight(R: Floats, x: float, y: float) -> Floats:
    """W(R; x, y) in m2: arc average of (x - u)(y - v) at distance R, zero beyond the diagonal."""
    short, long = min(x, y), max(x, y)
    safe = np.maximum(R, 1e-12)
    start = np.arccos(np.minimum(short / safe, 1.0))
    stop = np.arcsin(np.minimum(long / safe, 1.0))

    def primitive(psi: Floats) -> Floats:
        sin, cos = np.sin(psi), np.cos(psi)
        return np.asarray(x * y * psi + short * R * cos - long * R * sin + 0.5 * (R * sin) ** 2)

    inside = stop > start
    return np.asarray(np.where(inside, primitive(stop) - primitive(start), 0.0), dtype=np.float64)


def radiation_impedance(
    freqs: npt.ArrayLike,
    width: float,
    height: float,
    theta: npt.ArrayLike,
    medium: Medium = AIR,
) -> Complexes:
    """Normalised radiation impedance Zr/(rho c) of one patch, shape (freqs, angles).

    width and height in m, theta in rad from the normal. Direct quadrature with nodes fitted to
    the patch, for any size; `RadiationTable` is the quick way for many patches.
    """
    f = positive_frequencies(freqs)
    _check_size(width, height)
    sin = np.sin(np.atleast_1d(np.asarray(theta, dtype=np.float64)))
    edges = np.array([0.0, min(width, height), max(width, height), np.hypot(width, height)])
    out = np.empty((f.size, sin.size), dtype=np.complex128)
    for i, k in enumerate(medium.wavenumber(f)):
        nodes = [_panels(a, b, float(k), 0.25 * b) for a, b in zip(edges, edges[1:], strict=False)]
        R = np.concatenate([n[0] for n in nodes])
        w = np.concatenate([n[1] for n in nodes]) * overlap_weight(R, width, height)
        kernel = np.exp(-1j * k * R)[:, None] * j0(k * R[:, None] * sin)
        out[i] = 2j * k / (np.pi * width * height) * (w @ kernel)
    return out


class RadiationTable:
    """Kernel table for one set of frequencies and angles; gives Phi of any rectangle at once.

    `reach` is the largest distance in m between two points of the patches to be asked about.
    """

    def __init__(self, freqs: Floats, theta: Floats, reach: float, medium: Medium = AIR) -> None:
        self.freqs = positive_frequencies(freqs)
        self.reach = reach
        self.wavenumbers = medium.wavenumber(self.freqs)
        self.n_angles = theta.size
        sin = np.sin(theta)
        self._groups: list[tuple[slice, Floats, Floats, Floats]] = []
        for part in _octave_groups(self.freqs):
            k = self.wavenumbers[part]
            R, w = _panels(0.0, reach, float(k.max()), _COARSEST_PANEL)
            phase = np.exp(-1j * R[:, None] * k)
            kernel = phase[:, :, None] * j0(R[:, None, None] * (k[:, None] * sin))
            flat = kernel.reshape(R.size, -1)
            self._groups.append((part, R, w, np.hstack([flat.real, flat.imag])))

    def phi(self, sizes: npt.ArrayLike) -> Complexes:
        """Phi(x, y) in m3, shape (sizes, freqs, angles); `sizes` is a list of (x, y) in m."""
        pairs = np.atleast_2d(np.asarray(sizes, dtype=np.float64))
        if np.any(np.hypot(pairs[:, 0], pairs[:, 1]) > self.reach * (1.0 + 1e-9)):
            raise ValueError("patches reach further than this table")
        out = np.empty((len(pairs), self.freqs.size, self.n_angles), dtype=np.complex128)
        for part, R, w, kernel in self._groups:
            weights = np.stack([overlap_weight(R, x, y) * w for x, y in pairs])
            flat = weights @ kernel
            half = flat.shape[1] // 2
            shape = (len(pairs), -1, self.n_angles)
            out[:, part] = flat[:, :half].reshape(shape) + 1j * flat[:, half:].reshape(shape)
        return out

    def patch(self, width: float, height: float) -> Complexes:
        """Zr/(rho c) of one patch, shape (freqs, angles)."""
        scale = 2j * self.wavenumbers / (np.pi * width * height)
        return np.asarray(scale[:, None] * self.phi([(width, height)])[0], dtype=np.complex128)


@lru_cache(maxsize=8)
def _cached_table(
    freqs: tuple[float, ...], theta: tuple[float, ...], reach: float, medium: Medium
) -> RadiationTable:
    return RadiationTable(np.array(freqs), np.array(theta), reach, medium)


def radiation_table(
    freqs: Floats, theta: Floats, reach: float, medium: Medium = AIR
) -> RadiationTable:
    """Shared table that reaches at least `reach` m (rounded up to 1, 2, 4, 8 ... m)."""
    rounded = 2.0 ** max(0, int(np.ceil(np.log2(reach))))
    return _cached_table(tuple(freqs.tolist()), tuple(theta.tolist()), rounded, medium)


def corner_differences(one: Rect, two: Rect) -> tuple[list[tuple[float, float]], list[int]]:
    """(|dx|, |dy|) and signs of the Phi terms that add up to the pair integral I_12.

    Rectangles are (x, y, width, height) in m in one plane, lower left corner first. Terms with
    dx = 0 or dy = 0 vanish. A rectangle with itself gives 4 Phi(width, height).
    """
    terms: list[tuple[float, float]] = []
    signs: list[int] = []
    for sx, dx in _axis_differences(one[0], one[2], two[0], two[2]):
        for sy, dy in _axis_differences(one[1], one[3], two[1], two[3]):
            if dx > 0.0 and dy > 0.0:
                terms.append((dx, dy))
                signs.append(sx * sy)
    return terms, signs


def _axis_differences(a: float, wa: float, b: float, wb: float) -> list[tuple[int, float]]:
    pairs = [(-1, a - b), (1, a - b - wb), (1, a + wa - b), (-1, a + wa - b - wb)]
    return [(sign, round(abs(d), 6)) for sign, d in pairs]


def _octave_groups(freqs: Floats) -> list[slice]:
    """Runs of neighbouring frequencies within a factor two, so that each gets its own nodes."""
    groups: list[slice] = []
    start = 0
    for i in range(1, freqs.size + 1):
        if i == freqs.size or freqs[i] > 2.0 * freqs[start] or freqs[i] < freqs[start]:
            groups.append(slice(start, i))
            start = i
    return groups


@lru_cache(maxsize=1)
def _rule() -> tuple[Floats, Floats]:
    x, w = roots_legendre(_PANEL_NODES)
    return 0.5 * (x + 1.0), 0.5 * w


def _panels(start: float, stop: float, k: float, coarsest: float) -> tuple[Floats, Floats]:
    """Composite Gauss-Legendre nodes and weights from start to stop for wavenumber k."""
    if stop - start < 1e-12:
        return np.zeros(0), np.zeros(0)
    longest = min(coarsest, _PHASE_PER_PANEL / (2.0 * k))
    n = int(np.ceil((stop - start) / longest))
    x, w = _rule()
    step = (stop - start) / n
    left = start + step * np.arange(n)
    return (left[:, None] + step * x).ravel(), np.tile(w * step, n)


def _check_size(width: float, height: float) -> None:
    if not (0.01 <= width <= 1000.0 and 0.01 <= height <= 1000.0):
        raise ValueError("width and height of a patch must be between 0.01 and 1000 m")
