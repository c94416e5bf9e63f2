"""The unfolded room: the floor plan in the middle, every other face folded open beside it."""

from collections.abc import Iterator

import numpy as np
import shapely

from optimizer.drawings import labels
from optimizer.drawings.elevations import against, hung_in_words
from optimizer.drawings.faces import bounds, is_level, looking_at
from optimizer.drawings.layout import (
    FIGURE,
    FOOT_STRIP,
    HEAD,
    SCALES,
    Heading,
    Margins,
    View,
    lay_out,
)
from optimizer.drawings.lettering import dimension, fit, height_mm, width_mm
from optimizer.drawings.marks import fold_mark
from optimizer.drawings.overall import EDGE_NAME
from optimizer.drawings.paths import (
    BOUNCE,
    bounce_key,
    draw_bounce,
    draw_people,
    name_people,
    shown_paths,
)
from optimizer.drawings.reflections import Reflection, reflections
from optimizer.drawings.schedule import Group, Line, hung_group, kind_groups, numbers
from optimizer.drawings.sheet import Box, text_box
from optimizer.drawings.style import (
    HAIR,
    HEAVY,
    INK,
    MUTED,
    PAPER,
    SMALL,
    Picture,
    drawing,
    picture,
)
from optimizer.drawings.subject import Subject, subject_of
from optimizer.drawings.symbols import draw_area, draw_hung, draw_piece, draw_thing
from optimizer.drawings.unfolding import Hinge, Leaf, extent, shared, unfold
from optimizer.project import Project
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.words import surface_in_words
from optimizer.room.geometry import Floats, Rect
from optimizer.room.model import Room

TITLE = "The room unfolded"
GAP = 4.5  # mm of paper between a face and the edge it is folded beside
MARGIN = 5.0  # mm around it all, for names
LIST = 30.0  # mm that a list of usual length takes
NOTES = (
    "The floor is seen from above, the front wall (behind the loudspeakers) at the top. Every "
    "other face is folded open beside the edge it rises from, and seen from inside the room.",
    "All at one scale and true shape: cut out and folded up, the picture is the room. On the "
    "ceiling left and right are exchanged, as when you look up.",
)


@drawing()
def unfolded(shown: Plan | Project, units: str = "m") -> Picture:
    """A developed surface drawing to scale, as a figure of a page: all faces of the room with
    openings, furniture, loudspeakers, seats, pieces by their numbers, and where first reflections
    within 15 ms bounce, those too loud marked."""
    subject = subject_of(shown)
    paths, limit = reflections(subject)
    drawn = shown_paths(paths)
    groups = kind_groups(subject.pieces) or [Group((Line((subject.nothing(""),)),))]
    groups += [bounce_key(limit, drawn), *hung_group(subject.hung, False)]
    view, leaves = _fitted(subject, groups, units)
    for leaf in leaves:
        _draw_face(view, leaf)
        _name_face(view, leaf)
        if leaf.hinge is not None and is_level(leaf.surface):
            _name_edges(view, leaf, subject.room)
    for leaf in leaves:
        _keep_names_within(view, leaf)
    _draw_things(view, leaves, subject.room)
    draw_people(view, subject.room, leaves[0].face.axes)
    _draw_bounces(view, leaves, drawn)
    name_people(view, subject.room, leaves[0].face.axes)
    _draw_pieces(view, leaves, subject)
    _name_things(view, leaves, subject.room)
    return picture(view.sheet.figure, "unfolded", TITLE, _in_words(subject, leaves))


def _fitted(subject: Subject, groups: list[Group], units: str) -> tuple[View, tuple[Leaf, ...]]:
    """The sheet and the faces on it, at the largest scale with room for names between them."""
    margins = Margins(MARGIN, MARGIN, MARGIN, MARGIN)
    heading = Heading(TITLE, subject.title, NOTES, fold_mark())
    paper = FIGURE[0] - 2 * MARGIN, FIGURE[1] - HEAD - FOOT_STRIP - LIST - 2 * MARGIN
    for denominator in SCALES[units]:
        leaves = unfold(subject.room, GAP * denominator / 1000, paper)
        a0, _, a1, _ = extent(leaves)
        if (a1 - a0) * 1000 > paper[0] * denominator:
            continue
        view = lay_out(extent(leaves), margins, groups, heading, units, as_figure=True)
        if view.denominator <= denominator:
            return view, leaves
    raise ValueError("a room larger than any sheet")


def _draw_face(view: View, leaf: Leaf) -> None:
    """The outline of a face, and lines to the edge it is folded beside where that is far off."""
    name = f"face-{leaf.surface.name}"
    view.sheet.shape(view.paper(leaf.outline), PAPER, INK, HEAVY, layer=1.0, name=name)
    if leaf.hinge is None:
        return
    for there, here in zip(leaf.hinge.there, leaf.hinge.here, strict=True):
        ends = view.paper(np.stack([there, here]))
        view.sheet.line(ends, HAIR, MUTED, (0, (2, 2)), 0.9)


def _name_face(view: View, leaf: Leaf) -> None:
    """Its name and size, in the gap beside its edge or within it; a floor has its size only."""
    if leaf.hinge is None:
        return
    here = view.paper(leaf.hinge.here)
    along = np.abs(here[1] - here[0])
    upright = bool(along[1] > along[0])
    if min(along) > 0.01 * max(along):
        _ = labels.inside(view.sheet, surface_in_words(leaf.surface), view.paper(leaf.outline))
        return
    out = leaf.hinge.here[0] - leaf.hinge.there[0]
    out = out / np.linalg.norm(out)
    at = here.mean(axis=0) - GAP / 2 * out
    text = _title(leaf, leaf.hinge, float(max(along)) - 1.0, view.units)
    x, y = (float(v) for v in at)
    if text and view.sheet.is_free(text_box(x, y, text, across="center", upright=upright)):
        view.sheet.text(x, y, text, across="center", upright=upright,
                        name=f"name-{leaf.surface.name}", backed=True)  # fmt: skip


def _name_edges(view: View, leaf: Leaf, room: Room) -> None:
    """Names of the walls around a ceiling, so that nobody takes its left for its right."""
    for other in room.surfaces:
        if other.name == leaf.surface.name or leaf.hinge is None or leaf.hinge.beside == other.name:
            continue
        for ends in shared(leaf.surface, other):
            here = view.paper(leaf.drawn(ends))
            along = here[1] - here[0]
            middle, length = here.mean(axis=0), float(np.linalg.norm(along))
            out = np.array([along[1], -along[0]]) / length
            within = shapely.Polygon(view.paper(leaf.outline))
            if within.contains(shapely.Point(middle + 0.1 * out)):
                out = -out
            x, y = (float(v) for v in middle + EDGE_NAME * out)
            upright = bool(abs(along[1]) > abs(along[0]))
            fitting = (n for n in (surface_in_words(other), other.name) if width_mm(n) < length - 1)
            text = next(fitting, "")
            box = text_box(x, y, text, across="center", upright=upright)
            if text and min(abs(along)) < 0.01 * length and view.sheet.is_free(box):
                view.sheet.text(x, y, text, across="center", upright=upright, colour=MUTED)


def _keep_names_within(view: View, leaf: Leaf) -> None:
    """Let no name and, where that can be, no number lie across the outline of a face."""
    outline = view.paper(leaf.outline)
    for ends in np.stack([outline, np.roll(outline, -1, axis=0)], axis=1):
        count = 1 if np.ptp(ends, axis=0).min() < 0.01 else 12
        points = ends[0] + np.linspace(0, 1, count + 1)[:, None] * (ends[1] - ends[0])
        for pair in zip(points, points[1:], strict=False):
            view.sheet.fill(np.stack(pair))


def _title(leaf: Leaf, hinge: Hinge, room: float, units: str) -> str:
    """A face's name with its size where that fits into `room` mm, else the name alone."""
    name = surface_in_words(leaf.surface)
    wide, high = _size(leaf, hinge)
    whole = f"{name}, {dimension(wide, units)} × {dimension(high, units)}"
    return whole if width_mm(whole) <= room else fit(name, room)


def _size(leaf: Leaf, hinge: Hinge) -> tuple[float, float]:
    """Of a face along the edge it is folded beside, and away from it."""
    along = hinge.here[1] - hinge.here[0]
    along = along / np.linalg.norm(along)
    spans = [np.ptp(leaf.outline @ way) for way in (along, along[::-1] * [-1.0, 1.0])]
    return float(spans[0]), float(spans[1])


def _draw_things(view: View, leaves: tuple[Leaf, ...], room: Room) -> None:
    """Openings and fittings of all faces, and what stands on the floor and against the rest."""
    for leaf in leaves:
        for index, area in enumerate(leaf.surface.areas):
            name = f"area-{leaf.surface.name}-{index + 1}"
            draw_area(view.sheet, view.paper(leaf.corners(area.rect)), area.kind, name)
        if leaf.hinge is not None:
            for _, rect, clear in against(leaf.face, room):
                draw_thing(view.sheet, view.paper(leaf.laid(_ring(rect))), clear)
    for _, corners, clear in _standing(leaves[0], room):
        draw_thing(view.sheet, view.paper(corners), clear)


def _standing(floor: Leaf, room: Room) -> Iterator[tuple[str, Floats, bool]]:
    """Furniture and keep-clear boxes from above: name (none for people), corners, keep clear."""
    things = [("" if f.kind == "person" else f.name, f.box, False) for f in room.furniture]
    things += [(f"keep clear: {k.name}", k.box, True) for k in room.keep_clear]
    for name, box, clear in things:
        yield name, _ring(bounds(floor.drawn(box))), clear


def _ring(rect: Rect) -> Floats:
    a0, b0, a1, b1 = rect
    return np.array([[a0, b0], [a1, b0], [a1, b1], [a0, b1]])


def _name_things(view: View, leaves: tuple[Leaf, ...], room: Room) -> None:
    """Names of openings and of what stands on the floor; within what leans on walls if they fit."""
    named = [(name, view.paper(corners)) for name, corners, _ in _standing(leaves[0], room) if name]
    for leaf in leaves:
        named += [(a.name, view.paper(leaf.corners(a.rect))) for a in leaf.surface.areas]
    labels.name_all(view.sheet, named)
    for leaf in leaves[1:]:
        for name, rect, _ in against(leaf.face, room):
            _ = labels.inside(view.sheet, name, view.paper(leaf.laid(_ring(rect))))


def _draw_bounces(view: View, leaves: tuple[Leaf, ...], paths: list[Reflection]) -> None:
    """Where first reflections bounce: on the faces, those off furniture on the floor plan."""
    known = {leaf.surface.name: leaf for leaf in leaves}
    for path in sorted(paths, key=lambda p: p.too_loud):
        at = view.paper(known.get(path.reflector, leaves[0]).drawn(path.points[1]))
        draw_bounce(view.sheet, at, path.too_loud, path.name.replace("path", "bounce"))
        view.sheet.keep_off(_around(at, BOUNCE))


def _around(at: Floats, reach: float) -> Box:
    x, y = (float(v) for v in at)
    return x - reach, y - reach, x + reach, y + reach


def _draw_pieces(view: View, leaves: tuple[Leaf, ...], subject: Subject) -> None:
    """Pieces on the faces they cover, those in corners on both, with their numbers."""
    known = {leaf.surface.name: leaf for leaf in leaves}
    shown = []
    for hung, pieces in ((True, subject.hung), (False, subject.pieces)):
        for planned in pieces:
            for part, (surface, rect) in enumerate(planned.piece.rects):
                corners = view.paper(known[surface].corners(rect))
                name = f"{planned.id}-{part + 1}" if part else planned.id
                if hung:
                    draw_hung(view.sheet, corners, f"hung-{name}")
                else:
                    draw_piece(view.sheet, corners, planned.piece.product.kind, f"piece-{name}")
                shown.append((planned, corners, f"number-{name}"))
    for planned, corners, name in shown:
        _number(view, planned, corners, name)


def _number(view: View, planned: PlannedPiece, corners: Floats, name: str) -> None:
    """A piece's number on it, beside its middle where a bounce is marked there."""
    wide, high = width_mm(planned.id, SMALL, True) / 2 + labels.PAD, height_mm(SMALL) / 2
    low, top = corners.min(axis=0), corners.max(axis=0)
    spare = np.maximum((top - low) / 2 - [wide, high] - 0.3, 0.0)
    middle = (low + top) / 2
    for way in ((0, 0), (0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1)):
        x, y = (float(v) for v in middle + spare * way)
        if view.sheet.is_free((x - wide, y - high, x + wide, y + high)):
            break
    else:
        x, y = (float(v) for v in middle)
    room = float(top[0] - low[0]), float(top[1] - low[1])
    labels.number(view.sheet, planned.id, np.array([x, y]), name, room)


def _in_words(subject: Subject, leaves: tuple[Leaf, ...]) -> str:
    """What lies where, for those who listen."""
    told = []
    for leaf in leaves:
        here = [p.id for p, _ in subject.on(leaf.surface.name)]
        if here:
            told.append(f"{looking_at(leaf.surface)}: {numbers(here)}")
    pieces = f"Pieces by their numbers on {'; on '.join(told)}." if told else subject.nothing("")
    return (
        f"{subject.title}, the floor plan in the middle, every other face folded open beside the "
        f"edge it rises from. {pieces}{hung_in_words(subject.hung)}"
    )
