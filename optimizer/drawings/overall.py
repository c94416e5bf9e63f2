"""Overall dimensions of a drawing, and the names of what it meets around it."""

import numpy as np

from optimizer.drawings.faces import PLAN
from optimizer.drawings.layout import View
from optimizer.drawings.lettering import dimension, fit
from optimizer.drawings.sheet import text_box
from optimizer.drawings.style import FAINT, HAIR, MUTED, SMALL, THIN
from optimizer.results.words import surface_in_words
from optimizer.room.geometry import Rect
from optimizer.room.model import Room

OUT = 11.0  # mm from the drawing to the line of an overall dimension
STROKE = 0.9
EDGE_NAME = 3.2  # mm from the drawing to the middle of a name


def draw_overall(view: View, extent: Rect) -> None:
    """Length above the drawing and height to its right."""
    (x0, y0), (x1, y1) = view.paper(np.array(extent).reshape(2, 2)).tolist()
    wide, high = extent[2] - extent[0], extent[3] - extent[1]
    _line(view, (x0, y1 + OUT), (x1, y1 + OUT), dimension(wide, view.units), False, y1)
    _line(view, (x1 + OUT, y0), (x1 + OUT, y1), dimension(high, view.units), True, x1)


def _line(
    view: View, start: tuple[float, float], end: tuple[float, float], text: str, upright: bool,
    edge: float,
) -> None:  # fmt: skip
    sheet = view.sheet
    sheet.line([start, end], THIN, MUTED)
    for x, y in (start, end):
        sheet.line([(x - STROKE, y - STROKE), (x + STROKE, y + STROKE)], 0.8)
        foot = (edge + 1.0, y) if upright else (x, edge + 1.0)
        sheet.line([foot, (x, y)], HAIR, FAINT, layer=1.2)
    x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    name = "overall-up" if upright else "overall-across"
    if upright:
        sheet.text(x + 0.5, y, text, across="left", upright=True, name=name)
    else:
        sheet.text(x, y + 0.3, text, across="center", up="bottom", name=name)


def draw_names(view: View, extent: Rect, names: dict[str, str]) -> None:
    """What the drawing meets on each side: "left", "right", "bottom", "top"."""
    (x0, y0), (x1, y1) = view.paper(np.array(extent).reshape(2, 2)).tolist()
    middle_x, middle_y = (x0 + x1) / 2, (y0 + y1) / 2
    sheet = view.sheet
    spots = {
        "left": (x0 - EDGE_NAME, middle_y, True), "right": (x1 + EDGE_NAME, middle_y, True),
        "bottom": (middle_x, y0 - EDGE_NAME, False), "top": (middle_x, y1 + EDGE_NAME, False),
    }  # fmt: skip
    for side, name in names.items():
        x, y, upright = spots[side]
        text = fit(name, (y1 - y0 if upright else x1 - x0) - 1)
        box = text_box(x, y, text, SMALL, "center", upright=upright)
        if text and sheet.is_free(box):
            sheet.text(x, y, text, across="center", upright=upright, colour=MUTED,
                       name=f"meets-{side}", backed=True)  # fmt: skip


def draw_wall_names(view: View, room: Room) -> None:
    """The name of every wall outside its line, for drawings from above."""
    for surface in room.surfaces:
        if not surface.is_wall:
            continue
        plane = surface.plane
        line = plane.to_xyz(plane.polygon) @ PLAN.T
        outwards = -(plane.normal @ PLAN.T)
        length = float(np.linalg.norm(outwards))
        if length < 1e-6:
            continue
        low, high = line.min(axis=0), line.max(axis=0)
        upright = bool(high[1] - low[1] > high[0] - low[0])
        at = view.paper((low + high) / 2) + EDGE_NAME * outwards / length
        room_for = float((high - low).max()) * view.factor - 1
        text = fit(surface_in_words(surface), room_for)
        x, y = (float(v) for v in at)
        if text and view.sheet.is_free(text_box(x, y, text, SMALL, "center", upright=upright)):
            view.sheet.text(x, y, text, across="center", upright=upright, colour=MUTED,
                            name=f"wall-{surface.name}", backed=True)  # fmt: skip
