"""Pieces that hang already and stay: read from the room file, in the way of anything new."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from optimizer.faults import Fault
from optimizer.placement.catalogue import Product
from optimizer.placement.laying import MisfitError, laid_piece
from optimizer.placement.pieces import Piece
from optimizer.room import sane
from optimizer.room.geometry import boxes_overlap
from optimizer.room.model import Area, Box, Room
from optimizer.room.schema import HungSection

_OPENED = ("door", "closet", "opening")  # what is opened or walked through
_SHOULD_NOT = {  # what a piece may cover, though it should not
    "window": "is it meant to be covered?",
    "door": "it must open, and stay a way out",
    "closet": "it must open",
    "detector": "a smoke or heat detector must not be covered: move the piece",
    "vent": "air must pass: move the piece",
    "heater": "it must not be covered (fire): move the piece",
    "switch": "it must stay within reach",
}
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
    pieces: list[Piece] = []
    for section in sections:
        try:
            piece = laid_piece(_entry(section, known), room, known)
        except MisfitError as misfit:
            name = _KEYS.get(misfit.key, misfit.key)
            faults.append(Fault(file, f"{section.key}.{name}", misfit.value, misfit.remedy))
            continue
        faults += [
            Fault(file, f"{section.key}.at", section.at, remedy)
            for remedy in (*_in_the_way(piece, room), *_overlaps(piece, pieces))
        ]
        pieces.append(piece)
    return tuple(pieces)


def hung_doubts(
    sections: Sequence[HungSection], pieces: Sequence[Piece], room: Room, file: str
) -> list[Fault]:
    """What hanging pieces cover that they should leave free."""
    return [
        Fault(
            file,
            f"{section.key}.at",
            section.at,
            f"hangs over the {area.kind} ({area.name}); {why}",
        )
        for section, piece in zip(sections, pieces, strict=True)
        for area, _ in _covered(piece, room)
        for why in filter(None, [_SHOULD_NOT.get(area.kind)])
        if not (area.kind == "window" and piece.mounting == "window")
        and not (area.kind in _OPENED and piece.product.kind == "curtain")
    ]


def _in_the_way(piece: Piece, room: Room) -> Iterator[str]:
    """What a piece cannot hang across or in."""
    for area, whole in _covered(piece, room):
        if area.kind in _OPENED and not whole and piece.product.kind != "curtain":
            yield f"hangs across the edge of the {area.kind} ({area.name}); move it off or onto it"
        if area.kind == "opening" and whole and piece.product.kind != "curtain":
            yield f"hangs in the opening ({area.name}), where no wall is; move it"
    for furniture in room.furniture:
        if boxes_overlap(piece.box[None], furniture.box, sane.SHARED_SPACE)[0]:
            yield f'is inside the furniture "{furniture.name}"; move one of them'


def _overlaps(piece: Piece, others: Sequence[Piece]) -> Iterator[str]:
    """Hanging pieces that take the same space; one at most is told."""
    for index, other in enumerate(others):
        if boxes_overlap(piece.box[None], other.box, sane.SHARED_SPACE)[0]:
            yield f"takes the space of hung piece {index + 1} ({other.product.name}); move one"
            return


def _covered(piece: Piece, room: Room) -> Iterator[tuple[Area, bool]]:
    """Areas that a piece covers a part of, and whether it lies on them as a whole."""
    for name, (u0, v0, u1, v1) in piece.rects:
        for area in room.surface(name).areas:
            a0, b0, a1, b1 = area.rect
            wide, high = min(u1, a1) - max(u0, a0), min(v1, b1) - max(v0, b0)
            if min(wide, high) > sane.SAME_PLACE:
                slack = sane.SAME_PLACE
                yield area, wide > u1 - u0 - slack and high > v1 - v0 - slack


def _entry(section: HungSection, known: dict[str, Product]) -> dict[str, object]:
    """The section with the keys of plan.json, what it leaves out filled in from its product."""
    product = known.get(section.product)
    width, height = (product.width, product.height) if product else (0.0, 0.0)
    mounting = section.mounting or _usual_mounting(section, product)
    lying = section.turned or mounting == "edge"
    u, v = section.at
    return {
        "product": section.product,
        "surface": section.surface,
        "mounting": mounting,
        "turned": section.turned,
        "gap_m": section.gap,
        "u_m": u,
        "v_m": v,
        "width_m": height if lying else width,
        "height_m": width if lying else height,
    }


def _usual_mounting(section: HungSection, product: Product | None) -> str | None:
    """The first mounting of a product that suits the surface named."""
    mountings = product.mountings if product else ()
    level = section.surface if section.surface in ("floor", "ceiling") else None
    along_ceiling = section.surface.endswith("-ceiling")
    fitting = [m for m in mountings if m == level or (m == "edge" and along_ceiling)]
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
