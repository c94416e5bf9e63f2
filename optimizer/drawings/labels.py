"""Labels that find a free place: on what they name, else near it with a leader."""

from collections.abc import Sequence

import numpy as np

from optimizer.drawings.lettering import fit, height_mm, width_mm
from optimizer.drawings.sheet import Box, Sheet, text_box
from optimizer.drawings.sheet import corners as box_corners
from optimizer.drawings.style import HAIR, INK, MUTED, PAPER, SMALL, clean
from optimizer.room.geometry import Floats

PAD = 0.5  # mm around a number
COVERED = 0.6  # share of a piece that its number may cover
FARTHEST = 60.0  # mm a leader may reach
LONGEST = 40.0  # mm of a name that stands beside what it names


def number(
    sheet: Sheet, text: str, at: Floats, name: str, room: tuple[float, float],
    towards: tuple[float, float] = (0.87, 0.5),
) -> None:  # fmt: skip
    """A piece's number at a point: on it where it is free and fits (`room` in mm), else beside.

    It is always drawn: the search goes outwards, first in the direction `towards`, until a place
    is free.
    """
    wide, high = width_mm(text, SMALL, True) + 2 * PAD, height_mm(SMALL)
    x, y = (float(v) for v in at)
    fits = wide <= room[0] + 0.4 and high <= room[1] + 0.4
    fits = fits and wide * high <= COVERED * room[0] * room[1]
    place = (x, y) if fits and sheet.is_free(_around(x, y, wide, high)) else None
    if place is None:
        place = _outwards(sheet, (x, y), (wide, high), towards)
        sheet.line([(x, y), place], HAIR, INK, layer=4.2)
        sheet.disc((x, y), 0.35, INK, layer=4.2)
    frame = _around(*place, wide, high)
    sheet.shape(box_corners(frame), PAPER, INK, HAIR, layer=4.5)
    sheet.keep_off(frame)
    sheet.text(*place, text, SMALL, "center", bold=True, name=name)


def _around(x: float, y: float, wide: float, high: float) -> Box:
    return x - wide / 2, y - high / 2, x + wide / 2, y + high / 2


def _outwards(
    sheet: Sheet, at: tuple[float, float], size: tuple[float, float], towards: tuple[float, float]
) -> tuple[float, float]:
    """The nearest free place, off all pieces if there is one near."""
    turns = np.deg2rad([0, 25, -25, 50, -50, 75, -75, 100, -100, 130, -130, 155, -155, 180])
    angles = np.arctan2(towards[1], towards[0]) + turns
    first, step = min(size) * 0.9, 0.8
    for of_shapes, farthest in ((True, 0.4 * FARTHEST), (False, FARTHEST)):
        for radius in np.arange(first, farthest, step):
            for angle in angles:
                reach = radius + abs(np.cos(angle)) * (size[0] - size[1]) / 2
                x, y = at[0] + float(reach * np.cos(angle)), at[1] + float(radius * np.sin(angle))
                if not sheet.is_free(_around(x, y, *size), of_shapes):
                    continue
                if not of_shapes or _leader_free(sheet, at, (x, y)):
                    return x, y
    return at


def _leader_free(sheet: Sheet, start: tuple[float, float], end: tuple[float, float]) -> bool:
    """True when a leader crosses no text."""
    if not sheet.taken:
        return True
    shares = np.linspace(0.0, 1.0, 12)[1:-1, None]
    points = np.array(start) + shares * (np.array(end) - np.array(start))
    boxes = np.array(sheet.taken)
    x, y = points[:, :1], points[:, 1:]
    across = (x > boxes[:, 0]) & (x < boxes[:, 2])
    return not bool(np.any(across & (y > boxes[:, 1]) & (y < boxes[:, 3])))


def name_all(sheet: Sheet, named: Sequence[tuple[str, Floats]]) -> None:
    """Names of rectangles on paper (4, 2), each kept off the other rectangles."""
    boxes = [(*c.min(axis=0).tolist(), *c.max(axis=0).tolist()) for _, c in named]
    for (text, corners), (x0, y0, x1, y1) in zip(named, boxes, strict=True):
        apart = [b for b in boxes if b[0] >= x1 or b[2] <= x0 or b[1] >= y1 or b[3] <= y0]
        known = len(sheet.filled)
        sheet.filled.extend(apart)
        _name_it(sheet, text, corners)
        del sheet.filled[known:]


def _name_it(sheet: Sheet, text: str, corners: Floats) -> None:
    """A name on a rectangle, else beside it, else cut to fit; none where nothing is free."""
    _ = (
        inside(sheet, text, corners)
        or _around_it(sheet, text, corners)
        or inside(sheet, text, corners, cut=True)
    )


def _around_it(sheet: Sheet, text: str, corners: Floats) -> bool:
    (x0, y0), (x1, y1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    shown = fit(text, LONGEST)
    for gap in (0.8, 2.5, 5.0):
        spots = (
            (x1 + gap, y, "left", "center"), (x0 - gap, y, "right", "center"),
            (x, y1 + gap, "center", "bottom"), (x, y0 - gap, "center", "top"),
            (x0, y1 + gap, "left", "bottom"), (x1, y1 + gap, "right", "bottom"),
            (x0, y0 - gap, "left", "top"), (x1, y0 - gap, "right", "top"),
        )  # fmt: skip
        if _at_first_free(sheet, shown, spots, MUTED, None):
            return True
    return False


Spot = tuple[float, float, str, str]  # x, y, how the text lies across and up


def _at_first_free(
    sheet: Sheet, shown: str, spots: Sequence[Spot], colour: str, name: str | None
) -> bool:
    for x, y, across, up in spots:
        if sheet.is_free(text_box(x, y, shown, SMALL, across, up), True):
            sheet.text(x, y, shown, SMALL, across, up, colour=colour, name=name, backed=True)
            return True
    return False


def inside(sheet: Sheet, text: str, corners: Floats, cut: bool = False) -> bool:
    """A name within a rectangle on paper, level or upright; False where none fits."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    size, letters = high - low, height_mm(SMALL)
    for along in (0, 1) if size[0] >= size[1] else (1, 0):
        across = 1 - along
        shown = fit(text, float(size[along]) - 1.0)
        if size[across] < letters or (shown != clean(text) and not (cut and len(shown) > 6)):
            continue
        for share in (0.5, 0.8, 0.2, 0.65, 0.35):
            at = (low + high) / 2
            at[across] = low[across] + letters / 2 + share * (size[across] - letters)
            x, y, upright = float(at[0]), float(at[1]), along == 1
            box = text_box(x, y, shown, SMALL, "center", upright=upright)
            if sheet.is_free(box, True):
                sheet.text(x, y, shown, SMALL, "center", upright=upright, colour=MUTED)
                return True
    return False


def beside(
    sheet: Sheet, text: str, at: Floats, radius: float, name: str | None = None,
    longest: float = LONGEST, colour: str = INK,
) -> bool:  # fmt: skip
    """A name next to a point, right, left, above or below; False where no place is free."""
    shown = fit(text, longest)
    x, y = (float(v) for v in at)
    for reach in (radius + 0.8, radius + 3.0, radius + 6.0):
        diagonal = 0.7 * reach
        spots = (
            (x + reach, y, "left", "center"), (x - reach, y, "right", "center"),
            (x, y + reach, "center", "bottom"), (x, y - reach, "center", "top"),
            (x + diagonal, y + diagonal, "left", "bottom"),
            (x + diagonal, y - diagonal, "left", "top"),
            (x - diagonal, y + diagonal, "right", "bottom"),
            (x - diagonal, y - diagonal, "right", "top"),
        )  # fmt: skip
        if _at_first_free(sheet, shown, spots, colour, name):
            return True
    return False
