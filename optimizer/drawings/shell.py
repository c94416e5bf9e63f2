"""Walls cut through: their thickness on paper, and the openings in them."""

from collections.abc import Iterator

import numpy as np
import shapely

from optimizer.drawings import labels
from optimizer.drawings.faces import PLAN
from optimizer.drawings.layout import View
from optimizer.drawings.style import FAINT, HAIR, HEAVY, INK, MUTED, PAPER, THIN
from optimizer.room.geometry import Floats
from optimizer.room.model import Room, Surface

THICK = 1.6  # mm on paper; the real thickness of walls is not known


def draw_shell(view: View, shape: shapely.Polygon | shapely.MultiPolygon) -> None:
    """The room's outline with a band around it for the walls."""
    for polygon in getattr(shape, "geoms", [shape]):
        around = polygon.buffer(THICK / view.factor, join_style="mitre")
        view.sheet.shape(view.paper(_ring(around)), FAINT, None, layer=0.9)
    for polygon in getattr(shape, "geoms", [shape]):
        outline = view.paper(_ring(polygon))
        view.sheet.shape(outline, PAPER, INK, HEAVY, layer=1.0, name="outline")


def _ring(polygon: shapely.Polygon) -> Floats:
    return np.asarray(polygon.exterior.coords, dtype=float)[:-1]


def draw_openings(view: View, room: Room) -> None:
    """Windows, doors and fittings of walls, in the band of the wall."""
    for surface, index, ends, outwards in _openings(room):
        name = f"area-{surface.name}-{index + 1}"
        draw_gap(view, ends, outwards, surface.areas[index].kind, name)


def name_openings(view: View, room: Room) -> None:
    """Names of openings, inside the room beside them where there is a free place."""
    for surface, index, ends, outwards in _openings(room):
        at = view.paper(ends).mean(axis=0) - 1.5 * outwards
        text = surface.areas[index].name
        labels.beside(view.sheet, text, at, 0.0, longest=28.0, colour=MUTED)


def _openings(room: Room) -> Iterator[tuple[Surface, int, Floats, Floats]]:
    """Areas of walls: surface, index, ends (2, 2) of the line seen from above, way outwards."""
    for surface in room.surfaces:
        if surface.is_wall:
            for index, area in enumerate(surface.areas):
                u0, v0, u1, _ = area.rect
                ends = surface.plane.to_xyz(np.array([[u0, v0], [u1, v0]])) @ PLAN.T
                yield surface, index, ends, -(surface.plane.normal @ PLAN.T)


def draw_gap(view: View, ends: Floats, outwards: Floats, kind: str, name: str) -> None:
    """An opening between two drawn points (2, 2) of a wall's line, as a gap in its band."""
    inner = view.paper(ends)
    outer = inner + THICK * outwards
    sheet = view.sheet
    if kind in ("finish", "curtain", "rug"):
        sheet.line(inner, 2.2, INK, (0, (1, 1)), 1.2, name)
        return
    sheet.shape(np.concatenate([inner, outer[::-1]]), PAPER, INK, THIN, layer=1.2, name=name)
    if kind in ("window", "closet"):
        sheet.line((inner + outer) / 2, HAIR, INK, layer=1.25)
