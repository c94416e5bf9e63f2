"""What two tables of the quick models cost, beside sines of NumPy.

Run: python tests/benchmarks/tables.py
Mode damping: 20000 patches by some 400 modes. First reflections: two loudspeakers, two seats of 27
head points, six walls, a desk and eight boxes. Printed are milliseconds of this machine, and how
many times those of a million sines they are: compare the latter.
"""

import time
from collections.abc import Callable
from functools import partial

import numpy as np

from optimizer.acoustics.head import head_region
from optimizer.acoustics.images import Reflectors, first_reflections, make_reflectors
from optimizer.acoustics.modes import IN_PLANE, Patches, box_modes, patch_damping

ROUNDS = 7
SINES = np.linspace(0.0, 100.0, 1_000_000)


def milliseconds(work: Callable[[], object]) -> float:
    """Least processor time of some rounds."""
    least = np.inf
    for _ in range(ROUNDS):
        began = time.process_time()
        work()
        least = min(least, time.process_time() - began)
    return 1e3 * float(least)


def damping_table() -> Callable[[], object]:
    """The effect table of mode damping."""
    rng, size = np.random.default_rng(2), np.array([6.2, 5.1, 3.0])
    axis = rng.integers(0, 3, 20000)
    span = np.array([size[list(p)] for p in IN_PLANE])[axis]
    low = rng.uniform(0.0, 0.8, (20000, 2)) * span
    patches = Patches(axis, rng.integers(0, 2, 20000), np.hstack([low, low + 0.1 * span]))
    return partial(patch_damping, box_modes(size, 310.0), patches)


def box_and_desk() -> Reflectors:
    """Six walls of a box of 5.0 x 4.0 x 2.6 m, and a desk top on the first box in it."""
    x, y, z = np.eye(3)
    size = np.array([5.0, 4.0, 2.6])
    faces = [([0, 0, 0], y, z, x), (size * x, y, z, -x), ([0, 0, 0], x, z, y),
             (size * y, x, z, -y), ([0, 0, 0], x, y, z), (size * z, x, y, -z),
             ([1.5, 1.2, 0.75], x, y, z)]  # fmt: skip
    sides = [(4.0, 2.6)] * 2 + [(5.0, 2.6)] * 2 + [(5.0, 4.0)] * 2 + [(0.5, 1.6)]
    outlines = [np.array([[0, 0], [a, 0], [a, b], [0, b]]) for a, b in sides]
    origin, u, v, normal = (np.array(part) for part in zip(*faces, strict=True))
    return make_reflectors(origin, u, v, normal, outlines, [-1] * 6 + [0])


def reflections() -> Callable[[], object]:
    """First reflections at all head points."""
    heads = head_region([[2.5, 2.0, 1.2], [4.2, 2.0, 1.1]]).reshape(-1, 3)
    low = np.array([[0.2 + 0.5 * i, 3.2, 0] for i in range(7)])
    boxes = [[[1.5, 1.2, 0], [2.0, 2.8, 0.75]], *np.stack([low, low + 0.4], axis=1).tolist()]
    speakers = [[1.0, 1.2, 1.2], [1.0, 2.8, 1.2]]
    return partial(first_reflections, speakers, heads, box_and_desk(), boxes)


if __name__ == "__main__":
    beside = milliseconds(lambda: np.sin(SINES))
    print(f"a million sines: {beside:.1f} ms")
    for name, work in (("mode damping", damping_table()), ("first reflections", reflections())):
        took = milliseconds(work)
        print(f"{name}: {took:.1f} ms, {took / beside:.2f} times")
