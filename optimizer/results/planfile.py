"""plan.json: a plan as plain values, and pieces read back from one."""

import json
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.faults import Fault, ScenarioError
from optimizer.placement.catalogue import Product
from optimizer.placement.corners import corner_edge, leg_rect
from optimizer.placement.pieces import Piece, corner_piece, flat_piece
from optimizer.placement.plan import Selection
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.shopping import ShoppingLine
from optimizer.results.words import place_in_words
from optimizer.room.geometry import DIGITS, Rect
from optimizer.room.model import Room
from optimizer.room.reading import read_text
from optimizer.room.schema import FARTHEST

FORMAT = 1
SIZE_TOLERANCE = 1e-3  # metres a piece's sides may differ from its product's


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


class MisfitError(ValueError):
    """One piece that cannot be laid: its key, the value there, and what to do."""

    def __init__(self, key: str, value: object, remedy: str) -> None:
        self.key, self.value, self.remedy = key, value, " ".join(remedy.split())
        super().__init__(remedy)


def read_pieces(path: Path, room: Room, products: tuple[Product, ...]) -> list[Piece]:
    """Pieces of a plan.json laid into a room; ScenarioError lists every piece that does not fit."""
    entries = _entries(path)
    known = {product.id: product for product in products}
    faults: list[Fault] = []
    pieces = []
    for index, entry in enumerate(entries):
        try:
            pieces.append(_laid(entry, room, known))
        except MisfitError as misfit:
            key = f"pieces[{index}]" + (f".{misfit.key}" if misfit.key else "")
            faults.append(Fault(str(path), key, misfit.value, misfit.remedy))
    if faults:
        raise ScenarioError(faults)
    return pieces


def _entries(path: Path) -> list[Any]:
    text = read_text(path, "plan.json")
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        content = None
    entries = content.get("pieces") if isinstance(content, dict) else None
    if not isinstance(content, dict) or not isinstance(entries, list):
        remedy = 'is no plan: it needs a list "pieces" as `treatment plan` writes it'
        raise ScenarioError([Fault(str(path), "", None, remedy)])
    if content.get("format", FORMAT) != FORMAT:
        remedy = f"is not a format read here; write the plan again in format {FORMAT}"
        raise ScenarioError([Fault(str(path), "format", content["format"], remedy)])
    return entries


def _laid(entry: object, room: Room, known: dict[str, Product]) -> Piece:
    if not isinstance(entry, dict):
        raise MisfitError("", entry, "write it as an object with keys")
    _all_keys(entry)
    wanted = entry["product"]
    if not isinstance(wanted, str) or wanted not in known:
        raise MisfitError("product", wanted, "is not in this price list; name one of its ids")
    product = known[wanted]
    gap, u, v, width, height = (_number(entry, key) for key in _NUMBERS)
    gaps = [abs(f.gap - gap) for f in product.fittings]
    fitting = int(np.argmin(gaps))
    if gaps[fitting] > 1e-6:
        fits = ", ".join(f"{f.gap:g}" for f in product.fittings)
        raise MisfitError("gap_m", gap, f'"{product.id}" hangs with a gap of {fits} m; use that')
    _check_size(entry, product, width, height)
    mounting = entry["mounting"]
    if mounting not in product.mountings:
        remedy = f'"{product.id}" is for {", ".join(product.mountings)}; use that'
        raise MisfitError("mounting", mounting, remedy)
    rect: Rect = (u, v, round(u + width, DIGITS), round(v + height, DIGITS))
    if mounting == "corner":
        return _laid_in_corner(entry, room, product, fitting, rect)
    surface = entry["surface"]
    _check_on_surface(room, surface, rect)
    return flat_piece(room, product, fitting, mounting, surface, rect, entry["turned"])


_NUMBERS = ("gap_m", "u_m", "v_m", "width_m", "height_m")


def _all_keys(entry: dict[str, Any]) -> None:
    for key in ("product", "surface", "mounting", "turned", *_NUMBERS):
        if key not in entry:
            raise MisfitError(key, None, "is missing; add it")


def _number(entry: dict[str, Any], key: str) -> float:
    value = entry[key]
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not number or not abs(value) <= FARTHEST:  # NaN compares as False
        raise MisfitError(key, value, f"write a number of metres within {FARTHEST:g}")
    return float(value)


def _check_size(entry: dict[str, Any], product: Product, width: float, height: float) -> None:
    """The rectangle is the product's, turned or not."""
    turned = entry["turned"]
    if not isinstance(turned, bool):
        raise MisfitError("turned", turned, "write true or false")
    if turned and not product.turn:
        raise MisfitError("turned", turned, f'"{product.id}" may not be turned; write false')
    own = (product.height, product.width) if turned else (product.width, product.height)
    for key, value, size in zip(("width_m", "height_m"), (width, height), own, strict=True):
        if abs(value - size) > SIZE_TOLERANCE:
            raise MisfitError(key, value, f'"{product.id}" hung so is {size:g} m; write that')


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
            other = leg_rect(second, edge[1], product.width, rect[1], rect[3] - rect[1])
            _check_on_surface(room, first.name, rect)
            _check_on_surface(room, second.name, other)
            return corner_piece(room, product, fitting, ((first.name, rect), (second.name, other)))
    remedy = "this room has no such corner of two walls; write it like front-left"
    raise MisfitError("surface", entry["surface"], remedy)


def _check_on_surface(room: Room, name: object, rect: Rect) -> None:
    names = [surface.name for surface in room.surfaces]
    if name not in names:
        remedy = f"this room has no such surface; it has {', '.join(names)}"
        raise MisfitError("surface", name, remedy)
    u0, v0, u1, v1 = room.surfaces[names.index(str(name))].plane.bounds
    slack = 5e-3
    if rect[0] < u0 - slack or rect[2] > u1 + slack:
        raise MisfitError("u_m", rect[0], f'reaches outside surface "{name}" of this room; move it')
    if rect[1] < v0 - slack or rect[3] > v1 + slack:
        raise MisfitError("v_m", rect[1], f'reaches outside surface "{name}" of this room; move it')
