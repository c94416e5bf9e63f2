"""Whether a piece of a plan still fits a room and its limits, and in words why it does not.

The rules are those by which places are found (placement.zones, placement.candidates), asked for
one piece at a time so that what stands in its way can be named.
"""

from collections.abc import Callable, Iterator

import numpy as np

from optimizer.placement.catalogue import meets_fire_class
from optimizer.placement.holding import allowed_mountings, takes_hole
from optimizer.placement.pieces import Piece
from optimizer.placement.rules import RULES as RULES_ON_PLACES
from optimizer.placement.rules import SLOT, Spread, holds
from optimizer.placement.zones import (
    BODY,
    CABINET,
    CLEARANCE,
    DOOR_SWING,
    bounding_boxes,
    prism_corners,
    zones_of,
)
from optimizer.project import Project
from optimizer.room.geometry import Floats, Rect, boxes_overlap
from optimizer.room.model import Area, Room

SLACK = 5e-3  # m that a piece may reach into what stands there
Rule = Callable[[Project, Piece], Iterator[str]]


def misfit(project: Project, piece: Piece) -> str:
    """Why the piece cannot hang in this room with these limits; "" when it can."""
    return next((reason for rule in RULES for reason in rule(project, piece)), "")


def within_bans(project: Project, piece: Piece) -> Iterator[str]:
    """The product is neither banned nor below the fire class, and its mounting is allowed."""
    product, limits = piece.product, project.scenario.limits
    if product.id in limits.banned_products:
        yield f'"{product.id}" is banned'
    elif piece.mounting not in allowed_mountings(product.mountings, product.sundries, limits):
        holes = limits.no_holes and takes_hole(product.sundries, piece.mounting)
        why = "takes holes, which are not allowed" if holes else "is not allowed"
        yield f"mounting on {piece.mounting} {why}"
    elif not meets_fire_class(product.fire_class, limits.fire_class):
        yield f"its fire class is below {limits.fire_class}"


def within_depth(project: Project, piece: Piece) -> Iterator[str]:
    """The rules on depth and headroom (placement.rules)."""
    limits, room = project.scenario.limits, project.room
    places = [
        Spread(room.surface(name), np.array([rect]), reach)
        for name, rect, reach in piece.standing_out
    ]
    said = {
        "max_depth": f"stands out {piece.reach:.2f} m, more than the {limits.max_depth:.2f} m "
        "allowed",
        "headroom": f"leaves less headroom than {limits.headroom:.2f} m",
        "head_depth": f"stands out {piece.reach:.2f} m at head height where people walk, more "
        f"than the {limits.head_depth:.2f} m allowed",
        "slot": f"looks into a slot of less than {SLOT:.2f} m behind furniture",
    }
    for key, rule in RULES_ON_PLACES.items():
        if any(rule(room, spread, limits)[0] for spread in places):
            yield said[key]


def held_there(project: Project, piece: Piece) -> Iterator[str]:
    """Strips and poles hold at its place."""
    if len(piece.rects) > 1:
        return
    room = project.room
    spread = Spread(room.surface(piece.surface), np.array([piece.rect]), piece.reach)
    if not holds(zones_of(room), spread, piece.mounting)[0]:
        why = {
            "adhesive": "strips do not hold on this wall, or hang over a bed",
            "pole": "poles from floor to ceiling find no place",
        }
        yield f"{why[piece.mounting]} there"


def clear_of_things(project: Project, piece: Piece) -> Iterator[str]:
    """No furniture, keep-clear box, door swing, listener or loudspeaker in its space."""
    room = project.room
    for name, box in (*_solid(room), *(() if piece.product.kind == "rug" else _soft(room))):
        if boxes_overlap(piece.box[None], box, SLACK)[0]:
            yield f"is in the way of {name}"


def clear_of_areas(project: Project, piece: Piece) -> Iterator[str]:
    """It covers no window, door and the like; a curtain may hang over a window."""
    over = {"window"} if "window" in piece.product.mountings else set()
    for name, rect in piece.rects:
        areas = project.room.surface(name).areas
        for area in areas:
            if area.blocks and area.kind not in over and _covers(rect, area):
                yield f"covers the {_called(area.name, area.kind)}"
        windows = [a for a in areas if a.kind == "window"]
        only_there = piece.mounting == "window" and "wall" not in piece.product.mountings
        if only_there and not any(_covers(rect, window) for window in windows):
            yield "there is no window behind it"


RULES: tuple[Rule, ...] = (within_bans, within_depth, clear_of_things, clear_of_areas, held_there)


def _covers(rect: Rect, area: Area) -> bool:
    margin = CLEARANCE.get(area.kind, 0.0)
    u0, v0, u1, v1 = area.rect
    wide = min(rect[2], u1 + margin) - max(rect[0], u0 - margin)
    return min(wide, min(rect[3], v1 + margin) - max(rect[1], v0 - margin)) > SLACK


def _solid(room: Room) -> Iterator[tuple[str, Floats]]:
    """Boxes (2, 3) that no piece may enter, by name."""
    for furniture in room.furniture:
        yield f"the {_called(furniture.name, furniture.kind)}", furniture.box
    for kept in room.keep_clear:
        yield f'"{kept.name}", which is to be kept clear', kept.box
    for surface in room.surfaces:
        for area in surface.areas:
            if area.kind in ("door", "opening"):
                corners = prism_corners(surface.plane, np.array([area.rect]), DOOR_SWING)
                yield f"the way through the {area.name}", bounding_boxes(corners)[0]


def _soft(room: Room) -> Iterator[tuple[str, Floats]]:
    """Boxes (2, 3) that only a rug may lie under, by name."""
    width, depth, above = BODY
    for seat in room.seats:
        x, y, z = seat.at
        low, high = (x - depth, y - width, 0.05), (x + depth, y + width, z + above)
        yield f'the listener at "{seat.name}"', np.array([low, high])
    for speaker in room.speakers:
        yield f'"{speaker.name}"', np.array([speaker.at - CABINET, speaker.at + CABINET])


def _called(name: str, kind: str) -> str:
    return kind if name == kind else f'{kind} "{name}"'
