"""Orientation marks: a small plan of the room with the viewer in it, in the corner of each sheet.

A drawing hung the wrong way round would be its mirror image; the mark, the sentence in the
heading and the names of the neighbouring surfaces around the drawing each say which way it is.
"""

from collections.abc import Callable

import numpy as np

from optimizer.drawings.faces import PLAN, Face, bounds, footprint
from optimizer.drawings.lettering import height_mm
from optimizer.drawings.sheet import Sheet, corners
from optimizer.drawings.style import HAIR, INK, MEDIUM, MUTED, ORANGE, PALE, RED, SMALL, THIN
from optimizer.room.geometry import Floats, Rect
from optimizer.room.model import Room

Mark = Callable[[Sheet, Rect], None]
ARROW = 4.6  # mm
VIEWED = 2.4  # points, width of the line of the wall that is seen


def wall_mark(room: Room, face: Face) -> Mark:
    """The room from above, the wall that is seen drawn heavy, and the viewer facing it."""

    def draw(sheet: Sheet, box: Rect) -> None:
        paper = _small_plan(sheet, room, box)
        plane = face.surface.plane
        seen = plane.to_xyz(plane.polygon) @ PLAN.T
        centre = seen.mean(axis=0)
        inwards = plane.normal @ PLAN.T
        inwards = inwards / max(float(np.linalg.norm(inwards)), 1e-9)
        along = np.array([-inwards[1], inwards[0]])
        spread = (seen - centre) @ along
        ends = np.stack([centre + along * spread.min(), centre + along * spread.max()])
        sheet.line(paper(ends), VIEWED, RED, layer=3.4, name="mark-seen")
        middle = paper(centre[None])[0]
        _viewer(sheet, middle + 6.5 * inwards, -inwards)

    return draw


def cut_mark(room: Room) -> Mark:
    """The room from above, the line of the section, and the viewer facing the right wall."""

    def draw(sheet: Sheet, box: Rect) -> None:
        paper = _small_plan(sheet, room, box)
        a, (_, b0, _, b1) = room.axis_y, footprint(room).bounds
        line = paper(np.array([[a, b0], [a, b1]]))
        sheet.line(line, MEDIUM, RED, (0, (4, 1.5, 1, 1.5)), 3.4, name="mark-seen")
        _viewer(sheet, line.mean(axis=0), np.array([1.0, 0.0]))

    return draw


def level_mark(room: Room, upwards: bool) -> Mark:
    """The room from the side, the front wall on the left, and the way one looks."""

    def draw(sheet: Sheet, box: Rect) -> None:
        corners = np.concatenate([s.plane.to_xyz(s.plane.polygon) for s in room.surfaces])
        (x0, z0), (x1, z1) = corners[:, [0, 2]].min(axis=0), corners[:, [0, 2]].max(axis=0)
        factor = min(18.0 / (x1 - x0), 12.0 / (z1 - z0))
        wide, high = factor * (x1 - x0), factor * (z1 - z0)
        left, low = (box[0] + box[2] - wide) / 2, box[1] + 4.5
        rect = (left, low, left + wide, low + high)
        _frame(sheet, rect)
        level = rect[3] if upwards else rect[1]
        sheet.line([(rect[0], level), (rect[2], level)], VIEWED, RED, layer=3.4, name="mark-seen")
        middle = np.array([(rect[0] + rect[2]) / 2, (rect[1] + rect[3]) / 2])
        way = np.array([0.0, 1.0 if upwards else -1.0])
        reach = min(ARROW, high - 2.0)
        _viewer(sheet, np.array([middle[0], level]) - (reach + 0.8) * way, way, reach)
        sheet.text(rect[0] - 0.8, middle[1], "front", SMALL, "right", upright=True, colour=MUTED)
        words = "looking up" if upwards else "looking down"
        sheet.text((box[0] + box[2]) / 2, box[1] + 1.6, words, across="center", colour=MUTED)

    return draw


def fold_mark() -> Mark:
    """A floor with its four walls folded down, and the viewer inside."""

    def draw(sheet: Sheet, box: Rect) -> None:
        middle = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2 + 1.6])
        half, wall = np.array([4.6, 4.2]), 4.4
        for way in ((0, 1), (0, -1), (1, 0), (-1, 0)):
            out = np.array(way, dtype=float)
            at, size = middle + (half + wall / 2 + 0.7) * out, np.where(out == 0, half, wall / 2)
            _frame(sheet, (*(at - size).tolist(), *(at + size).tolist()))
            start = middle + (half - 1.6) * out
            _arrow(sheet, start, start + 4.2 * out, out)
        floor = (*(middle - half).tolist(), *(middle + half).tolist())
        sheet.shape(corners(floor), PALE, RED, MEDIUM, layer=3.1, name="mark-seen")
        sheet.disc((float(middle[0]), float(middle[1])), 1.0, ORANGE, INK, HAIR, 3.6,
                   "mark-viewer")  # fmt: skip
        sheet.text((box[0] + box[2]) / 2, box[1] + 1.6, "folded open", across="center",
                   colour=MUTED)  # fmt: skip

    return draw


def _small_plan(sheet: Sheet, room: Room, box: Rect) -> Callable[[Floats], Floats]:
    """Draw the room small with the front wall on top; gives back the way to its paper points."""
    shape = footprint(room)
    a0, b0, a1, b1 = shape.bounds
    label = height_mm() + 0.3
    wide, high = box[2] - box[0] - 2, box[3] - box[1] - label - 0.5
    factor = min(wide / (a1 - a0), high / (b1 - b0))
    offset = np.array([
        (box[0] + box[2]) / 2 - factor * (a0 + a1) / 2, box[3] - label - factor * b1
    ])  # fmt: skip

    def paper(points: Floats) -> Floats:
        return np.asarray(offset + factor * points)

    for polygon in getattr(shape, "geoms", [shape]):
        outline = paper(np.asarray(polygon.exterior.coords)[:-1])
        sheet.shape(outline, PALE, INK, THIN, layer=3.0)
    for speaker in room.speakers:
        x, y = paper(speaker.at @ PLAN.T)
        sheet.disc((float(x), float(y)), 0.55, INK, layer=3.2)
    sheet.text((box[0] + box[2]) / 2, box[3], "front", SMALL, "center", "top", colour=MUTED)
    return paper


def _frame(sheet: Sheet, rect: Rect) -> None:
    a0, b0, a1, b1 = bounds(np.array(rect).reshape(2, 2))
    sheet.shape([(a0, b0), (a1, b0), (a1, b1), (a0, b1)], PALE, INK, THIN, layer=3.0)


def _viewer(sheet: Sheet, at: Floats, ahead: Floats, reach: float = ARROW) -> None:
    """Someone seen from above: a head, and an arrow the way he looks."""
    tip = at + reach * ahead
    _arrow(sheet, at, tip, ahead, "mark-viewer")
    sheet.disc((float(at[0]), float(at[1])), 1.0, ORANGE, INK, HAIR, 3.6)


def _arrow(sheet: Sheet, at: Floats, tip: Floats, ahead: Floats, name: str | None = None) -> None:
    beside = np.array([-ahead[1], ahead[0]])
    sheet.line(np.stack([at, tip]), MEDIUM, layer=3.5, name=name)
    barbs = np.stack([tip, tip - 1.5 * ahead + 0.9 * beside, tip - 1.5 * ahead - 0.9 * beside])
    sheet.shape(barbs, INK, INK, HAIR, layer=3.5)
