"""plan.json: a plan as plain values, and pieces read back from one."""

import json
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.faults import Fault, ScenarioError
from optimizer.placement.catalogue import Product
from optimizer.placement.corners import corner_edge
from optimizer.placement.pieces import Piece, corner_piece, flat_piece
from optimizer.placement.plan import Selection
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.shopping import ShoppingLine
from optimizer.results.words import place_in_words
from optimizer.room.geometry import DIGITS, Rect
from optimizer.room.model import Room
from optimizer.room.reading import read_text

FORMAT = 1
NOT_FINITE = "null stands for an infinite bound"


def plan_as_dict(plan: Plan) -> dict[str, Any]:
    """The plan as plain values; lengths in metres, money in the currency's units."""
    budget = plan.project.scenario.budget
    return {
        "format": FORMAT,
        "room": plan.project.scenario.title,
        **_selection(plan.selection),
        "budget": budget.amount,
        "cost": plan.cost_cents / 100,
        "currency": budget.currency,
        "candidates": plan.candidates,
        "pairs": plan.pairs,
        "score_before": plan.card.score_before,
        "score_after": plan.card.score_after,
        "pieces": [_piece(p, plan.project.room) for p in plan.pieces],
        "shopping": [_line(line) for line in plan.shopping],
        "score": [row.as_dict() for row in plan.card.rows],
    }


def _selection(selection: Selection) -> dict[str, Any]:
    return {
        "status": selection.status,
        "objective": selection.objective,
        "bound": selection.bound if np.isfinite(selection.bound) else None,
        "gap": selection.gap,
        "seconds": round(selection.seconds, 3),
    }


def _piece(planned: PlannedPiece, room: Room) -> dict[str, Any]:
    piece = planned.piece
    u0, v0, u1, v1 = piece.rect
    return {
        "id": planned.id,
        "product": piece.product.id,
        "kind": piece.product.kind,
        "surface": piece.surface,
        "u_m": u0,
        "v_m": v0,
        "width_m": round(u1 - u0, DIGITS),
        "height_m": round(v1 - v0, DIGITS),
        "depth_m": piece.product.depth,
        "gap_m": piece.product.fittings[piece.fitting].gap,
        "turned": piece.turned,
        "corners_m": piece.face.tolist(),
        "mounting": piece.mounting,
        "price": round(piece.product.price_cents / piece.product.pack / 100, 4),
        "pair": planned.pair,
        "place": place_in_words(piece, room),
        "why": planned.why,
    }


def _line(line: ShoppingLine) -> dict[str, Any]:
    return {
        "product": line.product.id,
        "name": line.product.name,
        "needed": line.needed,
        "owned": line.owned,
        "packs": line.packs,
        "pack_size": line.product.pack,
        "unit_price": line.product.price_cents / 100,
        "total": line.total_cents / 100,
    }


def plan_as_json(plan: Plan) -> str:
    """The plan as JSON text."""
    return json.dumps(plan_as_dict(plan), indent=1, allow_nan=False) + "\n"


def read_pieces(path: Path, room: Room, products: tuple[Product, ...]) -> list[Piece]:
    """Pieces of a plan.json laid into a room; ScenarioError lists every piece that does not fit."""
    text = read_text(path, "plan.json")
    try:
        entries = json.loads(text)["pieces"]
        assert isinstance(entries, list)
    except (ValueError, KeyError, TypeError, AssertionError, RecursionError):
        remedy = 'is no plan: it needs a list "pieces" as `treatment plan` writes it'
        raise ScenarioError([Fault(str(path), "", None, remedy)]) from None
    known = {product.id: product for product in products}
    faults: list[Fault] = []
    pieces = []
    for index, entry in enumerate(entries):
        try:
            pieces.append(_laid(entry, room, known))
        except (KeyError, TypeError, ValueError) as error:
            remedy = str(error.args[0]) if error.args else "cannot be read"
            faults.append(Fault(str(path), f"pieces[{index}]", None, remedy))
    if faults:
        raise ScenarioError(faults)
    return pieces


def _laid(entry: dict[str, Any], room: Room, known: dict[str, Product]) -> Piece:
    if entry["product"] not in known:
        raise ValueError(f'product "{entry["product"]}" is not in this price list')
    product = known[entry["product"]]
    gaps = [abs(f.gap - float(entry["gap_m"])) for f in product.fittings]
    fitting = int(np.argmin(gaps))
    if gaps[fitting] > 1e-6:
        raise ValueError(f'"{product.id}" has no fitting with a gap of {entry["gap_m"]} m')
    u, v = float(entry["u_m"]), float(entry["v_m"])
    size = (float(entry["width_m"]), float(entry["height_m"]))
    if not np.all(np.isfinite([u, v, *size])):
        raise ValueError("holds a number that is not finite")
    rect: Rect = (u, v, round(u + size[0], DIGITS), round(v + size[1], DIGITS))
    if entry["mounting"] == "corner":
        return _laid_in_corner(entry, room, product, fitting, rect)
    _check_on_surface(room, entry["surface"], rect)
    return flat_piece(
        room, product, fitting, entry["mounting"], entry["surface"], rect, bool(entry["turned"])
    )


def _laid_in_corner(
    entry: dict[str, Any], room: Room, product: Product, fitting: int, rect: Rect
) -> Piece:
    for first in room.surfaces:
        for second in room.surfaces:
            if f"{first.name}-{second.name}" != entry["surface"]:
                continue
            edge = corner_edge(first, second)
            if edge is None:
                break
            u0, _, u1, _ = second.plane.bounds
            leg = product.width
            start = edge[1] if abs(edge[1] - u0) < 1e-9 else edge[1] - leg
            other: Rect = (round(start, DIGITS), rect[1], round(start + leg, DIGITS), rect[3])
            _check_on_surface(room, first.name, rect)
            _check_on_surface(room, second.name, other)
            return corner_piece(room, product, fitting, ((first.name, rect), (second.name, other)))
    raise ValueError(f'this room has no corner "{entry["surface"]}"')


def _check_on_surface(room: Room, name: str, rect: Rect) -> None:
    try:
        u0, v0, u1, v1 = room.surface(name).plane.bounds
    except KeyError:
        raise ValueError(f'this room has no surface "{name}"') from None
    slack = 5e-3
    if rect[0] < u0 - slack or rect[1] < v0 - slack or rect[2] > u1 + slack or rect[3] > v1 + slack:
        raise ValueError(f'reaches outside surface "{name}" of this room')
