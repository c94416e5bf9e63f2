"""Elevations: each wall seen square-on from inside the room, with its pieces dimensioned."""

import re
from collections.abc import Sequence

import numpy as np
import shapely

from optimizer.drawings import labels, running
from optimizer.drawings.faces import Face, face_of, foot_of, is_level, looking_at, neighbours
from optimizer.drawings.layout import Heading, Margins, View, lay_out
from optimizer.drawings.lettering import dimension
from optimizer.drawings.marks import wall_mark
from optimizer.drawings.overall import draw_names, draw_overall
from optimizer.drawings.schedule import Group, Line, Measured, piece_groups
from optimizer.drawings.style import FAINT, HAIR, HEAVY, INK, PAPER, THIN, Picture, drawing, picture
from optimizer.drawings.subject import Subject, subject_of
from optimizer.drawings.symbols import draw_area, draw_hung, draw_piece, draw_thing
from optimizer.project import Project
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.words import surface_in_words
from optimizer.room.geometry import Rect
from optimizer.room.model import Room

NEAR = 0.10  # m; furniture this close to a wall is shown on it
NAMES = 7.0  # mm of paper around a drawing for the names of what it meets


@drawing()
def elevations(shown: Plan | Project, units: str = "m", as_figure: bool = False) -> list[Picture]:
    """One drawing to scale per wall and per sloped ceiling, seen from inside the room.

    Each piece is drawn at its place, dimensioned from the nearest corner and from the floor
    (sloped surfaces: from their lower edge, along the slope), and listed beside the drawing.
    Lengths in metres in `units` "m" (shown in mm) or "ft" (feet and inches to 1/16 inch).
    `as_figure`: for a page that says title and room itself.
    """
    subject = subject_of(shown)
    faces = [face_of(s) for s in subject.room.surfaces if not is_level(s) and not s.is_floor]
    names = file_names([face.surface.name for face in faces])
    return [
        _elevation(subject, face, name, units, as_figure)
        for face, name in zip(faces, names, strict=True)
    ]


def file_names(surfaces: list[str]) -> list[str]:
    """A file name without ending for the elevation of each surface, no two alike."""
    made: list[str] = []
    for surface in surfaces:
        plain = re.sub(r"[^a-z0-9]+", "_", surface.lower()).strip("_") or "surface"
        stem, count = f"elevation_{plain}", 2
        while stem in made:
            stem, count = f"elevation_{plain}_{count}", count + 1
        made.append(stem)
    return made


def _elevation(subject: Subject, face: Face, name: str, units: str, as_figure: bool) -> Picture:
    room = subject.room
    meets = neighbours(face, room)
    foot = foot_of(face, room)
    measured, across, up = _measure(subject, face, foot, meets)
    hung = [_place(face, foot, meets, p, rect, True)[0]
            for p, rect in subject.hung_on(face.surface.name)]  # fmt: skip
    rows = running.arrange(across, units), running.arrange(up, units)
    from_floor = _is_upright(face)
    heads = ("from corner with", "above floor" if from_floor else "up the slope")
    groups = piece_groups(measured, units, heads)
    if not groups:
        groups = [Group((Line((subject.nothing(f"hangs on {looking_at(face.surface)}"),)),))]
    groups += piece_groups(hung, units, heads)
    a0, b0, a1, b1 = face.bounds
    extent = (a0, min(b0, foot), a1, b1)
    margins = Margins(NAMES + rows[1].reach, NAMES + 7, NAMES + rows[0].reach, NAMES + 7)
    title = f"{_capital(surface_in_words(face.surface))}, seen from inside the room"
    heading = Heading(title, subject.title, _notes(face, meets), wall_mark(room, face))
    view = lay_out(extent, margins, groups, heading, units, as_figure)
    _draw_wall(view, face, foot, room)
    draw_dimensions(view, extent, rows)
    view.names_stay_in(extent)
    draw_overall(view, extent)
    draw_names(view, extent, meets)
    _draw_pieces(view, subject, face)
    draw_things(view, face, room, "area")
    alt = _in_words(title, measured, units, from_floor, subject, face)
    alt += hung_in_words([p for p, _ in subject.hung_on(face.surface.name)])
    return picture(view.sheet.figure, name, title, alt)


def _is_upright(face: Face) -> bool:
    return bool(abs(face.surface.plane.normal[2]) < 1e-3)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _notes(face: Face, meets: dict[str, str]) -> tuple[str, ...]:
    sides = [f"{meets[s]} on your {s}" for s in ("left", "right") if s in meets]
    facing = f"You stand in the room and face {looking_at(face.surface)}"
    first = f"{facing}: {' and '.join(sides)}." if sides else f"{facing}."
    up = (
        "from the floor to its lower edge"
        if _is_upright(face)
        else "along the slope from the lower end to its own lower edge"
    )
    second = (
        f"Each piece is measured from the nearest corner to its nearest edge, and {up}. "
        "No figure: it touches."
    )
    return first, second


def _measure(
    subject: Subject, face: Face, foot: float, meets: dict[str, str]
) -> tuple[list[Measured], list[running.Run], list[running.Run]]:
    measured, across, up = [], [], []
    for planned, rect in subject.on(face.surface.name):
        place, origin, end = _place(face, foot, meets, planned, rect)
        measured.append(place)
        left, low, _, _ = face.rect(rect)
        across.append((planned.id, origin, end, low))
        up.append((planned.id, foot, low, left))
    return measured, running.gather(across), running.gather(up)


def _place(
    face: Face, foot: float, meets: dict[str, str], planned: PlannedPiece, rect: Rect,
    hung: bool = False,
) -> tuple[Measured, float, float]:  # fmt: skip
    """A piece as measured on its wall, and the ends of its distance from the nearest corner."""
    a0, _, a1, _ = face.bounds
    drawn = face.rect(rect)
    origin, end = running.nearest(shapely.Polygon(face.outline), drawn, 0)
    side = "left" if origin <= end and origin < (a0 + a1) / 2 or end > origin else "right"
    corner = meets.get(side, side) if abs(origin - (a0, a1)[side == "right"]) < 1e-2 else side
    away, up = abs(end - origin), drawn[1] - foot
    return Measured(planned, _short(corner), away, "", up, hung), origin, end


def _short(name: str) -> str:
    return name.removesuffix(" wall")


def _draw_wall(view: View, face: Face, foot: float, room: Room) -> None:
    sheet = view.sheet
    sheet.shape(view.paper(face.outline), PAPER, INK, HEAVY, layer=1.0, name="outline")
    a0, b0, a1, _ = face.bounds
    if foot < b0 - 1e-3:
        line = view.paper(np.array([[a0, foot], [a1, foot]]))
        sheet.line(line, THIN, INK, (0, (4, 2)), name="floor")
    if room.skirting > 0 and _is_upright(face):
        line = view.paper(np.array([[a0, b0 + room.skirting], [a1, b0 + room.skirting]]))
        sheet.line(line, HAIR, FAINT, layer=1.1)


def draw_dimensions(
    view: View, extent: Rect, rows: tuple[running.Rows, running.Rows], upwards: str = "heights"
) -> None:
    """Running dimensions below a drawing and to its left; `upwards` is what the latter are."""
    (x0, y0), (x1, y1) = view.paper(np.array(extent).reshape(2, 2))
    start, k = view.origin, view.factor
    span_x = float(x0) - NAMES + 1.5, float(x1) + NAMES
    level = running.Axis(False, start[0], k, start[1], k, float(y0) - NAMES, span_x)
    running.draw(view.sheet, rows[0], level, "across", "distances")
    upright = running.Axis(
        True, start[1], k, start[0], k, float(x0) - NAMES, (float(y0) + 1.5, float(y1) + NAMES)
    )
    running.draw(view.sheet, rows[1], upright, "up", upwards)


def _draw_pieces(view: View, subject: Subject, face: Face) -> None:
    there = [(p, face.rect(rect)) for p, rect in subject.hung_on(face.surface.name)]
    for planned, rect in there:
        draw_hung(view.sheet, view.corners(rect), f"hung-{planned.id}")
    shown = [(p, face.rect(rect)) for p, rect in subject.on(face.surface.name)]
    for planned, rect in shown:
        corners = view.corners(rect)
        draw_piece(view.sheet, corners, planned.piece.product.kind, f"piece-{planned.id}")
    for planned, rect in (*shown, *there):
        corners = view.corners(rect)
        size = corners[2] - corners[0]
        room = float(size[0]), float(size[1])
        labels.number(
            view.sheet, planned.id, corners.mean(axis=0), f"number-{planned.id}", room
        )  # fmt: skip


def draw_things(view: View, face: Face, room: Room, name: str) -> None:
    """Openings and fittings of a surface, and what stands against it, with their names."""
    named = []
    for index, area in enumerate(face.surface.areas):
        corners = view.corners(face.rect(area.rect))
        draw_area(view.sheet, corners, area.kind, f"{name}-{index + 1}")
        named.append((area.name, corners))
    for thing, box, clear in against(face, room):
        corners = view.corners(box)
        draw_thing(view.sheet, corners, clear)
        named.append((f"keep clear: {thing}" if clear else thing, corners))
    labels.name_all(view.sheet, named)


def against(face: Face, room: Room) -> list[tuple[str, Rect, bool]]:
    """Furniture and keep-clear boxes that stand against a surface: name, drawn rect, keep clear."""
    things = [(f.name, f.box, False) for f in room.furniture if f.kind != "person"]
    things += [(k.name, k.box, True) for k in room.keep_clear]
    outline = shapely.Polygon(face.outline)
    found = []
    for name, box, clear in things:
        grid = np.array(np.meshgrid(*box.T, indexing="ij")).reshape(3, -1).T
        if not -NEAR < float(face.surface.plane.height_over(grid).min()) < NEAR:
            continue
        drawn = face.drawn(grid)
        rect = shapely.box(*drawn.min(axis=0), *drawn.max(axis=0)).intersection(outline)
        if rect.area > 1e-4:
            found.append((name, rect.bounds, clear))
    return found


def hung_in_words(hung: Sequence[PlannedPiece]) -> str:
    """A sentence that names the pieces that hang already; blank where there are none."""
    named = "; ".join(f"{p.id}, {p.piece.product.name}" for p in hung)
    return f" Hangs already: {named}." if named else ""


def _in_words(
    title: str, measured: list[Measured], units: str, from_floor: bool, subject: Subject, face: Face
) -> str:
    if not measured:
        return f"{title}. {subject.nothing(f'hangs on {looking_at(face.surface)}')}"
    up = "above the floor" if from_floor else "up the slope"
    places = "; ".join(
        f"piece {m.planned.id}, {m.planned.piece.product.name}: {dimension(m.across, units)} from "
        f"{m.across_from}, {dimension(m.up, units)} {up}"
        for m in measured
    )
    unit = "Lengths in mm. " if units == "m" else ""
    return f"{title}. {unit}{_capital(places)}."
