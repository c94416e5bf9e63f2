"""Which candidates exclude each other: cells of surface that at most one of them may cover.

Rectangles on one surface that pairwise overlap all share a point (Helly's theorem for boxes), so
one "at most one" row per point of a grid through their lower-left corners says exactly what
pairwise rows would say, with a tighter relaxation. Pieces on different surfaces that meet in
space near an edge are kept apart by the shadow each throws on the other's surface.
"""

from itertools import groupby

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from optimizer.placement.candidates import Candidate
from optimizer.placement.pieces import Piece
from optimizer.placement.zones import prism_corners
from optimizer.room.geometry import Floats
from optimizer.room.model import Room, Surface

TOUCH = 1e-6
Ints = NDArray[np.int64]


def cover_rows(room: Room, candidates: tuple[Candidate, ...]) -> list[Ints]:
    """Sets of candidate indices of which at most one may be chosen; none contains another."""
    pieces = [p for c in candidates for p in c.pieces]
    owner = np.array([i for i, c in enumerate(candidates) for _ in c.pieces], dtype=np.int64)
    if not pieces:
        return []
    corners = np.stack([_prism(room, piece) for piece in pieces])
    reach = _largest_reach(room, pieces)
    rows: list[Ints] = []
    for surface in room.surfaces:
        rect, piece = _footprints(surface, pieces, corners, reach[surface.name])
        if len(rect):
            rows += _cells(rect, owner[piece])
    return _maximal(rows, len(candidates))


def _largest_reach(room: Room, pieces: list[Piece]) -> dict[str, float]:
    reach = {surface.name: 0.0 for surface in room.surfaces}
    for piece in pieces:
        if len(piece.rects) == 1:
            reach[piece.surface] = max(reach[piece.surface], piece.reach)
    return reach


def _footprints(
    surface: Surface, pieces: list[Piece], corners: Floats, reach: float
) -> tuple[Floats, Ints]:
    """Rectangles (M, 4) on a surface that pieces cover or throw a shadow on, and their pieces."""
    plane = surface.plane
    own = [(i, r) for i, p in enumerate(pieces) for n, r in p.rects if n == surface.name]
    others = np.ones(len(pieces), dtype=bool)
    others[[i for i, _ in own]] = False
    near = np.flatnonzero(others & (plane.height_over(corners).min(axis=1) < reach - TOUCH))
    uv = plane.to_uv(corners[near])
    shadows = np.concatenate([uv.min(axis=1), uv.max(axis=1)], axis=1)
    rect = np.concatenate([np.array([r for _, r in own]).reshape(-1, 4), shadows])
    return rect, np.concatenate([np.array([i for i, _ in own], dtype=np.int64), near])


def _prism(room: Room, piece: Piece) -> Floats:
    """Eight corners (8, 3) of the space a piece takes."""
    if len(piece.rects) == 1:
        plane = room.surface(piece.surface).plane
        return np.asarray(prism_corners(plane, np.array([piece.rect]), piece.reach)[0])
    low, high = piece.box
    choice = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], dtype=bool)
    return np.asarray(np.where(choice, high, low))


def _cells(rect: Floats, owner: Ints) -> list[Ints]:
    """Owners of the rectangles over each point of the lower-left grid, two or more of them."""
    u, v = (np.unique(np.round(rect[:, i], 6)) for i in (0, 1))
    over_u = (rect[:, 0] <= u[:, None] + TOUCH) & (u[:, None] < rect[:, 2] - TOUCH)
    over_v = (rect[:, 1] <= v[:, None] + TOUCH) & (v[:, None] < rect[:, 3] - TOUCH)
    both = (over_u[:, None, :] & over_v[None, :, :]).reshape(-1, len(rect))
    packed = {np.packbits(row).tobytes(): i for i, row in enumerate(both)}
    rows = (np.unique(owner[both[i]]) for i in packed.values())
    return [row for row in rows if len(row) > 1]


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
