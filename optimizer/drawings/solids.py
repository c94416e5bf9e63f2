"""The space pieces take, as seen along a direction."""

import numpy as np
import shapely

from optimizer.placement.pieces import Piece
from optimizer.placement.zones import prism_corners
from optimizer.room.geometry import Floats
from optimizer.room.model import Room


def footprint_of(piece: Piece, room: Room, axes: Floats) -> Floats:
    """Drawn outline (K, 2) of a piece seen along the direction that `axes` (2, 3) leave out.

    A piece in a corner fills the space between both surfaces and its face.
    """
    if len(piece.rects) == 1:
        ((name, rect),) = piece.rects
        plane = room.surface(name).plane
        gap = piece.product.fittings[piece.fitting].gap
        solid = prism_corners(plane, np.array([rect]), piece.reach, gap)[0]
    else:
        legs = [prism_corners(room.surface(n).plane, np.array([r]), 0.0)[0] for n, r in piece.rects]
        solid = np.concatenate([*legs, piece.face])
    hull = shapely.convex_hull(shapely.MultiPoint(solid @ axes.T))
    return np.asarray(hull.exterior.coords, dtype=float)[:-1]


def same_spot(
    outlines: list[tuple[str, Floats, Floats]],
) -> list[tuple[list[str], Floats, Floats]]:
    """Numbered outlines with those that coincide put together: numbers, outline, direction."""
    spots: dict[tuple[float, ...], tuple[list[str], Floats, Floats]] = {}
    for name, outline, towards in outlines:
        box = np.round([*outline.min(axis=0), *outline.max(axis=0)], 2)
        spots.setdefault(tuple(box.tolist()), ([], outline, towards))[0].append(name)
    return list(spots.values())
