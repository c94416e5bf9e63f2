"""Low-frequency response of a box between very many places at once.

The same answer as `coupled.response`, arranged for a search over positions: the coupled matrix of a
frequency does not depend on places, so it is inverted once for all of them. What the modes outside
the basis add is smooth in s = k^2 (all its poles lie beyond the highest frequency kept one by one),
so it is found at a few Chebyshev points in s and interpolated: the error falls as rho^-n with
rho = z + sqrt(z^2 - 1), z the nearest pole on the scale where the range of s is -1..1 (Trefethen,
Approximation Theory and Approximation Practice, 2013, theorem 8.2; from memory).
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from optimizer.acoustics.coupled_build import CoupledBox
from optimizer.acoustics.modes import Complexes, Floats, Modes, check_inside, mode_shape
from optimizer.compiled import compiled

NODES = (
    16  # Chebyshev points in k^2; rho is above 4 up to 300 Hz, and what is interpolated is small
)
REACH = 32.0  # exp(-32) is left out of the sum over image sources, as in `response`
THREADS = 2


@dataclass(frozen=True)
class Block:
    """All pairs of sources (S, 3) and receivers (R, 3) are wanted."""

    sources: Floats
    receivers: Floats


Use = Callable[[int, int, Complexes], None]
"""Takes the index of a frequency, that of a block, and its pressures (S, R)."""


def respond(
    box: CoupledBox, f: ArrayLike, blocks: Sequence[Block], use: Use, threads: int = THREADS
) -> None:
    """Hand the pressures of every block at every frequency to `use`, re free field at 1 m.

    As `coupled.response` to about 1e-10. `use` is called from several threads, once for each
    frequency and block. ValueError for f outside (0, box.f_max] or a point outside the room.
    """
    hz = np.atleast_1d(np.asarray(f, dtype=np.float64))
    if np.any(hz <= 0) or np.any(hz > box.f_max * (1 + 1e-9)):
        raise ValueError(f"respond: frequencies must lie in 0..{box.f_max:g} Hz")
    k = box.wavenumber(hz)
    low, high = (2.0 * np.pi * float(h) / box.low.c for h in (hz.min(), hz.max()))
    nodes = _nodes(low**2, high**2)
    spread = _lagrange(nodes, k**2)
    at = [(box.shapes(b.sources), box.shapes(b.receivers)) for b in blocks]
    with ThreadPoolExecutor(max(threads, 1)) as pool:
        tails = list(pool.map(lambda b: _tail(box, b, nodes), blocks))

        def one(index: int) -> None:
            inverse = _inverse(box, float(hz[index]), complex(k[index]))
            real, imag = np.ascontiguousarray(inverse.real), np.ascontiguousarray(inverse.imag)
            weight = spread[index]
            for number, (source, receiver) in enumerate(at):
                p = np.empty((source.shape[1], receiver.shape[1]), dtype=np.complex128)
                p.real = source.T @ (real @ receiver) + np.tensordot(weight.real, tails[number], 1)
                p.imag = source.T @ (imag @ receiver) + np.tensordot(weight.imag, tails[number], 1)
                use(index, number, 4.0 * np.pi * p)

        for _ in pool.map(one, range(len(hz))):
            pass


def _inverse(box: CoupledBox, hz: float, k: complex) -> Complexes:
    """Inverse of the coupled matrix (N, N) at one frequency."""
    matrix = 1j * k * box.wall_matrices([hz])[0]
    matrix[np.diag_indices_from(matrix)] += box.k2 - k**2
    return np.asarray(np.linalg.inv(matrix))


def _nodes(low: float, high: float) -> Floats:
    """Chebyshev points (NODES,) on low..high."""
    angle = np.pi * (np.arange(NODES) + 0.5) / NODES
    return np.asarray(0.5 * (low + high) - 0.5 * (high - low) * np.cos(angle))


def _lagrange(nodes: Floats, s: Complexes) -> Complexes:
    """Weights (F, NODES) that interpolate from the nodes to s (F,), complex near the real axis."""
    weight = np.ones((len(s), len(nodes)), dtype=np.complex128)
    for i, node in enumerate(nodes):
        others = np.delete(nodes, i)
        weight[:, i] = np.prod((s[:, None] - others) / (node - others), axis=1)
    return weight


def _tail(box: CoupledBox, block: Block, nodes: Floats) -> Floats:
    """What rigid-wall modes outside the basis add at the nodes, (NODES, S, R); see
    coupled._direct_tail for the parts of the sum."""
    size = box.low.dimensions
    check_inside(np.concatenate([block.sources, block.receivers]), size, "respond")
    q = 2.0 * np.pi * box.f_max / box.low.c
    series = _image_sums(block.sources, block.receivers, size, q, REACH / q)
    high_s, high_r = (_unit(box.high, p) for p in (block.sources, block.receivers))
    low_s, low_r = (_unit(box.low, p) for p in (block.sources, block.receivers))
    k_low, k_high = (2.0 * np.pi * m.f_hz / m.c for m in (box.low, box.high))
    lift = box.lift[: len(k_high)]
    lifted_s, lifted_r = lift.T @ high_s, lift.T @ high_r
    k2_lift = box.k2[len(k_low) :]
    near = [1.0 / (k_low**2 + q**2) ** (p + 1) for p in range(3)]
    shells = [series[..., p] - (low_s.T * near[p]) @ low_r for p in range(3)]
    tail = np.empty((len(nodes), len(block.sources), len(block.receivers)))
    for i, s in enumerate(nodes):
        step = (s + q**2) ** np.arange(3)
        taken = sum(step[p] / (k_high**2 + q**2) ** (p + 1) for p in range(3))
        tail[i] = sum(step[p] * shells[p] for p in range(3))
        tail[i] += (high_s.T * (1.0 / (k_high**2 - s) - taken)) @ high_r
        tail[i] -= (lifted_s.T / (k2_lift - s)) @ lifted_r
    return tail


def _unit(modes: Modes, points: Floats) -> Floats:
    return np.asarray(mode_shape(modes, points) / np.sqrt(modes.norm)[:, None])


def _image_sums(sources: Floats, receivers: Floats, size: Floats, q: float, reach: float) -> Floats:
    """Taylor coefficients (S, R, 3) in s about -q^2 of sum exp(-q d)/(4 pi d) over images."""
    out: Any = np.zeros((len(sources), len(receivers), 3))
    count = np.array([int(reach / (2 * length)) + 2 for length in size], dtype=np.int64)
    _sum_images(np.ascontiguousarray(sources), np.ascontiguousarray(receivers), size, q,
                reach * reach, count, out)  # fmt: skip
    return np.asarray(out)


@compiled()
def _sum_images(
    sources: Floats, receivers: Floats, size: Floats, q: float, far: float, count: Any, out: Floats
) -> None:
    squares = np.empty((3, 2 * (2 * count.max() + 1)))
    for s in range(sources.shape[0]):
        for r in range(receivers.shape[0]):
            for axis in range(3):
                n = 0
                x, y = sources[s, axis], receivers[r, axis]
                for i in range(-count[axis], count[axis] + 1):
                    base = 2.0 * i * size[axis]
                    squares[axis, n] = (base + y - x) ** 2
                    squares[axis, n + 1] = (base + y + x) ** 2
                    n += 2
            total0, total1, total2 = 0.0, 0.0, 0.0
            for a in range(2 * (2 * count[0] + 1)):
                if squares[0, a] >= far:
                    continue
                for b in range(2 * (2 * count[1] + 1)):
                    two = squares[0, a] + squares[1, b]
                    if two >= far:
                        continue
                    for c in range(2 * (2 * count[2] + 1)):
                        three = two + squares[2, c]
                        if three < far:
                            d = np.sqrt(three)
                            e = np.exp(-q * d)
                            total0 += e / d
                            total1 += e
                            total2 += e * (q * d + 1.0)
            out[s, r, 0] = total0 / (4.0 * np.pi)
            out[s, r, 1] = total1 / (8.0 * np.pi * q)
            out[s, r, 2] = total2 / (32.0 * np.pi * q**3)
