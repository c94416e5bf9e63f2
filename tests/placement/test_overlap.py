"""Pieces that may be chosen together share no space and stand in nothing they must not."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from optimizer.placement.cover import cover_rows
from optimizer.placement.pieces import Piece
from optimizer.planning import Decision, build_decision
from optimizer.project import load_project
from optimizer.room.geometry import boxes_overlap

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage")
SELECTIONS = 40


@cache
def demo(name: str) -> Decision:
    return build_decision(load_project(SCENARIOS / f"{name}.toml"))


@cache
def excluded_by(name: str) -> list[set[int]]:
    """Candidates that each candidate of a demo room excludes, from the rows of exclusion."""
    decision = demo(name)
    excluded: list[set[int]] = [set() for _ in decision.candidates]
    for row in decision.effects.cover:
        for c in row:
            excluded[c].update(row.tolist())
    return excluded


def packed(name: str, rng: np.random.Generator) -> list[Piece]:
    """Pieces added in random order for as long as the rows of exclusion let one more in."""
    decision, excluded = demo(name), excluded_by(name)
    barred: set[int] = set()
    pieces: list[Piece] = []
    for c in rng.permutation(len(decision.candidates)).tolist():
        if c not in barred:
            barred |= excluded[c] | {c}
            pieces += decision.candidates[c].pieces
    return pieces


@pytest.mark.parametrize("name", ROOMS)
def test_no_two_pieces_of_a_feasible_selection_share_space(name: str) -> None:
    rng = np.random.default_rng(7)
    for _ in range(SELECTIONS):
        pieces = packed(name, rng)
        boxes = np.array([p.box for p in pieces])
        assert len(pieces) > 10
        for i in range(len(pieces) - 1):
            meets = np.flatnonzero(boxes_overlap(boxes[i + 1 :], boxes[i]))
            assert not len(meets), (pieces[i], pieces[i + 1 + meets[0]])


@pytest.mark.parametrize("name", ROOMS)
def test_no_candidate_covers_an_opening(name: str) -> None:
    decision = demo(name)
    for piece in {p for c in decision.candidates for p in c.pieces}:
        for surface, rect in piece.rects:
            for area in decision.project.room.surface(surface).areas:
                if not area.blocks or (area.kind == "window" and piece.product.kind == "curtain"):
                    continue
                wide = min(rect[2], area.rect[2]) - max(rect[0], area.rect[0])
                high = min(rect[3], area.rect[3]) - max(rect[1], area.rect[1])
                assert min(wide, high) < 1e-5, (piece, area.name)


@pytest.mark.parametrize("name", ROOMS)
def test_every_candidate_is_inside_the_room_and_clear_of_furniture(name: str) -> None:
    decision = demo(name)
    room = decision.project.room
    boxes = np.array([p.box for c in decision.candidates for p in c.pieces])
    assert room.dimensions is not None
    assert boxes.min() >= -1e-6
    assert (boxes[:, 1] <= np.array(room.dimensions) + 1e-6).all()
    for item in (*room.furniture, *room.keep_clear):
        assert not boxes_overlap(boxes, item.box, tolerance=2e-6).any(), item.name


def test_rows_of_exclusion_are_pairwise_overlap_on_one_surface() -> None:
    decision = demo("spare_room")
    mine = [
        c
        for c in decision.candidates
        if not c.is_pair and {n for p in c.pieces for n, _ in p.rects} == {"front"}
    ]
    mine += [
        c
        for c in decision.candidates
        if c.is_pair and {n for p in c.pieces for n, _ in p.rects} == {"front"}
    ]
    rng = np.random.default_rng(3)
    chosen = tuple(mine[i] for i in rng.choice(len(mine), size=min(150, len(mine)), replace=False))
    pairs = {
        (int(a), int(b)) for row in cover_rows(decision.project.room, chosen)
        for a in row for b in row if a < b
    }  # fmt: skip
    expected = {
        (i, j)
        for i in range(len(chosen))
        for j in range(i + 1, len(chosen))
        if any(_overlap(a.rect, b.rect) for a in chosen[i].pieces for b in chosen[j].pieces)
    }
    assert len(expected) > 100
    assert pairs == expected


def _overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    wide = min(a[2], b[2]) - max(a[0], b[0])
    return wide > 1e-6 and min(a[3], b[3]) - max(a[1], b[1]) > 1e-6
