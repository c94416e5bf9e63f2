"""The ceiling as if mirrored in the floor: drawn the way round of the plan view."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from optimizer.drawings import labels, running
from optimizer.drawings.elevations import NAMES, draw_dimensions, draw_things, hung_in_words
from optimizer.drawings.faces import PLAN, Face, footprint, is_level, looking_at, outline_of
from optimizer.drawings.layout import Heading, Margins, View, lay_out
from optimizer.drawings.lettering import dimension
from optimizer.drawings.marks import level_mark
from optimizer.drawings.overall import draw_overall, draw_wall_names
from optimizer.drawings.schedule import Group, Line, Measured, piece_groups
from optimizer.drawings.style import (
    HAIR,
    HEAVY,
    INK,
    MUTED,
    PAPER,
    THIN,
    Picture,
    drawing,
    picture,
)
from optimizer.drawings.subject import Subject, subject_of
from optimizer.drawings.symbols import draw_hung, draw_piece
from optimizer.project import Project
from optimizer.results.model import Plan, PlannedPiece
from optimizer.room.geometry import Rect
from optimizer.room.model import Surface

HEADS = ("from side wall", "from end wall")
ENDS = {0: ("left", "right"), 1: ("back", "front")}  # what lies at the low and high end of an axis


@drawing()
def ceiling_plan(shown: Plan | Project, units: str = "m", as_figure: bool = False) -> Picture:
    """The reflected ceiling plan to scale: pieces, lights and detectors, each piece dimensioned
    from the nearest walls. Sloped ceilings are shown foreshortened; `elevations` has them
    square-on with their dimensions."""
    subject = subject_of(shown)
    room = subject.room
    level = [s for s in room.surfaces if s.is_ceiling and is_level(s)]
    sloped = [s for s in room.surfaces if s.is_ceiling and not is_level(s)]
    pieces = [entry for surface in level for entry in on_surface(subject, surface)]
    there = [entry for surface in level for entry in on_surface(subject, surface, hung=True)]
    measured, rows = measure(pieces, units)
    groups = piece_groups(measured, units, HEADS)
    if not groups:
        where = "hangs on a level ceiling" if sloped else "hangs on the ceiling"
        groups = [Group((Line((subject.nothing(where),)),))]
    groups += piece_groups(measured_hung(there, units), units, HEADS)
    extent = footprint(room).bounds
    margins = Margins(NAMES + rows[1].reach, NAMES + 7, NAMES + rows[0].reach, NAMES + 7)
    heading = Heading("Reflected ceiling plan", subject.title, _notes(sloped),
                      level_mark(room, True))  # fmt: skip
    view = lay_out(extent, margins, groups, heading, units, as_figure)
    for surface in (*sloped, *level):
        _draw_ceiling(view, surface, surface in sloped)
    draw_dimensions(view, extent, rows, "distances")
    view.names_stay_in(extent)
    draw_overall(view, extent)
    draw_wall_names(view, room)
    draw_plan_pieces(view, pieces, there)
    _draw_sloped(view, subject, sloped)
    for surface in level:
        _draw_things(view, subject, surface)
    alt = plan_in_words("Reflected ceiling plan", measured, units, subject, "on the ceiling")
    alt += hung_in_words([planned for planned, _, _ in there])
    return picture(view.sheet.figure, "ceiling_plan", "Reflected ceiling plan", alt)


Entry = tuple[PlannedPiece, Rect, BaseGeometry]  # a piece, its drawn rectangle, what it lies on


def on_surface(subject: Subject, surface: Surface, hung: bool = False) -> list[Entry]:
    """Pieces on a level surface in drawn coordinates, with the outline they are measured in:
    those of the plan, or those that hang already."""
    same = [
        s for s in subject.room.surfaces
        if s.is_ceiling == surface.is_ceiling and s.is_floor == surface.is_floor and is_level(s)
        and abs(float(s.plane.origin[2] - surface.plane.origin[2])) < 1e-3
    ]  # fmt: skip
    shapes = outline_of(same)
    parts = list(getattr(shapes, "geoms", [shapes]))
    face = level_face(surface)
    entries = []
    pieces = subject.hung_on(surface.name) if hung else subject.on(surface.name)
    for planned, rect in pieces:
        drawn = face.rect(rect)
        around = max(parts, key=lambda p: p.intersection(shapely.box(*drawn)).area)
        entries.append((planned, drawn, around))
    return entries


def level_face(surface: Surface) -> Face:
    """A surface as seen from above, foreshortened where it is sloped."""
    plane = surface.plane
    return Face(surface, PLAN, plane.to_xyz(plane.polygon) @ PLAN.T)


Items = list[tuple[str, float, float, float]]  # as running.gather takes them


def measure(
    entries: list[Entry], units: str, others: tuple[Items, Items] = ([], [])
) -> tuple[list[Measured], tuple[running.Rows, running.Rows]]:
    """Pieces on level surfaces, measured from the nearest walls across and along the room, and
    the running dimensions of them and of `others` across and along."""
    measured: list[Measured] = []
    items: tuple[Items, Items] = (list(others[0]), list(others[1]))
    for planned, rect, shape in entries:
        told = []
        for axis in (0, 1):
            origin, end = running.nearest(shape, rect, axis)
            at_low = abs(end - rect[axis]) < 1e-9
            items[axis].append((planned.id, origin, end, rect[1 - axis]))
            told.append((ENDS[axis][0 if at_low else 1], abs(end - origin)))
        (across_from, across), (up_from, up) = told
        measured.append(Measured(planned, across_from, across, up_from, up))
    first, second = (running.arrange(running.gather(group), units) for group in items)
    return measured, (first, second)


def measured_hung(entries: list[Entry], units: str) -> list[Measured]:
    """Pieces that hang already, measured like those of the plan."""
    return [replace(place, hung=True) for place in measure(entries, units)[0]]


def _notes(sloped: list[Surface]) -> tuple[str, ...]:
    notes = [
        "Drawn the same way round as the plan view, as if seen from above through the ceiling: "
        "the front wall is at the top, left is left.",
        "Each piece is measured from the nearest walls to its nearest edges. No figure: it "
        "touches.",
    ]
    if sloped:
        names = ", ".join(looking_at(s) for s in sloped)
        notes.append(f"Foreshortened here, see their own drawings: {names}.")
    return tuple(notes)


def _draw_ceiling(view: View, surface: Surface, sloped: bool) -> None:
    outline = view.paper(level_face(surface).outline)
    view.sheet.shape(outline, PAPER, INK, THIN if sloped else HEAVY, layer=1.0,
                     dash=(0, (6, 2)) if sloped else "-",
                     name=f"outline-{surface.name}")  # fmt: skip


def draw_plan_pieces(view: View, entries: list[Entry], hung: Sequence[Entry] = ()) -> None:
    """Pieces that lie flat, and those that do so already, with their numbers."""
    for planned, rect, _ in hung:
        draw_hung(view.sheet, view.corners(rect), f"hung-{planned.id}")
    for planned, rect, _ in entries:
        kind = planned.piece.product.kind
        draw_piece(view.sheet, view.corners(rect), kind, f"piece-{planned.id}")
    for planned, rect, _ in (*entries, *hung):
        corners = view.corners(rect)
        size = corners[2] - corners[0]
        labels.number(view.sheet, planned.id, corners.mean(axis=0), f"number-{planned.id}",
                      (float(size[0]), float(size[1])))  # fmt: skip


def _draw_sloped(view: View, subject: Subject, sloped: list[Surface]) -> None:
    for surface in sloped:
        for planned, rect in (*subject.on(surface.name), *subject.hung_on(surface.name)):
            u0, v0, u1, v1 = rect
            uv = np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])
            points = view.paper(surface.plane.to_xyz(uv) @ PLAN.T)
            view.sheet.shape(points, width=THIN, dash=(0, (4, 2)),
                             name=f"foreshortened-{planned.id}")  # fmt: skip
            size = points.max(axis=0) - points.min(axis=0)
            labels.number(view.sheet, planned.id, points.mean(axis=0), f"number-{planned.id}",
                          (float(size[0]), float(size[1])))  # fmt: skip
        corners = view.corners(level_face(surface).bounds)
        labels.name_all(view.sheet, [(surface.name, corners)])


def _draw_things(view: View, subject: Subject, surface: Surface) -> None:
    face = level_face(surface)
    draw_things(view, face, subject.room, f"area-{surface.name}")
    mid = view.paper(np.array([[subject.room.axis_y, face.bounds[1]],
                               [subject.room.axis_y, face.bounds[3]]]))  # fmt: skip
    if face.bounds[0] < subject.room.axis_y < face.bounds[2]:
        view.sheet.line(mid, HAIR, MUTED, (0, (8, 2, 1, 2)), 1.15, name="axis")


def plan_in_words(
    title: str, measured: list[Measured], units: str, subject: Subject, where: str
) -> str:
    """What a plan of pieces shows, for those who listen."""
    if not measured:
        return f"{title} of {subject.title}. {subject.nothing(f'lies {where}')}"
    places = "; ".join(
        f"piece {m.planned.id}, {m.planned.piece.product.name}: {dimension(m.across, units)} from "
        f"the {m.across_from} wall, {dimension(m.up, units)} from the {m.up_from} wall"
        for m in measured
    )
    unit = "Lengths in mm. " if units == "m" else ""
    return f"{title} of {subject.title}. {unit}P{places[1:]}."
