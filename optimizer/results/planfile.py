"""plan.json: a plan as plain values, and pieces read back from one."""

import math
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
from optimizer.results.plan_model import FORMAT, PlanFile, read_plan
from optimizer.results.scorecard import ScoreCard
from optimizer.results.shopping import ShoppingLine
from optimizer.results.words import place_in_words
from optimizer.room.geometry import DIGITS
from optimizer.room.model import Room

ROUNDING = 1e-6  # relative, and of a unit, within which two figures are one


def plan_as_dict(plan: Plan, folder: Path | None = None) -> dict[str, Any]:
    """The plan as plain values; lengths in metres, money in the currency's units.

    Everything but "seconds" (how long the solves took) is the same whenever it is made.

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
        "cut_off": plan.cut_off,
        "budget": budget.amount,
        "cost": plan.cost_cents / 100,
        "currency": budget.currency,
        "candidates": plan.candidates,
        "pairs": plan.pairs,
        "plans_judged": plan.judged,
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
    return PlanFile.model_validate(plan_as_dict(plan, folder)).as_json()


def read_pieces(path: Path, room: Room, products: tuple[Product, ...]) -> list[Piece]:
    """Pieces of a plan.json laid into a room; ScenarioError lists every piece that does not fit."""
    return laid_pieces(read_plan(path), path, room, products)


def laid_pieces(
    plan: PlanFile, path: Path, room: Room, products: tuple[Product, ...]
) -> list[Piece]:
    """Pieces of a plan read from `path` laid into a room; ScenarioError as for read_pieces."""
    known = {product.id: product for product in products}
    faults: list[Fault] = []
    pieces = []
    for index, entry in enumerate(plan.pieces):
        try:
            pieces.append(laid_piece(entry.model_dump(), room, known))
        except MisfitError as misfit:
            key = f"pieces[{index}]" + (f".{misfit.key}" if misfit.key else "")
            faults.append(Fault(str(path), key, misfit.value, misfit.remedy))
    if faults:
        raise ScenarioError(faults)
    return pieces


def plan_faults(path: Path) -> tuple[Fault, ...]:
    """What is wrong with a plan.json whatever the room, to be told beside the room's own faults."""
    try:
        read_plan(path)
    except ScenarioError as error:
        return error.faults
    return ()


def figures_replaced(
    plan: PlanFile, card: ScoreCard, cost_cents: int | None = None, gap: float | None = None
) -> str:
    """A line that says that the file's figures were not those computed now; empty where they are
    the same beyond rounding, or where it has none. `cost_cents` and `gap` where they are shown."""
    pairs = [("score_before", plan.score_before, card.score_before),
             ("score_after", plan.score_after, card.score_after)]  # fmt: skip
    if cost_cents is not None:
        pairs.append(("cost", plan.cost, cost_cents / 100))
    if gap is not None:
        pairs.append(("gap", plan.gap, gap))
    rows = {(row.criterion, row.where): row for row in card.rows}
    for old in plan.score or ():
        new = rows.get((old.criterion, old.where))
        if new is not None:
            name = f"{old.criterion} {old.where}"
            pairs += [(name, old.before, new.before), (name, old.after, new.after)]
    other = [(name, a, b) for name, a, b in pairs if a is not None and not _alike(a, b)]
    if not other:
        return ""
    name, was, now = other[0]
    more = f" and {len(other) - 1} more" if len(other) > 1 else ""
    return (
        f"Figures of the file were replaced by those computed now: {name} {was:.6g} is {now:.6g}"
        f"{more}."
    )


def _alike(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=ROUNDING, abs_tol=ROUNDING)
