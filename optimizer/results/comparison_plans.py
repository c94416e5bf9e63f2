"""Plans read back for comparing: numbered pieces with their mirror images, and column names."""

from collections.abc import Sequence
from pathlib import Path

from optimizer.placement.catalogue import Product
from optimizer.results.model import PlannedPiece
from optimizer.results.plan_model import read_plan
from optimizer.results.planfile import laid_pieces
from optimizer.room.model import Room


def read_planned(path: Path, room: Room, products: tuple[Product, ...]) -> tuple[PlannedPiece, ...]:
    """The pieces of a plan.json with their numbers and pairs; ScenarioError lists every fault."""
    plan = read_plan(path)
    pieces = laid_pieces(plan, path, room, products)
    return tuple(
        PlannedPiece(name, piece, entry.pair, entry.why or "")
        for name, piece, entry in zip(plan.ids, pieces, plan.pieces, strict=True)
    )


def groups_of(planned: Sequence[PlannedPiece]) -> list[list[PlannedPiece]]:
    """Pairs and single pieces, in the order of the plan."""
    groups: list[list[PlannedPiece]] = []
    place: dict[str, int] = {}
    for piece in planned:
        if piece.pair in place:
            groups[place[piece.pair]].append(piece)
        else:
            groups.append([piece])
            place[piece.id] = len(groups) - 1
    return groups


def plan_names(paths: Sequence[Path]) -> list[str]:
    """Short names that tell plan files apart: the file's, its folder's, or the whole path."""
    ways = ([p.stem for p in paths], [p.parent.name for p in paths], [str(p) for p in paths])
    return next((names for names in ways if len({*names} - {""}) == len(paths)), ways[-1])
