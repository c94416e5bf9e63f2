"""Plans read back for comparing: numbered pieces with their mirror images, and column names."""

from collections.abc import Sequence
from pathlib import Path

from optimizer.faults import Fault, ScenarioError
from optimizer.placement.catalogue import Product
from optimizer.results.model import PlannedPiece
from optimizer.results.plan_model import read_plan
from optimizer.results.planfile import laid_pieces
from optimizer.room.model import Room


def read_planned(path: Path, room: Room, products: tuple[Product, ...]) -> tuple[PlannedPiece, ...]:
    """The pieces of a plan.json with their numbers and pairs; ScenarioError lists every fault.

    Pieces without a number of their own are counted; a pair is one only when both name each other.
    """
    plan = read_plan(path)
    pieces = laid_pieces(plan, path, room, products)
    entries = plan.pieces
    ids = [entry.id or str(index) for index, entry in enumerate(entries, 1)]
    faults = [
        Fault(str(path), f"pieces[{i}].id", name, "is used twice; rename one")
        for i, name in enumerate(ids)
        if name in ids[:i]
    ]
    pairs = [entry.pair for entry in entries]
    for index, pair in enumerate(pairs):
        if pair is None:
            continue
        if pair not in ids or pair == ids[index]:
            remedy = "is not the id of another piece of this plan; correct it or write null"
            faults.append(Fault(str(path), f"pieces[{index}].pair", pair, remedy))
        elif pairs[ids.index(pair)] != ids[index]:
            remedy = f'piece "{pair}" does not name this one as its pair; let both name each other'
            faults.append(Fault(str(path), f"pieces[{index}].pair", pair, remedy))
    if faults:
        raise ScenarioError(faults)
    return tuple(
        PlannedPiece(name, piece, pair, entry.why or "")
        for name, piece, pair, entry in zip(ids, pieces, pairs, entries, strict=True)
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
