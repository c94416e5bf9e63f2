"""Fills of corners as volumes of wool in the coupled modes of a box.

Inside a fill the pressure p obeys p'' + K^2 p = 0, K the wool's wavenumber and rho its density; it
is the room's on the open faces and has no slope on walls, floor and ceiling. For modes psi_m of the
box (squared wavenumbers k_m^2) and bubbles phi_l of the fill (orthonormal, zero on the open faces,
-lap phi_l = mu_l^2 phi_l), b_lm = int phi_l psi_m, the wool adds to the Galerkin equations of
coupled_build

    (rho0/rho) [ V1 - K^2 V0 - sum_l (K^2 - k_m^2) b_lm (K^2 - k_n^2) b_ln / (mu_l^2 - K^2) ]
    - [ V1 - k^2 V0 ],     V1 = int grad psi_m . grad psi_n,  V0 = int psi_m psi_n over the fill,

the second bracket being the air in its place. A stack that ends below the ceiling has an open top,
one that stands off the floor an open bottom. A run along the edge between a wall and the ceiling is
such a stack lying: the axes of the room change places. Bubbles are those of the square that a
section becomes when it is mirrored in both walls (materials.corner), times cosines or sines over
the height.

Source: p = psi_n + q with q = 0 on the open faces, q'' + K^2 q = -(K^2 - k_n^2) psi_n, put into the
flow through the faces by Green's identity (derived here; equivalent fluid: Allard, Atalla,
Propagation of Sound in Porous Media, 2009, ch. 5). Checked against finite elements in
tests/referee.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from materials.corner import CornerFill
from materials.medium import AIR
from materials.porous import characteristic
from optimizer.acoustics.few_of_many import few_of_many
from optimizer.acoustics.modes import IN_PLANE, Complexes, Floats, Modes

POINTS = 8  # of Gauss along each leg; 8 and 12 agree within 0.1 % in damping
POINTS_PER_METRE = 9.0  # over the height, and POINTS besides
SECTION_ORDERS = 8  # bubbles of a section: m + n up to this, m and n odd
HIGHEST = 14.0  # 1/m, wavenumber of the finest bubble over the height
TOUCHING = 1e-3  # m; a stack that ends no further from floor or ceiling is closed there


@dataclass(frozen=True)
class Standing:
    """A stack of one fill along an axis of the room (2 upright), in the corner where the other two,
    in their order, are at their ends `sides` (0 or 1), from `low` to `high` m. `share` (F,) of it
    acts as wool, at the frequencies asked."""

    fill: CornerFill
    sides: tuple[int, int]
    low: float
    high: float
    share: Floats
    axis: int = 2


@dataclass(frozen=True)
class _Section:
    """Points s, t (Q,) from the corner along x and y, weights, bubbles (B, Q), squared wavenumbers
    (B,)."""

    s: Floats
    t: Floats
    weight: Floats
    bubbles: Floats
    mu2: Floats


@lru_cache(maxsize=16)
def _section(shape: str, leg: float) -> _Section:
    x, w = np.polynomial.legendre.leggauss(POINTS)
    a, b = (g.ravel() for g in np.meshgrid(0.5 * x + 0.5, 0.5 * x + 0.5, indexing="ij"))
    weight = np.outer(w, w).ravel() * (0.5 * leg) ** 2
    pairs = [
        (m, n)
        for m in range(1, SECTION_ORDERS, 2)
        for n in range(1, SECTION_ORDERS + 1 - m, 2)
        if shape == "square" or m <= n
    ]
    m, n = np.array(pairs).T[:, :, None]
    if shape == "square":
        s, t, side = leg * a, leg * b, 2.0 * leg
        bubbles = 2.0 / leg * np.cos(m * np.pi * s / side) * np.cos(n * np.pi * t / side)
    else:
        s, t, side = leg * a, leg * (1.0 - a) * b, np.sqrt(2.0) * leg
        weight = weight * (1.0 - a)
        u, v = np.pi * (s + t) / (np.sqrt(2.0) * side), np.pi * (s - t) / (np.sqrt(2.0) * side)
        both = np.cos(m * u) * np.cos(n * v) + np.cos(n * u) * np.cos(m * v)
        bubbles = 4.0 / side * both / np.where(m == n, 2.0, np.sqrt(2.0))
    return _Section(s, t, weight, bubbles, (np.pi / side) ** 2 * (m**2 + n**2)[:, 0])


def _upright(stack: Standing, height: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Points z (Z,), weights, bubbles (L, Z) and squared wavenumbers (L,) over the height."""
    tall = stack.high - stack.low
    x, w = np.polynomial.legendre.leggauss(POINTS + int(POINTS_PER_METRE * tall))
    above = (0.5 * x + 0.5) * tall
    on_floor, to_ceiling = stack.low < TOUCHING, stack.high > height - TOUCHING
    order = np.arange(int(HIGHEST * tall / np.pi) + 2, dtype=float)
    if on_floor != to_ceiling:
        order += 0.5
    elif not on_floor:
        order += 1.0
    k = order * np.pi / tall
    wave = (np.cos if on_floor else np.sin)(k[:, None] * above)
    scale = np.where(order == 0.0, 1.0, 2.0) / tall
    return stack.low + above, 0.5 * tall * w, wave * np.sqrt(scale)[:, None], k**2


class _Fields:
    """Values and slopes of unit-norm modes at the points of a section, and over the height."""

    def __init__(self, modes: Modes, section: _Section, sides: tuple[int, int], z: Floats) -> None:
        k = np.pi * modes.n / modes.dimensions
        sign = (-1.0) ** (modes.n[:, 0] * sides[0] + modes.n[:, 1] * sides[1])
        scale = (sign / np.sqrt(modes.norm))[:, None]
        x, y = k[:, :1] * section.s, k[:, 1:2] * section.t
        cos_x, cos_y = np.cos(x) * scale, np.cos(y)
        self.value = cos_x * cos_y
        self.slopes = (k[:, :1] * np.sin(x) * scale * cos_y, k[:, 1:2] * cos_x * np.sin(y))
        self.order = modes.n[:, 2]
        kz = np.pi * np.arange(self.order.max(initial=0) + 1) / modes.dimensions[2]
        self.cos = np.cos(kz[:, None] * z)
        self.sin = kz[:, None] * np.sin(kz[:, None] * z)

    def lifted(self, lift: Floats) -> list[Floats]:
        """Value and three slopes (P, Q * Z) of combinations (H, P) of these modes."""
        orders = [np.flatnonzero(self.order == q) for q in range(len(self.cos))]
        flat = [
            np.stack([lift[mine].T @ part[mine] for mine in orders])
            for part in (self.value, *self.slopes)
        ]
        along = [(flat[0], self.cos), (flat[1], self.cos), (flat[2], self.cos), (flat[0], self.sin)]
        shape = (lift.shape[1], self.value.shape[1] * self.cos.shape[1])
        return [np.tensordot(part, wave, (0, 0)).reshape(shape) for part, wave in along]

    def spread(self) -> list[Floats]:
        """Value and three slopes (M, Q * Z) of the modes themselves."""
        cos, sin = self.cos[self.order][:, None, :], self.sin[self.order][:, None, :]
        along = [(self.value, cos), (self.slopes[0], cos), (self.slopes[1], cos), (self.value, sin)]
        return [(part[:, :, None] * wave).reshape(len(part), -1) for part, wave in along]

    def tested(self, flat: Floats, wave: Floats) -> Floats:
        """Integrals (M, B * L) with bubbles flat (B, Q) times wave (L, Z), weights in both."""
        both = (self.value @ flat.T)[:, :, None] * (self.cos @ wave.T)[self.order][:, None, :]
        return np.asarray(both.reshape(len(self.value), -1))


def volume_blocks(
    stacks: Sequence[Standing], low: Modes, high: Modes, lift: Floats, f: Floats, tolerance: float
) -> tuple[Floats, Complexes]:
    """Real matrices (R, N, N) and their factors (R, F) at f (F,), which add to C of coupled_build.

    N are the low modes, then the combinations `lift` (H, P) of high modes. What is less than
    `tolerance` of the largest is dropped.
    """
    k = 2.0 * np.pi * f / low.c
    parts = [_stack(stack, low, high, lift) for stack in stacks]
    factors = [_factors(stack, mu2, k, f) for stack, (_, mu2) in zip(stacks, parts, strict=True)]
    every = np.concatenate(factors)
    weights, few = few_of_many(every, tolerance)
    blocks = np.zeros((len(few), len(low.n) + lift.shape[1], len(low.n) + lift.shape[1]))
    start = 0
    for (fields, mu2), own in zip(parts, factors, strict=True):
        for block, weight in zip(blocks, weights[start : start + len(own)].T, strict=True):
            block += _weighed(fields, weight, len(mu2))
        start += len(own)
    return blocks, few


def _weighed(fields: tuple[Floats, ...], weight: Floats, bubbles: int) -> Floats:
    """One matrix (N, N): V0, V1 and the products of the bubbles' integrals, each by its weight."""
    v0, v1, b, bent = fields
    one, two, three = weight[2:].reshape(3, bubbles)
    left = b * one + bent * two
    right = b * two + bent * three
    return np.asarray(weight[0] * v0 + weight[1] * v1 + left @ b.T + right @ bent.T)


def _stack(
    stack: Standing, low: Modes, high: Modes, lift: Floats
) -> tuple[tuple[Floats, ...], Floats]:
    """V0, V1 (N, N), b and k^2 b / mu^2 (N, B) of one stack, and mu^2 (B,)."""
    low, high = _stood_up(low, stack.axis), _stood_up(high, stack.axis)
    section = _section(stack.fill.shape, stack.fill.leg)
    z, w, wave, kz2 = _upright(stack, float(low.dimensions[2]))
    weight = np.outer(section.weight, w).ravel()
    mu2 = np.add.outer(section.mu2, kz2).ravel()
    ours, theirs = (_Fields(modes, section, stack.sides, z) for modes in (low, high))
    fields = [np.concatenate(p) for p in zip(ours.spread(), theirs.lifted(lift), strict=True)]
    v0, x, y, up = ((part * weight) @ part.T for part in fields)
    b, bent = [], []
    for modes, seen, turn in ((low, ours, None), (high, theirs, lift)):
        own = seen.tested(section.bubbles * section.weight, wave * w)
        more = own * (2.0 * np.pi * modes.f_hz / modes.c)[:, None] ** 2 / mu2
        b.append(own if turn is None else turn.T @ own)
        bent.append(more if turn is None else turn.T @ more)
    return (v0, x + y + up, np.concatenate(b), np.concatenate(bent)), mu2


def _stood_up(modes: Modes, axis: int) -> Modes:
    """The modes of the room turned so that an axis of it stands upright."""
    turn = [*IN_PLANE[axis], axis]
    return replace(modes, n=modes.n[:, turn], dimensions=modes.dimensions[turn])


def _factors(stack: Standing, mu2: Floats, k: Floats, f: Floats) -> Complexes:
    """Factors (2 + 3 B, F) of V0, V1 and the bubbles' products, over j k."""
    fill = stack.fill
    zc, inside = characteristic(f, fill.flow_resistivity, fill.model, AIR)
    light = AIR.impedance * AIR.wavenumber(f) / (zc * inside)  # rho0 / rho
    wool = (inside * k / AIR.wavenumber(f)) ** 2
    each = light / (mu2[:, None] - wool)
    rows = [(k**2 - light * wool)[None], (light - 1.0)[None]]
    rows += [-each * wool**2, each * wool * mu2[:, None], -each * mu2[:, None] ** 2]
    return np.asarray(np.concatenate(rows) * stack.share / (1j * k))
