"""Pieces laid into a room from plain values, as plan.json and the room file write them."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from optimizer.placement.catalogue import Product
from optimizer.placement.corners import corner_edge, leg_rect
from optimizer.placement.edges import edge_piece, shares_edge
from optimizer.placement.pieces import Piece, corner_piece, flat_piece
from optimizer.room.geometry import DIGITS, Rect
from optimizer.room.model import Room, Surface

SIZE_TOLERANCE = 1e-3  # metres a piece's sides may differ from its product's


class MisfitError(ValueError):
    """One piece that cannot be laid: its key, the value there, and what to do."""

    def __init__(self, key: str, value: object, remedy: str) -> None:
        self.key, self.value, self.remedy = key, value, " ".join(remedy.split())
        super().__init__(remedy)


def laid_piece(entry: Mapping[str, Any], room: Room, known: dict[str, Product]) -> Piece:
    """The piece of one entry (keys and kinds of values as in plan.json) in a room; MisfitError
    where it does not fit.

    `known`: the products by id.
    """
    wanted = entry["product"]
    if wanted not in known:
        raise MisfitError("product", wanted, "is not in this price list; name one of its ids")
    product = known[wanted]
    gap, u, v, width, height = (float(entry[key]) for key in _NUMBERS)
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
    if mounting == "edge":
        return _laid_along_edge(entry, room, product, rect)
    surface = entry["surface"]
    _check_on_surface(room, surface, rect)
    return flat_piece(room, product, fitting, mounting, surface, rect, entry["turned"])


_NUMBERS = ("gap_m", "u_m", "v_m", "width_m", "height_m")


def _check_size(entry: Mapping[str, Any], product: Product, width: float, height: float) -> None:
    """The rectangle is the product's, turned or not."""
    lying = entry["mounting"] == "edge"
    turned = entry["turned"] or lying
    if turned and not lying and not product.turn:
        raise MisfitError("turned", turned, f'"{product.id}" may not be turned; write false')
    own = (product.height, product.width) if turned else (product.width, product.height)
    for key, value, size in zip(("width_m", "height_m"), (width, height), own, strict=True):
        if abs(value - size) > SIZE_TOLERANCE:
            raise MisfitError(key, value, f'"{product.id}" hung so is {size:g} m; write that')


def _laid_in_corner(
    entry: Mapping[str, Any], room: Room, product: Product, fitting: int, rect: Rect
) -> Piece:
    for first, second in _named_pairs(room, entry["surface"]):
        edge = corner_edge(first, second)
        if edge is not None:
            other = leg_rect(second, edge[1], product.width, rect[1], rect[3] - rect[1])
            _check_on_surface(room, first.name, rect)
            _check_on_surface(room, second.name, other)
            return corner_piece(room, product, fitting, ((first.name, rect), (second.name, other)))
    remedy = "this room has no such corner of two walls; write it like front-left"
    raise MisfitError("surface", entry["surface"], remedy)


def _laid_along_edge(entry: Mapping[str, Any], room: Room, product: Product, rect: Rect) -> Piece:
    for wall, ceiling in _named_pairs(room, entry["surface"]):
        if wall.is_wall and ceiling.is_ceiling and shares_edge(wall, ceiling):
            piece = edge_piece(room, product, wall, ceiling, rect[0])
            _check_on_surface(room, wall.name, rect)
            if abs(piece.rect[1] - rect[1]) > SIZE_TOLERANCE:
                remedy = f"pieces along the ceiling begin at {piece.rect[1]:g} m there; write that"
                raise MisfitError("v_m", rect[1], remedy)
            return piece
    remedy = "this room has no such edge of a wall and a level ceiling; write it like left-ceiling"
    raise MisfitError("surface", entry["surface"], remedy)


def _named_pairs(room: Room, name: object) -> Iterator[tuple[Surface, Surface]]:
    """Pairs of surfaces whose names make this one ("front-left")."""
    for first in room.surfaces:
        for second in room.surfaces:
            if f"{first.name}-{second.name}" == name:
                yield first, second


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
