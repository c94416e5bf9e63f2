"""Nine rooms planned in the order that holds unless another is asked for: what a person would hang.

What is looked for is our own choice, no source. It is worked out here from the boxes of the pieces
alone: nothing of optimizer.placement.neat or of the rules in the program is used.
"""

from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.path import Path as Path2D

from optimizer.placement.pieces import Piece
from optimizer.planning import load_project, plan_decision
from optimizer.room.geometry import Floats
from optimizer.room.model import Furniture, Room, Surface

TESTS = Path(__file__).parents[1]
ROOMS = (
    *(TESTS.parent / "scenarios" / f"{name}.toml" for name in (
        "spare_room", "small_bedroom", "garage", "living_room", "rented_flat")),
    *(TESTS / "rooms" / f"{name}.toml" for name in ("attic", "ell", "booth", "hard_room")),
)  # fmt: skip
LOWEST = 0.3  # m
NEAR = 0.35  # m
SAME = 2e-3  # m
ALIKE = 0.05  # m by which left and right may differ: nobody sees it
SITTING = 0.95  # m over a bed or a sofa in which one sits up
FEW = 4  # pieces up to which nobody sees a group
STANDS = ("stand", "lean", "floor")  # mountings of what stands


@dataclass(frozen=True)
class Hung:
    """A room, the pieces hung in it, the money left, and the excess now and with them."""

    room: Room
    pieces: tuple[Piece, ...]
    left_cents: int
    excess: tuple[float, float]


@pytest.fixture(scope="module", params=ROOMS, ids=lambda path: path.stem)
def hung(request: pytest.FixtureRequest) -> Hung:
    """Order does not hang on how well the room is judged: the quickest plan shows it."""
    made = plan_decision(load_project(request.param), gap=0.3, judging="none")
    decision, best = made.decision, made.rounds.best
    pieces = tuple(p for c in best.selection.chosen for p in decision.candidates[c].pieces)
    left = decision.effects.budget_cents - decision.effects.cost_cents(best.selection.chosen)
    excess = made.rounds.before.score, best.judged.score
    return Hung(decision.project.room, pieces, left, excess)


def with_a_place(piece: Piece) -> bool:
    """Curtains hang at windows, rugs lie, and what stands stands."""
    return piece.product.kind in ("curtain", "rug") or piece.mounting in STANDS


def on_walls(hung: Hung) -> dict[str, list[Piece]]:
    """What hangs flat on each wall."""
    room, found = hung.room, dict[str, list[Piece]]()
    for piece in hung.pieces:
        if piece.product.kind == "corner" or with_a_place(piece):
            continue
        if abs(float(room.surface(piece.surface).plane.normal[2])) < 0.5:
            found.setdefault(piece.surface, []).append(piece)
    return found


def overhead(hung: Hung) -> dict[str, list[Piece]]:
    """What hangs under each ceiling or slope."""
    found: dict[str, list[Piece]] = {}
    for piece in hung.pieces:
        if piece.product.kind == "corner":
            continue
        if hung.room.surface(piece.surface).plane.normal[2] <= -0.5:
            found.setdefault(piece.surface, []).append(piece)
    return found


def distance(one: Floats, other: Floats) -> float:
    """Between two boxes (2, 3), in m."""
    gaps = [max(one[0, k] - other[1, k], other[0, k] - one[1, k], 0.0) for k in range(3)]
    return float(np.sqrt(sum(gap * gap for gap in gaps)))


def test_something_is_hung_within_the_budget(hung: Hung) -> None:
    now, then = hung.excess
    assert hung.left_cents >= 0
    assert then < 0.9 * now


def test_two_lines_on_a_wall_at_most(hung: Hung) -> None:
    for wall, pieces in on_walls(hung).items():
        low, high = (np.array([p.box[k, 2] for p in pieces]) for k in (0, 1))
        edges = np.stack([low, (low + high) / 2, high])  # lower, middle, upper: three ways to agree
        held = [np.abs(edges[k] - z) < SAME for k in range(3) for z in edges[k]]
        pairs = [a | b for a, b in combinations(held, 2)]
        assert any(pair.all() for pair in pairs), (wall, np.round(edges.T, 2))


def test_no_panel_hangs_lower_than_a_skirting_should(hung: Hung) -> None:
    for wall, pieces in on_walls(hung).items():
        assert min(p.box[0, 2] for p in pieces) >= LOWEST - 1e-6, wall


def test_every_stack_stands(hung: Hung) -> None:
    fills = [p for p in hung.pieces if p.product.kind == "corner"]
    for piece in fills:
        below, seen = piece, 0
        while below.box[0, 2] > SAME and seen <= len(fills):
            plan_view = below.box[:, :2]
            under = [
                p for p in fills
                if abs(p.box[1, 2] - below.box[0, 2]) < SAME
                and np.abs(p.box[:, :2] - plan_view).max() < SAME
            ]  # fmt: skip
            assert under, (piece.product.id, np.round(piece.box, 2))
            below, seen = under[0], seen + 1


def test_two_blocks_overhead_at_most(hung: Hung) -> None:
    for ceiling, pieces in overhead(hung).items():
        group = list(range(len(pieces)))
        for i, j in combinations(range(len(pieces)), 2):
            if distance(pieces[i].box, pieces[j].box) < SAME:
                group = [group[i] if g == group[j] else g for g in group]
        assert len(set(group)) <= 2, ceiling


def test_most_pieces_have_a_neighbour(hung: Hung) -> None:
    pieces = [p for p in hung.pieces if not with_a_place(p)]
    others = hung.pieces
    alone = [
        p.product.id
        for p in pieces
        if not any(q is not p and distance(p.box, q.box) <= NEAR for q in others)
    ]
    assert len(pieces) <= FEW or len(alone) <= 0.2 * len(pieces), alone


def test_left_and_right_are_alike_where_the_room_is(hung: Hung) -> None:
    """A piece without its mirror image has something in the way of it, or its image would hang
    outside the room."""
    room, pieces = hung.room, hung.pieces
    for piece in pieces:
        image = np.array(piece.box)
        image[:, 1] = 2 * room.axis_y - piece.box[::-1, 1]
        if any(np.abs(other.box - image).max() < ALIKE for other in pieces):
            continue
        assert in_the_way(room, image), (piece.product.id, piece.surface, np.round(piece.box, 2))


def in_the_way(room: Room, box: Floats) -> bool:
    """Whether furniture or an area stands where a box would be, or no surface bears it."""
    meets = [f.kind for f in room.furniture if overlap(with_sitters(f), box)]
    bearing = [surface for surface in room.surfaces if bears(surface, box)]
    blocked = [
        area.kind
        for surface in bearing
        for area in surface.areas
        if area.kind != "rug" and overlap(face_of(surface, area.rect), box, deep=False)
    ]
    return bool(meets or blocked or not bearing)


def with_sitters(thing: Furniture) -> Floats:
    """The box of furniture with who sits or lies on it."""
    above = SITTING if thing.kind in ("bed", "sofa", "armchair") else 0.0
    return thing.box + np.array([[0.0, 0.0, 0.0], [0.0, 0.0, above]])


def overlap(one: Floats, other: Floats, deep: bool = True) -> bool:
    """Whether boxes share room; an area is flat, so it shares room along two axes and touches
    along the third."""
    shared = np.minimum(one[1], other[1]) - np.maximum(one[0], other[0])
    return bool((shared > SAME).sum() >= (3 if deep else 2) and shared.min() > -0.05)


def bears(surface: Surface, box: Floats) -> bool:
    """Whether a box lies on a surface, within its outline."""
    corners = np.array([[box[i, 0], box[j, 1], box[k, 2]] for i in (0, 1) for j in (0, 1)
                        for k in (0, 1)])  # fmt: skip
    off = surface.plane.height_over(corners)
    uv = surface.plane.to_uv(corners)
    inwards = uv + SAME * np.sign(uv.mean(axis=0) - uv)  # what lies along an edge lies within
    inside = Path2D(surface.plane.polygon).contains_points(inwards).all()
    return bool(inside and -SAME < off.min() < 0.25)


def face_of(surface: Surface, rect: tuple[float, float, float, float]) -> Floats:
    """The box (2, 3) of a rectangle on a surface."""
    u0, v0, u1, v1 = rect
    corners = surface.plane.to_xyz(np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]]))
    return np.stack([corners.min(axis=0), corners.max(axis=0)])
