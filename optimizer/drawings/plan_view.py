"""The plan view: the room from above with everything that stands, hangs and sounds in it."""

import numpy as np

from optimizer.drawings import labels, running
from optimizer.drawings.ceiling import (
    HEADS,
    Items,
    draw_plan_pieces,
    measure,
    on_surface,
    plan_in_words,
)
from optimizer.drawings.elevations import NAMES, draw_dimensions, hung_in_words
from optimizer.drawings.faces import PLAN, footprint, is_level
from optimizer.drawings.layout import Heading, Margins, View, lay_out
from optimizer.drawings.marks import level_mark
from optimizer.drawings.overall import draw_overall, draw_wall_names
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
from optimizer.drawings.reflections import reflections
from optimizer.drawings.schedule import Group, Line, hung_group, piece_groups
from optimizer.drawings.sheet import Sheet
from optimizer.drawings.shell import draw_openings, draw_shell, name_openings
from optimizer.drawings.solids import footprint_of, same_spot
from optimizer.drawings.style import HAIR, MUTED, Picture, drawing, picture
from optimizer.drawings.subject import Subject, subject_of
from optimizer.drawings.symbols import draw_hung, draw_piece, draw_thing
from optimizer.project import Project
from optimizer.results.model import Plan
from optimizer.room.geometry import Floats, Rect
from optimizer.room.model import Room
from optimizer.room.schema import OVERHEAD

TITLE = "Plan view"


@drawing()
def plan_view(shown: Plan | Project, units: str = "m", as_figure: bool = False) -> Picture:
    """The plan view to scale: walls and openings, furniture, loudspeakers, seats, pieces with
    their numbers, and first reflections off the walls within 15 ms, those too loud marked."""
    subject = subject_of(shown)
    room = subject.room
    paths, limit = reflections(subject)
    walls = {s.name for s in room.surfaces if s.is_wall}
    drawn = shown_paths([p for p in paths if p.reflector in walls])
    floors = [s for s in room.surfaces if s.is_floor and is_level(s)]
    floor = [entry for s in floors for entry in on_surface(subject, s)]
    there = [entry for s in floors for entry in on_surface(subject, s, hung=True)]
    measured, rows = measure(floor, units, people_runs(room))
    groups = [
        *piece_groups(measured, units, HEADS),
        people_group(room, units),
        path_key(limit, len(room.seats), drawn),
    ]
    overhead, hung_overhead = (
        [p for p in pieces if room.surface(p.piece.rects[0][0]).is_ceiling]
        for pieces in (subject.pieces, subject.hung)
    )
    groups += hung_group(subject.hung, bool(hung_overhead))
    if overhead:
        groups.append(Group((Line(("hangs overhead, see the ceiling plan",), sample=_overhead),)))
    if not subject.pieces:
        groups.append(Group((Line((subject.nothing(""),)),)))
    extent = footprint(room).bounds
    margins = Margins(NAMES + rows[1].reach, NAMES + 7, NAMES + rows[0].reach, NAMES + 7)
    heading = Heading(TITLE, subject.title, _notes(), level_mark(room, False))
    view = lay_out(extent, margins, groups, heading, units, as_figure)
    draw_floor(view, room, extent)
    draw_dimensions(view, extent, rows, "distances")
    view.names_stay_in(extent)
    draw_plan_pieces(view, floor, there)
    draw_paths(view, room, drawn, PLAN)
    draw_people(view, room, PLAN)
    _draw_standing(view, subject)
    name_people(view, room, PLAN)
    name_floor(view, room)
    loud = sum(p.too_loud for p in drawn)
    alt = (
        plan_in_words(TITLE, measured, units, subject, "on the floor")
        + (f" {loud} of the {len(drawn)} first reflections drawn are above {limit:g} dB.")
        + hung_in_words(subject.hung)
    )
    return picture(view.sheet.figure, "plan_view", TITLE, alt)


def _notes() -> tuple[str, ...]:
    return (
        "Seen from above: the front wall, behind the loudspeakers, is at the top; left is left as "
        "you face it.",
        "Loudspeakers and ears are measured from the front wall and the nearest side wall.",
    )


def people_runs(room: Room) -> tuple[Items, Items]:
    """Distances of loudspeakers and ears from the nearest side wall, and from the front wall."""
    shape = footprint(room)
    across: Items = []
    along: Items = []
    for name, thing in zip(people_ids(room), people(room), strict=True):
        a, b = (float(v) for v in thing.at @ PLAN.T)
        across.append((name, *running.nearest(shape, (a, b, a, b), 0), b))
        along.append((name, running.ends(shape, (a, b, a, b), 1)[1], b, a))
    return across, along


def draw_floor(view: View, room: Room, extent: Rect) -> None:
    """The room without pieces: walls, openings, furniture, keep-clear boxes, overall sizes."""
    draw_shell(view, footprint(room))
    draw_openings(view, room)
    draw_overall(view, extent)
    draw_wall_names(view, room)
    for box, clear in _things(room):
        draw_thing(view.sheet, view.corners(plan_rect(box)), clear)
    axis = room.axis_y
    line = view.paper(np.array([[axis, extent[1]], [axis, extent[3]]]))
    view.sheet.line(line, HAIR, MUTED, (0, (8, 2, 1, 2)), 1.15, name="axis")


def name_floor(view: View, room: Room) -> None:
    """Names of openings, furniture and keep-clear boxes."""
    name_openings(view, room)
    named = [(f.name, f.box) for f in room.furniture if f.kind != "person"]
    named += [(f"keep clear: {k.name}", k.box) for k in room.keep_clear]
    labels.name_all(view.sheet, [(n, view.corners(plan_rect(box))) for n, box in named])


def plan_rect(box: Floats) -> Rect:
    """A box (2, 3) as a drawn rectangle."""
    (x0, y0, _), (x1, y1, _) = box.tolist()
    return y0, -x1, y1, -x0


def _things(room: Room) -> list[tuple[Floats, bool]]:
    return [(f.box, False) for f in room.furniture] + [(k.box, True) for k in room.keep_clear]


def _draw_standing(view: View, subject: Subject) -> None:
    """Pieces on walls and in corners with their numbers, and outlines of those overhead."""
    room = subject.room
    hung = {planned.id for planned in subject.hung}
    standing = []
    for planned in (*subject.hung, *subject.pieces):
        surface = room.surface(planned.piece.rects[0][0])
        if surface.is_floor and is_level(surface):
            continue
        outline = view.paper(footprint_of(planned.piece, room, PLAN))
        overhead = surface.is_ceiling or planned.piece.mounting in OVERHEAD
        layer = 2.9 if overhead else 2.0
        if planned.id in hung:
            draw_hung(view.sheet, outline, f"hung-{planned.id}", overhead, layer)
        else:
            kind = planned.piece.product.kind
            draw_piece(view.sheet, outline, kind, f"piece-{planned.id}", overhead, layer)
        if not overhead:
            normal = sum(room.surface(name).plane.normal for name, _ in planned.piece.rects)
            standing.append((planned.id, outline, np.asarray(normal) @ PLAN.T))
    for ids, outline, normal in same_spot(standing):
        size = outline.max(axis=0) - outline.min(axis=0)
        labels.number(view.sheet, ", ".join(ids), outline.mean(axis=0), f"number-{'-'.join(ids)}",
                      (float(size[0]), float(size[1])),
                      (float(normal[0]), float(normal[1])))  # fmt: skip


def _overhead(sheet: Sheet, x: float, y: float) -> None:
    points = [(x, y - 1.2), (x + 4.5, y - 1.2), (x + 4.5, y + 1.2), (x, y + 1.2)]
    draw_piece(sheet, np.array(points), "cloud", "key-overhead", True)
