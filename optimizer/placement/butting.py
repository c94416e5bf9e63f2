"""Free edges of pieces: how much more a piece absorbs alone, and what touching neighbours lose.

A flat piece alone absorbs more than a laboratory sample of its material, most where it is small
(materials.edges, with the gain bounded at a tenth). Where two pieces touch the joint edge is not
free: each bears half of what the two lose against standing apart. For two equal pieces that touch
along a whole side this is exact, they absorb as one of the joint size; rows and blocks add up
their joints, which was within 2 % of the joint outline as one patch
(tests/evidence/edge_effect.md). Pieces of unlike material each lose what a neighbour of their own
material would take. Pieces that only come close are counted as apart, which books a row with gaps
of 2 cm some 2 % too high (same file), and an edge at the end of a wall as free.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from materials import Material
from materials.build import Build
from materials.edges import butt_loss, piece_factor, table_face
from materials.finite import TOUCHING, Face
from optimizer.acoustics.scene import Ints
from optimizer.bands import N_BANDS
from optimizer.room.geometry import Floats


@dataclass(frozen=True)
class Joints:
    """M pairs of touching rectangles: `first`, `second` (M,) rows, `axis` (M,) 0 where they stand
    side by side along u, 1 along v, and the `shared` (M,) length of the joint in m."""

    first: Ints
    second: Ints
    axis: Ints
    shared: Floats


def find_joints(surface: Ints, rect: Floats, together: Ints) -> Joints:
    """Joints among rectangles (N, 4) of one surface (N,) and one set (N,) of pieces."""
    order = np.lexsort((np.arange(len(rect)), surface, together))
    keys = np.stack([together[order], surface[order]])
    new = np.concatenate([[True], np.any(keys[:, 1:] != keys[:, :-1], axis=0)])[: len(order)]
    group = np.cumsum(new) - 1
    left = (
        np.cumsum(np.bincount(group))[group] - np.arange(len(order)) - 1
    )  # behind it in its group
    first = np.repeat(np.arange(len(order)), left)
    second = first + 1 + np.arange(len(first)) - np.repeat(np.cumsum(left) - left, left)
    one, other = order[first], order[second]
    common = np.minimum(rect[one, 2:], rect[other, 2:]) - np.maximum(rect[one, :2], rect[other, :2])
    joined = (np.abs(common) <= TOUCHING) & (common[:, ::-1] > TOUCHING)
    axis, pair = np.nonzero(joined.T)
    kept = np.lexsort((second[pair], first[pair], axis, group[first[pair]]))
    axis, pair = axis[kept], pair[kept]
    return Joints(one[pair], other[pair], axis, common[pair, 1 - axis])


def edge_factors(
    faces: Sequence[Face | None], surface: Ints, rect: Floats, together: Ints
) -> Floats:
    """How much more than its coefficient each rectangle (N, 4) absorbs, (N, 8), 1 or above.

    `faces` (N,) is what each shows, None where no edge counts; those of one set `together` (N,)
    stand in the room at the same time, so that their joints count.
    """
    factors = np.ones((len(rect), N_BANDS))
    shown = [(row, face) for row, face in enumerate(faces) if face is not None]
    if not shown:
        return factors
    rows = np.array([row for row, _ in shown], dtype=np.int64)
    size = np.round(rect[rows, 2:] - rect[rows, :2], 3)
    joints = find_joints(surface[rows], rect[rows], together[rows])
    lost = _lost([face for _, face in shown], size, joints)
    known: dict[tuple[object, ...], Floats] = {}  # by which face it is: to compare faces takes long
    for place, (row, face) in enumerate(shown):
        width, height = sorted(size[place].tolist())
        less = lost.get(place)
        key = id(face), width, height, None if less is None else less.tobytes()
        if key not in known:
            known[key] = (
                _alone(face, width, height)
                if less is None
                else piece_factor(face, width, height, less)
            )
        factors[row] = known[key]
    return factors


def _lost(faces: Sequence[Face], size: Floats, joints: Joints) -> dict[int, Floats]:
    """What each row that touches another loses of its modelled area, (8,) in m2."""
    lost: dict[int, Floats] = {}
    known: dict[tuple[object, ...], Floats] = {}
    pairs = zip(
        joints.first.tolist(),
        joints.second.tolist(),
        joints.axis.tolist(),
        joints.shared.tolist(),
        strict=True,
    )
    for i, j, axis, shared in pairs:
        order = [axis, 1 - axis]  # across the joint, along it
        one, two = (tuple(size[k][order].tolist()) for k in (i, j))
        length = round(min(shared, one[1], two[1]), 3)
        for mine, own, other in ((i, one, two), (j, two, one)):
            key = id(faces[mine]), own, other, length
            if key not in known:
                known[key] = 0.5 * _loss(faces[mine], own, other, length)
            lost[mine] = lost.get(mine, np.zeros(N_BANDS)) + known[key]
    return lost


@lru_cache(maxsize=4096)
def _loss(face: Face, one: tuple[float, float], two: tuple[float, float], shared: float) -> Floats:
    loss = butt_loss(face, one, two, shared)
    loss.setflags(write=False)
    return loss


@lru_cache(maxsize=4096)
def _alone(face: Face, width: float, height: float) -> Floats:
    factor = piece_factor(face, width, height)
    factor.setflags(write=False)
    return factor


def face_of(material: Material) -> Face | None:
    """What a piece of this material shows for its edges: its build, else its coefficients.

    None where the figures hold the edges already: corner fills, screens that count both faces, and
    objects given by their area.
    """
    if material.unit != "alpha" or material.category in ("corner fill", "screen"):
        return None
    if isinstance(material.build, Build):
        return material.build
    return None if material.build is not None else _table_face(material.absorption)


@lru_cache(maxsize=1024)
def _table_face(alpha: tuple[float, ...]) -> Face:
    return table_face(alpha)
