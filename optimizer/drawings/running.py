"""Running dimensions: distances of many edges from one corner, along one line.

A circle marks the corner they run from, a short stroke each distance, and the figure stands
beside the stroke. Figures that would touch move apart and keep a leader to their stroke. Each
piece is measured from the nearer corner, so one line may hold two runs, one from each end.
"""

from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from optimizer.drawings.lettering import dimension, height_mm, width_mm
from optimizer.drawings.sheet import Sheet
from optimizer.drawings.style import FAINT, HAIR, MUTED, SMALL, THIN
from optimizer.room.geometry import Floats, Rect

EDGE = 1e-4  # metres
NEARLY = 1e-2  # m a piece may reach beyond the end of its surface
STROKE, LEADER = 0.9, 3.0  # mm
CROWDED = 0.7  # share of a line that figures may fill


@dataclass(frozen=True)
class Run:
    """One distance from a corner: coordinates in metres along the axis, and whose it is."""

    origin: float
    end: float
    ids: tuple[str, ...]
    edge: tuple[float, ...]  # where across the axis each piece's extension line begins

    @property
    def length(self) -> float:
        """The distance in metres."""
        return abs(self.end - self.origin)


def side_edges(shape: BaseGeometry, axis: int) -> Floats:
    """Edges (N, 3) of a shape square to an axis: position on it, and the span across it."""
    rings = [
        np.asarray(ring.coords)
        for polygon in getattr(shape, "geoms", [shape])
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    found = [
        (first[axis], *sorted((first[1 - axis], second[1 - axis])))
        for ring in rings
        for first, second in zip(ring[:-1], ring[1:], strict=True)
        if abs(first[axis] - second[axis]) < 1e-3
    ]
    return np.array(found, dtype=float).reshape(-1, 3)


def ends(shape: BaseGeometry, rect: Rect, axis: int) -> tuple[float, float]:
    """Where a shape ends before and behind a rectangle (or point) along an axis."""
    low, high = rect[axis], rect[axis + 2]
    before, after = rect[1 - axis], rect[3 - axis]
    inset = EDGE if after - before > 2 * EDGE else -EDGE
    edges = side_edges(shape, axis)
    beside = edges[(edges[:, 1] < after - inset) & (edges[:, 2] > before + inset), 0]
    first = beside[beside <= low + NEARLY].max(initial=-np.inf)
    last = beside[beside >= high - NEARLY].min(initial=np.inf)
    return (
        float(first) if np.isfinite(first) else shape.bounds[axis],
        float(last) if np.isfinite(last) else shape.bounds[axis + 2],
    )


def nearest(shape: BaseGeometry, rect: Rect, axis: int) -> tuple[float, float]:
    """The nearest corner of a shape along an axis, and the edge of the rectangle facing it."""
    first, last = ends(shape, rect, axis)
    low, high = rect[axis], rect[axis + 2]
    return (first, low) if low - first <= last - high + EDGE else (last, high)


def gather(items: list[tuple[str, float, float, float]]) -> list[Run]:
    """Runs of items (id, origin, end, edge); equal distances from one corner share one run."""
    runs: dict[tuple[float, float], list[tuple[str, float]]] = {}
    for name, origin, end, edge in items:
        runs.setdefault((round(origin, 4), round(end, 4)), []).append((name, edge))
    return [
        Run(origin, end, tuple(n for n, _ in members), tuple(e for _, e in members))
        for (origin, end), members in sorted(runs.items())
    ]


def spread(wanted: Floats, apart: float, low: float, high: float) -> Floats:
    """Positions in ascending order at least `apart` from each other, as near as can be to those
    wanted (ascending, least squares), within [low, high] where there is room."""
    steps = np.arange(len(wanted)) * apart
    blocks: list[list[float]] = []  # mean, count
    for value in wanted - steps:
        blocks.append([float(value), 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            mean, count = blocks.pop()
            before = blocks[-1]
            before[0] = (before[0] * before[1] + mean * count) / (before[1] + count)
            before[1] += count
    level = np.concatenate([np.full(int(n), m) for m, n in blocks]) if blocks else np.zeros(0)
    ceiling = high - (len(wanted) - 1) * apart
    return np.asarray(np.clip(level, low, max(low, ceiling)) + steps)


@dataclass(frozen=True)
class Rows:
    """Runs in rows one beside the other: each row holds runs that do not cross."""

    rows: tuple[tuple[Run, ...], ...]
    units: str

    @property
    def depth(self) -> float:
        """Paper in mm that one row needs, from its line outwards."""
        figures = [width_mm(dimension(r.length, self.units)) for row in self.rows for r in row]
        return LEADER + max(figures, default=0.0) + 2.5

    @property
    def reach(self) -> float:
        """Paper in mm that all rows need."""
        return len(self.rows) * self.depth


def arrange(runs: list[Run], units: str) -> Rows:
    """Runs from one corner stay together; corners whose runs would cross get rows of their own.

    Pieces that touch their corner need no figure and are left out.
    """
    groups: dict[tuple[float, bool], list[Run]] = {}
    for run in runs:
        if run.length > 5e-4:
            groups.setdefault((run.origin, run.end > run.origin), []).append(run)
    rows: list[tuple[list[Run], float]] = []
    for (origin, _), members in sorted(groups.items()):
        start = min(origin, *(r.end for r in members))
        end = max(origin, *(r.end for r in members))
        for index, (row, taken) in enumerate(rows):
            if start >= taken - EDGE:
                rows[index] = (row + members, end)
                break
        else:
            rows.append((members, end))
    return Rows(tuple(tuple(row) for row, _ in rows), units)


@dataclass(frozen=True)
class Axis:
    """Where a line of running dimensions lies on the sheet.

    `upright` lines run up the sheet with their figures on the left; level ones run across it with
    figures below. Paper position of a coordinate = start + factor * metres, factor > 0.
    """

    upright: bool
    start: float
    factor: float
    across_start: float
    across_factor: float
    line: float  # mm, where the first row lies
    span: tuple[float, float]  # mm, where figures may stand


def draw(sheet: Sheet, rows: Rows, axis: Axis, name: str, what: str) -> None:
    """Draw rows of running dimensions; figures carry the id `name-ID-ID...`.

    A row with more figures than can stand near their strokes says that the list has them; `what`
    tells what they are.
    """
    apart = height_mm(SMALL) + 0.15
    for index, row in enumerate(rows.rows):
        level = axis.line - index * rows.depth
        if len(row) * apart > CROWDED * (axis.span[1] - axis.span[0]):
            x, y = _at(axis, sum(axis.span) / 2, level - LEADER)
            sheet.text(x, y, f"{what}: see the list", across="center", upright=axis.upright,
                       colour=MUTED, name=f"{name}-listed")  # fmt: skip
            continue
        ordered = sorted(row, key=lambda run: run.end)
        _lines(sheet, ordered, axis, level)
        strokes = np.array([axis.start + axis.factor * run.end for run in ordered])
        places = spread(strokes, apart, *axis.span)
        for run, end, place in zip(ordered, strokes, places, strict=True):
            _figure(sheet, run, axis, level, float(end), float(place), rows.units, name)


def _lines(sheet: Sheet, row: list[Run], axis: Axis, level: float) -> None:
    for origin in sorted({run.origin for run in row}):
        begin = axis.start + axis.factor * origin
        for ahead in (True, False):
            there = [r.end for r in row if r.origin == origin and (r.end > origin) == ahead]
            if there:
                far = axis.start + axis.factor * (max(there) if ahead else min(there))
                sheet.line([_at(axis, begin, level), _at(axis, far, level)], THIN, MUTED)
        sheet.disc(_at(axis, begin, level), 0.7, edge=MUTED, layer=3.5)


def _figure(
    sheet: Sheet, run: Run, axis: Axis, level: float, end: float, place: float, units: str,
    name: str,
) -> None:  # fmt: skip
    for edge in set(run.edge):
        begin = axis.across_start + axis.across_factor * edge
        sheet.line([_at(axis, end, begin), _at(axis, end, level)], HAIR, FAINT, layer=1.2)
    stroke = [_at(axis, end - STROKE, level - STROKE), _at(axis, end + STROKE, level + STROKE)]
    sheet.line(stroke, 0.8)
    knee = [(end, level), (place, level - LEADER + 0.8), (place, level - LEADER + 0.3)]
    sheet.line([_at(axis, *point) for point in knee], HAIR, MUTED)
    x, y = _at(axis, place, level - LEADER)
    sheet.text(
        x, y, dimension(run.length, units),
        across="right" if axis.upright else "center", up="center" if axis.upright else "top",
        upright=not axis.upright, name="-".join((name, *run.ids)),
    )  # fmt: skip


def _at(axis: Axis, along: float, across: float) -> tuple[float, float]:
    return (across, along) if axis.upright else (along, across)
