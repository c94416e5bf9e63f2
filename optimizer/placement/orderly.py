"""The rules of order in force, worked out as arrays from a room's candidates.

What a line is, what carries what and which pieces are counted is said in optimizer.placement.neat.
Only pieces on the same surface, or in the same corner, keep each other company here, so the rule is
a little stricter than what it is told by.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from scipy import sparse

from optimizer.placement.candidates import Candidate
from optimizer.placement.neat import (
    FEW,
    NEAR,
    SAME,
    based,
    carries,
    counts,
    in_corner,
    in_stack,
    is_overhead,
    lines_of,
    own_place,
    wall_of,
)
from optimizer.placement.order import (
    AtMost,
    Company,
    Ints,
    Kinds,
    Lines,
    Mask,
    Order,
    Rule,
    Stacks,
    filled,
)
from optimizer.placement.pieces import Piece
from optimizer.room.geometry import Floats, rects_overlap
from optimizer.room.layout import OrderRules
from optimizer.room.model import Room

Lying = tuple[str, tuple[object, ...]]  # the group a piece belongs to, and the lines it lies on


def order_of(room: Room, candidates: Sequence[Candidate], rules: OrderRules) -> Order:
    """The order that selections of these candidates must keep to."""
    found: list[Rule] = []
    if rules.lines:
        walls = {s.name: wall_of(room, s.name) for s in room.surfaces if s.is_wall}
        found.append(_lines("lines", candidates, rules.lines, lambda p: _on_wall(walls, p)))
    if rules.one_rail:
        found.append(_lines("rail", candidates, 1, lambda p: _on_rail(room, p)))
    if rules.stacks:
        found.append(_stacks(room, candidates))
    if rules.clouds:
        found.append(AtMost("clouds", _clouds(room, candidates), float(rules.clouds)))
    if rules.kinds:
        found.append(_kinds(candidates, rules.kinds))
    pieces = np.array([[float(len(c.pieces)) for c in candidates]])
    if rules.pieces:
        found.append(AtMost("pieces", pieces, float(rules.pieces)))
    if rules.alone_percent < 100:
        upto = rules.pieces or int(pieces.sum())
        found.append(_company(room, candidates, rules.alone_percent / 100, upto))
    return Order(tuple(rule for rule in found if not isinstance(rule, Lines) or rule.on))


def _on_wall(walls: Mapping[str, str], piece: Piece) -> Lying | None:
    if own_place(piece) or piece.surface not in walls:
        return None
    return walls[piece.surface], lines_of(piece)


def _on_rail(room: Room, piece: Piece) -> Lying | None:
    """A curtain's window (or wall, beside windows), and the height of its rail."""
    if piece.product.kind != "curtain" or in_corner(piece):
        return None
    windows = [a for a in room.surface(piece.surface).areas if a.kind == "window"]
    over = next((a.rect for a in windows if rects_overlap(a.rect, piece.rect, 0.0)), None)
    return f"{piece.surface} {over}", (("upper", round(piece.rect[3], 3)),)


def _lines(
    name: str,
    candidates: Sequence[Candidate],
    most: int,
    lying: Callable[[Piece], Lying | None],
) -> Lines:
    """The rule of lines for pieces that lie on some."""
    rows = [
        (index, piece, found)
        for index, candidate in enumerate(candidates)
        for piece in candidate.pieces
        if (found := lying(piece)) is not None
    ]
    on, taken, cliques = [], [], []
    for group in sorted({found[0] for *_, found in rows}):
        mine = [(index, piece, found[1]) for index, piece, found in rows if found[0] == group]
        heights = sorted({lines for *_, lines in mine}, key=str)
        place = {lines: s for s, lines in enumerate(heights)}
        useful = _useful(heights)
        if useful.shape[1] <= most:
            continue
        on.append(useful)
        owner = np.array([index for index, *_ in mine], dtype=np.int64)
        at = np.array([place[lines] for *_, lines in mine], dtype=np.int64)
        table = sparse.coo_array(
            (np.ones(len(mine)), (owner, at)), shape=(len(candidates), len(heights))
        )
        taken.append(sparse.csr_array(table.tocsr()))
        cliques.append(_cliques(owner, at, [piece for _, piece, _ in mine]))
    return Lines(name, most, tuple(on), tuple(taken), tuple(cliques))


def _useful(heights: Sequence[tuple[object, ...]]) -> Mask:
    """Which lines (S, L) heights lie on, without lines that another one makes superfluous."""
    known = sorted({line for lines in heights for line in lines}, key=str)
    on = np.array([[line in lines for line in known] for lines in heights], dtype=bool)
    _, first = np.unique(on, axis=1, return_index=True)
    on = on[:, np.sort(first)]
    inside = [
        any(j != k and not np.any(on[:, k] & ~on[:, j]) for j in range(on.shape[1]))
        for k in range(on.shape[1])
    ]
    return np.asarray(on[:, ~np.array(inside)])


def _cliques(owner: Ints, height: Ints, pieces: Sequence[Piece]) -> tuple[tuple[int, Ints], ...]:
    """For each height, candidates with a piece there over one point of the wall, of which at most
    one can be chosen: every candidate is in some."""
    found: dict[tuple[int, tuple[int, ...]], None] = {}
    names = np.array([piece.surface for piece in pieces])
    span = np.array([[piece.rect[0], piece.rect[2]] for piece in pieces])
    for s, name in sorted(set(zip(height.tolist(), names.tolist(), strict=True))):
        here = np.flatnonzero((height == s) & (names == name))
        u0, u1 = span[here, 0], span[here, 1]
        sets = {
            frozenset(owner[here[(u0 <= u + SAME) & (u < u1 - SAME)]].tolist())
            for u in np.unique(u0)
        }
        for members in sets:
            if not any(members < other for other in sets):
                found[s, tuple(sorted(members))] = None
    return tuple((s, np.array(members, dtype=np.int64)) for s, members in sorted(found))


def _stacks(room: Room, candidates: Sequence[Candidate]) -> Stacks:
    corner = [(i, p) for i, c in enumerate(candidates) for p in c.pieces if in_stack(p)]
    needs = [
        (i, np.unique(np.array([j for j, q in corner if j != i and carries(q, p)], dtype=np.int64)))
        for i, p in corner
        if not based(room, p) and not any(carries(q, p) for q in candidates[i].pieces)
    ]
    return Stacks("stacks", len(candidates), tuple(needs))


def _clouds(room: Room, candidates: Sequence[Candidate]) -> Floats:
    """Blocks (G, C) that each candidate has on each ceiling."""
    ceilings = [s.name for s in room.surfaces if s.is_ceiling]
    weight = np.zeros((len(ceilings), len(candidates)))
    for c, candidate in enumerate(candidates):
        for block in candidate.blocks:
            if is_overhead(room, block[0]):
                weight[ceilings.index(block[0].surface), c] += 1.0
    return weight


def _kinds(candidates: Sequence[Candidate], most: int) -> Kinds:
    known = sorted({c.product.id for c in candidates})
    kind = np.array([known.index(c.product.id) for c in candidates], dtype=np.int64)
    return Kinds("kinds", kind, np.bincount(kind, minlength=len(known)), most)


def _company(room: Room, candidates: Sequence[Candidate], share: float, upto: int) -> Company:
    counted = np.array([float(sum(counts(p) for p in c.pieces)) for c in candidates])
    where: dict[str, list[tuple[int, Piece]]] = {}
    for c, candidate in enumerate(candidates):
        for piece in candidate.pieces:
            where.setdefault(piece.surface, []).append((c, piece))
    at: list[Ints] = []
    near: list[Ints] = []
    for mine in where.values():
        rects = np.array([piece.rect for _, piece in mine])
        owner = np.array([c for c, _ in mine], dtype=np.int64)
        single = np.array([candidates[c].grid.count == 1 and counts(p) for c, p in mine])
        for rect in np.unique(rects[single], axis=0):
            here = np.all(np.abs(rects - rect) <= SAME, axis=1) & single
            at.append(np.unique(owner[here]))
            near.append(np.unique(owner[_beside(rects, rect)]))
    count = len(candidates)
    by_itself, beside = (filled([(c, 1.0) for c in places], count) for places in (at, near))
    return Company("company", counted, by_itself, beside, share, FEW, upto)


def _beside(rects: Floats, rect: Floats) -> Mask:
    """Which rectangles (N, 4) lie within NEAR of one, and not on it."""
    between = np.maximum(rect[:2] - rects[:, 2:], rects[:, :2] - rect[2:])
    apart = np.linalg.norm(np.maximum(between, 0.0), axis=1)
    return np.asarray((between.max(axis=1) > -SAME) & (apart <= NEAR))
