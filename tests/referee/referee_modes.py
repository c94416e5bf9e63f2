"""Modes and responses of a room from its matrices."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from referee_matter import DENSITY, SPEED
from referee_system import System, factored
from scipy.sparse.linalg import LinearOperator, SuperLU, eigs

Complexes = NDArray[np.complex128]
Order = tuple[int, int, int]


@dataclass(frozen=True)
class Mode:
    """A damped mode: complex angular frequency (1/s) and how like the rigid room's mode it is.

    delta is the damping Im(w) in 1/s; overlap the cosine between both shapes (1 = the same); rest
    the last change of w over w; shape [unknowns].
    """

    order: Order
    w: complex
    overlap: float
    rest: float
    shape: Complexes

    @property
    def frequency(self) -> float:
        return self.w.real / (2.0 * np.pi)

    @property
    def delta(self) -> float:
        return self.w.imag


def rigid_frequency(size: tuple[float, float, float], order: Order) -> float:
    """Closed form of a rigid box, Hz."""
    return 0.5 * SPEED * float(np.linalg.norm([n / s for n, s in zip(order, size, strict=True)]))


def orders_below(size: tuple[float, float, float], top: float) -> list[Order]:
    """Modes of the rigid box below top Hz (without 0-0-0), by frequency."""
    most = [int(2.0 * top * s / SPEED) + 1 for s in size]
    found = [
        (a, b, c)
        for a in range(most[0] + 1)
        for b in range(most[1] + 1)
        for c in range(most[2] + 1)
        if a + b + c > 0 and rigid_frequency(size, (a, b, c)) < top
    ]
    return sorted(found, key=lambda n: rigid_frequency(size, n))


def _settled(system: System, shape: Complexes, w: complex, real: bool) -> complex:
    """The w at which shape' A(w) shape = 0: a quadratic, matter held, until matter agrees."""
    k = np.array([shape @ (m @ shape) for m in system.stiffness.values()])
    m = np.array([shape @ (m @ shape) for m in system.mass.values()])
    b = np.array([shape @ (m @ shape) for m in system.wall.values()])
    for _ in range(200):
        stiffness, wall, masses = system.coefficients(w.real if real else w)
        a0, a1, a2 = k @ stiffness, 1j * (b @ wall if len(b) else 0.0), -(m @ masses)
        roots = np.roots([a2, a1, a0])
        new = complex(roots[np.abs(roots - w).argmin()])
        # Half steps: matter changes like a power of w, so that whole ones may swing.
        if abs(new - w) < 1e-12 * abs(w):
            return new
        w = 0.5 * (w + new)
    return w


def _likeness(system: System, shape: Complexes, rigid: NDArray[np.float64]) -> float:
    m = system.geometric_mass
    both = abs(rigid @ (m @ shape)) ** 2
    return float(np.sqrt(both / ((rigid @ (m @ rigid)) * (shape.conj() @ (m @ shape)).real)))


def find_mode(system: System, order: Order, wanted: int = 6) -> Mode:
    """The mode that grows out of a mode of the rigid room, with matter at the complex w."""
    return find_both(system, order, wanted)[0]


def find_both(system: System, order: Order, wanted: int = 6) -> tuple[Mode, Mode]:
    """The mode with matter taken at the complex w, and with matter at the real part of w.

    Matter is held at the rigid room's frequency, the `wanted` nearest shapes are found by
    shift-invert, and the one most like the rigid room's is kept. Its shape is then corrected with
    the same factors until w stands to 1e-9 (residual inverse iteration: Neumaier, SIAM J. Numer.
    Anal. 22 (1985) 914). ArithmeticError if it does not.
    """
    # A little off the axis, so that an undamped room's matrix is not singular.
    start = 2.0 * np.pi * rigid_frequency(system.room.size, order) * (1.0 + 1e-4j)
    rigid = system.rigid_shape(*order)
    factors = factored(system.matrix(start))
    masses = system.coefficients(start)[2]
    weight = sum(b * m for b, m in zip(masses, system.mass.values(), strict=True))
    inverse = LinearOperator(
        (system.size, system.size), lambda x: factors.solve(weight @ x), dtype=complex
    )
    values, shapes = eigs(inverse, k=wanted, v0=rigid.astype(complex), tol=1e-6)
    likeness = [_likeness(system, shapes[:, i], rigid) for i in range(wanted)]
    best = int(np.argmax(likeness))
    first = (complex(np.sqrt(start**2 + 1.0 / values[best])), shapes[:, best])
    if best != np.abs(values).argmax():
        # The iteration below goes to what is nearest to the shift.
        factors = factored(system.matrix(first[0] * (1.0 + 1e-4j)))
    true = _refined(system, *first, factors, False)
    held = _refined(system, *true[:2], factors, True)
    both = tuple(
        Mode(order, w, _likeness(system, shape, rigid), rest, shape)
        for w, shape, rest in (true, held)
    )
    if min(mode.overlap for mode in both) < 0.9 * likeness[best]:
        raise ArithmeticError(f"mode {order}: the iteration went to another mode")
    return both


def _refined(
    system: System, w: complex, shape: Complexes, factors: SuperLU, real: bool
) -> tuple[complex, Complexes, float]:
    """w and shape of the nonlinear problem near a start, and the last relative change of w."""
    rest = 1.0
    for step in range(60):
        new = _settled(system, shape, w, real)
        rest = abs(new - w) / abs(new)
        w = new
        if rest < 1e-9 and step > 1:
            break
        held = complex(w.real) if real else w
        shape = shape - factors.solve(system.matrix(w, held) @ shape)
        shape = shape / np.linalg.norm(shape)
        if step % 10 == 9:
            factors = factored(system.matrix(w * (1.0 + 1e-5j), held))
    if rest > 1e-6:
        raise ArithmeticError(f"a mode near {w / (2.0 * np.pi):.2f} Hz has not settled: {rest:.1e}")
    return w, shape, rest


def response(
    system: System,
    source: tuple[float, float, float],
    points: list[tuple[float, float, float]],
    frequencies: NDArray[np.float64],
) -> Complexes:
    """Pressure [frequency x point] of a monopole that alone in free air gives 1 Pa at 1 m."""
    drive = 4.0 * np.pi / DENSITY * system.at(source)
    ears = np.array([system.at(p) for p in points])
    out = [
        ears @ factored(system.matrix(2.0 * np.pi * f)).solve(drive.astype(complex))
        for f in frequencies
    ]
    return np.array(out)
