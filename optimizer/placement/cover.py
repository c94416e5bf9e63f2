"""Which candidates exclude each other: cells of surface that at most one of them may cover.

Rectangles on one surface that pairwise overlap all share a point (Helly's theorem for boxes), so
one "at most one" row per point of a grid through their lower-left corners says exactly what
pairwise rows would say, with a tighter relaxation. Pieces on different surfaces that meet in
space near an edge are kept apart by the shadow each throws on the other's surface.
"""

from collections.abc import Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from optimizer.placement.candidates import Candidate
from optimizer.placement.pieces import Piece
from optimizer.placement.zones import prism_corners
from optimizer.room.geometry import Floats, Rect
from optimizer.room.model import Room, Surface

TOUCH = 1e-6
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


def cover_rows(
    room: Room, candidates: tuple[Candidate, ...], beside: Sequence[Candidate] = ()
) -> list[Ints]:
    """Sets of candidate indices of which at most one may be chosen; none contains another.

    A shadow falls on a surface from as far off as its pieces reach out, those of candidates
    `beside` these too: so that what excludes each other does so in a larger decision as well.
    """
    pieces = [p for c in candidates for p in c.pieces]
    owner = np.array([i for i, c in enumerate(candidates) for _ in c.pieces], dtype=np.int64)
    if not pieces:
        return []
    own = _lying(room, pieces)
    corners = _prisms(room, pieces)
    farthest = _farthest([*pieces, *(p for c in beside for p in c.pieces)])
    rows: list[Ints] = []
    for surface in room.surfaces:
        reach = farthest.get(surface.name, 0.0)
        rect, piece = _footprints(surface, own[surface.name], reach, corners)
        if len(rect):
            rows += _cells(rect, owner[piece])
    return _maximal(rows, len(candidates))


def _lying(room: Room, pieces: Sequence[Piece]) -> dict[str, tuple[Floats, Ints]]:
    """Rectangles (M, 4) that pieces cover on each surface, and which pieces (M,)."""
    found: dict[str, list[tuple[int, Rect]]] = {surface.name: [] for surface in room.surfaces}
    for index, piece in enumerate(pieces):
        for name, rect in piece.rects:
            found[name].append((index, rect))
    return {
        name: (
            np.array([rect for _, rect in lying]).reshape(-1, 4),
            np.array([index for index, _ in lying], dtype=np.int64),
        )
        for name, lying in found.items()
    }


def _farthest(pieces: Sequence[Piece]) -> dict[str, float]:
    """How far flat pieces reach out of each surface, m."""
    reach: dict[str, float] = {}
    for piece in pieces:
        if len(piece.rects) == 1:
            reach[piece.surface] = max(reach.get(piece.surface, 0.0), piece.reach)
    return reach


def _footprints(
    surface: Surface, own: tuple[Floats, Ints], reach: float, corners: Floats
) -> tuple[Floats, Ints]:
    """Rectangles (M, 4) on a surface that pieces cover or throw a shadow on from less than `reach`
    off it, and their pieces."""
    plane, (rects, index) = surface.plane, own
    others = np.ones(len(corners), dtype=bool)
    others[index] = False
    near = np.flatnonzero(others & (plane.height_over(corners).min(axis=1) < reach - TOUCH))
    uv = plane.to_uv(corners[near])
    shadows = np.concatenate([uv.min(axis=1), uv.max(axis=1)], axis=1)
    return np.concatenate([rects, shadows]), np.concatenate([index, near])


def _prisms(room: Room, pieces: Sequence[Piece]) -> Floats:
    """Eight corners (N, 8, 3) of the space each piece takes."""
    boxes = np.stack([piece.box for piece in pieces])
    choice = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], dtype=bool)
    corners = np.where(choice, boxes[:, 1, None], boxes[:, 0, None])
    flat: dict[str, list[int]] = {}
    for index, piece in enumerate(pieces):
        if len(piece.rects) == 1:
            flat.setdefault(piece.surface, []).append(index)
    for name, mine in flat.items():
        rects = np.array([pieces[i].rect for i in mine])
        reach = np.array([pieces[i].reach for i in mine])
        corners[mine] = prism_corners(room.surface(name).plane, rects, reach)
    return np.asarray(corners)


def _cells(rect: Floats, owner: Ints) -> list[Ints]:
    """Owners of the rectangles over each point of the lower-left grid, two or more of them; without
    points over which there is nothing that is not over the next point too."""
    u, v = (np.unique(np.round(rect[:, i], 6)) for i in (0, 1))
    over_u = (rect[:, 0] <= u[:, None] + TOUCH) & (u[:, None] < rect[:, 2] - TOUCH)
    over_v = (rect[:, 1] <= v[:, None] + TOUCH) & (v[:, None] < rect[:, 3] - TOUCH)
    known = _within_next(over_u, over_v) | _within_next(over_v, over_u).T
    seen: dict[bytes, Ints] = {}
    for i, j in np.argwhere(~known):
        both = over_u[i] & over_v[j]
        seen.setdefault(np.packbits(both).tobytes(), np.flatnonzero(both))
    rows = (np.unique(owner[members]) for members in seen.values())
    return [row for row in rows if len(row) > 1]


def _within_next(over: Mask, across: Mask) -> Mask:
    """At which points (U, V) what is `over` (U, N) and `across` (V, N) is within what is there at
    the next or, with more beside it, at the last point along U."""
    leaves, comes = over.copy(), over.copy()
    leaves[:-1] &= ~over[1:]
    comes[1:] &= ~over[:-1]
    beside = across.T.astype(np.float32)
    gone, new, there = (x.astype(np.float32) @ beside for x in (leaves, comes, over))
    less = np.zeros(there.shape, dtype=bool)
    less[1:] = there[1:] < there[:-1]
    return np.asarray((gone == 0) | ((new == 0) & less))


def _maximal(rows: list[Ints], count: int) -> list[Ints]:
    """The rows without those contained in another."""
    unique = [list(key) for key, _ in groupby(sorted(tuple(r.tolist()) for r in rows))]
    if not unique:
        return []
    sizes = np.array([len(r) for r in unique])
    matrix = sparse.csr_matrix(
        (np.ones(sizes.sum()), (np.repeat(np.arange(len(unique)), sizes), np.concatenate(unique))),
        shape=(len(unique), count),
    )
    common = (matrix @ matrix.T).tocoo()
    inside = (common.data == sizes[common.row]) & (sizes[common.col] > sizes[common.row])
    dominated = np.zeros(len(unique), dtype=bool)
    dominated[common.row[inside]] = True
    return [np.array(r, dtype=np.int64) for r, d in zip(unique, dominated, strict=True) if not d]
