"""The room folded open: where each of its faces lies on one plane, at its true shape.

The floor lies as in the plan view. A wall is folded down beside the edge it stands on, any other
face beside the lowest edge that it shares with one that lies already. All are seen from inside
the room, so paper cut out and folded up again is the room. Faces that would cover each other are
moved away from their edge, as far as that takes.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely

from optimizer.drawings.faces import MEETS, Face, bounds, face_of, is_level
from optimizer.room.geometry import Floats, Rect
from optimizer.room.model import Room, Surface

SHORTEST = 0.01  # m, least length of an edge that two faces share
CLEAR = 0.6  # of the gap, least distance of two faces
_LOOKING_UP = np.array([[0.0, -1.0, 0.0], [-1.0, 0.0, 0.0]])  # the front wall on top
_FAR = 400  # gaps that a face may be moved away from its edge
_ALONG = (0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0)  # gaps that it may be moved along it


@dataclass(frozen=True)
class Hinge:
    """The edge beside which a face lies: the other face, and its ends (2, 2) on both of them."""

    beside: str
    there: Floats
    here: Floats

    @property
    def moved(self) -> float:
        """Distance in metres of the two."""
        return float(np.linalg.norm(self.here[0] - self.there[0]))


@dataclass(frozen=True)
class Leaf:
    """A face folded open: the face as seen from inside, turned (2, 2) and moved (2,)."""

    face: Face
    turn: Floats
    shift: Floats
    hinge: Hinge | None = None

    @property
    def surface(self) -> Surface:
        """The surface of the room."""
        return self.face.surface

    def drawn(self, points: Floats) -> Floats:
        """Drawn coordinates (..., 2) of room points (..., 3)."""
        return self.laid(self.face.drawn(points))

    def laid(self, points: Floats) -> Floats:
        """Drawn coordinates (..., 2) of points (..., 2) of the face by itself."""
        return np.asarray(points @ self.turn.T + self.shift)

    def corners(self, rect: Rect) -> Floats:
        """Drawn corners (4, 2), in order, of a rectangle of the surface."""
        u0, v0, u1, v1 = rect
        uv = np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])
        return self.drawn(self.surface.plane.to_xyz(uv))

    @property
    def outline(self) -> Floats:
        """(K, 2)."""
        return self.laid(self.face.outline)


def unfold(room: Room, gap: float, paper: tuple[float, float]) -> tuple[Leaf, ...]:
    """All faces of a room, `gap` metres apart, each once, in the order they were laid.

    Where a face could lie beside several edges, and of two orders of the walls, the one is taken
    that leaves the largest scale on `paper` (width, height).
    """
    ways = [_unfolded(order, gap, paper) for order in (room.surfaces, room.surfaces[::-1])]
    return min(ways, key=lambda leaves: (_strayed(leaves, gap), _needed(leaves, paper)))


def extent(leaves: tuple[Leaf, ...]) -> Rect:
    """The smallest drawn rectangle around faces."""
    return bounds(np.concatenate([leaf.outline for leaf in leaves]))


def _strayed(leaves: tuple[Leaf, ...], gap: float) -> float:
    """Metres, to the millimetre, by which faces lie farther from their edges than the gap."""
    return round(sum(leaf.hinge.moved - gap for leaf in leaves if leaf.hinge), 3)


def _needed(leaves: tuple[Leaf, ...], paper: tuple[float, float]) -> float:
    a0, b0, a1, b1 = extent(leaves)
    return round(max((a1 - a0) / paper[0], (b1 - b0) / paper[1]), 6)


def _unfolded(
    surfaces: tuple[Surface, ...], gap: float, paper: tuple[float, float]
) -> tuple[Leaf, ...]:
    leaves = _floors(surfaces)
    lying = {leaf.surface.name for leaf in leaves}
    waiting = [s for s in surfaces if s.name not in lying]
    while waiting:
        edges = {s.name: _edges(s, leaves) for s in waiting}
        surface = min(waiting, key=lambda s: edges[s.name][0][0] if edges[s.name] else np.inf)
        waiting = [s for s in waiting if s.name != surface.name]
        ways = [_beside(surface, leaf, ends, leaves, gap)
                for _, leaf, ends in _lowest(edges[surface.name])]  # fmt: skip
        if not ways:
            ways = [_apart(surface, leaves, gap)]
        leaves = min(((*leaves, way) for way in ways),
                     key=lambda all_of_them: (_strayed(all_of_them[-1:], gap),
                                              _needed(all_of_them, paper),
                                              -_rightwards(all_of_them[-1])))  # fmt: skip
    return leaves


def inside(surface: Surface) -> Face:
    """A surface by itself, seen from inside the room; level ones with the front wall on top."""
    if not (is_level(surface) and surface.is_ceiling):
        return face_of(surface)
    plane = surface.plane
    return Face(surface, _LOOKING_UP, plane.to_xyz(plane.polygon) @ _LOOKING_UP.T)


def _floors(surfaces: tuple[Surface, ...]) -> tuple[Leaf, ...]:
    """Level floors as in the plan view, lower ones first; one of the rest where there is none."""
    level = [s for s in surfaces if s.is_floor and is_level(s)]
    level = level or [s for s in surfaces if s.is_floor][:1] or list(surfaces[:1])
    laid: list[Leaf] = []
    for surface in sorted(level, key=lambda s: float(s.plane.origin[2])):
        leaf = Leaf(inside(surface), np.eye(2), np.zeros(2))
        shape = shapely.Polygon(leaf.outline)
        if all(shape.intersection(shapely.Polygon(o.outline)).area < 1e-6 for o in laid):
            laid.append(leaf)
    return tuple(laid)


Edge = tuple[float, Leaf, Floats]  # mean height in m, the face that lies there, ends (2, 3)


def _edges(surface: Surface, leaves: tuple[Leaf, ...]) -> list[Edge]:
    """Edges that a surface shares with faces that lie already, the lowest first."""
    found = [
        (float(ends[:, 2].mean()), leaf, ends)
        for leaf in leaves for ends in shared(surface, leaf.surface)
    ]  # fmt: skip
    return sorted(found, key=lambda edge: edge[0])


def _lowest(edges: list[Edge]) -> list[Edge]:
    return [edge for edge in edges if edge[0] < edges[0][0] + MEETS]


def shared(first: Surface, second: Surface) -> Iterator[Floats]:
    """Ends (2, 3) of each stretch that the edges of two surfaces have in common."""
    sides, others = _sides(first), _sides(second)
    start, end = sides[:, 0], sides[:, 1]
    length = np.sqrt(((end - start) ** 2).sum(axis=1))
    way = (end - start) / length[:, None]
    off = others - start[:, None, None]  # (K, L, 2, 3): of the one's edges and the other's
    along = (off * way[:, None, None]).sum(axis=-1)
    beside = off - along[..., None] * way[:, None, None]
    low = np.maximum(along.min(axis=-1), 0.0)
    high = np.minimum(along.max(axis=-1), length[:, None])
    meet = ((beside**2).sum(axis=-1).max(axis=-1) <= MEETS**2) & (high - low > SHORTEST)
    for one, other in np.argwhere(meet):
        ends = low[one, other], high[one, other]
        yield np.stack([start[one] + far * way[one] for far in ends])


def _sides(surface: Surface) -> Floats:
    """Edges (K, 2, 3) of a surface."""
    corners = surface.plane.to_xyz(surface.plane.polygon)
    return np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)


def _beside(
    surface: Surface, other: Leaf, ends: Floats, leaves: tuple[Leaf, ...], gap: float
) -> Leaf:
    """A surface laid beside an edge of another, off all that lies there already."""
    face = inside(surface)
    there, by_itself = other.drawn(ends), face.drawn(ends)
    way, before = (float(np.arctan2(*(p[1] - p[0])[::-1])) for p in (there, by_itself))
    angle = way - before
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    turn = np.round(turn, 12) + 0.0
    leaf = Leaf(face, turn, there.mean(axis=0) - by_itself.mean(axis=0) @ turn.T)
    shape = shapely.Polygon(leaf.outline)
    along = (there[1] - there[0]) / np.linalg.norm(there[1] - there[0])
    out = np.array([along[1], -along[0]])
    if not shape.contains(shapely.Point(there.mean(axis=0) + 1e-4 * out)):
        out = -out
    taken = shapely.union_all([shapely.Polygon(o.outline) for o in leaves])
    moves = (gap * (far * out + aside * along) for far in range(1, _FAR) for aside in _ALONG)
    free = (m for m in moves
            if shapely.affinity.translate(shape, *m).distance(taken) > CLEAR * gap)  # fmt: skip
    move = next(free, _FAR * gap * out)
    return replace(leaf, shift=leaf.shift + move,
                   hinge=Hinge(other.surface.name, there, there + move))  # fmt: skip


def _apart(surface: Surface, leaves: tuple[Leaf, ...], gap: float) -> Leaf:
    """A surface that meets no other, to the right of all that lies there."""
    face = inside(surface)
    _, _, right, top = extent(leaves)
    left, _, _, high = face.bounds
    return Leaf(face, np.eye(2), np.array([right + gap - left, top - high]))


def _rightwards(leaf: Leaf) -> float:
    """How far to the right a face lies of its edge, as a share of the way."""
    if leaf.hinge is None:
        return 0.0
    way = leaf.hinge.here[0] - leaf.hinge.there[0]
    return round(float(way[0] / np.linalg.norm(way)), 6)
