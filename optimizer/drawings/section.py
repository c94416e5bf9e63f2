"""The long section: the room cut along the loudspeakers' axis, seen towards the right."""

import numpy as np

from optimizer.drawings import labels, running
from optimizer.drawings.elevations import NAMES, draw_dimensions, hung_in_words
from optimizer.drawings.layout import Heading, Margins, View, lay_out
from optimizer.drawings.lettering import dimension
from optimizer.drawings.marks import cut_mark
from optimizer.drawings.overall import draw_names, draw_overall
from optimizer.drawings.paths import (
    draw_paths,
    draw_people,
    name_people,
    path_key,
    people,
    people_group,
    people_ids,
    shown_paths,
)
from optimizer.drawings.reflections import Reflection, reflections
from optimizer.drawings.schedule import Group, Line, hung_group
from optimizer.drawings.shell import draw_gap
from optimizer.drawings.solids import footprint_of, same_spot
from optimizer.drawings.style import HEAVY, INK, MUTED, PAPER, THIN, Picture, drawing, picture
from optimizer.drawings.subject import Subject, subject_of
from optimizer.drawings.symbols import draw_area, draw_hung, draw_piece, draw_thing
from optimizer.project import Project
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.words import surface_in_words
from optimizer.room.geometry import Floats, Plane, Rect
from optimizer.room.model import Room

TITLE = "Long section, seen towards the right"
ALONG = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])  # room coordinates to drawn ones
SIDEWAYS = 0.5  # |normal_y| above which a surface is seen face on
TOUCH = 1e-6


@drawing()
def section(shown: Plan | Project, units: str = "m", as_figure: bool = False) -> Picture:
    """The long section to scale along the loudspeakers' axis, seen towards the right: what lies
    there, loudspeakers and seats, and first reflections by floor, ceiling, desk, front and back
    within 15 ms, those too loud marked."""
    subject = subject_of(shown)
    room = subject.room
    paths, limit = reflections(subject)
    drawn = shown_paths([p for p in paths if not _is_side(room, p)])
    rows = _people_rows(room, units)
    groups = [people_group(room, units), path_key(limit, len(room.seats), drawn)]
    beyond = [p for p in subject.hung if _is_beyond(p, room)]
    groups += hung_group(beyond, False)
    if not subject.pieces:
        groups.append(Group((Line((subject.nothing(""),)),)))
    extent = _extent(room)
    margins = Margins(NAMES + rows[1].reach, NAMES + 7, NAMES + rows[0].reach, NAMES + 7)
    heading = Heading(TITLE, subject.title, _notes(room, units), cut_mark(room))
    view = lay_out(extent, margins, groups, heading, units, as_figure)
    _draw_cut(view, room)
    draw_dimensions(view, extent, rows)
    view.names_stay_in(extent)
    draw_overall(view, extent)
    draw_names(view, extent, _end_names(room))
    _draw_beyond(view, room)
    draw_paths(view, room, drawn, ALONG)
    draw_people(view, room, ALONG)
    _draw_pieces(view, subject)
    name_people(view, room, ALONG)
    labels.name_all(view.sheet, _named(view, room))
    loud = sum(p.too_loud for p in drawn)
    alt = (
        f"{TITLE}, of {subject.title}: front wall on the left. {loud} of the {len(drawn)} first "
        f"reflections drawn are above {limit:g} dB."
    ) + hung_in_words(beyond)
    return picture(view.sheet.figure, "section", TITLE, alt)


def _is_side(room: Room, path: Reflection) -> bool:
    """True for reflections off walls left and right, which the plan view shows."""
    return any(
        s.name == path.reflector and abs(s.plane.normal[1]) > SIDEWAYS for s in room.surfaces
    )


def _people_rows(room: Room, units: str) -> tuple[running.Rows, running.Rows]:
    low_x, low_z, _, _ = _extent(room)
    across, up = [], []
    for name, thing in zip(people_ids(room), people(room), strict=True):
        x, _, z = (float(v) for v in thing.at)
        across.append((name, low_x, x, z))
        up.append((name, low_z, z, x))
    first, second = (running.arrange(running.gather(items), units) for items in (across, up))
    return first, second


def _extent(room: Room) -> Rect:
    corners = np.concatenate([s.plane.to_xyz(s.plane.polygon) for s in room.surfaces]) @ ALONG.T
    (x0, z0), (x1, z1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    return x0, z0, x1, z1


def _notes(room: Room, units: str) -> tuple[str, ...]:
    cut = dimension(room.axis_y - room.width_span[0], units)
    return (
        f"Cut midway between the loudspeakers ({cut} from the left), seen towards the right: the "
        "front wall is on your left, the back wall on your right.",
        "Shown is what lies on the cut or beyond it; what lies to the left of it is behind you.",
    )


def _end_names(room: Room) -> dict[str, str]:
    names = {}
    for side, sign in (("left", 1.0), ("right", -1.0)):
        walls = [s for s in room.surfaces if s.plane.normal[0] * sign > 0.9]
        if len(walls) == 1:
            names[side] = surface_in_words(walls[0])
    return {**names, "bottom": "floor", "top": "ceiling"}


def cut_lines(plane: Plane, y: float) -> list[Floats]:
    """Where a surface meets the upright plane at `y`: drawn line segments (2, 2)."""
    corners = plane.to_xyz(plane.polygon)
    side = corners[:, 1] - y
    points = []
    for i, j in zip(range(len(corners)), np.roll(np.arange(len(corners)), -1), strict=True):
        if (side[i] > TOUCH) != (side[j] > TOUCH):
            share = side[i] / (side[i] - side[j])
            points.append(corners[i] + share * (corners[j] - corners[i]))
    if not points:
        return []
    drawn = np.array(points) @ ALONG.T
    order = np.lexsort((drawn[:, 1], drawn[:, 0]))
    return [drawn[order[i : i + 2]] for i in range(0, len(order) - 1, 2)]


def _draw_cut(view: View, room: Room) -> None:
    """The outline of the cut, with openings of the walls it goes through."""
    for surface in room.surfaces:
        beyond = surface.plane.to_xyz(surface.plane.polygon)
        if surface.plane.normal[1] < -SIDEWAYS and beyond[:, 1].max() > room.axis_y:
            view.sheet.shape(view.paper(beyond @ ALONG.T), PAPER, MUTED, THIN, layer=0.9)
    for surface in room.surfaces:
        for line in cut_lines(surface.plane, room.axis_y):
            view.sheet.line(view.paper(line), HEAVY, INK, layer=1.5, name=f"cut-{surface.name}")
        if not surface.is_wall or abs(surface.plane.normal[1]) > SIDEWAYS:
            continue
        for index, area in enumerate(surface.areas):
            u0, v0, u1, v1 = area.rect
            sides = surface.plane.to_xyz(np.array([[u0, v0], [u1, v0]]))[:, 1]
            if sides.min() < room.axis_y < sides.max():
                middle = (u0 + u1) / 2
                ends = surface.plane.to_xyz(np.array([[middle, v0], [middle, v1]])) @ ALONG.T
                outwards = -(surface.plane.normal @ ALONG.T)
                draw_gap(view, ends, outwards, area.kind, f"area-{surface.name}-{index + 1}")


def _draw_beyond(view: View, room: Room) -> None:
    """Openings of the right-hand walls, furniture and keep-clear boxes on or beyond the cut."""
    for surface in room.surfaces:
        if surface.plane.normal[1] > -SIDEWAYS:
            continue
        for index, area in enumerate(surface.areas):
            u0, v0, u1, v1 = area.rect
            uv = np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])
            corners = view.paper(surface.plane.to_xyz(uv) @ ALONG.T)
            draw_area(view.sheet, corners, area.kind, f"area-{surface.name}-{index + 1}")
    for _, rect in _furniture(room):
        draw_thing(view.sheet, view.corners(rect), False)
    for clear in room.keep_clear:
        if clear.box[1, 1] > room.axis_y:
            draw_thing(view.sheet, view.corners(_side_rect(clear.box)), True)


def _named(view: View, room: Room) -> list[tuple[str, Floats]]:
    """Names and paper corners of what is on or beyond the cut."""
    named = []
    for surface in room.surfaces:
        if surface.plane.normal[1] < -SIDEWAYS:
            for area in surface.areas:
                uv = np.array(area.rect).reshape(2, 2)
                ends = surface.plane.to_xyz(uv) @ ALONG.T
                (x0, z0), (x1, z1) = ends.min(axis=0).tolist(), ends.max(axis=0).tolist()
                named.append((area.name, view.corners((x0, z0, x1, z1))))
    named += [(name, view.corners(rect)) for name, rect in _furniture(room) if name]
    named += [
        (f"keep clear: {k.name}", view.corners(_side_rect(k.box)))
        for k in room.keep_clear
        if k.box[1, 1] > room.axis_y
    ]
    return named


def _furniture(room: Room) -> list[tuple[str, Rect]]:
    return [
        ("" if f.kind == "person" else f.name, _side_rect(f.box))
        for f in room.furniture
        if f.box[1, 1] > room.axis_y
    ]


def _side_rect(box: Floats) -> Rect:
    (x0, _, z0), (x1, _, z1) = box.tolist()
    return x0, z0, x1, z1


def _is_beyond(planned: PlannedPiece, room: Room) -> bool:
    """True for pieces on the cut or to the right of it."""
    return bool(planned.piece.box[1, 1] > room.axis_y + TOUCH)


def _draw_pieces(view: View, subject: Subject) -> None:
    room = subject.room
    hung = {planned.id for planned in subject.hung}
    shown = []
    for planned in (*subject.hung, *subject.pieces):
        if not _is_beyond(planned, room):
            continue
        outline = view.paper(footprint_of(planned.piece, room, ALONG))
        if planned.id in hung:
            draw_hung(view.sheet, outline, f"hung-{planned.id}")
        else:
            draw_piece(view.sheet, outline, planned.piece.product.kind, f"piece-{planned.id}")
        normal = sum(room.surface(name).plane.normal for name, _ in planned.piece.rects)
        shown.append((planned.id, outline, np.asarray(normal) @ ALONG.T))
    for ids, outline, normal in same_spot(shown):
        size = outline.max(axis=0) - outline.min(axis=0)
        labels.number(view.sheet, ", ".join(ids), outline.mean(axis=0), f"number-{'-'.join(ids)}",
                      (float(size[0]), float(size[1])),
                      (float(normal[0]), float(normal[1])))  # fmt: skip
