"""Admittance of pieces by the run of the sound along the wall: makes below, coefficients above.

A porous piece of known make acts in the bass as what it is (materials.modal); a row of the table
knows it from 250 Hz up, where it was measured. Between JOIN the one passes into the other.
Pieces of no known make have the admittance that shows their coefficients, the same at any angle.
"""

from collections.abc import Iterator
from functools import lru_cache

import numpy as np

from materials.medium import AIR
from materials.modal import Make
from optimizer.acoustics.scene import LOW_HZ, Complexes, Ints, Patches
from optimizer.room.geometry import Floats

# Wavenumbers along a wall, rad/m, an eighth apart, up to those of the strips of half a metre that
# the coupled modes resolve. The flow through a gapped piece goes with (k0^2 - kt^2)^2 and is least
# where a mode runs along it: with nodes a third apart that was read up to a third too high.
ALONG: Floats = np.concatenate([[0.0, 0.25], np.geomspace(0.4, 4.5, 21), [5.5, 8.0, 12.0, 18.0]])
ALONG.setflags(write=False)
JOIN = (177.0, 354.0)  # Hz; the octave of 250 Hz, the lowest in which rows are fitted
DIFFUSE = 2.0 / 3.0  # mean of sin^2 of the angle of incidence over solid angle


@lru_cache(maxsize=4096)
def make_table(make: Make) -> Complexes:
    """Table (T + 1, F) of a make at LOW_HZ: what goes with the square of a mode's pressure, at
    ALONG, and last, in m2, what goes with the square of its slope along the wall."""
    flow = make.flow_along(LOW_HZ)
    run2 = np.minimum(ALONG[:, None], AIR.wavenumber(LOW_HZ)) ** 2
    table = np.concatenate([make.admittance(LOW_HZ, ALONG) - run2 * flow, flow[None]])
    table.setflags(write=False)
    return table


def level(beta: Complexes) -> Complexes:
    """Tables (N, T + 1, F) of admittances (N, F) that are the same for any run of sound."""
    out = np.repeat(beta[:, None], len(ALONG) + 1, axis=1)
    out[:, -1] = 0.0
    return out


def make_share(make: Make) -> Floats:
    """Share (F,) in which a make acts as itself at LOW_HZ: none above the cross-over of one that
    stands for a row of the table."""
    if not make.from_table:
        return np.ones(len(LOW_HZ))
    low, high = np.log(JOIN)
    above = np.clip((np.log(LOW_HZ) - low) / (high - low), 0.0, 1.0)
    return np.asarray(1.0 - above**2 * (3.0 - 2.0 * above))


def joined(make: Make, strength: float, coefficients: Complexes) -> Complexes:
    """Table (T + 1, F): the make's, above the cross-over that of its `coefficients` (F,)."""
    if not make.from_table:
        return strength * make_table(make)
    share = make_share(make)
    return np.asarray(
        share * strength * make_table(make) + (1.0 - share) * level(coefficients[None])[0]
    )


def makes_of(patches: Patches) -> Iterator[tuple[Make | None, Ints]]:
    """Each make, None too, and the patches (K,) that are made so."""
    known: dict[int, list[int]] = {}  # by which object it is: to compare makes takes long
    for i, make in enumerate(patches.make):
        known.setdefault(id(make), []).append(i)
    same: dict[Make | None, list[int]] = {}
    for rows in known.values():
        same.setdefault(patches.make[rows[0]], []).extend(rows)
    for make, rows in same.items():
        yield make, np.array(sorted(rows), dtype=np.int64)


def kinds_of(patches: Patches, spread: Floats) -> tuple[Ints, Ints]:
    """One patch of each kind (K,), and the kind (N,) of each: alike in make, strength, coefficients
    and face per covered area."""
    seen: dict[object, int] = {}
    first: list[int] = []
    kind = np.empty(len(patches), dtype=np.int64)
    made = np.empty(len(patches), dtype=np.int64)
    for number, (_, rows) in enumerate(makes_of(patches)):
        made[rows] = number
    keys = zip(
        made.tolist(), patches.strength.tolist(), patches.alpha, spread.tolist(), strict=True
    )
    for i, (make, strength, alpha, face) in enumerate(keys):
        key = make, strength, alpha.tobytes(), round(face, 9)
        if key not in seen:
            seen[key] = len(first)
            first.append(i)
        kind[i] = seen[key]
    return np.array(first, dtype=np.int64), kind


def along(beta: Complexes, kt: Floats) -> Complexes:
    """What goes with the square of the pressure, (..., F), in tables (..., T + 1, F) for one
    wavenumber kt (F,) along the wall at each frequency; linear in its square, ends held."""
    nodes = ALONG**2
    at = np.clip(kt**2, 0.0, nodes[-1])
    right = np.clip(np.searchsorted(nodes, at), 1, len(nodes) - 1)
    part = (at - nodes[right - 1]) / (nodes[right] - nodes[right - 1])
    each = np.arange(beta.shape[-1])
    return np.asarray(beta[..., right - 1, each] * (1.0 - part) + beta[..., right, each] * part)
