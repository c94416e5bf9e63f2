"""Pieces that hang already and stay: read from the room file, in the way of anything new."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from optimizer.faults import Fault
from optimizer.placement.catalogue import Product
from optimizer.placement.laying import MisfitError, laid_piece
from optimizer.placement.pieces import Piece
from optimizer.room.model import Box, Room
from optimizer.room.schema import HungSection

_KEYS = {"u_m": "at", "v_m": "at", "gap_m": "gap"}  # of plan.json, as the room file calls them


def hung_pieces(
    sections: Sequence[HungSection],
    room: Room,
    products: Sequence[Product],
    file: str,
    faults: list[Fault],
) -> tuple[Piece, ...]:
    """The pieces of a room file's [[hung]]; those that do not fit are appended to the faults."""
    known = {product.id: product for product in products}
    pieces = []
    for section in sections:
        try:
            pieces.append(laid_piece(_entry(section, known), room, known))
        except MisfitError as misfit:
            name = _KEYS.get(misfit.key, misfit.key)
            faults.append(Fault(file, f"{section.key}.{name}", misfit.value, misfit.remedy))
    return tuple(pieces)


def _entry(section: HungSection, known: dict[str, Product]) -> dict[str, object]:
    """The section with the keys of plan.json, what it leaves out filled in from its product."""
    product = known.get(section.product)
    width, height = (product.width, product.height) if product else (0.0, 0.0)
    mounting = section.mounting or _usual_mounting(section, product)
    u, v = section.at
    return {
        "product": section.product,
        "surface": section.surface,
        "mounting": mounting,
        "turned": section.turned,
        "gap_m": section.gap,
        "u_m": u,
        "v_m": v,
        "width_m": height if section.turned else width,
        "height_m": width if section.turned else height,
    }


def _usual_mounting(section: HungSection, product: Product | None) -> str | None:
    """The first mounting of a product that suits the surface named."""
    mountings = product.mountings if product else ()
    level = section.surface if section.surface in ("floor", "ceiling") else None
    fitting = [m for m in mountings if m == level]
    return next(iter((*fitting, *mountings)), None)


def around_hung(room: Room, pieces: Sequence[Piece]) -> Room:
    """The room in which the space of hung pieces is to be kept clear."""
    boxes = tuple(Box(_clear_name(piece), piece.box) for piece in pieces)
    return replace(room, keep_clear=(*room.keep_clear, *boxes))


def without_hung(room: Room, pieces: Sequence[Piece]) -> Room:
    """The room with no more to be kept clear than the room file says: undoes `around_hung`."""
    own = [(_clear_name(piece), piece.box) for piece in pieces]
    kept = tuple(
        box for box in room.keep_clear
        if not any(box.name == name and np.allclose(box.box, space) for name, space in own)
    )  # fmt: skip
    return replace(room, keep_clear=kept)


def _clear_name(piece: Piece) -> str:
    return f"hung: {piece.product.name}"
