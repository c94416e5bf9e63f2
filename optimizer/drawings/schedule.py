"""The list beside a drawing: which pieces are on it, where each is measured, and other keys."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

from optimizer.drawings.lettering import dimension, fit, width_mm, wrap
from optimizer.drawings.sheet import Sheet
from optimizer.drawings.style import FAINT, HAIR, MUTED, SMALL
from optimizer.drawings.symbols import (
    draw_hung_overhead_swatch,
    draw_hung_swatch,
    draw_swatch,
)
from optimizer.results.model import PlannedPiece
from optimizer.results.shopping_overhead import load_in_words
from optimizer.room.schema import OVERHEAD

COLUMN, GUTTER, ROW = 58.6, 4.0, 3.5  # mm; three columns fit a figure
SWATCH = 6.5  # mm that a sample and its space take
# Right ends of the columns: number, from a corner, up, pair.
_STOPS = {"m": (6.5, 32.0, 51.0, 58.4), "ft": (4.4, 28.6, 52.2, 58.4)}
_PARTS = ("number", "across", "up", "pair")
HUNG_ALREADY = "hangs already"
Sample = Callable[[Sheet, float, float], None]


@dataclass(frozen=True)
class Line:
    """One line of a list: its texts and what is drawn before it.

    One text, two (a name and what stands right of it), or one per column.
    """

    texts: tuple[str, ...]
    name: str | None = None
    sample: Sample | None = None
    quiet: bool = False  # headings of columns


@dataclass(frozen=True)
class Group:
    """A heading of one or more lines, and rows under it that may run over to the next column."""

    heading: tuple[Line, ...]
    rows: tuple[Line, ...] = field(default=())


@dataclass(frozen=True)
class Measured:
    """A piece as measured on one drawing: from which surfaces, and how far."""

    planned: PlannedPiece
    across_from: str
    across: float
    up_from: str  # "" where the heading of the column says it
    up: float
    hung: bool = False  # hangs already


def piece_groups(pieces: list[Measured], units: str, heads: tuple[str, str]) -> list[Group]:
    """Pieces grouped by what they are; `heads` title the two columns of distances."""
    groups: dict[tuple[object, ...], list[Measured]] = {}
    for measured in pieces:
        piece = measured.planned.piece
        u0, v0, u1, v1 = piece.rect
        key = (measured.hung, piece.product.id, piece.fitting, piece.mounting,
               round(u1 - u0, 3), round(v1 - v0, 3))  # fmt: skip
        groups.setdefault(key, []).append(measured)
    titles = Line(("no.", *heads, "pair"), quiet=True)
    return [
        Group((*_heading(members[0], len(members), units), titles),
              tuple(_row(m, units) for m in members))
        for members in groups.values()
    ]  # fmt: skip


def _heading(measured: Measured, count: int, units: str) -> tuple[Line, ...]:
    piece = measured.planned.piece
    product = piece.product
    u0, v0, u1, v1 = piece.rect
    kind = product.kind
    name = f"{HUNG_ALREADY}: {product.name}" if measured.hung else product.name
    names = wrap(name, COLUMN - SWATCH, 2)
    wide, high, deep = (dimension(x, units) for x in (u1 - u0, v1 - v0, product.depth))
    gap = product.fittings[piece.fitting].gap
    size = f"{count} × {wide} wide, {high} high"
    if piece.mounting == "edge":
        size = f"{count} × {wide} long, {high} along wall and ceiling"
    elif len(piece.rects) == 2:
        size = f"{count} × {wide} along each wall, {high} high"
    elif kind in ("cloud", "rug") or piece.mounting in ("ceiling", "floor"):
        size = f"{count} × {wide} by {high}"
    depth = f"{deep} deep" + (f", gap behind it {dimension(gap, units)}" if gap else "")
    lines = [*names[1:], size, *([depth] if len(piece.rects) == 1 else [])]
    if piece.mounting in OVERHEAD and not measured.hung:
        load = load_in_words(product).replace(" kg each", " kg")
        lines += wrap(load, COLUMN - SWATCH, 2)
    sample = draw_hung_swatch if measured.hung else partial(draw_swatch, kind=kind)
    first = Line((names[0],), sample=sample)
    return (first, *(Line((text,), sample=_nothing) for text in lines))


def kind_groups(pieces: Sequence[PlannedPiece]) -> list[Group]:
    """A key to pieces: what each product looks like, and the numbers of its pieces."""
    products: dict[str, list[PlannedPiece]] = {}
    for planned in pieces:
        products.setdefault(planned.piece.product.id, []).append(planned)
    groups = []
    for members in products.values():
        product = members[0].piece.product
        names = wrap(product.name, COLUMN - SWATCH, 2)
        sample = partial(draw_swatch, kind=product.kind)
        told = wrap(numbers([p.id for p in members]), COLUMN - SWATCH, 3)
        rest = (Line((text,), sample=_nothing) for text in (*names[1:], *told))
        groups.append(Group((Line((names[0],), sample=sample), *rest)))
    return groups


def numbers(ids: Sequence[str]) -> str:
    """Numbers of pieces with runs told by their ends.

    >>> numbers(["1", "2", "3", "5", "7", "8"])
    '1 to 3, 5, 7, 8'
    """
    runs: list[list[str]] = []
    for name in ids:
        follows = runs and name.isdecimal() and runs[-1][-1].isdecimal()
        if follows and int(name) == int(runs[-1][-1]) + 1:
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


def hung_group(hung: Sequence[PlannedPiece], overhead: bool) -> list[Group]:
    """A key to pieces that hang already, with their numbers; none where there are none."""
    if not hung:
        return []
    heads = [Line((HUNG_ALREADY,), "key-hung", draw_hung_swatch)]
    if overhead:
        text = f"{HUNG_ALREADY}, overhead"
        heads.append(Line((text,), "key-hung-overhead", draw_hung_overhead_swatch))
    rows = tuple(Line((f"{p.id}  {p.piece.product.name}",), f"hung-row-{p.id}") for p in hung)
    return [Group(tuple(heads), rows)]


def _nothing(sheet: Sheet, x: float, y: float) -> None:
    """Room for a sample, left empty."""


def _row(measured: Measured, units: str) -> Line:
    planned = measured.planned
    across, up = dimension(measured.across, units), dimension(measured.up, units)
    stops = _STOPS[units]
    room = stops[1] - stops[0] - width_mm(" " + across) - 1.2
    first = f"{fit(measured.across_from, room)} {across}"
    room = stops[2] - stops[1] - width_mm(" " + up) - 1.2
    second = f"{fit(measured.up_from, room)} {up}" if measured.up_from else up
    texts = (planned.id, first.strip(), second.strip(), planned.pair or "")
    return Line(texts, name=f"row-{planned.id}")


@dataclass(frozen=True)
class Placed:
    """A line of a list and where it goes: column, and mm below the top of the list."""

    line: Line
    column: int
    down: float


def flow(
    groups: list[Group], columns: int, height: float, whole: bool = False
) -> list[Placed] | None:
    """Lines laid out in columns of a height in mm; None when they do not fit.

    A heading stays with its first row and comes again where its rows go on in the next column;
    with `whole`, groups are not parted at all.
    """
    placed: list[Placed] = []
    column, down = 0, 0.0
    for group in groups:
        head = list(group.heading)
        rows = list(group.rows)
        need = (len(head) + (len(rows) if whole else min(len(rows), 1))) * ROW
        if whole and need > height:
            return None
        if down > 0 and down + need > height:
            column, down = column + 1, 0.0
        for index, line in enumerate((*head, *rows)):
            if down + ROW > height:
                column, down = column + 1, 0.0
                if index >= len(head):
                    for again in (head[0], *head[1:][-1:]):
                        placed.append(Placed(again, column, down))
                        down += ROW
            if down + ROW > height or column >= columns:
                return None
            placed.append(Placed(line, column, down))
            down += ROW
        down += ROW * 0.5
    return placed


def draw_schedule(sheet: Sheet, placed: list[Placed], left: float, top: float, units: str) -> None:
    """Draw a list whose upper left corner is at (left, top)."""
    for item in placed:
        x = left + item.column * (COLUMN + GUTTER)
        y = top - item.down - ROW / 2
        line = item.line
        colour = MUTED if line.quiet else "#1a1a1a"
        if line.sample is not None:
            line.sample(sheet, x, y)
        if len(line.texts) == 1:
            start = SWATCH if line.sample is not None else 0.0
            text = fit(line.texts[0], COLUMN - start)
            sheet.text(x + start, y, text, colour=colour, name=line.name)
            continue
        if len(line.texts) == 2:
            first, rest = line.texts
            room = COLUMN - width_mm(rest) - 1.2
            sheet.text(x, y, fit(first, room), colour=colour, name=line.name)
            sheet.text(x + COLUMN, y, rest, across="right", colour=colour)
            continue
        for text, stop, part in zip(line.texts, _STOPS[units], _PARTS, strict=True):
            name = f"{line.name}-{part}" if line.name else None
            sheet.text(x + stop, y, text, SMALL, "right", colour=colour, name=name)
        if line.quiet:
            under = y - ROW / 2 + 0.1
            sheet.line([(x, under), (x + COLUMN, under)], HAIR, FAINT)
