"""Modes of the rectangular room: frequencies, first-order damping, band decay.

Rigid-wall modes psi_n = cos(nx pi x/Lx) cos(ny pi y/Ly) cos(nz pi z/Lz) (Rayleigh). A locally
reacting patch of normalised admittance beta = rho c / Z moves the angular frequency of mode n, to
first order (Morse & Ingard, Theoretical Acoustics, ch. 9; Kuttruff, Room Acoustics, ch. 3; both
from memory, derived again here), from w to w + dw + j delta, time factor exp(+j w t), with

    dw + j delta = j (c / 2) sum_k beta_k  int_k psi_n^2 dS / int psi_n^2 dV.

Re beta damps; Im beta > 0 (a spring, such as air behind a panel) lowers the frequency. Because
the sum is linear in the patches, `patch_damping` is a table that a linear program can use. It
holds for small beta, and fails first where two modes of equal symmetry lie close together:
treatment joins them into a strongly and a weakly damped one. How far it holds is measured in
tests/evidence/first_order_damping.md.

Lengths may be in any unit so long as c is in the same unit per second; everything else is SI.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from optimizer.acoustics.decay_curve import T20_RANGE, fit_decay_time

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Complexes = NDArray[np.complex128]

C_AIR = 343.0
FIT_SAMPLES = 2001
LOG_60DB = 3.0 * np.log(10.0)  # 6.908: delta T for a decay of 60 dB

# In-plane coordinates of a wall normal to x, y, z.
IN_PLANE: tuple[tuple[int, int], ...] = ((1, 2), (0, 2), (0, 1))


@dataclass(frozen=True)
class Modes:
    """Rigid-wall modes of a box, in order of frequency.

    n (M, 3) orders; f_hz (M,); norm (M,) = int psi^2 dV; dimensions (3,); c sound speed.
    """

    n: Ints
    f_hz: Floats
    norm: Floats
    dimensions: Floats
    c: float

    @property
    def kind(self) -> Ints:
        """(M,) number of axes with a non-zero order: 1 axial, 2 tangential, 3 oblique."""
        return np.asarray(np.count_nonzero(self.n, axis=1), dtype=np.int64)

    @property
    def volume(self) -> float:
        """Volume of the box."""
        return float(np.prod(self.dimensions))


@dataclass(frozen=True)
class Patches:
    """Flat rectangles on the walls of the box.

    axis (K,) 0, 1, 2: the wall is normal to x, y, z; side (K,) 0 at the origin, 1 opposite;
    rect (K, 4) = lo1, lo2, hi1, hi2 in the in-plane coordinates, in order (y,z), (x,z), (x,y).
    Patches that overlap add, so a piece on a wall may be given as the difference it makes.
    """

    axis: Ints
    side: Ints
    rect: Floats

    def __post_init__(self) -> None:
        axis = np.atleast_1d(np.asarray(self.axis, dtype=np.int64))
        side = np.atleast_1d(np.asarray(self.side, dtype=np.int64))
        rect = np.asarray(self.rect, dtype=np.float64).reshape(-1, 4)
        if not len(axis) == len(side) == len(rect):
            raise ValueError("patches: axis, side and rect must have one row per patch")
        if np.any((axis < 0) | (axis > 2)) or np.any((side < 0) | (side > 1)):
            raise ValueError("patches: axis must be 0, 1 or 2 and side 0 or 1")
        if np.any(rect[:, :2] > rect[:, 2:]) or not np.all(np.isfinite(rect)):
            raise ValueError("patches: rect must be finite with lo1 <= hi1 and lo2 <= hi2")
        object.__setattr__(self, "axis", axis)
        object.__setattr__(self, "side", side)
        object.__setattr__(self, "rect", rect)

    def __len__(self) -> int:
        return len(self.axis)


def check_inside(points: Floats, dimensions: Floats, what: str) -> None:
    """ValueError unless every coordinate lies in the box (a micrometre of slack)."""
    slack = 1e-6 * dimensions
    if np.any(points < -slack) or np.any(points > dimensions + slack):
        raise ValueError(f"{what}: outside the room {np.round(dimensions, 3).tolist()}")


def check_patches(patches: Patches, dimensions: Floats) -> None:
    """ValueError when a patch reaches beyond its wall."""
    for axis, plane in enumerate(IN_PLANE):
        rect = patches.rect[patches.axis == axis]
        check_inside(rect.reshape(-1, 2), dimensions[list(plane)], "patches")


def box_modes(dimensions: ArrayLike, f_max: float = 300.0, c: float = C_AIR) -> Modes:
    """Modes of the rigid box up to f_max, the constant-pressure mode (0,0,0) left out.

    f = (c/2) sqrt((nx/Lx)^2 + (ny/Ly)^2 + (nz/Lz)^2) (Rayleigh; O'Reilly, Sound Engineer's Pocket
    Book, ch. 8). int psi^2 dV = V / 2^(number of non-zero orders).
    ValueError unless dimensions (3,), f_max and c are positive.
    """
    size = np.asarray(dimensions, dtype=np.float64)
    if size.shape != (3,) or not np.all(size > 0) or not f_max > 0 or not c > 0:
        raise ValueError("box_modes: three dimensions, f_max and c must be positive")
    top = np.floor(2.0 * f_max * size / c + 1e-9).astype(int)
    grid = np.meshgrid(*(np.arange(t + 1) for t in top), indexing="ij")
    n = np.stack([g.ravel() for g in grid], axis=1).astype(np.int64)
    f = 0.5 * c * np.sqrt(np.sum((n / size) ** 2, axis=1))
    keep = (f > 0) & (f <= f_max * (1.0 + 1e-12))
    n, f = n[keep], f[keep]
    order = np.lexsort((n[:, 2], n[:, 1], n[:, 0], np.round(f, 9)))
    n, f = n[order], f[order]
    norm = np.prod(size) / 2.0 ** np.count_nonzero(n, axis=1)
    return Modes(n, f, norm, size, c)


def mode_count_asymptotic(dimensions: ArrayLike, f: ArrayLike, c: float = C_AIR) -> Floats:
    """Smooth estimate of the number of modes below f, (0,0,0) counted, same shape as f.

    N = (4 pi/3) V (f/c)^3 + (pi/4) S (f/c)^2 + (L/8)(f/c), L = 4 (Lx + Ly + Lz) (Maa 1939; from
    memory, the ingredients in O'Reilly, ch. 8). ValueError for non-positive dimensions or f < 0.
    """
    size, x = np.asarray(dimensions, dtype=np.float64), np.asarray(f, dtype=np.float64) / c
    if size.shape != (3,) or not np.all(size > 0) or np.any(x < 0):
        raise ValueError("mode_count_asymptotic: dimensions must be positive and f not negative")
    S = 2.0 * (size[0] * size[1] + size[0] * size[2] + size[1] * size[2])
    cubic = 4.0 * np.pi / 3.0 * np.prod(size) * x**3
    return np.asarray(cubic + np.pi / 4.0 * S * x**2 + np.sum(size) / 2.0 * x)


def mode_shape(modes: Modes, points: ArrayLike) -> Floats:
    """psi_n at points (P, 3) -> (M, P), between -1 and 1. ValueError outside the room."""
    xyz = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    check_inside(xyz, modes.dimensions, "points")
    shape = np.ones((len(modes.n), len(xyz)))
    for order, share in zip(modes.n.T, (xyz / modes.dimensions).T, strict=True):
        each = np.arange(order.max(initial=0) + 1)  # a mode's value is a product over the axes
        shape *= np.cos(np.pi * np.outer(each, share))[order]
    return shape


def cosine_integral(order_max: int, lo: Floats, hi: Floats, length: float) -> Floats:
    """int_lo^hi cos(n pi x / length) dx for n = 0..order_max -> (order_max + 1, K)."""
    k = np.pi * np.arange(1, order_max + 1)[:, None] / length
    table = np.empty((order_max + 1, len(lo)))
    table[0] = hi - lo
    table[1:] = (np.sin(k * hi) - np.sin(k * lo)) / k
    return table


def cosine_square_integral(order_max: int, lo: Floats, hi: Floats, length: float) -> Floats:
    """int_lo^hi cos^2(n pi x / length) dx for n = 0..order_max -> (order_max + 1, K)."""
    return 0.5 * ((hi - lo) + cosine_integral(2 * order_max, lo, hi, length)[::2])


def patch_damping(modes: Modes, patches: Patches) -> Floats:
    """Linear effect table (M, K), 1/s: damping delta of mode m per unit Re beta of patch k.

    (c/2) int_k psi^2 dS / int psi^2 dV, closed form; psi^2 = 1 across the wall's own axis. The sum
    over walls covered uniformly is (c/2) sum e_i (b_i0 + b_iL) / L_i, e = 1 where the order is
    zero and 2 otherwise. ValueError when a patch reaches outside its wall.
    """
    check_patches(patches, modes.dimensions)
    table = np.empty((len(modes.n), len(patches)))
    for axis, (i, j) in enumerate(IN_PLANE):
        own = np.flatnonzero(patches.axis == axis)
        lo_i, lo_j, hi_i, hi_j = patches.rect[own].T
        first = _square_table(modes, i, lo_i, hi_i)
        second = _square_table(modes, j, lo_j, hi_j)
        table[:, own] = first[modes.n[:, i]] * second[modes.n[:, j]]
    table *= (0.5 * modes.c / modes.norm)[:, None]
    return table


def slope_damping(modes: Modes, patches: Patches, only: ArrayLike) -> Floats:
    """As patch_damping, per unit (m2) of what goes with the square of the slope along the wall.

    (c/2) int_k |grad_t psi|^2 dS / int psi^2 dV, closed form; of patches with an axis 0 to 2 in
    `only` (K,) the slope along that axis alone, of others (-1) both.
    """
    check_patches(patches, modes.dimensions)
    k2 = (np.pi * modes.n / modes.dimensions) ** 2
    way = np.asarray(only, dtype=np.int64)
    table = np.zeros((len(modes.n), len(patches)))
    for axis, pair in enumerate(IN_PLANE):
        own = np.flatnonzero(patches.axis == axis)
        lo, hi = patches.rect[own, :2].T, patches.rect[own, 2:].T
        even = [_square_table(modes, q, lo[p], hi[p])[modes.n[:, q]] for p, q in enumerate(pair)]
        odd = [(hi[p] - lo[p]) - even[p] for p in (0, 1)]
        parts = [k2[:, [pair[0]]] * odd[0] * even[1], k2[:, [pair[1]]] * even[0] * odd[1]]
        for part, direction in zip(parts, pair, strict=True):
            table[:, own] += np.where((way[own] < 0) | (way[own] == direction), part, 0.0)
    return table * (0.5 * modes.c / modes.norm)[:, None]


def _square_table(modes: Modes, axis: int, lo: Floats, hi: Floats) -> Floats:
    """cos^2 integrals along one axis for every order that occurs."""
    top = int(np.max(modes.n[:, axis], initial=0))
    return cosine_square_integral(top, lo, hi, float(modes.dimensions[axis]))


def object_damping(modes: Modes, boxes: ArrayLike) -> Floats:
    """Linear effect table (M, B), 1/(s m2): delta of mode m per m2 of absorption area in box b.

    boxes (B, 6) = lo x, y, z, hi x, y, z, the space the object fills. In a diffuse field an area A
    takes the power A <p^2>/(4 rho c); put as a loss of density p^2/(rho c) times A/4 spread over
    the box, it damps mode n by

        delta = (c A / (8 V)) <psi^2>_box / <psi^2>_room,

    which averaged over all places in the room is c A/(8 V), Sabine's value. A is referred to the
    free field away from walls: an area measured with the object standing on a hard floor already
    holds the pressure rise at the floor (up to a factor 2 for low objects) and should be divided
    by it. The object's own reflection and shadow are left out.
    ValueError for a box that is empty or reaches outside the room.
    """
    box = np.asarray(boxes, dtype=np.float64).reshape(-1, 6)
    lo, hi = box[:, :3], box[:, 3:]
    check_inside(box.reshape(-1, 3), modes.dimensions, "objects")
    if np.any(hi <= lo):
        raise ValueError("objects: every box needs a positive length along each axis")
    mean = np.ones((len(modes.n), len(box)))
    for axis in range(3):
        side = _square_table(modes, axis, lo[:, axis], hi[:, axis]) / (hi - lo)[:, axis]
        mean *= side[modes.n[:, axis]]
    return np.asarray(mean * (modes.c / (8.0 * modes.norm))[:, None])


def beta_at(f: ArrayLike, beta: ArrayLike, f_wanted: ArrayLike) -> NDArray[np.complex128]:
    """Admittance (K, F) given at rising frequencies f (F,) -> (K, N) at f_wanted (N,).

    Linear in log frequency, held constant beyond the ends. ValueError when shapes disagree.
    """
    x, y = np.asarray(f, dtype=np.float64), np.atleast_2d(np.asarray(beta, dtype=np.complex128))
    if x.ndim != 1 or y.shape[1] != len(x) or np.any(x <= 0) or np.any(np.diff(x) <= 0):
        raise ValueError("admittance: needs one column per frequency, frequencies rising from > 0")
    wanted = np.log(np.clip(np.asarray(f_wanted, dtype=np.float64), x[0], x[-1]))
    if len(x) == 1:
        return np.repeat(y, len(wanted), axis=1)
    right = np.clip(np.searchsorted(np.log(x), wanted), 1, len(x) - 1)
    step = (wanted - np.log(x[right - 1])) / np.log(x[right] / x[right - 1])
    return np.asarray(y[:, right - 1] * (1.0 - step) + y[:, right] * step)


def damping_first_order(
    modes: Modes, patches: Patches, beta: ArrayLike, base: ArrayLike = 0.0
) -> tuple[Floats, Floats]:
    """First-order damping delta (M,), 1/s, and frequency shift (M,), Hz.

    beta: (K,) the same at all frequencies, or (K, M) at each mode's own frequency (`beta_at`).
    base (M,) or a number: damping from elsewhere, 1/s (objects, air: c m / 2).
    """
    b = np.asarray(beta, dtype=np.complex128)
    b = b[:, None] if b.ndim == 1 else b
    if b.shape not in {(len(patches), 1), (len(patches), len(modes.n))}:
        raise ValueError("damping_first_order: beta must be (patches,) or (patches, modes)")
    rate = np.sum(patch_damping(modes, patches) * b.T, axis=1)
    return np.asarray(base + rate.real), np.asarray(-rate.imag / (2.0 * np.pi))


def decay_time(delta: ArrayLike) -> Floats:
    """T = 3 ln(10) / delta = 6.908 / delta, s; infinite where delta is 0."""
    d = np.asarray(delta, dtype=np.float64)
    if np.any(d < 0):
        raise ValueError("decay_time: damping must not be negative")
    return np.asarray(np.divide(LOG_60DB, d, out=np.full(d.shape, np.inf), where=d > 0))


def mode_limit(f: ArrayLike) -> Floats:
    """Longest decay time of a mode that does not stand out, s: 32/f held between 0.2 and 0.85 s.

    32/f joins 0.51 s at 63 Hz, 0.30 s at 125 Hz, 0.12 s at 250 Hz (Fazenda, Stephenson, Goldberg
    2015); the ends are 0.85 s at 32 Hz and 0.2 s above 100 Hz (Stephenson, PhD Salford 2012).
    """
    x = np.asarray(f, dtype=np.float64)
    if np.any(x <= 0):
        raise ValueError("mode_limit: frequency must be positive")
    return np.asarray(np.clip(32.0 / x, 0.2, 0.85))


def mode_drive(modes: Modes, sources: ArrayLike, receivers: ArrayLike) -> Floats:
    """How strongly each mode carries sound between each pair, (M, S, R), at least 0.

    |psi(source) psi(receiver)| V / int psi^2 dV: amplitude of the mode in the impulse response,
    relative to that of the constant-pressure mode (at most 2, 4, 8: axial, tangential, oblique).
    """
    at_source, at_receiver = mode_shape(modes, sources), mode_shape(modes, receivers)
    drive = np.abs(at_source[:, :, None] * at_receiver[:, None, :])
    return np.asarray(drive * (modes.volume / modes.norm)[:, None, None])


def mode_weights(modes: Modes, sources: ArrayLike, receivers: ArrayLike) -> Floats:
    """(M,) root mean square of `mode_drive` over all pairs, the strongest mode = 1."""
    w = np.sqrt(np.mean(mode_drive(modes, sources, receivers) ** 2, axis=(1, 2)))
    return np.asarray(w / np.max(w, initial=np.finfo(float).tiny))


def room_weights(modes: Modes, sources: ArrayLike) -> Floats:
    """(M,) root mean square of `mode_drive` over sources and all places of the room, strongest 1.

    The mean of psi^2 over the room is int psi^2 dV / V; that leaves psi(source)^2 V / int psi^2 dV.
    """
    energy = np.mean(mode_shape(modes, sources) ** 2, axis=1) * modes.volume / modes.norm
    return np.asarray(np.sqrt(energy / np.max(energy, initial=np.finfo(float).tiny)))


def octave_edges(band_hz: float) -> tuple[float, float]:
    """Band-edge frequencies of the octave nearest band_hz, base ten (IEC 61260-1 eq. 2 to 5)."""
    mid = 1000.0 * 10.0 ** (0.3 * np.round(np.log10(band_hz / 1000.0) / 0.3))
    return float(mid * 10.0**-0.15), float(mid * 10.0**0.15)


def band_decay_from_modes(
    f_hz: ArrayLike,
    delta: ArrayLike,
    weights: ArrayLike,
    band: tuple[float, float],
    fit_db: tuple[float, float] = T20_RANGE,
) -> float:
    """Decay time of a band from the modes whose frequency lies in it, s.

    Backward-integrated energy, cross terms between modes averaged out:
    E(t) = sum w^2 / (2 delta) exp(-2 delta t), w (M,) the amplitude of each mode (`mode_weights`).
    A least-squares line over fit_db gives the time for 60 dB: -5..-25 is T20, -5..-35 T30, 0..-10
    EDT (ISO 3382-1). ValueError when no driven mode lies in the band or one is undamped.
    """
    f, d, w = (np.asarray(a, dtype=np.float64) for a in (f_hz, delta, weights))
    if not fit_db[1] < fit_db[0] <= 0.0:
        raise ValueError("band_decay_from_modes: fit_db must fall from at most 0 dB")
    own = (f >= band[0]) & (f < band[1]) & (w > 0)
    if not np.any(own):
        raise ValueError(f"no driven mode between {band[0]:.1f} and {band[1]:.1f} Hz")
    d, energy = d[own], w[own] ** 2
    if np.any(d <= 0):
        raise ValueError("band_decay_from_modes: every mode in the band must be damped")
    energy = energy / d / np.sum(energy / d)

    def level(t: Any) -> Any:
        return 10.0 * np.log10(np.exp(-2.0 * np.multiply.outer(t, d)) @ energy)

    slowest = -fit_db[1] * np.log(10.0) / 20.0 / np.min(d)
    end = brentq(lambda t: float(level(t)) - fit_db[1], 0.0, 1.001 * slowest)
    t = np.linspace(0.0, 1.01 * end, FIT_SAMPLES)
    return fit_decay_time(level(t), float(t[1]), *fit_db)
