"""How a drawing sits on its sheet: size of paper, scale, heading, scale bar, list of pieces.

Sheets are 210 x 279 mm with a blank border of 10 mm, upright or on their side, so that they print
at full size on A4 and on Letter paper. Figures of a page are as wide as the text on such paper, no
higher than they need be, and leave title and room to the page. The scale is the largest usual one
at which drawing,
dimensions and list fit: for metres those of ISO 5455 and some between them (common practice, no
source), for feet those of architects' rulers (common practice, no source).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from optimizer.drawings.lettering import fit, unit_note, width_mm, wrap
from optimizer.drawings.schedule import (
    COLUMN,
    GUTTER,
    ROW,
    Group,
    Line,
    Placed,
    draw_schedule,
    flow,
)
from optimizer.drawings.sheet import BORDER, Sheet
from optimizer.drawings.style import INK, MUTED, PAPER, SMALL, TEXT, THIN, TITLE
from optimizer.room.geometry import Floats, Rect
from optimizer.units import FOOT

PAGE = (190.0, 259.0)  # mm within the border
FIGURE = (184.0, 210.0)  # mm, most that a figure of a page may take
HEAD, FOOT_STRIP, SPACE = 27.0, 9.0, 4.0  # mm
KEY = 26.0  # mm, width of the orientation mark
PARTED_RATHER_THAN = 1.26  # times smaller a drawing may be so that no group of its list is parted
SHORTER_LIST = 2.0  # times larger a figure must get for its list to be cut short
SCALES = {
    "m": (
        5,
        10,
        20,
        25,
        30,
        40,
        50,
        75,
        100,
        150,
        200,
        250,
        300,
        400,
        500,
        1000,
        2000,
        5000,
        10000,
    ),
    "ft": (8, 12, 16, 24, 32, 48, 64, 96, 128, 192, 384, 768, 1536, 3072, 6144, 12288),
}
_PER_FOOT = {8: "1 1/2 in", 12: "1 in", 16: "3/4 in", 24: "1/2 in", 32: "3/8 in", 48: "1/4 in",
             64: "3/16 in", 96: "1/8 in", 128: "3/32 in", 192: "1/16 in"}  # fmt: skip


@dataclass(frozen=True)
class Margins:
    """Paper in mm around a drawing for its dimensions and names."""

    left: float
    right: float
    bottom: float
    top: float


@dataclass(frozen=True)
class Heading:
    """What the top of a sheet says, and the orientation mark in its corner."""

    title: str
    room: str
    notes: tuple[str, ...]
    mark: Callable[[Sheet, Rect], None]


@dataclass(frozen=True)
class View:
    """A drawing on its sheet: from drawn metres (a, b) to mm of paper."""

    sheet: Sheet
    denominator: int
    origin: tuple[float, float]  # mm, where drawn (0, 0) lies
    units: str

    @property
    def factor(self) -> float:
        """mm of paper in a metre."""
        return 1000.0 / self.denominator

    def paper(self, points: Floats) -> Floats:
        """Paper points (..., 2) of drawn ones."""
        return np.asarray(self.origin + self.factor * np.asarray(points))

    def corners(self, rect: Rect) -> Floats:
        """Paper corners (4, 2) of a drawn rectangle."""
        a0, b0, a1, b1 = rect
        return self.paper(np.array([[a0, b0], [a1, b0], [a1, b1], [a0, b1]]))

    def names_stay_in(self, extent: Rect) -> None:
        """Keep names and numbers off the dimensions around a drawn extent."""
        (x0, y0), (x1, y1) = self.paper(np.array(extent).reshape(2, 2)).tolist()
        wide, high = self.sheet.width, self.sheet.height
        outside = (0, 0, x0, high), (x1, 0, wide, high), (0, 0, wide, y0), (0, y1, wide, high)
        for box in outside:
            self.sheet.fill(np.array(box, dtype=float).reshape(2, 2))


@dataclass(frozen=True)
class _Fit:
    denominator: int
    page: tuple[float, float]
    placed: list[Placed]
    columns: int
    beside: bool  # the list stands to the right of the drawing, else below


def lay_out(
    extent: Rect,
    margins: Margins,
    groups: list[Group],
    heading: Heading,
    units: str,
    as_figure: bool = False,
) -> View:
    """The sheet for a drawing of an extent in metres with its margins and list.

    `as_figure`: a figure of a page in place of a sheet of its own; where its list would leave
    little room for the drawing, only what the pieces are is listed, and the page has the rest.
    """
    size = extent[2] - extent[0], extent[3] - extent[1]
    chosen = _chosen(size, margins, groups, units, as_figure)
    if as_figure:
        chosen = _trimmed(chosen, size, margins)
    sheet = Sheet(*chosen.page, 0.0 if as_figure else BORDER)
    top = chosen.page[1] - HEAD
    high = size[1] * 1000 / chosen.denominator + margins.bottom + margins.top
    wide = size[0] * 1000 / chosen.denominator + margins.left + margins.right
    list_wide = _columns_wide(chosen.columns) if groups else 0.0
    if chosen.beside:
        spare = chosen.page[0] - wide - (list_wide + SPACE if groups else 0)
        left, list_left, list_top = max(spare / 2, 0.0), chosen.page[0] - list_wide, top
    else:
        left = max((chosen.page[0] - wide) / 2, 0.0)
        list_left, list_top = max((chosen.page[0] - list_wide) / 2, 0.0), top - high - SPACE
    factor = 1000 / chosen.denominator
    origin = (
        left + margins.left - factor * extent[0],
        top - margins.top - factor * extent[3],
    )
    view = View(sheet, chosen.denominator, origin, units)
    _draw_head(sheet, heading, not as_figure)
    _draw_foot(view)
    draw_schedule(sheet, chosen.placed, list_left, list_top, units)
    return view


def _chosen(
    size: tuple[float, float], margins: Margins, groups: list[Group], units: str, as_figure: bool
) -> _Fit:
    """The largest scale at which all fits, with a shorter list where a figure needs that."""
    whole = _choose(size, margins, groups, units, as_figure)
    if not as_figure:
        return whole
    heads = [_head_only(group) for group in groups]
    short = _choose(size, margins, heads, units, as_figure)
    too_long = whole.page[1] > FIGURE[1]
    return short if too_long or short.denominator * SHORTER_LIST <= whole.denominator else whole


def _head_only(group: Group) -> Group:
    """A group of pieces without its table; others as they are."""
    if not any(line.name and line.name.startswith("row-") for line in group.rows):
        return group
    return Group((*group.heading[:-1], Line(("where each goes: see the table",), quiet=True)))


def _trimmed(chosen: _Fit, size: tuple[float, float], margins: Margins) -> _Fit:
    """The same on a sheet no higher than it needs to be."""
    high = size[1] * 1000 / chosen.denominator + margins.bottom + margins.top
    listed = max((item.down + ROW for item in chosen.placed), default=0.0)
    body = max(high, listed) if chosen.beside else high + SPACE + listed
    return replace(chosen, page=(chosen.page[0], HEAD + body + SPACE + FOOT_STRIP))


def _columns_wide(columns: int) -> float:
    return columns * (COLUMN + GUTTER) - GUTTER


def _choose(
    size: tuple[float, float], margins: Margins, groups: list[Group], units: str, as_figure: bool
) -> _Fit:
    """The largest scale at which all fits, list beside or below; a longer sheet if none does.

    A somewhat smaller scale is taken where that keeps the groups of the list whole.
    """
    pages = ((FIGURE[0], FIGURE[1] - SPACE),) if as_figure else (PAGE[::-1], PAGE)
    parted: _Fit | None = None
    for denominator, page, beside, whole in product(SCALES[units], pages, (True, False), (1, 0)):
        if parted is not None and denominator > PARTED_RATHER_THAN * parted.denominator:
            return parted
        found = _try(size, margins, groups, denominator, page, beside, bool(whole))
        if found is not None and whole:
            return found
        parted = parted or found
    if parted is not None:
        return parted
    for longer in range(1, 200):
        page = pages[-1][0], pages[-1][1] + longer * 20.0
        for denominator in SCALES[units]:
            found = _try(size, margins, groups, denominator, page, False, False)
            if found is not None and denominator >= 50:
                return found
    raise ValueError("a drawing larger than any sheet")


def _try(
    size: tuple[float, float], margins: Margins, groups: list[Group], denominator: int,
    page: tuple[float, float], beside: bool, whole: bool,
) -> _Fit | None:  # fmt: skip
    wide = size[0] * 1000 / denominator + margins.left + margins.right
    high = size[1] * 1000 / denominator + margins.bottom + margins.top
    body = page[1] - HEAD - FOOT_STRIP
    if wide > page[0] or high > body:
        return None
    area = (page[0] - wide - SPACE, body) if beside else (page[0], body - high - SPACE)
    most = int((area[0] + GUTTER) // (COLUMN + GUTTER))
    if not groups:
        return _Fit(denominator, page, [], 0, beside)
    for columns in range(1, most + 1):
        placed = flow(groups, columns, area[1], whole)
        if placed is not None:
            return _Fit(denominator, page, _evened(groups, columns, placed), columns, beside)
    return None


def _evened(groups: list[Group], columns: int, placed: list[Placed]) -> list[Placed]:
    """The same columns, no longer than they need to be for groups to stay whole."""
    height = max(item.down for item in placed) + ROW
    while columns > 1 and (shorter := flow(groups, columns, height - ROW, True)) is not None:
        placed, height = shorter, height - ROW
    return placed


def _draw_head(sheet: Sheet, heading: Heading, titled: bool) -> None:
    width, top = sheet.width - KEY - SPACE, sheet.height
    if titled:
        sheet.text(0, top - 3, fit(heading.title, width, TITLE, True), TITLE, bold=True,
                   name="title")  # fmt: skip
        sheet.text(0, top - 8.5, fit(heading.room, width, TEXT), TEXT, colour=MUTED, name="room")
    lines = [line for note in heading.notes for line in wrap(note, width, 2)]
    for index, line in enumerate(lines[:4]):
        sheet.text(0, top - (13 if titled else 3) - index * ROW, line, name=f"note-{index + 1}")
    heading.mark(sheet, (sheet.width - KEY, top - 25.0, sheet.width, top))


def scale_in_words(denominator: int, units: str) -> str:
    """ "Scale 1:25", or "Scale 1/2 in = 1 ft (1:24)"."""
    if units == "ft" and denominator in _PER_FOOT:
        return f"Scale {_PER_FOOT[denominator]} = 1 ft (1:{denominator})"
    return f"Scale 1:{denominator}"


def _draw_foot(view: View) -> None:
    sheet, y = view.sheet, 3.0
    text = scale_in_words(view.denominator, view.units)
    sheet.text(0, y, text, TEXT, bold=True, name="scale")
    bar = 6.0 + width_mm(text, TEXT, True)
    end = _scale_bar(view, bar, y)
    note = f"{unit_note(view.units)}; to scale on A4 and Letter at 100 %"
    if sheet.height > PAGE[1]:
        note = (
            f"{unit_note(view.units)}; sheet of {sheet.width + 20:.0f} x {sheet.height + 20:.0f} mm"
        )
    room = sheet.width - end - 4
    sheet.text(sheet.width, y, fit(note, room), across="right", colour=MUTED, name="units")


def _scale_bar(view: View, left: float, y: float) -> float:
    """A bar of four equal parts, black and white by turns; gives back where it ends."""
    unit = 1.0 if view.units == "m" else FOOT
    lengths = [0.2, 0.4, 1, 2, 4, 10, 20, 40, 100, 200, 400]
    long = max(n for n in lengths if n * unit * view.factor <= 44 or n == lengths[0])
    part = long * unit * view.factor / 4
    for i in range(4):
        x = left + i * part
        sheet_fill = INK if i % 2 == 0 else PAPER
        view.sheet.shape([(x, y - 2), (x + part, y - 2), (x + part, y - 0.8), (x, y - 0.8)],
                         sheet_fill, INK, THIN)  # fmt: skip
    ends = [(left, y - 2), (left + 4 * part, y - 2)]
    view.sheet.line(ends, THIN, name="scale-bar-ends")
    view.sheet.text(left, y + 1.2, "0", across="center")
    middle, last = f"{long / 2:g}", f"{long:g} {view.units}"
    view.sheet.text(left + 2 * part, y + 1.2, middle, across="center")
    view.sheet.text(left + 4 * part, y + 1.2, last, across="center", name="scale-bar")
    return left + 4 * part + width_mm(last, SMALL) / 2
