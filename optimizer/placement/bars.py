"""Which rule of the room file keeps a candidate out, rule by rule, so that it can be named.

Candidates are found as if no rule were there (`without_rules`); then each rule says which it bars.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from optimizer.placement.candidates import Candidate
from optimizer.placement.catalogue import meets_fire_class
from optimizer.placement.holding import takes_hole
from optimizer.placement.pieces import Piece
from optimizer.placement.rules import RULES, Mask, Spread
from optimizer.room.geometry import Floats, Rect, boxes_overlap
from optimizer.room.model import Box, Room
from optimizer.room.schema import OVERHEAD, LimitsSection

NO_LIMIT = 1000.0  # m, of a limit that bars nothing
FREE: dict[str, object] = {
    "no_holes": False, "no_mountings": (), "nothing_overhead": False, "fire_class": None,
    "banned_products": (), "max_depth": NO_LIMIT, "headroom": 0.0, "head_depth": NO_LIMIT,
}  # fmt: skip
HUNG = "hung: "  # how the names of boxes around hanging pieces begin


def own_boxes(room: Room) -> tuple[Box, ...]:
    """What the room file wants kept clear, not what hangs there."""
    return tuple(box for box in room.keep_clear if not box.name.startswith(HUNG))


def without_rules(room: Room, limits: LimitsSection) -> tuple[Room, LimitsSection]:
    """The room and its limits as if nothing were barred; what hangs stays where it is."""
    hung = tuple(box for box in room.keep_clear if box.name.startswith(HUNG))
    return replace(room, keep_clear=hung), limits.model_copy(update=FREE)


def bars_of(room: Room, candidates: Sequence[Candidate], limits: LimitsSection) -> dict[str, Mask]:
    """For each rule of [limits] that is set, which candidates (C,) it bars."""
    pieces = [piece for candidate in candidates for piece in candidate.pieces]
    owner = np.array([i for i, c in enumerate(candidates) for _ in c.pieces], dtype=np.int64)
    each = {
        **_by_product(pieces, limits), **_by_place(room, pieces, limits),
        "keep_clear": _in_boxes(pieces, own_boxes(room)),
    }  # fmt: skip
    barred = {}
    for key, mask in each.items():
        found = np.zeros(len(candidates), dtype=bool)
        found[owner[mask]] = True
        barred[key] = found
    if limits.no_holes:
        barred["no_holes"] |= _mask(_hangs_in_a_corner(c) for c in candidates)
    return barred


def _hangs_in_a_corner(candidate: Candidate) -> bool:
    """Whether a corner piece stands neither on the floor nor on another of the candidate."""
    tops = {(p.surface, round(p.rect[3], 3)) for p in candidate.pieces}
    return any(
        p.mounting == "corner" and p.rect[1] > 1e-6 and (p.surface, round(p.rect[1], 3)) not in tops
        for p in candidate.pieces
    )


def _by_product(pieces: Sequence[Piece], limits: LimitsSection) -> dict[str, Mask]:
    """Rules that look at a piece's product and mounting, each a mask (N,)."""
    return {
        "no_holes": _mask(
            limits.no_holes and takes_hole(p.product.sundries, p.mounting) for p in pieces
        ),
        "no_mountings": _mask(p.mounting in limits.no_mountings for p in pieces),
        "nothing_overhead": _mask(
            limits.nothing_overhead and p.mounting in OVERHEAD for p in pieces
        ),
        "fire_class": _mask(
            not meets_fire_class(p.product.fire_class, limits.fire_class) for p in pieces
        ),
        "banned_products": _mask(p.product.id in limits.banned_products for p in pieces),
    }


def _mask(values: Iterable[bool]) -> Mask:
    return np.fromiter(values, dtype=np.bool_)


def _by_place(room: Room, pieces: Sequence[Piece], limits: LimitsSection) -> dict[str, Mask]:
    """Rules on places, each a mask (N,); pieces in corners of walls stand outside them."""
    found = {key: np.zeros(len(pieces), dtype=bool) for key in RULES if key in FREE}
    groups: dict[str, list[tuple[int, Rect, float]]] = {}
    for i, piece in enumerate(pieces):
        for name, rect, reach in piece.standing_out:
            groups.setdefault(name, []).append((i, rect, round(reach, 6)))
    for name, placed in groups.items():
        index = [i for i, *_ in placed]
        rects: Floats = np.array([rect for _, rect, _ in placed])
        spread = Spread(room.surface(name), rects, np.array([reach for *_, reach in placed]))
        for key, mask in found.items():
            mask[index] |= RULES[key](room, spread, limits)
    return found


def _in_boxes(pieces: Sequence[Piece], boxes: Sequence[Box]) -> Mask:
    found = np.zeros(len(pieces), dtype=bool)
    if len(pieces):
        spaces = np.stack([piece.box for piece in pieces])
        for kept in boxes:
            found |= boxes_overlap(spaces, kept.box)
    return found
