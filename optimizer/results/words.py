"""Places in words a person can tape out."""

from optimizer.placement.pieces import Piece
from optimizer.room.model import Room, Surface
from optimizer.units import format_length

_BOX_WALLS = {"front", "back", "left", "right"}
TOGETHER = 1e-3  # m
_HELD = {
    "lean": ", leaning on the wall",
    "pole": ", between two tension poles",
    "adhesive": ", on strips that stick",
}


def place_in_words(piece: Piece, room: Room, units: str = "m") -> str:
    """Where a piece goes: "left wall, 1.20 m from the front wall, 0.90 m above the floor".

    Distances are to the piece's nearest edges.
    """
    if piece.mounting == "edge":
        return _edge_in_words(piece, room, units)
    if len(piece.rects) == 2:
        return _corner_in_words(piece, room, units)
    surface = room.surface(piece.surface)
    where = surface_in_words(surface)
    u0, v0, _, _ = piece.rect
    along, across = _edge_names(surface)
    lengths = (format_length(u0, units), format_length(v0, units))
    if surface.is_wall:
        down = "hanging down to" if piece.product.kind == "curtain" else "standing on"
        up = f"{down} the floor" if v0 < TOGETHER else f"{lengths[1]} above the floor"
        up += _HELD.get(piece.mounting, "")
        flush = u0 < TOGETHER
        start = f"flush with {along}" if flush else f"{lengths[0]} from {along}"
        return f"{where}, {start}, {up}"
    near = [
        f"flush with {edge}" if at < TOGETHER else f"{length} from {edge}"
        for edge, at, length in zip((along, across), (u0, v0), lengths, strict=True)
    ]
    return f"{where}, {near[0]}, {near[1]}"


def where_in_words(piece: Piece, room: Room) -> str:
    """The surface of a piece, its corner or its edge: "left wall", "front left corner"."""
    names = [name for name, _ in piece.rects]
    if piece.mounting == "edge":
        return f"edge of {' and '.join(surface_in_words(room.surface(n)) for n in names)}"
    return (
        f"{' '.join(names)} corner" if len(names) == 2 else surface_in_words(room.surface(names[0]))
    )


def _edge_in_words(piece: Piece, room: Room, units: str) -> str:
    start, _ = _edge_names(room.surface(piece.rects[0][0]))
    u0 = piece.rect[0]
    at = f"flush with {start}" if u0 < TOGETHER else f"{format_length(u0, units)} from {start}"
    return f"{where_in_words(piece, room)}, across both, {at}"


def _corner_in_words(piece: Piece, room: Room, units: str) -> str:
    low = piece.rect[1]
    up = (
        "standing on the floor"
        if low < TOGETHER
        else f"{format_length(low, units)} above the floor"
    )
    return f"{where_in_words(piece, room)}, across both walls, {up}"


def surface_in_words(surface: Surface) -> str:
    """ "left wall", "ceiling", or the name the person gave to a plane."""
    return f"{surface.name} wall" if surface.name in _BOX_WALLS else surface.name


def _edge_names(surface: Surface) -> tuple[str, str]:
    """What u and v of a surface are measured from."""
    u = surface.plane.u
    if surface.name in ("left", "right", "floor", "ceiling"):
        return "the front wall", "the left wall"
    if surface.name in ("front", "back"):
        return "the left wall", "the floor"
    end = "front" if abs(u[0]) >= abs(u[1]) else "left"
    return f"its {end} end", "its lower edge" if surface.is_wall or u[2] else "its left edge"


def size_in_words(piece: Piece, units: str = "m") -> str:
    """Width by height by depth as hung: "0.60 x 1.20 m, 0.10 m deep, 0.05 m gap behind"."""
    u0, v0, u1, v1 = piece.rect
    gap = piece.product.fittings[piece.fitting].gap
    text = (
        f"{format_length(u1 - u0, units)} x {format_length(v1 - v0, units)}, "
        f"{format_length(piece.product.depth, units)} deep"
    )
    return f"{text}, {format_length(gap, units)} gap behind" if gap else text
