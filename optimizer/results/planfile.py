"""plan.json: a plan as plain values, and pieces read back from one."""

import json
import os
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.faults import Fault, ScenarioError
from optimizer.placement.catalogue import Product
from optimizer.placement.laying import MisfitError, laid_piece
from optimizer.placement.pieces import Piece
from optimizer.placement.plan import Selection
from optimizer.results.fingerprint import choice_mark, figures_mark
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.shopping import ShoppingLine
from optimizer.results.words import place_in_words
from optimizer.room.geometry import DIGITS
from optimizer.room.model import Room
from optimizer.room.reading import read_text

FORMAT = 1


def plan_as_dict(plan: Plan, folder: Path | None = None) -> dict[str, Any]:
    """The plan as plain values; lengths in metres, money in the currency's units.

    `folder` is where the plan will be written: the room file is then named as seen from there.
    """
    budget = plan.project.scenario.budget
    pieces = [p.piece for p in plan.pieces]
    return {
        "format": FORMAT,
        "room": plan.project.scenario.title,
        "room_file": _seen_from(folder, plan.project.scenario.path),
        "made_from": {
            "figures": figures_mark(plan.project, pieces),
            "choice": choice_mark(plan.project, pieces),
        },
        **_selection(plan.selection),
        "budget": budget.amount,
        "cost": plan.cost_cents / 100,
        "currency": budget.currency,
        "candidates": plan.candidates,
        "pairs": plan.pairs,
        **({} if plan.judged is None else {"plans_judged": plan.judged}),
        "score_before": plan.card.score_before,
        "score_after": plan.card.score_after,
        "pieces": [_piece(p, plan.project.room) for p in plan.pieces],
        "shopping": [_line(line) for line in plan.shopping],
        "score": [row.as_dict() for row in plan.card.rows],
    }


def _seen_from(folder: Path | None, path: Path) -> str:
    """A path relative to a folder where that can be, else from the root."""
    whole = path.resolve()
    if folder is None:
        return whole.as_posix()
    try:
        return Path(os.path.relpath(whole, folder.resolve())).as_posix()
    except ValueError:  # another drive
        return whole.as_posix()


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


def plan_as_json(plan: Plan, folder: Path | None = None) -> str:
    """The plan as JSON text, to be written into `folder`."""
    return json.dumps(plan_as_dict(plan, folder), indent=1, allow_nan=False) + "\n"


def read_pieces(path: Path, room: Room, products: tuple[Product, ...]) -> list[Piece]:
    """Pieces of a plan.json laid into a room; ScenarioError lists every piece that does not fit."""
    entries = _entries(path)
    known = {product.id: product for product in products}
    faults: list[Fault] = []
    pieces = []
    for index, entry in enumerate(entries):
        try:
            pieces.append(laid_piece(entry, room, known))
        except MisfitError as misfit:
            key = f"pieces[{index}]" + (f".{misfit.key}" if misfit.key else "")
            faults.append(Fault(str(path), key, misfit.value, misfit.remedy))
    if faults:
        raise ScenarioError(faults)
    return pieces


def plan_faults(path: Path) -> tuple[Fault, ...]:
    """What is wrong with a plan.json whatever the room, to be told beside the room's own faults."""
    try:
        _entries(path)
    except ScenarioError as error:
        return error.faults
    return ()


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
