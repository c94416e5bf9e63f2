"""Plans read back for comparing: numbered pieces with their mirror images, and column names."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from optimizer.faults import Fault, ScenarioError
from optimizer.placement.catalogue import Product
from optimizer.results.model import PlannedPiece
from optimizer.results.planfile import read_pieces
from optimizer.room.model import Room
from optimizer.room.reading import read_text


def read_planned(path: Path, room: Room, products: tuple[Product, ...]) -> tuple[PlannedPiece, ...]:
    """The pieces of a plan.json with their numbers and pairs; ScenarioError lists every fault.

    Pieces without a number of their own are counted; a pair is one only when both name each other.
    """
    pieces = read_pieces(path, room, products)
    entries = json.loads(read_text(path, "plan.json"))["pieces"]
    ids = [_id(entry, index) for index, entry in enumerate(entries)]
    faults = [
        Fault(str(path), f"pieces[{i}].id", name, "is used twice; rename one")
        for i, name in enumerate(ids)
        if name in ids[:i]
    ]
    pairs = [entry.get("pair") for entry in entries]
    for index, pair in enumerate(pairs):
        if pair is None:
            continue
        if not isinstance(pair, str) or pair not in ids or pair == ids[index]:
            remedy = "is not the id of another piece of this plan; correct it or write null"
            faults.append(Fault(str(path), f"pieces[{index}].pair", pair, remedy))
        elif pairs[ids.index(pair)] != ids[index]:
            remedy = f'piece "{pair}" does not name this one as its pair; let both name each other'
            faults.append(Fault(str(path), f"pieces[{index}].pair", pair, remedy))
    if faults:
        raise ScenarioError(faults)
    why = [entry.get("why") for entry in entries]
    return tuple(
        PlannedPiece(name, piece, pair, text if isinstance(text, str) else "")
        for name, piece, pair, text in zip(ids, pieces, pairs, why, strict=True)
    )


def _id(entry: dict[str, Any], index: int) -> str:
    name = entry.get("id", index + 1)
    return name if isinstance(name, str) else str(index + 1)


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
