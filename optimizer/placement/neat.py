"""What order is, by the pieces that hang: the one definition that plans are held to and told by.

Lines: heights at which lower edges, middles or upper edges of pieces on a wall agree. Alone: a
piece with no other within NEAR of it. Pieces with a place of their own (curtains, rugs, what stands
before a wall) are looked at by neither; pieces in corners have no lines. Figures are ours.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from optimizer.placement.blocks import ALONE_BY_NATURE, OWN_PLACE
from optimizer.placement.pieces import Piece, mirror_partner
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

NEAR = 0.35  # m between two pieces that are neighbours
FEW = 4  # pieces up to which a plan may leave all of them alone
SAME = 1e-3  # m within which heights agree and pieces stand on one another
Line = tuple[str, float]  # lower edge, middle or upper edge; height over the floor in m


@dataclass(frozen=True)
class Neatness:
    """What a plan looks like.

    `lines`: the fewest lines that hold all pieces of each wall, mirrored walls taken together;
    `clouds`: groups of touching pieces on each ceiling; `floating` pieces in corners that stand on
    nothing, `lowest_edge` in m of what hangs on a wall (None without), `kinds` of product,
    `alone` of the `counted` pieces.
    """

    lines: dict[str, int]
    clouds: dict[str, int]
    floating: int
    lowest_edge: float | None
    kinds: int
    pieces: int
    alone: int
    counted: int

    @property
    def most_lines(self) -> int:
        """The most lines of any wall."""
        return max(self.lines.values(), default=0)

    @property
    def company_percent(self) -> float:
        """Share in percent of the pieces that have a neighbour, 100 without pieces."""
        return 100.0 * (1.0 - self.alone / self.counted) if self.counted else 100.0


def neatness(room: Room, pieces: Sequence[Piece]) -> Neatness:
    """What pieces look like in a room."""
    walls: dict[str, list[Piece]] = {}
    for piece in pieces:
        if has_lines(room, piece):
            walls.setdefault(wall_of(room, piece.surface), []).append(piece)
    overhead = [p for p in pieces if is_overhead(room, p)]
    hung = [p for group in walls.values() for p in group]
    lone = alone(pieces)
    return Neatness(
        lines={name: fewest_lines([lines_of(p) for p in group]) for name, group in walls.items()},
        clouds=dict(Counter(group[0].surface for group in touching(overhead))),
        floating=sum(in_stack(p) and not stands(room, p, pieces) for p in pieces),
        lowest_edge=min((float(p.box[0, 2]) for p in hung), default=None),
        kinds=len({p.product.id for p in pieces}),
        pieces=len(pieces),
        alone=sum(lone),
        counted=sum(counts(p) for p in pieces),
    )


def in_corner(piece: Piece) -> bool:
    """Whether it lies across a corner of two walls, or the edge of a wall and the ceiling."""
    return len(piece.rects) > 1


def in_stack(piece: Piece) -> bool:
    """Whether it is for stacks, in a corner of two walls."""
    return piece.mounting == "corner"


def own_place(piece: Piece) -> bool:
    """Whether its place is given by what it is: a curtain, a rug, what stands before a wall."""
    return piece.product.kind in OWN_PLACE or piece.mounting in ALONE_BY_NATURE


def counts(piece: Piece) -> bool:
    """Whether it is counted as alone or in company."""
    return not own_place(piece)


def has_lines(room: Room, piece: Piece) -> bool:
    """Whether it hangs flat on a wall, in line with others or not."""
    return not own_place(piece) and not in_corner(piece) and room.surface(piece.surface).is_wall


def is_overhead(room: Room, piece: Piece) -> bool:
    """Whether it hangs under a ceiling."""
    return not in_corner(piece) and room.surface(piece.surface).is_ceiling


def wall_of(room: Room, surface: str) -> str:
    """The wall of a surface, mirrored walls under one name ("left and right")."""
    wall = room.surface(surface)
    partner = mirror_partner(room, wall)
    if partner is None or partner.name == surface or mirror_partner(room, partner) is not wall:
        return surface
    return " and ".join(sorted((surface, partner.name)))


def lines_of(piece: Piece) -> tuple[Line, Line, Line]:
    """The three lines that a piece on a wall lies on."""
    low, high = (round(float(z), 3) for z in piece.box[:, 2])
    return ("lower", low), ("middle", round((low + high) / 2, 3)), ("upper", high)


def fewest_lines(pieces: Sequence[tuple[Line, ...]]) -> int:
    """The least number of lines such that every piece lies on one of them."""
    different = sorted(set(pieces))
    known = sorted({line for lines in different for line in lines})
    held = np.array([[line in lines for lines in different] for line in known], dtype=bool)
    for count in range(len(different)):
        for some in combinations(range(len(known)), count):
            if held[list(some)].any(axis=0).all():
                return count
    return len(different)


def touching(pieces: Sequence[Piece]) -> list[list[Piece]]:
    """Groups of pieces of one surface that touch, directly or through others."""
    groups: list[list[Piece]] = []
    for piece in pieces:
        mine = [g for g in groups if any(_touch(piece, other) for other in g)]
        groups = [g for g in groups if g not in mine] + [[p for g in mine for p in g] + [piece]]
    return groups


def _touch(one: Piece, other: Piece) -> bool:
    return one.surface == other.surface and apart(one.box, other.box) <= SAME


def alone(pieces: Sequence[Piece]) -> list[bool]:
    """Which pieces count as alone: no other one is within NEAR."""
    return [
        counts(piece)
        and not any(other is not piece and apart(piece.box, other.box) <= NEAR for other in pieces)
        for piece in pieces
    ]


def apart(one: Floats, other: Floats) -> float:
    """Distance in m between two boxes (2, 3), 0 where they meet."""
    between = np.maximum(one[0] - other[1], other[0] - one[1])
    return float(np.linalg.norm(np.maximum(between, 0.0)))


def based(room: Room, piece: Piece) -> bool:
    """Whether a corner piece stands on the floor, or hangs right under the ceiling if it hangs."""
    _, v0, _, v1 = room.surface(piece.rects[0][0]).plane.bounds
    end, edge = (v1, piece.rect[3]) if hangs(piece) else (v0, piece.rect[1])
    return abs(end - edge) <= SAME


def carries(other: Piece, piece: Piece) -> bool:
    """Whether a corner piece stands on another of the same legs in its corner, or hangs from it."""
    same = other.surface == piece.surface and other.product.width == piece.product.width
    edges = (piece.rect[3], other.rect[1]) if hangs(piece) else (piece.rect[1], other.rect[3])
    return same and abs(edges[0] - edges[1]) <= SAME


def hangs(piece: Piece) -> bool:
    """Whether a corner piece is fixed to the ceiling rather than stood on the floor."""
    return "ceiling" in piece.product.mountings


def stands(room: Room, piece: Piece, pieces: Sequence[Piece]) -> bool:
    """Whether a corner piece is part of an unbroken stack among these pieces."""
    if based(room, piece):
        return True
    under = [other for other in pieces if other is not piece and carries(other, piece)]
    return any(stands(room, other, pieces) for other in under)
